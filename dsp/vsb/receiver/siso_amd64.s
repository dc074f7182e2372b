#include "textflag.h"

// Eight values hold the four states of two coders, those of symbols 2i and 2i+1 of a
// group of twelve; six such pairs make a group. Nothing is fused, so that the results
// are those of the plain code to the last bit.

// For each coset, by twos: the sum of its two levels, and their product.
DATA levelSums<>+0(SB)/8, $0xc0000000c0c00000
DATA levelSums<>+8(SB)/8, $0x40c0000040000000
DATA levelSums<>+16(SB)/8, $0xc0000000c0c00000
DATA levelSums<>+24(SB)/8, $0x40c0000040000000
GLOBL levelSums<>(SB), RODATA|NOPTR, $32
DATA levelProducts<>+0(SB)/8, $0xc1700000c0e00000
DATA levelProducts<>+8(SB)/8, $0xc0e00000c1700000
DATA levelProducts<>+16(SB)/8, $0xc1700000c0e00000
DATA levelProducts<>+24(SB)/8, $0xc0e00000c1700000
GLOBL levelProducts<>(SB), RODATA|NOPTR, $32

// What makes entries of soft symbols: beliefSteps, beliefLimit·beliefSteps, ½ and
// beliefCount−1, four times each.
DATA entryScale<>+0(SB)/8, $0x4200000042000000
DATA entryScale<>+8(SB)/8, $0x4200000042000000
DATA entryScale<>+16(SB)/8, $0x43a0000043a00000
DATA entryScale<>+24(SB)/8, $0x43a0000043a00000
DATA entryScale<>+32(SB)/8, $0x3f0000003f000000
DATA entryScale<>+40(SB)/8, $0x3f0000003f000000
DATA entryScale<>+48(SB)/8, $0x4420000044200000
DATA entryScale<>+56(SB)/8, $0x4420000044200000
GLOBL entryScale<>(SB), RODATA|NOPTR, $64

#define ENTRIES(i) \
	MOVWLZX (4*i)(DX), AX \
	MOVWLZX (4*i+2)(DX), CX \
	SHLQ    $5, AX \
	SHLQ    $5, CX

#define AHEAD(i, STATES) \
	ENTRIES(i) \
	VMOVUPS     (BX)(AX*1), X6 \
	VINSERTF128 $1, (BX)(CX*1), Y6, Y6 \
	VMOVUPS     STATES, (32*i)(SI) \
	VUNPCKLPS   STATES, STATES, Y7 \
	VUNPCKHPS   STATES, STATES, Y8 \
	VPERMILPS   $0xd8, Y6, Y9 \
	VPERMILPS   $0x72, Y6, Y6 \
	VMULPS      Y9, Y7, Y7 \
	VMULPS      Y6, Y8, Y8 \
	VADDPS      Y8, Y7, STATES

// Divides by the sum; ones are in Y10.
#define LEVEL(STATES) \
	VHADDPS STATES, STATES, Y6 \
	VHADDPS Y6, Y6, Y6 \
	VDIVPS  Y6, Y10, Y6 \
	VMULPS  Y6, STATES, STATES

// func aheadLanes(states, forward *[4]float32, entries *uint16, table *belief, soft *float32, groups int)
TEXT ·aheadLanes(SB), NOSPLIT, $0-48
	MOVQ states+0(FP), DI
	MOVQ forward+8(FP), SI
	MOVQ entries+16(FP), DX
	MOVQ table+24(FP), BX
	MOVQ soft+32(FP), R8
	MOVQ groups+40(FP), R11
	MOVL $0x42000000, AX // 32, beliefSteps
	VMOVQ AX, X15
	VBROADCASTSS X15, Y15
	MOVL $0x43a00000, AX // 320, beliefLimit·beliefSteps
	VMOVQ AX, X14
	VBROADCASTSS X14, Y14
	MOVL $0x3f000000, AX // ½
	VMOVQ AX, X13
	VBROADCASTSS X13, Y13
	MOVL $0x44200000, AX // 640, beliefCount−1
	VMOVQ AX, X12
	VBROADCASTSS X12, Y12
	VXORPS Y11, Y11, Y11
	MOVL $0x3f800000, AX // 1
	VMOVQ AX, X10
	VBROADCASTSS X10, Y10
	VMOVUPS (DI), Y0
	VMOVUPS 32(DI), Y1
	VMOVUPS 64(DI), Y2
	VMOVUPS 96(DI), Y3
	VMOVUPS 128(DI), Y4
	VMOVUPS 160(DI), Y5
	XORL R9, R9

