#include "textflag.h"
#include "neon_arm64.h"

// Nothing is fused, so that the results are those of the plain code to the last bit.

// func multiplyLanes(dst, x, y *complex64, fours int)
TEXT ·multiplyLanes(SB), NOSPLIT, $0-32
	MOVD dst+0(FP), R0
	MOVD x+8(FP), R1
	MOVD y+16(FP), R2
	MOVD fours+24(FP), R3

multiplyloop:
	VLD2.P 32(R1), [V0.S4, V1.S4]
	VLD2.P 32(R2), [V2.S4, V3.S4]
	FMUL4(2, 0, 4)
	FMUL4(3, 1, 5)
	FMUL4(2, 1, 6)
	FMUL4(3, 0, 7)
	FSUB4(5, 4, 4)
	FADD4(7, 6, 5)
	VST2.P [V4.S4, V5.S4], 32(R0)
	SUBS $1, R3
	BNE  multiplyloop
	RET

// func widenLanes(dst *complex64, x *float32, fours int)
TEXT ·widenLanes(SB), NOSPLIT, $0-24
	MOVD dst+0(FP), R0
	MOVD x+8(FP), R1
	MOVD fours+16(FP), R2
	VEOR V1.B16, V1.B16, V1.B16

widenloop:
	VLD1.P 16(R1), [V0.S4]
	VST2.P [V0.S4, V1.S4], 32(R0)
	SUBS   $1, R2
	BNE    widenloop
	RET

// func subtractLanes(errors, received, made, turns *complex64, lean, strength *float32, runs int)
// Runs are of 32; made is still to be divided by 8192.
TEXT ·subtractLanes(SB), NOSPLIT, $0-56
	MOVD errors+0(FP), R0
	MOVD received+8(FP), R1
	MOVD made+16(FP), R2
	MOVD turns+24(FP), R3
	MOVD lean+32(FP), R4
	MOVD strength+40(FP), R5
	MOVD runs+48(FP), R6
	MOVW $0x39000000, R7 // 2⁻¹³
	VDUP R7, V31.S4

subtractrun:
	FMOVD.P 8(R3), F30
	VEOR V16.B16, V16.B16, V16.B16
	VEOR V17.B16, V17.B16, V17.B16
	VEOR V18.B16, V18.B16, V18.B16
	VEOR V19.B16, V19.B16, V19.B16
	MOVD $8, R7

subtractloop:
	VLD2.P 32(R1), [V0.S4, V1.S4]
	VLD2.P 32(R2), [V2.S4, V3.S4]
	FMUL4(31, 2, 2)
	FMUL4(31, 3, 3)
	FMUL1(30, 0, 0, 4)
	FMUL1(30, 1, 1, 5)
	FMUL1(30, 0, 1, 6)
	FMUL1(30, 1, 0, 7)
	FSUB4(5, 4, 4)
	FADD4(7, 6, 5)
	FSUB4(2, 4, 4)
	FSUB4(3, 5, 5)
	VST2.P [V4.S4, V5.S4], 32(R0)
	FMUL4(5, 2, 5)
	FMUL4(4, 3, 4)
	FMUL4(2, 2, 2)
	FMUL4(3, 3, 3)
	FADD4(5, 16, 16)
	FADD4(4, 17, 17)
	FADD4(2, 18, 18)
	FADD4(3, 19, 19)
	SUBS $1, R7
	BNE  subtractloop

	FSUB4(17, 16, 16)
	FADD4(19, 18, 18)
	FADDP4(18, 16, 16)
	FADDP4(16, 16, 16)
	FMOVS.P F16, 4(R4)
	VMOV V16.S[1], R7
	MOVW.P R7, 4(R5)
	SUBS $1, R6
	BNE  subtractrun
	RET
