#include "textflag.h"
#include "neon_arm64.h"

// A row is 64 bytes: eight real parts, then the eight imaginary parts, one
// lane for each of eight transforms (or of eight parts of one). A register
// holds four lanes, so that a row takes four. Only load8, join8 and the end of
// dot8 move values across lanes. Strides and counts are in rows. All rounds as
// lanes_amd64.s does.

// TRANSPOSE turns the columns of four registers into their rows. It uses
// V24…V27.
#define TRANSPOSE(A, B, C, D, P, Q, R, S) \
	VTRN1 B, A, V24.S4 \
	VTRN2 B, A, V25.S4 \
	VTRN1 D, C, V26.S4 \
	VTRN2 D, C, V27.S4 \
	VTRN1 V26.D2, V24.D2, P \
	VTRN1 V27.D2, V25.D2, Q \
	VTRN2 V26.D2, V24.D2, R \
	VTRN2 V27.D2, V25.D2, S

// WINDOWED multiplies four values of each of four rows, real and imaginary
// parts, by the rows' window in V16 and stores them at DST, 64 bytes apart.
#define WINDOWED(DST, im) \
	FMUL1(16, 0, 0, 0) \
	FMUL1(16, 1, 2, 2) \
	FMUL1(16, 2, 4, 4) \
	FMUL1(16, 3, 6, 6) \
	FMUL1(16, 0, 1, 1) \
	FMUL1(16, 1, 3, 3) \
	FMUL1(16, 2, 5, 5) \
	FMUL1(16, 3, 7, 7) \
	FMOVQ F0, (DST) \
	FMOVQ F1, im(DST) \
	FMOVQ F2, 64(DST) \
	FMOVQ F3, (64+im)(DST) \
	FMOVQ F4, 128(DST) \
	FMOVQ F5, (128+im)(DST) \
	FMOVQ F6, 192(DST) \
	FMOVQ F7, (192+im)(DST)

// SEGMENTS4 loads the next four samples of four segments and leaves real and
// imaginary parts of sample t of all four in V(2t), V(2t+1).
#define SEGMENTS4(A, B, C, D) \
	VLD2.P 32(A), [V0.S4, V1.S4] \
	VLD2.P 32(B), [V2.S4, V3.S4] \
	VLD2.P 32(C), [V4.S4, V5.S4] \
	VLD2.P 32(D), [V6.S4, V7.S4] \
	TRANSPOSE(V0.S4, V2.S4, V4.S4, V6.S4, V0.D2, V2.D2, V4.D2, V6.D2) \
	TRANSPOSE(V1.S4, V3.S4, V5.S4, V7.S4, V1.D2, V3.D2, V5.D2, V7.D2)

// func load8(out *float32, src *complex64, hop int, window *float32, count int)
// Row t, for t < count, a multiple of 4, gets src[t+s·hop]·window[t] in lane s.
TEXT ·load8(SB), NOSPLIT, $0-40
	MOVD out+0(FP), R0
	MOVD src+8(FP), R1
	MOVD hop+16(FP), R9
	MOVD window+24(FP), R10
	MOVD count+32(FP), R11
	LSL  $3, R9
	ADD  R9, R1, R2
	ADD  R9, R2, R3
	ADD  R9, R3, R4
	ADD  R9, R4, R5
	ADD  R9, R5, R6
	ADD  R9, R6, R7
	ADD  R9, R7, R8
	ADD  $16, R0, R12

load8loop:
	VLD1.P 16(R10), [V16.S4]
	SEGMENTS4(R1, R2, R3, R4)
	WINDOWED(R0, 32)
	SEGMENTS4(R5, R6, R7, R8)
	WINDOWED(R12, 32)
	ADD  $256, R0
	ADD  $256, R12
	SUBS $4, R11
	BGT  load8loop
	RET

// QUARTET transforms four values of rows a, b, c, d and leaves 0 in dr, di, 1 in
// t, u, 2 in x, y and 3 in v, w.
#define QUARTET(ar, ai, br, bi, cr, ci, dr, di, t, u, v, w, x, y) \
	FADD4(cr, ar, t) \
	FADD4(ci, ai, u) \
	FSUB4(cr, ar, ar) \
	FSUB4(ci, ai, ai) \
	FADD4(dr, br, v) \
	FADD4(di, bi, w) \
	FSUB4(dr, br, br) \
	FSUB4(di, bi, bi) \
	FADD4(v, t, dr) \
	FADD4(w, u, di) \
	FSUB4(v, t, x) \
	FSUB4(w, u, y) \
	FADD4(bi, ar, t) \
	FSUB4(br, ai, u) \
	FSUB4(bi, ar, v) \
	FADD4(br, ai, w)

