#include "textflag.h"

// A row is 64 bytes: eight real parts, then the eight imaginary parts, one
// lane for each of eight transforms (or of eight parts of one). All arithmetic
// is between whole rows; only load8, loadRow, join8 and the end of dot8 move
// values across lanes. Strides and counts are in rows.

// COLUMNS turns the columns of Y0…Y3, in either half, into rows: column 0 to
// Y8, 1 to Y9, 2 to Y10, 3 to Y11. It uses Y4…Y7.
#define COLUMNS \
	VUNPCKLPS Y1, Y0, Y4 \
	VUNPCKLPS Y3, Y2, Y5 \
	VUNPCKHPS Y1, Y0, Y6 \
	VUNPCKHPS Y3, Y2, Y7 \
	VUNPCKLPD Y5, Y4, Y8 \
	VUNPCKHPD Y5, Y4, Y9 \
	VUNPCKLPD Y7, Y6, Y10 \
	VUNPCKHPD Y7, Y6, Y11

// SEGMENTS loads the two complex samples at offset o of all eight segments and
// makes two windowed rows of them.
#define SEGMENTS(o) \
	VMOVUPS o(SI), X0 \
	VMOVUPS o(SI)(R8*1), X1 \
	VMOVUPS o(SI)(R8*2), X2 \
	VMOVUPS o(SI)(R9*1), X3 \
	VINSERTF128 $1, o(R10), Y0, Y0 \
	VINSERTF128 $1, o(R10)(R8*1), Y1, Y1 \
	VINSERTF128 $1, o(R10)(R8*2), Y2, Y2 \
	VINSERTF128 $1, o(R10)(R9*1), Y3, Y3 \
	COLUMNS \
	VBROADCASTSS (o/2)(DX), Y12 \
	VBROADCASTSS (o/2+4)(DX), Y13 \
	VMULPS Y12, Y8, Y8 \
	VMULPS Y12, Y9, Y9 \
	VMULPS Y13, Y10, Y10 \
	VMULPS Y13, Y11, Y11 \
	VMOVUPS Y8, (o*8)(DI) \
	VMOVUPS Y9, (o*8+32)(DI) \
	VMOVUPS Y10, (o*8+64)(DI) \
	VMOVUPS Y11, (o*8+96)(DI)

// func load8(out *float32, src *complex64, hop int, window *float32, count int)
// Row t, for t < count, a multiple of 4, gets src[t+s·hop]·window[t] in lane s.
TEXT ·load8(SB), NOSPLIT, $0-40
	MOVQ out+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ hop+16(FP), R8
	MOVQ window+24(FP), DX
	MOVQ count+32(FP), CX
	SHLQ $3, R8
	LEAQ (R8)(R8*2), R9
	LEAQ (SI)(R8*4), R10

load8loop:
	SEGMENTS(0)
	SEGMENTS(16)
	ADDQ $32, SI
	ADDQ $32, R10
	ADDQ $16, DX
	ADDQ $256, DI
	SUBQ $4, CX
	JG   load8loop
	VZEROUPPER
	RET

// BUTTERFLY4 loads four rows from in and leaves what their transform of
// length 4 is: 0 in Y12 Y13, 1 in Y4 Y5, 2 in Y8 Y9, 3 in Y6 Y7.
#define BUTTERFLY4(a, b, c, d) \
	VMOVUPS a, Y0 \
	VMOVUPS 32+a, Y1 \
	VMOVUPS b, Y2 \
	VMOVUPS 32+b, Y3 \
	VMOVUPS c, Y4 \
	VMOVUPS 32+c, Y5 \
	VMOVUPS d, Y6 \
	VMOVUPS 32+d, Y7 \
	VADDPS Y4, Y0, Y8 \
	VADDPS Y5, Y1, Y9 \
	VSUBPS Y4, Y0, Y0 \
	VSUBPS Y5, Y1, Y1 \
	VADDPS Y6, Y2, Y10 \
	VADDPS Y7, Y3, Y11 \
	VSUBPS Y6, Y2, Y2 \
	VSUBPS Y7, Y3, Y3 \
	VADDPS Y10, Y8, Y12 \
	VADDPS Y11, Y9, Y13 \
	VSUBPS Y10, Y8, Y8 \
	VSUBPS Y11, Y9, Y9 \
	VADDPS Y3, Y0, Y4 \
	VSUBPS Y2, Y1, Y5 \
	VSUBPS Y3, Y0, Y6 \
	VADDPS Y2, Y1, Y7

