// Arithmetic on four float32s at a time, for which the assembler has no names.
// Registers go by their numbers: op(m, n, d) is d = n op m, so that operands
// stand in the order of the assembler's own.

#define FADD4(m, n, d) WORD $(0x4e20d400 | (m)<<16 | (n)<<5 | (d))
#define FSUB4(m, n, d) WORD $(0x4ea0d400 | (m)<<16 | (n)<<5 | (d))
#define FMUL4(m, n, d) WORD $(0x6e20dc00 | (m)<<16 | (n)<<5 | (d))
#define FDIV4(m, n, d) WORD $(0x6e20fc00 | (m)<<16 | (n)<<5 | (d))

// FADDP4 puts the sums of neighbours in n, then of those in m, into d.
#define FADDP4(m, n, d) WORD $(0x6e20d400 | (m)<<16 | (n)<<5 | (d))

// Of a number and none, the greater or lesser is the number.
#define FMAXNM4(m, n, d) WORD $(0x4e20c400 | (m)<<16 | (n)<<5 | (d))
#define FMINNM4(m, n, d) WORD $(0x4ea0c400 | (m)<<16 | (n)<<5 | (d))

// FCVTZS4 makes integers, toward zero.
#define FCVTZS4(n, d) WORD $(0x4ea1b800 | (n)<<5 | (d))

// FMLA4 adds n·m to d without rounding the product.
#define FMLA4(m, n, d) WORD $(0x4e20cc00 | (m)<<16 | (n)<<5 | (d))

// The product with the one value i of m for all four of n.
#define FMUL1(m, i, n, d) WORD $(0x4f809000 | ((i)&1)<<21 | ((i)>>1)<<11 | (m)<<16 | (n)<<5 | (d))
