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