// TURN multiplies re, im by the complex number at w and leaves the product in
// Y0, Y1.
#define TURN(re, im, w) \
	VBROADCASTSS w, Y14 \
	VBROADCASTSS 4+w, Y15 \
	VMULPS Y15, im, Y0 \
	VMULPS Y15, re, Y1 \
	VFMSUB231PS Y14, re, Y0 \
	VFMADD231PS Y14, im, Y1

// func radix4(out, in *float32, outStride, inStride int, twiddle *complex64, count, groups int)
// One pass by decimation in frequency: in each group, for j < count, rows j,
// j+stride, j+2·stride and j+3·stride are transformed and multiplied by 1 and
// the three twiddles at 3j. A group takes four strides.
TEXT ·radix4(SB), NOSPLIT, $0-56
	MOVQ out+0(FP), DI
	MOVQ in+8(FP), SI
	MOVQ outStride+16(FP), R8
	MOVQ inStride+24(FP), R9
	MOVQ twiddle+32(FP), DX
	MOVQ groups+48(FP), BX
	SHLQ $6, R8
	SHLQ $6, R9
	LEAQ (R8)(R8*2), R10
	LEAQ (R9)(R9*2), R11

radix4group:
	MOVQ DX, R12
	MOVQ count+40(FP), CX

radix4loop:
	BUTTERFLY4(0(SI), 0(SI)(R9*1), 0(SI)(R9*2), 0(SI)(R11*1))
	VMOVUPS Y12, (DI)
	VMOVUPS Y13, 32(DI)
	TURN(Y4, Y5, 0(R12))
	VMOVUPS Y0, (DI)(R8*1)
	VMOVUPS Y1, 32(DI)(R8*1)
	TURN(Y8, Y9, 8(R12))
	VMOVUPS Y0, (DI)(R8*2)
	VMOVUPS Y1, 32(DI)(R8*2)
	TURN(Y6, Y7, 16(R12))
	VMOVUPS Y0, (DI)(R10*1)
	VMOVUPS Y1, 32(DI)(R10*1)
	ADDQ $64, SI
	ADDQ $64, DI
	ADDQ $24, R12
	DECQ CX
	JNZ  radix4loop

	// On by the other three strides.
	ADDQ R11, SI
	ADDQ R10, DI
	DECQ BX
	JNZ  radix4group
	VZEROUPPER
	RET

// func radix2(rows *float32, groups int)
// The last pass of an odd power of two: pairs become their sum and difference.
TEXT ·radix2(SB), NOSPLIT, $0-16
	MOVQ rows+0(FP), DI
	MOVQ groups+8(FP), CX

radix2loop:
	VMOVUPS (DI), Y0
	VMOVUPS 32(DI), Y1
	VMOVUPS 64(DI), Y2
	VMOVUPS 96(DI), Y3
	VADDPS  Y2, Y0, Y4
	VADDPS  Y3, Y1, Y5
	VSUBPS  Y2, Y0, Y6
	VSUBPS  Y3, Y1, Y7
	VMOVUPS Y4, (DI)
	VMOVUPS Y5, 32(DI)
	VMOVUPS Y6, 64(DI)
	VMOVUPS Y7, 96(DI)
	ADDQ    $128, DI
	DECQ    CX
	JNZ     radix2loop
	VZEROUPPER
	RET

// POWER adds re² + im² to the eight sums at s.
#define POWER(re, im, s) \
	VMOVUPS s, Y14 \
	VFMADD231PS re, re, Y14 \
	VFMADD231PS im, im, Y14 \
	VMOVUPS Y14, s

