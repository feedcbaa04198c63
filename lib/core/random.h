#ifndef PLB_CORE_RANDOM_H
#define PLB_CORE_RANDOM_H
/** @file  Seeded random numbers, the same on every machine; not for secrets. */
#include <plumbline/types.h>

typedef struct plb_random { uint64_t state[4]; } plb_random;

/** xoshiro256** (Blackman and Vigna, 2018) seeded by SplitMix64. */
void plb_random_seed(plb_random *r, uint64_t seed);
uint64_t plb_random_next(plb_random *r);
/** Uniform in [0, 1). */
double plb_random_uniform(plb_random *r);
/** Uniform integer in [0, n), n > 0, without bias. */
uint64_t plb_random_below(plb_random *r, uint64_t n);
/** Standard normal (polar method of Marsaglia). */
double plb_random_normal(plb_random *r);

#endif
