#include "textflag.h"

// func dotLanes(a, taps *float32, count int) float32
// count is a multiple of 8, above 0.
TEXT ·dotLanes(SB), NOSPLIT, $0-28
	MOVQ   a+0(FP), SI
	MOVQ   taps+8(FP), DX
	MOVQ   count+16(FP), CX
	VXORPS Y0, Y0, Y0
	VXORPS Y1, Y1, Y1
	SUBQ   $16, CX
	JLT    dotlast

dotloop:
	VMOVUPS     (SI), Y2
	VMOVUPS     32(SI), Y3
	VFMADD231PS (DX), Y2, Y0
	VFMADD231PS 32(DX), Y3, Y1
	ADDQ        $64, SI
	ADDQ        $64, DX
	SUBQ        $16, CX
	JGE         dotloop

dotlast:
	ADDQ        $16, CX
	JZ          dotsum
	VMOVUPS     (SI), Y2
	VFMADD231PS (DX), Y2, Y0

dotsum:
	VADDPS       Y1, Y0, Y0
	VEXTRACTF128 $1, Y0, X1
	VADDPS       X1, X0, X0
	VMOVHLPS     X0, X0, X1
	VADDPS       X1, X0, X0
	VMOVSHDUP    X0, X1
	VADDSS       X1, X0, X0
	VZEROUPPER
	MOVSS        X0, ret+24(FP)
	RET

// func convolveLanes(dst, a, taps *float32, count int)
// 32 sums; count is above 0.
TEXT ·convolveLanes(SB), NOSPLIT, $0-32
	MOVQ   dst+0(FP), DI
	MOVQ   a+8(FP), SI
	MOVQ   taps+16(FP), DX
	MOVQ   count+24(FP), CX
	VXORPS Y0, Y0, Y0
	VXORPS Y1, Y1, Y1
	VXORPS Y2, Y2, Y2
	VXORPS Y3, Y3, Y3
	VXORPS Y4, Y4, Y4
	VXORPS Y5, Y5, Y5
	VXORPS Y6, Y6, Y6
	VXORPS Y7, Y7, Y7
	SUBQ   $2, CX
	JLT    convolvelast

convolveloop:
	VBROADCASTSS (DX), Y8
	VBROADCASTSS 4(DX), Y9
	VFMADD231PS  (SI), Y8, Y0
	VFMADD231PS  32(SI), Y8, Y1
	VFMADD231PS  64(SI), Y8, Y2
	VFMADD231PS  96(SI), Y8, Y3
	VFMADD231PS  4(SI), Y9, Y4
	VFMADD231PS  36(SI), Y9, Y5
	VFMADD231PS  68(SI), Y9, Y6
	VFMADD231PS  100(SI), Y9, Y7
	ADDQ         $8, SI
	ADDQ         $8, DX
	SUBQ         $2, CX
	JGE          convolveloop

convolvelast:
	ADDQ         $2, CX
	JZ           convolvesum
	VBROADCASTSS (DX), Y8
	VFMADD231PS  (SI), Y8, Y0
	VFMADD231PS  32(SI), Y8, Y1
	VFMADD231PS  64(SI), Y8, Y2
	VFMADD231PS  96(SI), Y8, Y3

convolvesum:
	VADDPS     Y4, Y0, Y0
	VADDPS     Y5, Y1, Y1
	VADDPS     Y6, Y2, Y2
	VADDPS     Y7, Y3, Y3
	VMOVUPS    Y0, (DI)
	VMOVUPS    Y1, 32(DI)
	VMOVUPS    Y2, 64(DI)
	VMOVUPS    Y3, 96(DI)
	VZEROUPPER
	RET
