#ifndef PLB_REFERENCE_STEPS_H
#define PLB_REFERENCE_STEPS_H
/**
 * @file  The recorder's step behind decimal text. A recorder measures whole codes and prints them times a step,
 * rounded to some decimals or significant digits; the printed numbers look fine but only every so manieth can occur.
 * Found again, the codes need fewer bits.
 */
#include <plumbline/error.h>

enum { PLB_DIGITS_MOST = 17, PLB_STEP_SHIFT_MOST = 40 };

/** Where a value halfway between two printed ones goes. */
typedef enum plb_ties { PLB_TIES_UP, PLB_TIES_EVEN, PLB_TIES_AWAY } plb_ties;

/** How a recorder's codes k become decimal integers m; see blocks.h, step 6. A straight line, or the cubic of a
   calibrated recorder. */
typedef struct plb_steps {
  int64_t coefficient[4];
  int coefficients; /**< 2..4 */
  int code_bits;    /**< 0..31 */
  int shift;        /**< 0..PLB_STEP_SHIFT_MOST */
  int digits;       /**< significant digits printed, 1..PLB_DIGITS_MOST; 0: a fixed number of decimals */
  plb_ties ties;
} plb_steps;

/** m of a recorder's code; false when it is 2^53 or more, where no double could hold it. */
bool plb_steps_apply(const plb_steps *steps, int32_t code, int64_t *out);

/**
 * Find steps and codes that give every one of `m` back exactly; nothing less counts as found.
 * @param m  [size: n], |m| < 2^53
 * @param code  [size: n] the codes; scratch when nothing is found
 * @param found  false when there are none that save anything
 * @return PLB_OK or PLB_ENOMEM
 */
PLB_CHECKED plb_status plb_steps_find(const int64_t *m, size_t n, plb_steps *out, int32_t *code, bool *found,
                                      plb_error *err);

#endif