// BUTTERFLY4 leaves 0 in dr, di, 1 in V16, V17, 2 in V20, V21, 3 in V18, V19.
#define BUTTERFLY4(ar, ai, br, bi, cr, ci, dr, di) \
	QUARTET(ar, ai, br, bi, cr, ci, dr, di, 16, 17, 18, 19, 20, 21)

// TURN multiplies re, im by the complex number at i of w, whose negative is in
// v, and leaves the product in r, s.
#define TURN(re, im, w, v, i, r, s) \
	FMUL1(v, i+1, im, r) \
	FMUL1(w, i+1, re, s) \
	FMLA1(w, i, re, r) \
	FMLA1(w, i, im, s)

// LOAD4 loads the rows at R1, R2, R3 and R4.
#define LOAD4 \
	FLDPQ (R1), (F0, F1) \
	FLDPQ 32(R1), (F2, F3) \
	FLDPQ (R2), (F4, F5) \
	FLDPQ 32(R2), (F6, F7) \
	FLDPQ (R3), (F8, F9) \
	FLDPQ 32(R3), (F10, F11) \
	FLDPQ (R4), (F12, F13) \
	FLDPQ 32(R4), (F14, F15)

// func radix4(out, in *float32, outStride, inStride int, twiddle *complex64, count, groups int)
// One pass by decimation in frequency: in each group, for j < count, rows j,
// j+stride, j+2·stride and j+3·stride are transformed and multiplied by 1 and
// the three twiddles at 3j. A group takes four strides.
TEXT ·radix4(SB), NOSPLIT, $0-56
	MOVD out+0(FP), R5
	MOVD in+8(FP), R1
	MOVD outStride+16(FP), R9
	MOVD inStride+24(FP), R10
	MOVD twiddle+32(FP), R11
	MOVD count+40(FP), R12
	MOVD groups+48(FP), R13
	LSL  $6, R9
	LSL  $6, R10

radix4group:
	MOVD R11, R14
	MOVD R12, R15
	ADD  R10, R1, R2
	ADD  R10, R2, R3
	ADD  R10, R3, R4
	ADD  R9, R5, R6
	ADD  R9, R6, R7
	ADD  R9, R7, R8

radix4loop:
	LOAD4
	FMOVQ (R14), F24
	FMOVD 16(R14), F25
	FNEG4(24, 26)
	FNEG4(25, 27)
	BUTTERFLY4(0, 2, 4, 6, 8, 10, 12, 14)
	TURN(16, 17, 24, 26, 0, 0, 2)
	TURN(20, 21, 24, 26, 2, 8, 10)
	TURN(18, 19, 25, 27, 0, 4, 6)
	BUTTERFLY4(1, 3, 5, 7, 9, 11, 13, 15)
	TURN(16, 17, 24, 26, 0, 1, 3)
	TURN(20, 21, 24, 26, 2, 9, 11)
	TURN(18, 19, 25, 27, 0, 5, 7)
	FSTPQ (F12, F13), (R5)
	FSTPQ (F14, F15), 32(R5)
	FSTPQ (F0, F1), (R6)
	FSTPQ (F2, F3), 32(R6)
	FSTPQ (F8, F9), (R7)
	FSTPQ (F10, F11), 32(R7)
	FSTPQ (F4, F5), (R8)
	FSTPQ (F6, F7), 32(R8)
	ADD  $64, R1
	ADD  $64, R2
	ADD  $64, R3
	ADD  $64, R4
	ADD  $64, R5
	ADD  $64, R6
	ADD  $64, R7
	ADD  $64, R8
	ADD  $24, R14
	SUBS $1, R15
	BNE  radix4loop

	// The last rows' ends are where the next group begins.
	MOVD R4, R1
	MOVD R8, R5
	SUBS $1, R13
	BNE  radix4group
	RET

