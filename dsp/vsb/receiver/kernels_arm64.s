#include "textflag.h"
#include "neon_arm64.h"

// func readLanes(dst, x *complex64, table *interpolator, position, advance int64, count int)
// Sixteen taps for each; position is that of the first of them, in units of 2⁻³². It
// fuses where the kernel for AVX2 does.
TEXT ·readLanes(SB), NOSPLIT, $0-48
	MOVD dst+0(FP), R0
	MOVD x+8(FP), R1
	MOVD table+16(FP), R2
	MOVD position+24(FP), R3
	MOVD advance+32(FP), R4
	MOVD count+40(FP), R5
	MOVW $0x33000000, R6 // 2⁻²⁵
	FMOVS R6, F31

readloop:
	UBFX  $25, R3, $7, R7
	ADD   R7<<7, R2, R7      // a row is 128 bytes
	AND   $0x1ffffff, R3, R8
	SCVTFS R8, F30
	FMULS F31, F30, F30
	ASR   $32, R3, R9
	ADD   R9<<3, R1, R9
	FLDPQ (R7), (F0, F1)     // taps 0 1 4 5, 2 3 6 7
	FLDPQ 32(R7), (F2, F3)
	FLDPQ 64(R7), (F4, F5)
	FLDPQ 96(R7), (F6, F7)
	VDUP  V30.S[0], V30.S4
	FMLA4(30, 4, 0)
	FMLA4(30, 5, 1)
	FMLA4(30, 6, 2)
	FMLA4(30, 7, 3)
	VZIP1 V1.D2, V0.D2, V4.D2 // 0 1 2 3
	VZIP2 V1.D2, V0.D2, V5.D2 // 4 5 6 7
	VZIP1 V3.D2, V2.D2, V6.D2
	VZIP2 V3.D2, V2.D2, V7.D2
	VLD2.P 32(R9), [V16.S4, V17.S4]
	VLD2.P 32(R9), [V18.S4, V19.S4]
	VLD2.P 32(R9), [V20.S4, V21.S4]
	VLD2.P 32(R9), [V22.S4, V23.S4]
	FMUL4(4, 16, 16)
	FMUL4(4, 17, 17)
	FMUL4(5, 18, 18)
	FMUL4(5, 19, 19)
	FMLA4(6, 20, 16)
	FMLA4(6, 21, 17)
	FMLA4(7, 22, 18)
	FMLA4(7, 23, 19)
	FADD4(18, 16, 16)
	FADD4(19, 17, 17)
	VZIP1 V17.D2, V16.D2, V18.D2
	VZIP2 V17.D2, V16.D2, V19.D2
	FADD4(19, 18, 18)
	FADDP4(18, 18, 18)
	FMOVD.P F18, 8(R0)
	ADD   R4, R3
	SUBS  $1, R5
	BNE   readloop
	RET