// func power4(sums, rows *float32, groups int)
// The last radix-4 pass, whose results go no farther than into sums, eight of
// them for each row.
TEXT ·power4(SB), NOSPLIT, $0-24
	MOVQ sums+0(FP), DI
	MOVQ rows+8(FP), SI
	MOVQ groups+16(FP), CX

power4loop:
	BUTTERFLY4(0(SI), 64(SI), 128(SI), 192(SI))
	POWER(Y12, Y13, 0(DI))
	POWER(Y4, Y5, 32(DI))
	POWER(Y8, Y9, 64(DI))
	POWER(Y6, Y7, 96(DI))
	ADDQ $256, SI
	ADDQ $128, DI
	DECQ CX
	JNZ  power4loop
	VZEROUPPER
	RET

// func power2(sums, rows *float32, groups int)
// power4 for the pairs of an odd power of two.
TEXT ·power2(SB), NOSPLIT, $0-24
	MOVQ sums+0(FP), DI
	MOVQ rows+8(FP), SI
	MOVQ groups+16(FP), CX

power2loop:
	VMOVUPS (SI), Y0
	VMOVUPS 32(SI), Y1
	VMOVUPS 64(SI), Y2
	VMOVUPS 96(SI), Y3
	VADDPS  Y2, Y0, Y4
	VADDPS  Y3, Y1, Y5
	VSUBPS  Y2, Y0, Y6
	VSUBPS  Y3, Y1, Y7
	POWER(Y4, Y5, 0(DI))
	POWER(Y6, Y7, 32(DI))
	ADDQ    $128, SI
	ADDQ    $64, DI
	DECQ    CX
	JNZ     power2loop
	VZEROUPPER
	RET

// func loadRow(out *float32, src *complex64, flip uint32, count int)
// Row t gets src[8t…8t+7], one in each lane, the signs of the imaginary parts
// turned by flip.
TEXT ·loadRow(SB), NOSPLIT, $0-32
	MOVQ out+0(FP), DI
	MOVQ src+8(FP), SI
	MOVQ count+24(FP), CX
	VBROADCASTSS flip+16(FP), Y15

loadRowLoop:
	VMOVUPS     (SI), X0
	VMOVUPS     16(SI), X1
	VINSERTF128 $1, 32(SI), Y0, Y0
	VINSERTF128 $1, 48(SI), Y1, Y1
	VSHUFPS     $0x88, Y1, Y0, Y2
	VSHUFPS     $0xdd, Y1, Y0, Y3
	VXORPS      Y15, Y3, Y3
	VMOVUPS     Y2, (DI)
	VMOVUPS     Y3, 32(DI)
	ADDQ        $64, SI
	ADDQ        $64, DI
	DECQ        CX
	JNZ         loadRowLoop
	VZEROUPPER
	RET

// LANES transposes four columns, from byte i, of the eight rows at R8…R15
// into the rows at byte o of the scratch at AX.
#define LANES(i, o) \
	VMOVUPS i(R8), X0 \
	VMOVUPS i(R9), X1 \
	VMOVUPS i(R10), X2 \
	VMOVUPS i(R11), X3 \
	VINSERTF128 $1, i(R12), Y0, Y0 \
	VINSERTF128 $1, i(R13), Y1, Y1 \
	VINSERTF128 $1, i(R14), Y2, Y2 \
	VINSERTF128 $1, i(R15), Y3, Y3 \
	COLUMNS \
	VMOVUPS Y8, o(AX) \
	VMOVUPS Y9, (o+64)(AX) \
	VMOVUPS Y10, (o+128)(AX) \
	VMOVUPS Y11, (o+192)(AX)

// TWIST loads row l of the scratch times row l−1 of the twiddles at DX.
#define TWIST(l, re, im) \
	VMOVUPS (64*l)(AX), Y12 \
	VMOVUPS (64*l+32)(AX), Y13 \
	VMOVUPS (64*l-64)(DX), Y14 \
	VMOVUPS (64*l-32)(DX), Y15 \
	VMULPS Y15, Y13, re \
	VMULPS Y15, Y12, im \
	VFMSUB231PS Y14, Y12, re \
	VFMADD231PS Y14, Y13, im

