#include "textflag.h"
#include "neon_arm64.h"

// A register holds the four states of a coder. Twelve coders make a group. Nothing is
// fused, so that the results are those of the plain code to the last bit.

// The bytes of values 0 2 1 3.
DATA evenOdd<>+0(SB)/8, $0x0b0a090803020100
DATA evenOdd<>+8(SB)/8, $0x0f0e0d0c07060504
GLOBL evenOdd<>(SB), RODATA|NOPTR, $16

// For each coset: the sum of its two levels; then their product.
DATA levelPairs<>+0(SB)/8, $0xc0000000c0c00000
DATA levelPairs<>+8(SB)/8, $0x40c0000040000000
DATA levelPairs<>+16(SB)/8, $0xc1700000c0e00000
DATA levelPairs<>+24(SB)/8, $0xc0e00000c1700000
GLOBL levelPairs<>(SB), RODATA|NOPTR, $32

// TABLE leaves the address of symbol i's entry in R7.
#define TABLE(i) \
	MOVHU (2*(i))(R2), R7 \
	ADD   R7<<5, R3, R7

// AFTER makes of the states before a symbol in A and of what its entry says in V0
// the states after it, in d. It uses V1…V3; evenOdd is in V31.
#define AFTER(A, d) \
	VTBL   V31.B16, [V0.B16], V1.B16 \
	VZIP1  A, A, V2.S4 \
	VZIP2  A, A, V3.S4 \
	FMUL4(1, 2, 2) \
	VREV64 V1.S4, V1.S4 \
	FMUL4(1, 3, 3) \
	FADD4(3, 2, d)

#define AHEAD(i, A, a) \
	TABLE(i) \
	FMOVQ (R7), F0 \
	AFTER(A, a)

// LEVEL divides states by their sum; ones are in V30.
#define LEVEL(a) \
	FADDP4(a, a, 0) \
	FADDP4(0, 0, 0) \
	FDIV4(0, 30, 0) \
	FMUL4(0, a, a)

#define LEVELALL \
	LEVEL(16) \
	LEVEL(17) \
	LEVEL(18) \
	LEVEL(19) \
	LEVEL(20) \
	LEVEL(21) \
	LEVEL(22) \
	LEVEL(23) \
	LEVEL(24) \
	LEVEL(25) \
	LEVEL(26) \
	LEVEL(27)

#define LOADSTATES(R) \
	FLDPQ (R), (F16, F17) \
	FLDPQ 32(R), (F18, F19) \
	FLDPQ 64(R), (F20, F21) \
	FLDPQ 96(R), (F22, F23) \
	FLDPQ 128(R), (F24, F25) \
	FLDPQ 160(R), (F26, F27)

#define STORESTATES(R) \
	FSTPQ (F16, F17), (R) \
	FSTPQ (F18, F19), 32(R) \
	FSTPQ (F20, F21), 64(R) \
	FSTPQ (F22, F23), 96(R) \
	FSTPQ (F24, F25), 128(R) \
	FSTPQ (F26, F27), 160(R)

// ENTRYCONSTANTS are what ENTRY needs in V8…V12: 32 (beliefSteps), 320
// (beliefLimit·beliefSteps), ½, 640 (beliefCount−1) and 0.
#define ENTRYCONSTANTS \
	MOVW $0x42000000, R7 \
	VDUP R7, V8.S4 \
	MOVW $0x43a00000, R7 \
	VDUP R7, V9.S4 \
	MOVW $0x3f000000, R7 \
	VDUP R7, V10.S4 \
	MOVW $0x44200000, R7 \
	VDUP R7, V11.S4 \
	VEOR V12.B16, V12.B16, V12.B16

// ENTRY makes places in the table of soft symbols; what is no number becomes 0.
#define ENTRY(v) \
	FMUL4(8, v, v) \
	FADD4(9, v, v) \
	FADD4(10, v, v) \
	FMAXNM4(12, v, v) \
	FMINNM4(11, v, v) \
	FCVTZS4(v, v)

// func aheadLanes(states, forward *[4]float32, entries *uint16, table *belief, soft *float32, groups int)
TEXT ·aheadLanes(SB), NOSPLIT, $0-48
	MOVD states+0(FP), R0
	MOVD forward+8(FP), R1
	MOVD entries+16(FP), R2
	MOVD table+24(FP), R3
	MOVD soft+32(FP), R4
	MOVD groups+40(FP), R6
	ENTRYCONSTANTS
	MOVW $0x3f800000, R7 // 1
	VDUP R7, V30.S4
	MOVD $evenOdd<>(SB), R7
	VLD1 (R7), [V31.B16]
	LOADSTATES(R0)
	MOVD $0, R5

