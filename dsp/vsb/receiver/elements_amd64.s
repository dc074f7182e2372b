#include "textflag.h"

// Nothing is fused, so that the results are those of the plain code to the last bit.

// func multiplyLanes(dst, x, y *complex64, fours int)
TEXT ·multiplyLanes(SB), NOSPLIT, $0-32
	MOVQ dst+0(FP), DI
	MOVQ x+8(FP), SI
	MOVQ y+16(FP), DX
	MOVQ fours+24(FP), CX

multiplyloop:
	VMOVUPS   (SI), Y0
	VMOVUPS   (DX), Y1
	VMOVSLDUP Y1, Y2
	VMOVSHDUP Y1, Y3
	VPERMILPS $0xb1, Y0, Y4
	VMULPS    Y2, Y0, Y0
	VMULPS    Y3, Y4, Y4
	VADDSUBPS Y4, Y0, Y0
	VMOVUPS   Y0, (DI)
	ADDQ $32, SI
	ADDQ $32, DX
	ADDQ $32, DI
	DECQ CX
	JNZ  multiplyloop
	VZEROUPPER
	RET

// func widenLanes(dst *complex64, x *float32, fours int)
TEXT ·widenLanes(SB), NOSPLIT, $0-24
	MOVQ dst+0(FP), DI
	MOVQ x+8(FP), SI
	MOVQ fours+16(FP), CX

widenloop:
	VPMOVZXDQ (SI), Y0
	VMOVDQU   Y0, (DI)
	ADDQ $16, SI
	ADDQ $32, DI
	DECQ CX
	JNZ  widenloop
	VZEROUPPER
	RET

// func subtractLanes(errors, received, made, turns *complex64, lean, strength *float32, runs int)
// Runs are of 32; made is still to be divided by 8192.
TEXT ·subtractLanes(SB), NOSPLIT, $0-56
	MOVQ errors+0(FP), DI
	MOVQ received+8(FP), SI
	MOVQ made+16(FP), DX
	MOVQ turns+24(FP), BX
	MOVQ lean+32(FP), R8
	MOVQ strength+40(FP), R9
	MOVQ runs+48(FP), CX
	MOVL $0x39000000, AX // 2⁻¹³
	VMOVQ AX, X15
	VBROADCASTSS X15, Y15

subtractrun:
	VBROADCASTSS (BX), Y14
	VBROADCASTSS 4(BX), Y13
	VXORPS Y12, Y12, Y12
	VXORPS Y11, Y11, Y11
	MOVL $8, AX

subtractloop:
	VMOVUPS   (SI), Y0
	VMULPS    (DX), Y15, Y1
	VPERMILPS $0xb1, Y0, Y2
	VMULPS    Y14, Y0, Y0
	VMULPS    Y13, Y2, Y2
	VADDSUBPS Y2, Y0, Y0
	VSUBPS    Y1, Y0, Y0
	VMOVUPS   Y0, (DI)
	VPERMILPS $0xb1, Y0, Y3
	VMULPS    Y3, Y1, Y3
	VADDPS    Y3, Y12, Y12
	VMULPS    Y1, Y1, Y1
	VADDPS    Y1, Y11, Y11
	ADDQ $32, SI
	ADDQ $32, DX
	ADDQ $32, DI
	DECL AX
	JNZ  subtractloop

	VHSUBPS      Y12, Y12, Y12
	VHADDPS      Y11, Y11, Y11
	VHADDPS      Y11, Y12, Y12
	VEXTRACTF128 $1, Y12, X11
	VADDPS       X11, X12, X12
	VMOVSS       X12, (R8)
	VMOVHLPS     X12, X12, X12
	VMOVSS       X12, (R9)
	ADDQ $8, BX
	ADDQ $4, R8
	ADDQ $4, R9
	DECQ CX
	JNZ  subtractrun
	VZEROUPPER
	RET