aheadloop:
	VMULPS       (R8), Y15, Y6
	VMULPS       32(R8), X15, X7
	VADDPS       Y14, Y6, Y6
	VADDPS       X14, X7, X7
	VADDPS       Y13, Y6, Y6
	VADDPS       X13, X7, X7
	VMAXPS       Y11, Y6, Y6   // what is no number becomes 0
	VMAXPS       X11, X7, X7
	VMINPS       Y12, Y6, Y6
	VMINPS       X12, X7, X7
	VCVTTPS2DQ   Y6, Y6
	VCVTTPS2DQ   X7, X7
	VEXTRACTI128 $1, Y6, X8
	VPACKUSDW    X8, X6, X6
	VPACKUSDW    X7, X7, X7
	VMOVDQU      X6, (DX)
	VMOVQ        X7, 16(DX)
	AHEAD(0, Y0)
	AHEAD(1, Y1)
	AHEAD(2, Y2)
	AHEAD(3, Y3)
	AHEAD(4, Y4)
	AHEAD(5, Y5)
	MOVL R9, AX
	ANDL $3, AX
	CMPL AX, $3
	JNE  aheadnext
	LEVEL(Y0)
	LEVEL(Y1)
	LEVEL(Y2)
	LEVEL(Y3)
	LEVEL(Y4)
	LEVEL(Y5)

aheadnext:
	ADDQ $48, R8
	ADDQ $24, DX
	ADDQ $192, SI
	INCL R9
	CMPQ R9, R11
	JNE  aheadloop
	VMOVUPS Y0, (DI)
	VMOVUPS Y1, 32(DI)
	VMOVUPS Y2, 64(DI)
	VMOVUPS Y3, 96(DI)
	VMOVUPS Y4, 128(DI)
	VMOVUPS Y5, 160(DI)
	VZEROUPPER
	RET

// Leaves what a pair's four cosets give to likely, level and square in L, M and S.
#define BEHIND(i, L, M, S, MX) \
	ENTRIES(i) \
	VMOVUPS     (32*i)(DI), Y6 \
	VPERMILPS   $0x88, Y6, Y7 \
	VPERMILPS   $0xdd, Y6, Y6 \
	VMOVUPS     (32*i)(SI), Y8 \
	VPERMILPS   $0x4e, Y8, Y9 \
	VMULPS      Y7, Y8, Y8 \
	VMULPS      Y6, Y9, Y9 \
	VADDPS      Y9, Y8, Y8 \
	VMOVUPS     (BX)(AX*1), X10 \
	VINSERTF128 $1, (BX)(CX*1), Y10, Y10 \
	VPERMILPS   $0x4e, Y10, Y11 \
	VMULPS      Y7, Y10, Y7 \
	VMULPS      Y6, Y11, Y11 \
	VADDPS      Y11, Y7, Y7 \
	VMOVUPS     Y7, (32*i)(DI) \
	VMULPS      Y10, Y8, L \
	VMOVUPS     16(BX)(AX*1), MX \
	VINSERTF128 $1, 16(BX)(CX*1), M, M \
	VMULPS      M, Y8, M \
	VMULPS      levelSums<>(SB), M, Y11 \
	VMULPS      levelProducts<>(SB), L, Y10 \
	VSUBPS      Y10, Y11, S

