#ifndef PLB_TESTS_EVENT_PLANTED_H
#define PLB_TESTS_EVENT_PLANTED_H
/**
 * @file  A modelled recording with events at known places: channel 1 a sensor voltage with noise and slow drift, into
 * which dropouts and spikes are planted; channel 2 pulses of 100 Hz, of which some are lowered (down to none at all).
 * Noise is white and normal, so that the size of an event in standard deviations is exact.
 */
#include <stddef.h>
#include <stdint.h>

enum { PLANTED_SIZES = 10 };
/** departure x sqrt(samples) / standard deviation, the same for every kind */
extern const double planted_size[PLANTED_SIZES];

typedef enum planted_kind { PLANTED_DROPOUT, PLANTED_SPIKE, PLANTED_PULSE } planted_kind;
typedef struct planted {
  planted_kind kind;
  size_t size;          /**< index */
  uint64_t first, last; /**< samples */
  int found;
} planted;

/** Write `samples` frames of two int16 at 10 kS/s to a file. @return malloc'ed list of `count` events in order of time */
planted *planted_write(const char *path, uint64_t samples, size_t count, uint64_t seed);
#endif