// func foldLanes(dst, x, there, back *complex64, fours int)
// dst and x are of whole transforms; the first four bins are left out.
TEXT ·foldLanes(SB), NOSPLIT, $0-40
	MOVQ dst+0(FP), DI
	MOVQ x+8(FP), SI
	MOVQ there+16(FP), DX
	MOVQ back+24(FP), BX
	MOVQ fours+32(FP), CX
	MOVQ CX, R8
	SHLQ $5, R8
	LEAQ 8(SI)(R8*1), R9 // of x: its bins from the end on, the last four left out
	MOVL $0x80000000, AX
	VMOVQ AX, X15
	VBROADCASTSS X15, Y15
	VXORPS Y14, Y14, Y14
	VBLENDPS $0xaa, Y15, Y14, Y15 // the signs of imaginary parts

foldloop:
	ADDQ $32, SI
	ADDQ $32, DX
	ADDQ $32, BX
	ADDQ $32, DI
	VMOVUPS   (SI), Y0
	VMOVUPS   (DX), Y1
	VMOVSLDUP Y1, Y2
	VMOVSHDUP Y1, Y3
	VPERMILPS $0xb1, Y0, Y4
	VMULPS    Y2, Y0, Y0
	VMULPS    Y3, Y4, Y4
	VADDSUBPS Y4, Y0, Y0
	VPERMPD   $0x1b, -32(R9), Y5
	VXORPS    Y15, Y5, Y5
	VMOVUPS   (BX), Y1
	VMOVSLDUP Y1, Y2
	VMOVSHDUP Y1, Y3
	VPERMILPS $0xb1, Y5, Y4
	VMULPS    Y2, Y5, Y5
	VMULPS    Y3, Y4, Y4
	VADDSUBPS Y4, Y5, Y5
	VADDPS    Y5, Y0, Y0
	VMOVUPS   Y0, (DI)
	SUBQ $32, R9
	DECQ CX
	JNZ  foldloop
	VZEROUPPER
	RET

// func blendLanes(dst, x, y *float32, a, b, c, low, high float32, fours int)
TEXT ·blendLanes(SB), NOSPLIT, $0-56
	MOVQ dst+0(FP), DI
	MOVQ x+8(FP), SI
	MOVQ y+16(FP), DX
	VBROADCASTSS a+24(FP), X15
	VBROADCASTSS b+28(FP), X14
	VBROADCASTSS c+32(FP), X13
	VBROADCASTSS low+36(FP), X12
	VBROADCASTSS high+40(FP), X11
	MOVQ fours+48(FP), CX

blendloop:
	VMULPS (SI), X15, X0
	VMULPS (DX), X14, X1
	VADDPS X1, X0, X0
	VADDPS X13, X0, X0
	VMAXPS X12, X0, X0
	VMINPS X11, X0, X0
	VMOVUPS X0, (DI)
	ADDQ $16, SI
	ADDQ $16, DX
	ADDQ $16, DI
	DECQ CX
	JNZ  blendloop
	RET

// func mixLanes(dst, levels *float32, made *complex64, first, second, pilot float32, fours int)
TEXT ·mixLanes(SB), NOSPLIT, $0-48
	MOVQ dst+0(FP), DI
	MOVQ levels+8(FP), SI
	MOVQ made+16(FP), DX
	VBROADCASTSS first+24(FP), Y15
	VBROADCASTSS second+28(FP), Y14
	VBROADCASTSS pilot+32(FP), X13
	MOVQ fours+40(FP), CX
	VBLENDPS $0xaa, Y14, Y15, Y15

mixloop:
	VMULPS  (DX), Y15, Y0
	VEXTRACTF128 $1, Y0, X1
	VHADDPS X1, X0, X0
	VMOVUPS (SI), X1
	VSUBPS  X13, X1, X1
	VADDPS  X0, X1, X0
	VMOVUPS X0, (DI)
	ADDQ $16, SI
	ADDQ $32, DX
	ADDQ $16, DI
	DECQ CX
	JNZ  mixloop
	VZEROUPPER
	RET