// QUARTET transforms the four rows in Y0…Y7 in place.
#define QUARTET \
	VADDPS Y4, Y0, Y8 \
	VADDPS Y5, Y1, Y9 \
	VSUBPS Y4, Y0, Y10 \
	VSUBPS Y5, Y1, Y11 \
	VADDPS Y6, Y2, Y12 \
	VADDPS Y7, Y3, Y13 \
	VSUBPS Y6, Y2, Y14 \
	VSUBPS Y7, Y3, Y15 \
	VADDPS Y12, Y8, Y0 \
	VADDPS Y13, Y9, Y1 \
	VSUBPS Y12, Y8, Y4 \
	VSUBPS Y13, Y9, Y5 \
	VADDPS Y15, Y10, Y2 \
	VSUBPS Y14, Y11, Y3 \
	VSUBPS Y15, Y10, Y6 \
	VADDPS Y14, Y11, Y7

// STORE8 interleaves re and im, with im's signs turned by Y15, into eight
// complex numbers at d. It uses Y8, Y9.
#define STORE8(re, im, d) \
	VXORPS Y15, im, im \
	VUNPCKLPS im, re, Y8 \
	VUNPCKHPS im, re, Y9 \
	VMOVUPS X8, d \
	VMOVUPS X9, 16+d \
	VEXTRACTF128 $1, Y8, 32+d \
	VEXTRACTF128 $1, Y9, 48+d

// OCTET stores row q of the even half plus and minus the odd one in re, im.
#define OCTET(q, re, im, plus, minus) \
	VMOVUPS (512+64*q)(AX), Y10 \
	VMOVUPS (512+64*q+32)(AX), Y11 \
	VADDPS re, Y10, Y12 \
	VADDPS im, Y11, Y13 \
	VSUBPS re, Y10, Y10 \
	VSUBPS im, Y11, Y11 \
	STORE8(Y12, Y13, plus) \
	STORE8(Y10, Y11, minus)

DATA halfRoot<>+0(SB)/4, $0x3f3504f3
GLOBL halfRoot<>(SB), RODATA|NOPTR, $4

// func join8(dst *complex64, stride int, rows *float32, order *int32, twiddle, scratch *float32, flip uint32, groups int)
// Puts one transform together from the transforms of its eight decimated
// parts, which lie in the lanes: for eight frequencies k at a time, found in
// rows order[k], lane l is multiplied by its twiddle and the eight lanes are
// transformed; result q goes to dst[k+q·stride]. The signs of the imaginary
// parts are turned by flip.
TEXT ·join8(SB), NOSPLIT, $0-64
	MOVQ dst+0(FP), DI
	MOVQ stride+8(FP), BX
	MOVQ order+24(FP), SI
	MOVQ twiddle+32(FP), DX
	MOVQ scratch+40(FP), AX
	SHLQ $3, BX