// PAIR leaves the sum of the rows in V0…V3 and V4…V7 in V8…V11 and their
// difference in V12…V15.
#define PAIR \
	FADD4(4, 0, 8) \
	FADD4(5, 1, 9) \
	FADD4(6, 2, 10) \
	FADD4(7, 3, 11) \
	FSUB4(4, 0, 12) \
	FSUB4(5, 1, 13) \
	FSUB4(6, 2, 14) \
	FSUB4(7, 3, 15)

// func radix2(rows *float32, groups int)
// The last pass of an odd power of two: pairs become their sum and difference.
TEXT ·radix2(SB), NOSPLIT, $0-16
	MOVD rows+0(FP), R0
	MOVD groups+8(FP), R1

radix2loop:
	FLDPQ (R0), (F0, F1)
	FLDPQ 32(R0), (F2, F3)
	FLDPQ 64(R0), (F4, F5)
	FLDPQ 96(R0), (F6, F7)
	PAIR
	FSTPQ (F8, F9), (R0)
	FSTPQ (F10, F11), 32(R0)
	FSTPQ (F12, F13), 64(R0)
	FSTPQ (F14, F15), 96(R0)
	ADD  $128, R0
	SUBS $1, R1
	BNE  radix2loop
	RET

// POWER adds re² + im² to four sums.
#define POWER(re, im, s) \
	FMLA4(re, re, s) \
	FMLA4(im, im, s)

// func power4(sums, rows *float32, groups int)
// The last radix-4 pass, whose results go no farther than into sums, eight of
// them for each row.
TEXT ·power4(SB), NOSPLIT, $0-24
	MOVD sums+0(FP), R0
	MOVD rows+8(FP), R1
	MOVD groups+16(FP), R5

power4loop:
	ADD  $64, R1, R2
	ADD  $128, R1, R3
	ADD  $192, R1, R4
	LOAD4
	FLDPQ (R0), (F24, F25)
	FLDPQ 32(R0), (F26, F27)
	FLDPQ 64(R0), (F28, F29)
	FLDPQ 96(R0), (F30, F31)
	BUTTERFLY4(0, 2, 4, 6, 8, 10, 12, 14)
	POWER(12, 14, 24)
	POWER(16, 17, 26)
	POWER(20, 21, 28)
	POWER(18, 19, 30)
	BUTTERFLY4(1, 3, 5, 7, 9, 11, 13, 15)
	POWER(13, 15, 25)
	POWER(16, 17, 27)
	POWER(20, 21, 29)
	POWER(18, 19, 31)
	FSTPQ (F24, F25), (R0)
	FSTPQ (F26, F27), 32(R0)
	FSTPQ (F28, F29), 64(R0)
	FSTPQ (F30, F31), 96(R0)
	ADD  $256, R1
	ADD  $128, R0
	SUBS $1, R5
	BNE  power4loop
	RET

// func power2(sums, rows *float32, groups int)
// power4 for the pairs of an odd power of two.
TEXT ·power2(SB), NOSPLIT, $0-24
	MOVD sums+0(FP), R0
	MOVD rows+8(FP), R1
	MOVD groups+16(FP), R2

power2loop:
	FLDPQ (R1), (F0, F1)
	FLDPQ 32(R1), (F2, F3)
	FLDPQ 64(R1), (F4, F5)
	FLDPQ 96(R1), (F6, F7)
	FLDPQ (R0), (F24, F25)
	FLDPQ 32(R0), (F26, F27)
	PAIR
	POWER(8, 10, 24)
	POWER(9, 11, 25)
	POWER(12, 14, 26)
	POWER(13, 15, 27)
	FSTPQ (F24, F25), (R0)
	FSTPQ (F26, F27), 32(R0)
	ADD  $128, R1
	ADD  $64, R0
	SUBS $1, R2
	BNE  power2loop
	RET

// func loadRow(out *float32, src *complex64, flip uint32, count int)
// Row t gets src[8t…8t+7], one in each lane, the signs of the imaginary parts
// turned by flip.
TEXT ·loadRow(SB), NOSPLIT, $0-32
	MOVD  out+0(FP), R0
	MOVD  src+8(FP), R1
	MOVWU flip+16(FP), R2
	MOVD  count+24(FP), R3
	VDUP  R2, V16.S4