// Makes means of the sums in Y0, Y1 and Y2 and adds the variances to SPREAD.
#define MEANS(SPREAD) \
	VDIVPS Y0, Y15, Y0 \
	VMULPS Y0, Y1, Y1 \
	VMULPS Y0, Y2, Y2 \
	VMULPS Y1, Y1, Y3 \
	VSUBPS Y3, Y2, Y2 \
	VADDPS Y2, SPREAD, SPREAD \
	VADDPS Y12, Y1, Y1 \
	VEXTRACTF128 $1, Y1, X2 \
	VUNPCKLPS X2, X1, X3 \
	VUNPCKHPS X2, X1, X4

#define LEVELBACK(i) \
	VMOVUPS (32*i)(DI), Y7 \
	VHADDPS Y7, Y7, Y6 \
	VHADDPS Y6, Y6, Y6 \
	VDIVPS  Y6, Y15, Y6 \
	VMULPS  Y6, Y7, Y7 \
	VMOVUPS Y7, (32*i)(DI)

// func behindLanes(back, forward *[4]float32, entries *uint16, table *belief, levels *float32, spread *[16]float32, groups int)
// The sums of variances are those of symbols 0 2 4 6 1 3 5 7, 8 10 – – 9 11 – –.
TEXT ·behindLanes(SB), NOSPLIT, $0-56
	MOVQ back+0(FP), DI
	MOVQ forward+8(FP), SI
	MOVQ entries+16(FP), DX
	MOVQ table+24(FP), BX
	MOVQ levels+32(FP), R8
	MOVL $0x3f800000, AX // 1
	VMOVQ AX, X15
	VBROADCASTSS X15, Y15
	MOVL $0x3fa00000, AX // 1.25, the pilot's level
	VMOVQ AX, X12
	VBROADCASTSS X12, Y12
	VXORPS Y14, Y14, Y14
	VXORPS Y13, Y13, Y13
	MOVQ groups+48(FP), R9
	DECQ R9
	IMUL3Q $24, R9, AX
	ADDQ AX, DX
	LEAQ (R8)(AX*2), R8
	LEAQ (SI)(AX*8), SI

behindloop:
	BEHIND(0, Y0, Y1, Y2, X1)
	BEHIND(1, Y3, Y4, Y5, X4)
	VHADDPS Y3, Y0, Y0
	VHADDPS Y4, Y1, Y1
	VHADDPS Y5, Y2, Y2
	BEHIND(2, Y3, Y4, Y5, X4)
	BEHIND(3, Y6, Y7, Y9, X7)
	VHADDPS Y6, Y3, Y3
	VHADDPS Y7, Y4, Y4
	VHADDPS Y9, Y5, Y5
	VHADDPS Y3, Y0, Y0
	VHADDPS Y4, Y1, Y1
	VHADDPS Y5, Y2, Y2
	MEANS(Y14)
	VMOVUPS X3, (R8)
	VMOVUPS X4, 16(R8)
	BEHIND(4, Y0, Y1, Y2, X1)
	BEHIND(5, Y3, Y4, Y5, X4)
	VHADDPS Y3, Y0, Y0
	VHADDPS Y4, Y1, Y1
	VHADDPS Y5, Y2, Y2
	VHADDPS Y0, Y0, Y0
	VHADDPS Y1, Y1, Y1
	VHADDPS Y2, Y2, Y2
	MEANS(Y13)
	VMOVUPS X3, 32(R8)
	MOVL R9, AX
	ANDL $3, AX
	CMPL AX, $3
	JNE  behindnext
	LEVELBACK(0)
	LEVELBACK(1)
	LEVELBACK(2)
	LEVELBACK(3)
	LEVELBACK(4)
	LEVELBACK(5)

behindnext:
	SUBQ $48, R8
	SUBQ $24, DX
	SUBQ $192, SI
	DECL R9
	JGE  behindloop
	MOVQ spread+40(FP), R10
	VMOVUPS Y14, (R10)
	VMOVUPS Y13, 32(R10)
	VZEROUPPER
	RET

