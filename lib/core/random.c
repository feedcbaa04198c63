#include "core/random.h"

#include <math.h>

/* Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014. It fills the larger state,
 * because a state of zeros or nearly so would start badly. */
static uint64_t split_mix(uint64_t *state) {
  *state += UINT64_C(0x9E3779B97F4A7C15);
  uint64_t z = *state;
  z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
  z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
  return z ^ (z >> 31);
}

static uint64_t rotate_left(uint64_t x, int bits) { return (x << bits) | (x >> (64 - bits)); }

void plb_random_seed(plb_random *r, uint64_t seed) {
  for (size_t i = 0; i < 4; i++)
    r->state[i] = split_mix(&seed);
}

uint64_t plb_random_next(plb_random *r) {
  uint64_t *s = r->state;
  const uint64_t result = rotate_left(s[1] * 5, 7) * 9;
  const uint64_t shifted = s[1] << 17;
  s[2] ^= s[0];
  s[3] ^= s[1];
  s[1] ^= s[2];
  s[0] ^= s[3];
  s[2] ^= shifted;
  s[3] = rotate_left(s[3], 45);
  return result;
}

double plb_random_uniform(plb_random *r) { return (double)(plb_random_next(r) >> 11) * 0x1p-53; }

uint64_t plb_random_below(plb_random *r, uint64_t n) {
  /* 2^64 is seldom a multiple of n: the first 2^64 mod n numbers are drawn again. */
  const uint64_t excess = (UINT64_MAX - n + 1) % n;
  uint64_t x = plb_random_next(r);
  while (x < excess)
    x = plb_random_next(r);
  return x % n;
}

double plb_random_normal(plb_random *r) {
  /* The second value of the pair is dropped, so that the state is the generator's alone. */
  double u, v, s;
  do {
    u = 2.0 * plb_random_uniform(r) - 1.0;
    v = 2.0 * plb_random_uniform(r) - 1.0;
    s = u * u + v * v;
  } while (s >= 1.0 || s <= 0.0);
  return u * sqrt(-2.0 * log(s) / s);
}