loadRowLoop:
	VLD2.P 32(R1), [V0.S4, V1.S4]
	VLD2.P 32(R1), [V2.S4, V3.S4]
	VEOR   V16.B16, V1.B16, V1.B16
	VEOR   V16.B16, V3.B16, V3.B16
	FSTPQ  (F0, F2), (R0)
	FSTPQ  (F1, F3), 32(R0)
	ADD    $64, R0
	SUBS   $1, R3
	BNE    loadRowLoop
	RET

// TWIST multiplies four frequencies of a lane, re and im, by their twiddles at
// byte w of R3. The product's real part goes to spare, the imaginary one to re,
// and im is the next to spare.
#define TWIST(w, re, im, spare) \
	FMOVQ w(R3), F16 \
	FMOVQ (w+32)(R3), F17 \
	FMUL4(17, im, spare) \
	FNEG4(spare, spare) \
	FMLA4(16, re, spare) \
	FMUL4(17, re, re) \
	FMLA4(16, im, re)

// STORE4 interleaves four real parts in V28 and imaginary ones in V29, whose
// signs are turned by V31, into complex numbers at DST.
#define STORE4(DST) \
	VEOR V31.B16, V29.B16, V29.B16 \
	VST2.P [V28.S4, V29.S4], 32(DST)

// OCTET stores row q of the even lanes, er, ei, plus and minus that of the odd.
#define OCTET(er, ei, re, im, PLUS, MINUS) \
	FADD4(re, er, 28) \
	FADD4(im, ei, 29) \
	STORE4(PLUS) \
	FSUB4(re, er, 28) \
	FSUB4(im, ei, 29) \
	STORE4(MINUS)

// ROW leaves in AT where the row is that the next of the order says.
#define ROW(AT) \
	MOVW.P 4(R2), AT \
	ADD    AT<<6, R1, AT

// func join8(dst *complex64, stride int, rows *float32, order *int32, twiddle, scratch *float32, flip uint32, groups int)
// Puts one transform together from the transforms of its eight decimated
// parts, which lie in the lanes: for four frequencies k at a time, found in
// rows order[k], lane l is multiplied by its twiddle and the eight lanes are
// transformed; result q goes to dst[k+q·stride]. The signs of the imaginary
// parts are turned by flip. There are registers enough to do without scratch.
TEXT ·join8(SB), NOSPLIT, $0-64
	MOVD  dst+0(FP), R4
	MOVD  stride+8(FP), R0
	MOVD  rows+16(FP), R1
	MOVD  order+24(FP), R2
	MOVD  twiddle+32(FP), R3
	MOVWU flip+48(FP), R12
	MOVD  groups+56(FP), R16
	LSL   $3, R0
	ADD   R0, R4, R5
	ADD   R0, R5, R6
	ADD   R0, R6, R7
	ADD   R0, R7, R8
	ADD   R0, R8, R9
	ADD   R0, R9, R10
	ADD   R0, R10, R11
	VDUP  R12, V31.S4
	MOVD  $0x3f3504f3, R12 // 1/√2
	VDUP  R12, V30.S4
	LSL   $1, R16
	MOVD  $16, R17 // from the first four of eight twiddles to the second; 432 to the next eight