aheadloop:
	FMOVQ.P 16(R4), F0
	FMOVQ.P 16(R4), F1
	FMOVQ.P 16(R4), F2
	ENTRY(0)
	ENTRY(1)
	ENTRY(2)
	VUZP1 V1.H8, V0.H8, V0.H8
	VUZP1 V2.H8, V2.H8, V2.H8
	FMOVQ F0, (R2)
	FMOVD F2, 16(R2)
	STORESTATES(R1)
	AHEAD(0, V16.S4, 16)
	AHEAD(1, V17.S4, 17)
	AHEAD(2, V18.S4, 18)
	AHEAD(3, V19.S4, 19)
	AHEAD(4, V20.S4, 20)
	AHEAD(5, V21.S4, 21)
	AHEAD(6, V22.S4, 22)
	AHEAD(7, V23.S4, 23)
	AHEAD(8, V24.S4, 24)
	AHEAD(9, V25.S4, 25)
	AHEAD(10, V26.S4, 26)
	AHEAD(11, V27.S4, 27)
	AND  $3, R5, R7
	CMP  $3, R7
	BNE  aheadnext
	LEVELALL

aheadnext:
	ADD  $24, R2
	ADD  $192, R1
	ADD  $1, R5
	CMP  R6, R5
	BNE  aheadloop
	STORESTATES(R0)
	RET

// BEHIND goes back over symbol i with its coder's states in Z, z, and leaves what its
// four cosets give to likely, level and square in l, m and s. levelPairs are at R8.
#define BEHIND(i, Z, z, l, m, s) \
	TABLE(i) \
	FMOVQ (16*(i))(R1), F11 \
	FLDPQ (R7), (F12, F14) \
	VUZP1 Z, Z, V9.S4 \
	VUZP2 Z, Z, V10.S4 \
	VEXT  $8, V11.B16, V11.B16, V13.B16 \
	FMUL4(9, 11, 11) \
	FMUL4(10, 13, 13) \
	FADD4(13, 11, 11) \
	VEXT  $8, V12.B16, V12.B16, V13.B16 \
	FMUL4(9, 12, 9) \
	FMUL4(10, 13, 10) \
	FADD4(10, 9, z) \
	FLDPQ (R8), (F9, F10) \
	FMUL4(12, 11, l) \
	FMUL4(14, 11, m) \
	FMUL4(9, m, s) \
	FMUL4(10, l, 10) \
	FSUB4(10, s, s)

// BEHIND4 goes back over four symbols from i on, writes their levels' means and adds
// the variances to spread. Ones are in V30, the pilot's level is in V15.
#define BEHIND4(i, Z0, z0, Z1, z1, Z2, z2, Z3, z3, spread) \
	BEHIND(i, Z0, z0, 0, 1, 2) \
	BEHIND(i+1, Z1, z1, 3, 4, 5) \
	FADDP4(3, 0, 0) \
	FADDP4(4, 1, 1) \
	FADDP4(5, 2, 2) \
	BEHIND(i+2, Z2, z2, 3, 4, 5) \
	BEHIND(i+3, Z3, z3, 6, 7, 8) \
	FADDP4(6, 3, 3) \
	FADDP4(7, 4, 4) \
	FADDP4(8, 5, 5) \
	FADDP4(3, 0, 0) \
	FADDP4(4, 1, 1) \
	FADDP4(5, 2, 2) \
	FDIV4(0, 30, 0) \
	FMUL4(0, 1, 1) \
	FMUL4(0, 2, 2) \
	FMUL4(1, 1, 3) \
	FSUB4(3, 2, 2) \
	FADD4(2, spread, spread) \
	FADD4(15, 1, 1) \
	FMOVQ F1, (4*(i))(R4)

// func behindLanes(back, forward *[4]float32, entries *uint16, table *belief, levels *float32, spread *[coders]float32, groups int)
TEXT ·behindLanes(SB), NOSPLIT, $0-56
	MOVD back+0(FP), R0
	MOVD forward+8(FP), R1
	MOVD entries+16(FP), R2
	MOVD table+24(FP), R3
	MOVD levels+32(FP), R4
	MOVW $0x3f800000, R7 // 1
	VDUP R7, V30.S4
	MOVW $0x3fa00000, R7 // 1.25, the pilot's level
	VDUP R7, V15.S4
	VEOR V28.B16, V28.B16, V28.B16
	VEOR V29.B16, V29.B16, V29.B16
	VEOR V31.B16, V31.B16, V31.B16
	LOADSTATES(R0)
	MOVD $levelPairs<>(SB), R8
	MOVD groups+48(FP), R5
	SUB  $1, R5
	MOVD $24, R7
	MUL  R5, R7
	ADD  R7, R2
	ADD  R7<<1, R4
	ADD  R7<<3, R1

