#include "tests/event/planted.h"

#include "core/random.h"
#include "tests/core/cmocka_all.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

/* 3 to 8: too small to be promised; 10 and above must be found. */
const double planted_size[PLANTED_SIZES] = {3, 5, 6.5, 8, 10, 12, 16, 25, 60, 200};

/* One code is 1 mV: a level of 2.5 V, pulses of 0 and 5 V, noise of 20 and 25 codes. */
static const double noise_level = 20, noise_pulses = 25, two_pi = 6.283185307179586;
enum { PERIOD = 100, WIDTH = 50 };

static void plan(planted *list, uint64_t samples, size_t count, plb_random *r) {
  static const size_t lengths[] = {1, 2, 3, 5, 8, 20, 50, 130, 400};
  for (size_t i = 0; i < count; i++) {
    planted *p = &list[i];
    const uint64_t slot = samples / (count + 1);
    p->kind = (planted_kind)(i % 3);
    p->size = i / 3 % PLANTED_SIZES;
    const uint64_t at = slot / 2 + i * slot + plb_random_below(r, slot / 4);
    if (p->kind == PLANTED_PULSE) {
      p->first = at / PERIOD * PERIOD;
      p->last = p->first + WIDTH;
    } else {
      p->first = at;
      p->last = at + lengths[plb_random_below(r, sizeof lengths / sizeof lengths[0])];
    }
  }
}

static double height(const planted *p) {
  const double sigma = p->kind == PLANTED_PULSE ? noise_pulses : noise_level;
  return planted_size[p->size] * sigma / sqrt((double)(p->last - p->first));
}

planted *planted_write(const char *path, uint64_t samples, size_t count, uint64_t seed) {
  planted *list = calloc(count, sizeof *list);
  FILE *file = fopen(path, "wb");
  assert_non_null(list);
  assert_non_null(file);
  plb_random r;
  plb_random_seed(&r, seed);
  plan(list, samples, count, &r);
  size_t next = 0;
  for (uint64_t i = 0; i < samples; i++) {
    while (next < count && i >= list[next].last)
      next++;
    const planted *p = next < count && i >= list[next].first ? &list[next] : NULL;
    double level = 2500 + 300 * sin(two_pi * (double)i / 3e6) + noise_level * plb_random_normal(&r);
    double pulses = (i % PERIOD < WIDTH ? 5000 : 0) + noise_pulses * plb_random_normal(&r);
    if (p && p->kind == PLANTED_PULSE) {
      /* the largest takes the whole pulse away */
      const double lowered = p->size + 1 == PLANTED_SIZES ? 5000 : height(p);
      pulses -= lowered;
    } else if (p) {
      level += p->kind == PLANTED_SPIKE ? height(p) : -height(p);
    }
    const int16_t frame[2] = {(int16_t)lrint(level), (int16_t)lrint(pulses)};
    assert_int_equal(fwrite(frame, sizeof frame, 1, file), 1);
  }
  assert_int_equal(fclose(file), 0);
  return list;
}