join8half:
	ROW(R12)
	ROW(R13)
	ROW(R14)
	ROW(R15)
	FLDPQ (R12), (F0, F8)
	FLDPQ 32(R12), (F1, F9)
	FLDPQ (R13), (F2, F10)
	FLDPQ 32(R13), (F3, F11)
	FLDPQ (R14), (F4, F12)
	FLDPQ 32(R14), (F5, F13)
	FLDPQ (R15), (F6, F14)
	FLDPQ 32(R15), (F7, F15)
	TRANSPOSE(V0.S4, V2.S4, V4.S4, V6.S4, V0.D2, V2.D2, V4.D2, V6.D2)
	TRANSPOSE(V1.S4, V3.S4, V5.S4, V7.S4, V1.D2, V3.D2, V5.D2, V7.D2)
	TRANSPOSE(V8.S4, V10.S4, V12.S4, V14.S4, V8.D2, V10.D2, V12.D2, V14.D2)
	TRANSPOSE(V9.S4, V11.S4, V13.S4, V15.S4, V9.D2, V11.D2, V13.D2, V15.D2)
	TWIST(0, 2, 3, 28)
	TWIST(64, 4, 5, 3)
	TWIST(128, 6, 7, 5)
	TWIST(192, 8, 9, 7)
	TWIST(256, 10, 11, 9)
	TWIST(320, 12, 13, 11)
	TWIST(384, 14, 15, 13)
	QUARTET(0, 1, 3, 4, 7, 8, 11, 12, 16, 17, 18, 19, 20, 21)
	QUARTET(28, 2, 5, 6, 9, 10, 13, 14, 22, 23, 24, 25, 26, 27)

	// Row q of the odd lanes times e^{−j2πq/8}: row 1 by (1−j)/√2, row 3 by
	// −(1+j)/√2, row 2 by −j, so that its parts change places.
	VEOR V29.B16, V29.B16, V29.B16
	FADD4(22, 23, 0)
	FSUB4(22, 23, 1)
	FMUL4(30, 0, 22)
	FMUL4(30, 1, 23)
	FSUB4(24, 25, 0)
	FADD4(24, 25, 1)
	FMUL4(30, 0, 24)
	FMUL4(30, 1, 25)
	FSUB4(25, 29, 25)
	FSUB4(26, 29, 26)

	OCTET(11, 12, 13, 14, R4, R8)
	OCTET(16, 17, 22, 23, R5, R9)
	OCTET(20, 21, 27, 26, R6, R10)
	OCTET(18, 19, 24, 25, R7, R11)
	ADD  R17, R3
	EOR  $(16^432), R17
	SUBS $1, R16
	BNE  join8half
	RET

DATA evenSigns<>+0(SB)/8, $0x0000000080000000
DATA evenSigns<>+8(SB)/8, $0x0000000080000000
GLOBL evenSigns<>(SB), RODATA|NOPTR, $16

// func dot8(x *complex64, taps *float32, count int) complex64
// Σ x[i]·h[i] for i < count, a multiple of 8. The taps h are stored for each
// four as four real parts, every one twice, then the imaginary ones.
TEXT ·dot8(SB), NOSPLIT, $0-32
	MOVD x+0(FP), R0
	MOVD taps+8(FP), R1
	MOVD count+16(FP), R2
	VEOR V0.B16, V0.B16, V0.B16
	VEOR V1.B16, V1.B16, V1.B16
	VEOR V2.B16, V2.B16, V2.B16
	VEOR V3.B16, V3.B16, V3.B16
	VEOR V4.B16, V4.B16, V4.B16
	VEOR V5.B16, V5.B16, V5.B16
	VEOR V6.B16, V6.B16, V6.B16
	VEOR V7.B16, V7.B16, V7.B16

dot8loop:
	FLDPQ (R0), (F8, F9)
	FLDPQ 32(R0), (F10, F11)
	FLDPQ (R1), (F16, F17)
	FLDPQ 32(R1), (F18, F19)
	FLDPQ 64(R1), (F20, F21)
	FLDPQ 96(R1), (F22, F23)
	FMLA4(16, 8, 0)
	FMLA4(17, 9, 1)
	FMLA4(18, 8, 2)
	FMLA4(19, 9, 3)
	FMLA4(20, 10, 4)
	FMLA4(21, 11, 5)
	FMLA4(22, 10, 6)
	FMLA4(23, 11, 7)
	ADD  $64, R0
	ADD  $128, R1
	SUBS $8, R2
	BGT  dot8loop

	// V0, V1 have Σ re·h.re, im·h.re alternating; V2, V3 have Σ re·h.im, im·h.im.
	FADD4(4, 0, 0)
	FADD4(5, 1, 1)
	FADD4(6, 2, 2)
	FADD4(7, 3, 3)
	MOVD  $evenSigns<>(SB), R3
	VLD1  (R3), [V16.B16]
	VREV64 V2.S4, V2.S4
	VREV64 V3.S4, V3.S4
	VEOR  V16.B16, V2.B16, V2.B16
	VEOR  V16.B16, V3.B16, V3.B16
	FADD4(2, 0, 0)
	FADD4(3, 1, 1)
	FADD4(1, 0, 0)
	VEXT  $8, V0.B16, V0.B16, V1.B16
	FADD4(1, 0, 0)
	FMOVD F0, ret+24(FP)
	RET