join8group:
	MOVQ    rows+16(FP), CX
	MOVLQSX 0(SI), R8
	MOVLQSX 4(SI), R9
	MOVLQSX 8(SI), R10
	MOVLQSX 12(SI), R11
	MOVLQSX 16(SI), R12
	MOVLQSX 20(SI), R13
	MOVLQSX 24(SI), R14
	MOVLQSX 28(SI), R15
	SHLQ    $6, R8
	SHLQ    $6, R9
	SHLQ    $6, R10
	SHLQ    $6, R11
	SHLQ    $6, R12
	SHLQ    $6, R13
	SHLQ    $6, R14
	SHLQ    $6, R15
	ADDQ    CX, R8
	ADDQ    CX, R9
	ADDQ    CX, R10
	ADDQ    CX, R11
	ADDQ    CX, R12
	ADDQ    CX, R13
	ADDQ    CX, R14
	ADDQ    CX, R15
	LANES(0, 0)
	LANES(16, 256)
	LANES(32, 32)
	LANES(48, 288)

	// The even lanes: to the scratch.
	VMOVUPS (AX), Y0
	VMOVUPS 32(AX), Y1
	TWIST(2, Y2, Y3)
	TWIST(4, Y4, Y5)
	TWIST(6, Y6, Y7)
	QUARTET
	VMOVUPS Y0, 512(AX)
	VMOVUPS Y1, 544(AX)
	VMOVUPS Y2, 576(AX)
	VMOVUPS Y3, 608(AX)
	VMOVUPS Y4, 640(AX)
	VMOVUPS Y5, 672(AX)
	VMOVUPS Y6, 704(AX)
	VMOVUPS Y7, 736(AX)

	// The odd lanes.
	TWIST(1, Y0, Y1)
	TWIST(3, Y2, Y3)
	TWIST(5, Y4, Y5)
	TWIST(7, Y6, Y7)
	QUARTET

	// Row q of them times e^{−j2πq/8}: row 1 by (1−j)/√2, row 3 by −(1+j)/√2.
	VBROADCASTSS halfRoot<>(SB), Y14
	VADDPS Y3, Y2, Y12
	VSUBPS Y2, Y3, Y13
	VMULPS Y14, Y12, Y2
	VMULPS Y14, Y13, Y3
	VSUBPS Y6, Y7, Y12
	VADDPS Y6, Y7, Y13
	VMULPS Y14, Y12, Y6
	VMULPS Y14, Y13, Y7
	VXORPS Y12, Y12, Y12
	VSUBPS Y7, Y12, Y7
	VSUBPS Y4, Y12, Y4

	VBROADCASTSS flip+48(FP), Y15
	LEAQ (BX)(BX*2), R8
	LEAQ (DI)(BX*4), R9
	OCTET(0, Y0, Y1, 0(DI), 0(R9))
	OCTET(1, Y2, Y3, 0(DI)(BX*1), 0(R9)(BX*1))

	// −j times row 2: its parts change places.
	OCTET(2, Y5, Y4, 0(DI)(BX*2), 0(R9)(BX*2))
	OCTET(3, Y6, Y7, 0(DI)(R8*1), 0(R9)(R8*1))
	ADDQ $64, DI
	ADDQ $32, SI
	ADDQ $448, DX
	SUBQ $1, groups+56(FP)
	JNZ  join8group
	VZEROUPPER
	RET

// func dot8(x *complex64, taps *float32, count int) complex64
// Σ x[i]·h[i] for i < count, a multiple of 8. The taps h are stored for each
// four as four real parts, every one twice, then the imaginary ones.
TEXT ·dot8(SB), NOSPLIT, $0-32
	MOVQ x+0(FP), SI
	MOVQ taps+8(FP), DX
	MOVQ count+16(FP), CX
	VXORPS Y0, Y0, Y0
	VXORPS Y1, Y1, Y1
	VXORPS Y2, Y2, Y2
	VXORPS Y3, Y3, Y3

dot8loop:
	VMOVUPS (SI), Y4
	VMOVUPS 32(SI), Y5
	VFMADD231PS (DX), Y4, Y0
	VFMADD231PS 32(DX), Y4, Y1
	VFMADD231PS 64(DX), Y5, Y2
	VFMADD231PS 96(DX), Y5, Y3
	ADDQ $64, SI
	ADDQ $128, DX
	SUBQ $8, CX
	JG   dot8loop

	// Y0 has Σ re·h.re, im·h.re alternating; Y1 has Σ re·h.im, im·h.im.
	VADDPS Y2, Y0, Y0
	VADDPS Y3, Y1, Y1
	VPERMILPS $0xb1, Y1, Y1
	VADDSUBPS Y1, Y0, Y0
	VEXTRACTF128 $1, Y0, X1
	VADDPS X1, X0, X0
	VPERMILPD $1, X0, X1
	VADDPS X1, X0, X0
	VMOVSD X0, ret+24(FP)
	VZEROUPPER
	RET
