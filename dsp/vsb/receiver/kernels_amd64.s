#include "textflag.h"

// func readLanes(dst, x *complex64, table *interpolator, position, advance int64, count int)
// Sixteen taps for each; position is that of the first of them, in units of 2⁻³².
TEXT ·readLanes(SB), NOSPLIT, $0-48
	MOVQ dst+0(FP), DI
	MOVQ x+8(FP), SI
	MOVQ table+16(FP), DX
	MOVQ position+24(FP), R8
	MOVQ advance+32(FP), R9
	MOVQ count+40(FP), CX
	MOVL $0x33000000, AX // 2⁻²⁵
	MOVQ AX, X15

readloop:
	MOVL  R8, R10
	MOVL  R10, R11
	SHRL  $25, R10
	SHLQ  $7, R10          // a row is 128 bytes
	ADDQ  DX, R10
	ANDL  $0x1ffffff, R11
	VCVTSI2SSL R11, X15, X0
	VMULSS X15, X0, X0
	VBROADCASTSS X0, Y0
	MOVQ  R8, R12
	SARQ  $32, R12
	LEAQ  (SI)(R12*8), R12

	VMOVUPS     64(R10), Y1
	VMOVUPS     96(R10), Y2
	VFMADD213PS (R10), Y0, Y1   // taps 0 1 4 5 2 3 6 7
	VFMADD213PS 32(R10), Y0, Y2
	VUNPCKLPS   Y1, Y1, Y3      // 0 0 1 1 2 2 3 3
	VUNPCKHPS   Y1, Y1, Y4      // 4 4 5 5 6 6 7 7
	VUNPCKLPS   Y2, Y2, Y5
	VUNPCKHPS   Y2, Y2, Y6
	VMULPS      (R12), Y3, Y3
	VMULPS      32(R12), Y4, Y4
	VFMADD231PS 64(R12), Y5, Y3
	VFMADD231PS 96(R12), Y6, Y4
	VADDPS      Y4, Y3, Y3
	VEXTRACTF128 $1, Y3, X4
	VADDPS      X4, X3, X3
	VMOVHLPS    X3, X3, X4
	VADDPS      X4, X3, X3
	VMOVLPS     X3, (DI)

	ADDQ $8, DI
	ADDQ R9, R8
	DECQ CX
	JNZ  readloop
	VZEROUPPER
	RET