behindloop:
	BEHIND4(0, V16.S4, 16, V17.S4, 17, V18.S4, 18, V19.S4, 19, 28)
	BEHIND4(4, V20.S4, 20, V21.S4, 21, V22.S4, 22, V23.S4, 23, 29)
	BEHIND4(8, V24.S4, 24, V25.S4, 25, V26.S4, 26, V27.S4, 27, 31)
	AND  $3, R5, R7
	CMP  $3, R7
	BNE  behindnext
	LEVELALL

behindnext:
	SUB  $48, R4
	SUB  $24, R2
	SUB  $192, R1
	SUBS $1, R5
	BPL  behindloop
	STORESTATES(R0)
	MOVD spread+40(FP), R0
	FSTPQ (F28, F29), (R0)
	FMOVQ F31, 32(R0)
	RET

// GLANCE leaves in m what the level's mean of symbol i is made of, from the states
// before it in A, a, and what its entry says in V0, for AFTER.
#define GLANCE(i, A, a, m) \
	TABLE(i) \
	FLDPQ (R7), (F0, F4) \
	VEXT  $8, A, A, V5.B16 \
	FADD4(5, a, 5) \
	FMUL4(5, 4, m)

// func glanceLanes(states, forward *[4]float32, entries *uint16, table *belief, out *complex64, soft, quadrature *float32, cos, sin, pilot float32) (lean float32)
TEXT ·glanceLanes(SB), NOSPLIT, $0-76
	MOVD states+0(FP), R0
	MOVD forward+8(FP), R1
	MOVD entries+16(FP), R2
	MOVD table+24(FP), R3
	MOVD out+32(FP), R4
	MOVD soft+40(FP), R5
	MOVD quadrature+48(FP), R6
	ENTRYCONSTANTS
	FMOVS cos+56(FP), F13
	FMOVS sin+60(FP), F14
	FMOVS pilot+64(FP), F15
	VDUP  V15.S[0], V15.S4
	MOVW  $0x3f800000, R7 // 1
	VDUP  R7, V30.S4
	MOVD  $evenOdd<>(SB), R7
	VLD1  (R7), [V31.B16]
	VEOR  V27.B16, V27.B16, V27.B16
	MOVD  $3, R8

glancefour:
	VLD2.P 32(R4), [V4.S4, V5.S4]
	FMUL1(13, 0, 4, 6)
	FMUL1(14, 0, 5, 7)
	FMUL1(13, 0, 5, 28)
	FMUL1(14, 0, 4, 29)
	FSUB4(7, 6, 6)
	FADD4(29, 28, 29) // the imaginary parts
	FSUB4(15, 6, 28)  // the soft symbols
	FMOVQ.P F28, 16(R5)
	FMOVQ.P F29, 16(R6)
	VMOV  V28.B16, V0.B16
	ENTRY(0)
	VUZP1 V0.H8, V0.H8, V0.H8
	FMOVD F0, (R2)
	FLDPQ (R0), (F16, F17)
	FLDPQ 32(R0), (F18, F19)
	FSTPQ (F16, F17), (R1)
	FSTPQ (F18, F19), 32(R1)
	GLANCE(0, V16.B16, 16, 20)
	AFTER(V16.S4, 16)
	GLANCE(1, V17.B16, 17, 21)
	AFTER(V17.S4, 17)
	GLANCE(2, V18.B16, 18, 22)
	AFTER(V18.S4, 18)
	GLANCE(3, V19.B16, 19, 23)
	AFTER(V19.S4, 19)
	FADDP4(17, 16, 0)
	FADDP4(19, 18, 1)
	FADDP4(1, 0, 0)
	FADDP4(21, 20, 2)
	FADDP4(23, 22, 3)
	FADDP4(3, 2, 2)
	FDIV4(0, 30, 0)
	FMUL4(0, 2, 2)
	FMUL1(0, 0, 16, 16)
	FMUL1(0, 1, 17, 17)
	FMUL1(0, 2, 18, 18)
	FMUL1(0, 3, 19, 19)
	FSTPQ (F16, F17), (R0)
	FSTPQ (F18, F19), 32(R0)
	FSUB4(2, 28, 28)
	FMUL4(29, 28, 28)
	FADD4(28, 27, 27)
	ADD  $64, R0
	ADD  $64, R1
	ADD  $8, R2
	SUBS $1, R8
	BNE  glancefour

	FADDP4(27, 27, 27)
	FADDP4(27, 27, 27)
	FMOVS F27, lean+72(FP)
	RET
