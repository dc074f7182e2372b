#include "textflag.h"

// Nothing is fused, so that the results are those of the plain code to the last bit.

// Arithmetic on two float64s or four float32s, for which the assembler has no names.
// Registers go by their numbers: op(m, n, d) is d = n op m, so that operands stand in
// the order of the assembler's own.
#define FADD2(m, n, d) WORD $(0x4e60d400 | (m)<<16 | (n)<<5 | (d))
#define FSUB2(m, n, d) WORD $(0x4ee0d400 | (m)<<16 | (n)<<5 | (d))
#define FMUL2(m, n, d) WORD $(0x6e60dc00 | (m)<<16 | (n)<<5 | (d))
#define FADDP2(m, n, d) WORD $(0x6e60d400 | (m)<<16 | (n)<<5 | (d))
#define FADD4(m, n, d) WORD $(0x4e20d400 | (m)<<16 | (n)<<5 | (d))
#define FSUB4(m, n, d) WORD $(0x4ea0d400 | (m)<<16 | (n)<<5 | (d))
#define FMUL4(m, n, d) WORD $(0x6e20dc00 | (m)<<16 | (n)<<5 | (d))
#define FDIV4(m, n, d) WORD $(0x6e20fc00 | (m)<<16 | (n)<<5 | (d))

// PRODUCTS adds the products of the next two of x and of y to the sums in V16 and
// V17; RE and IM are what is done to those of imaginary parts.
#define PRODUCTS(RE, IM) \
	VLD2.P 32(R0), [V0.D2, V1.D2] \
	VLD2.P 32(R1), [V2.D2, V3.D2] \
	FMUL2(2, 0, 4) \
	FMUL2(3, 1, 5) \
	FMUL2(3, 0, 6) \
	FMUL2(2, 1, 7) \
	RE(5, 4, 4) \
	IM(7, 6, 6) \
	FADD2(4, 16, 16) \
	FADD2(6, 17, 17)

// func dotLanes(x, y *complex128, fours int) complex128
TEXT ·dotLanes(SB), NOSPLIT, $0-40
	MOVD x+0(FP), R0
	MOVD y+8(FP), R1
	MOVD fours+16(FP), R2
	VEOR V16.B16, V16.B16, V16.B16
	VEOR V17.B16, V17.B16, V17.B16

dotloop:
	PRODUCTS(FSUB2, FADD2)
	PRODUCTS(FSUB2, FADD2)
	SUBS $1, R2
	BNE  dotloop
	FADDP2(17, 16, 16)
	FMOVQ F16, ret+24(FP)
	RET

// func innerLanes(x, y *complex128, fours int) complex128
TEXT ·innerLanes(SB), NOSPLIT, $0-40
	MOVD x+0(FP), R0
	MOVD y+8(FP), R1
	MOVD fours+16(FP), R2
	VEOR V16.B16, V16.B16, V16.B16
	VEOR V17.B16, V17.B16, V17.B16

innerloop:
	PRODUCTS(FADD2, FSUB2)
	PRODUCTS(FADD2, FSUB2)
	SUBS $1, R2
	BNE  innerloop
	FADDP2(17, 16, 16)
	FMOVQ F16, ret+24(FP)
	RET

// func addScaledLanes(y, x *complex128, re, im float64, twos int)
TEXT ·addScaledLanes(SB), NOSPLIT, $0-40
	MOVD  y+0(FP), R0
	MOVD  x+8(FP), R1
	FMOVD re+16(FP), F30
	FMOVD im+24(FP), F31
	MOVD  twos+32(FP), R2
	VDUP  V30.D[0], V30.D2
	VDUP  V31.D[0], V31.D2

addScaledloop:
	VLD2.P 32(R1), [V0.D2, V1.D2]
	VLD2 (R0), [V2.D2, V3.D2]
	FMUL2(30, 0, 4)
	FMUL2(31, 1, 5)
	FMUL2(31, 0, 6)
	FMUL2(30, 1, 7)
	FSUB2(5, 4, 4)
	FADD2(7, 6, 6)
	FADD2(4, 2, 2)
	FADD2(6, 3, 3)
	VST2.P [V2.D2, V3.D2], 32(R0)
	SUBS $1, R2
	BNE  addScaledloop
	RET

// func multiplyConjLanes(dst, x, y *complex64, fours int)
TEXT ·multiplyConjLanes(SB), NOSPLIT, $0-32
	MOVD dst+0(FP), R0
	MOVD x+8(FP), R1
	MOVD y+16(FP), R2
	MOVD fours+24(FP), R3

multiplyConjloop:
	VLD2.P 32(R1), [V0.S4, V1.S4]
	VLD2.P 32(R2), [V2.S4, V3.S4]
	FMUL4(2, 0, 4)
	FMUL4(3, 1, 5)
	FMUL4(2, 1, 6)
	FMUL4(3, 0, 7)
	FADD4(5, 4, 4)
	FSUB4(7, 6, 5)
	VST2.P [V4.S4, V5.S4], 32(R0)
	SUBS $1, R3
	BNE  multiplyConjloop
	RET

// func scaleByLanes(dst, x *complex64, weights *float32, fours int)
TEXT ·scaleByLanes(SB), NOSPLIT, $0-32
	MOVD dst+0(FP), R0
	MOVD x+8(FP), R1
	MOVD weights+16(FP), R2
	MOVD fours+24(FP), R3

scaleByloop:
	VLD2.P 32(R1), [V0.S4, V1.S4]
	FMOVQ.P 16(R2), F2
	FMUL4(2, 0, 0)
	FMUL4(2, 1, 1)
	VST2.P [V0.S4, V1.S4], 32(R0)
	SUBS $1, R3
	BNE  scaleByloop
	RET

// func scoreLanes(odd, even, local *float32, a, m *complex64, scale float32, fours int)
TEXT ·scoreLanes(SB), NOSPLIT, $0-56
	MOVD  odd+0(FP), R0
	MOVD  even+8(FP), R1
	MOVD  local+16(FP), R2
	MOVD  a+24(FP), R3
	MOVD  m+32(FP), R4
	FMOVS scale+40(FP), F30
	MOVD  fours+48(FP), R5
	VDUP  V30.S[0], V30.S4

scoreloop:
	VLD2.P 32(R3), [V0.S4, V1.S4]
	VLD2.P 32(R4), [V2.S4, V3.S4]
	FMOVQ.P 16(R2), F4
	FDIV4(4, 30, 4)
	FADD4(2, 0, 5)
	FADD4(3, 1, 6)
	FSUB4(2, 0, 0)
	FSUB4(3, 1, 1)
	FMUL4(5, 5, 5)
	FMUL4(6, 6, 6)
	FMUL4(0, 0, 0)
	FMUL4(1, 1, 1)
	FADD4(6, 5, 5)
	FADD4(1, 0, 0)
	FMUL4(4, 5, 5)
	FMUL4(4, 0, 0)
	FMOVQ.P F5, 16(R0)
	FMOVQ.P F0, 16(R1)
	SUBS $1, R5
	BNE  scoreloop
	RET