// Leaves the states after a pair's symbols in N, and in MEAN what their levels' means
// are made of.
#define GLANCE(i, N, MEAN, MX) \
	ENTRIES(i) \
	VMOVUPS     (32*i)(DI), Y7 \
	VMOVUPS     Y7, (32*i)(SI) \
	VMOVUPS     (BX)(AX*1), X6 \
	VINSERTF128 $1, (BX)(CX*1), Y6, Y6 \
	VMOVUPS     16(BX)(AX*1), MX \
	VINSERTF128 $1, 16(BX)(CX*1), MEAN, MEAN \
	VPERMILPS   $0x4e, Y7, Y8 \
	VADDPS      Y8, Y7, Y8 \
	VMULPS      Y8, MEAN, MEAN \
	VUNPCKLPS   Y7, Y7, Y8 \
	VUNPCKHPS   Y7, Y7, Y7 \
	VPERMILPS   $0xd8, Y6, Y9 \
	VPERMILPS   $0x72, Y6, Y6 \
	VMULPS      Y9, Y8, Y8 \
	VMULPS      Y6, Y7, Y7 \
	VADDPS      Y7, Y8, N

// func glanceLanes(states, forward *[4]float32, entries *uint16, table *belief, out *complex64, soft, quadrature *float32, cos, sin, pilot float32) (lean float32)
TEXT ·glanceLanes(SB), NOSPLIT, $0-76
	MOVQ states+0(FP), DI
	MOVQ forward+8(FP), SI
	MOVQ entries+16(FP), DX
	MOVQ table+24(FP), BX
	MOVQ out+32(FP), R8
	MOVQ soft+40(FP), R9
	MOVQ quadrature+48(FP), R10
	VBROADCASTSS cos+56(FP), Y10
	VBROADCASTSS sin+60(FP), Y11
	VBROADCASTSS pilot+64(FP), X12
	VXORPS       X13, X13, X13
	MOVL         $3, R11

glancefour:
	VMOVUPS      (R8), Y3
	VPERMILPS    $0xb1, Y3, Y4
	VMULPS       Y10, Y3, Y3
	VMULPS       Y11, Y4, Y4
	VADDSUBPS    Y4, Y3, Y3
	VEXTRACTF128 $1, Y3, X4
	VSHUFPS      $0x88, X4, X3, X14
	VSHUFPS      $0xdd, X4, X3, X15
	VSUBPS       X12, X14, X14
	VMOVUPS      X14, (R9)
	VMOVUPS      X15, (R10)

	VXORPS     X4, X4, X4
	VMULPS     entryScale<>+0(SB), X14, X5
	VADDPS     entryScale<>+16(SB), X5, X5
	VADDPS     entryScale<>+32(SB), X5, X5
	VMAXPS     X4, X5, X5 // what is no number becomes 0
	VMINPS     entryScale<>+48(SB), X5, X5
	VCVTTPS2DQ X5, X5
	VPACKUSDW  X5, X5, X5
	VMOVQ      X5, (DX)

	GLANCE(0, Y0, Y1, X1)
	GLANCE(1, Y2, Y3, X3)
	VHADDPS Y2, Y0, Y4
	VHADDPS Y3, Y1, Y5
	VHADDPS Y4, Y4, Y4
	VHADDPS Y5, Y5, Y5
	MOVL $0x3f800000, AX // 1
	VMOVQ AX, X6
	VBROADCASTSS X6, Y6
	VDIVPS Y4, Y6, Y4
	VMULPS Y4, Y5, Y5
	VPERMILPS $0x00, Y4, Y6
	VPERMILPS $0x55, Y4, Y7
	VMULPS  Y6, Y0, Y0
	VMULPS  Y7, Y2, Y2
	VMOVUPS Y0, (DI)
	VMOVUPS Y2, 32(DI)
	VEXTRACTF128 $1, Y5, X6
	VUNPCKLPS X6, X5, X5
	VSUBPS  X5, X14, X14
	VMULPS  X15, X14, X14
	VADDPS  X14, X13, X13
	ADDQ $64, DI
	ADDQ $64, SI
	ADDQ $8, DX
	ADDQ $32, R8
	ADDQ $16, R9
	ADDQ $16, R10
	DECL R11
	JNZ  glancefour

	VHADDPS X13, X13, X13
	VHADDPS X13, X13, X13
	VMOVSS  X13, lean+72(FP)
	VZEROUPPER
	RET
