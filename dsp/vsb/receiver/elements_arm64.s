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

// func foldLanes(dst, x, there, back *complex64, fours int)
// dst and x are of whole transforms; the first four bins are left out.
TEXT ·foldLanes(SB), NOSPLIT, $0-40
	MOVD dst+0(FP), R0
	MOVD x+8(FP), R1
	MOVD there+16(FP), R2
	MOVD back+24(FP), R3
	MOVD fours+32(FP), R4
	ADD  R4<<5, R1, R5
	SUB  $24, R5 // of x: its bins from the end on, the last four left out
	ADD  $32, R0
	ADD  $32, R1
	ADD  $32, R2
	ADD  $32, R3

foldloop:
	VLD2.P 32(R1), [V0.S4, V1.S4]
	VLD2.P 32(R2), [V2.S4, V3.S4]
	VLD2   (R5), [V4.S4, V5.S4]
	VLD2.P 32(R3), [V6.S4, V7.S4]
	VREV64 V4.S4, V4.S4
	VREV64 V5.S4, V5.S4
	VEXT $8, V4.B16, V4.B16, V4.B16
	VEXT $8, V5.B16, V5.B16, V5.B16
	FMUL4(2, 0, 16)
	FMUL4(3, 1, 17)
	FMUL4(2, 1, 18)
	FMUL4(3, 0, 19)
	FSUB4(17, 16, 16)
	FADD4(19, 18, 17)
	FMUL4(6, 4, 20) // times the conjugate of x
	FMUL4(7, 5, 21)
	FMUL4(6, 5, 22)
	FMUL4(7, 4, 23)
	FADD4(21, 20, 20)
	FSUB4(22, 23, 21)
	FADD4(20, 16, 16)
	FADD4(21, 17, 17)
	VST2.P [V16.S4, V17.S4], 32(R0)
	SUB  $32, R5
	SUBS $1, R4
	BNE  foldloop
	RET

// func blendLanes(dst, x, y *float32, a, b, c, low, high float32, fours int)
TEXT ·blendLanes(SB), NOSPLIT, $0-56
	MOVD  dst+0(FP), R0
	MOVD  x+8(FP), R1
	MOVD  y+16(FP), R2
	FMOVS a+24(FP), F16
	FMOVS b+28(FP), F17
	FMOVS c+32(FP), F18
	FMOVS low+36(FP), F19
	FMOVS high+40(FP), F20
	MOVD  fours+48(FP), R3
	VDUP  V18.S[0], V18.S4
	VDUP  V19.S[0], V19.S4
	VDUP  V20.S[0], V20.S4

blendloop:
	FMOVQ.P 16(R1), F0
	FMOVQ.P 16(R2), F1
	FMUL1(16, 0, 0, 0)
	FMUL1(17, 0, 1, 1)
	FADD4(1, 0, 0)
	FADD4(18, 0, 0)
	FMAXNM4(19, 0, 0) // what is no number becomes the lower limit
	FMINNM4(20, 0, 0)
	FMOVQ.P F0, 16(R0)
	SUBS $1, R3
	BNE  blendloop
	RET

// func mixLanes(dst, levels *float32, made *complex64, first, second, pilot float32, fours int)
TEXT ·mixLanes(SB), NOSPLIT, $0-48
	MOVD  dst+0(FP), R0
	MOVD  levels+8(FP), R1
	MOVD  made+16(FP), R2
	FMOVS first+24(FP), F16
	FMOVS second+28(FP), F17
	FMOVS pilot+32(FP), F18
	MOVD  fours+40(FP), R3
	VDUP  V18.S[0], V18.S4

mixloop:
	VLD2.P 32(R2), [V0.S4, V1.S4]
	FMOVQ.P 16(R1), F2
	FMUL1(16, 0, 0, 0)
	FMUL1(17, 0, 1, 1)
	FADD4(1, 0, 0)
	FSUB4(18, 2, 2)
	FADD4(0, 2, 2)
	FMOVQ.P F2, 16(R0)
	SUBS $1, R3
	BNE  mixloop
	RET
