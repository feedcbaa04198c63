/*
 * Makes the demonstration captures: invented vans of a small municipal fleet, each a 2.0 litre petrol engine with four
 * cylinders and a 60-2 wheel, at warm idle. Everything is modelled and nothing measured, so what is learned from them
 * must be learned with --provenance modelled. The same seed gives the same bytes.
 *
 * The model: a coil on a magnet sees the flux rise and fall as teeth pass, so its voltage is -dPhi/dt = -w dPhi/dtheta
 * (Faraday's law of induction), and grows with speed. Each tooth adds one bell-shaped hump of flux; where two teeth are
 * missing nothing is added. Speed ripples twice a revolution with the firing of four cylinders in two revolutions, at the
 * same teeth in every van: the wheel is fixed to the crank.
 */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { POSITIONS = 60, TEETH = 58, RATE_HZ = 50000, SAMPLES = 30000, MOST_SAMPLES = 10000000 };

static const double two_pi = 6.283185307179586;
static const double step_v = 40.0 / 4096; /* a 12-bit recorder on its +-20 V range */

typedef struct van {
  const char *name;
  const char *note;
  double speed_rpm;
  double coil_v;      /* peak voltage of a typical tooth at 800 rpm: air gap and magnet differ from van to van */
  double runout;      /* share by which the teeth come nearer and farther once a revolution */
  double ripple;      /* share by which the speed swings with each firing */
  int bent_tooth;     /* from 1, the first after the gap; 0: none */
  double bent_height; /* share of its flux that the bent tooth still gives */
} van;

static const van vans[] = {
    {"van-1", "healthy", 812, 6.1, 0.020, 0.024, 0, 1},
    {"van-2", "healthy", 785, 5.7, 0.012, 0.030, 0, 1},
    {"van-3", "healthy", 838, 6.4, 0.026, 0.021, 0, 1},
    {"van-4", "healthy", 770, 5.9, 0.017, 0.027, 0, 1},
    {"van-5", "healthy", 824, 6.6, 0.022, 0.026, 0, 1},
    {"van-6", "healthy", 797, 6.0, 0.009, 0.022, 0, 1},
    {"van-7", "healthy, not among the good captures that are learned from", 806, 6.2, 0.016, 0.025, 0, 1},
    {"van-8", "tooth 17 is bent away from the sensor", 801, 6.1, 0.018, 0.025, 17, 0.45},
};
enum { VANS = sizeof vans / sizeof vans[0] };

/* splitmix64 (Steele, Lea, Flood 2014): small, seeded, the same on every machine. */
static uint64_t next_bits(uint64_t *state) {
  uint64_t z = *state += 0x9e3779b97f4a7c15u;
  z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
  z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
  return z ^ (z >> 31);
}

static double next_uniform(uint64_t *state) { return ((double)(next_bits(state) >> 11) + 0.5) / 9007199254740992.0; }

/* Box and Muller 1958. */
static double next_normal(uint64_t *state) {
  const double radius = sqrt(-2 * log(next_uniform(state)));
  return radius * cos(two_pi * next_uniform(state));
}

/* -dPhi/dtheta of the whole wheel at `turns` revolutions, scaled so that a typical tooth peaks at 1. */
static double slope_of_flux(const double height[TEETH], double turns) {
  const double at = (turns - floor(turns)) * POSITIONS; /* in tooth pitches */
  const double width = 0.24;                            /* of a hump, in tooth pitches */
  double sum = 0;
  for (int near = (int)at - 2; near <= (int)at + 2; near++) {
    const int tooth = (near + POSITIONS) % POSITIONS;
    if (tooth >= TEETH)
      continue;
    const double x = (at - near - 0.5) / width;
    sum += height[tooth] * x * exp(0.5 - 0.5 * x * x);
  }
  return sum;
}

static void make_wheel(const van *v, uint64_t *random, double height[TEETH]) {
  const double high_spot = next_uniform(random);
  for (int i = 0; i < TEETH; i++)
    height[i] = 1 + v->runout * cos(two_pi * ((double)i / POSITIONS - high_spot)) + 0.006 * next_normal(random);
  if (v->bent_tooth > 0)
    height[v->bent_tooth - 1] *= v->bent_height;
}

static int write_capture(const van *v, uint64_t seed, long samples, FILE *out) {
  uint64_t random = seed;
  double height[TEETH];
  make_wheel(v, &random, height);
  double turns = next_uniform(&random);
  const double slowest = 14.0 / POSITIONS + 0.002 * next_normal(&random); /* just before top dead centre, in turns */
  double wander = 0;                                                      /* slow change of the idle speed */
  fprintf(out, "time,crank\ns,V\n");
  for (long i = 0; i < samples; i++) {
    wander += 2e-5 * next_normal(&random) - 2e-4 * wander;
    const double speed_rpm = v->speed_rpm * (1 + wander) * (1 - v->ripple * cos(2 * two_pi * (turns - slowest)));
    const double volts =
        v->coil_v * speed_rpm / 800 * slope_of_flux(height, turns) + 0.03 * next_normal(&random) + 0.02;
    fprintf(out, "%.5f,%.4f\n", (double)i / RATE_HZ, step_v * floor(volts / step_v + 0.5));
    turns += speed_rpm / 60 / RATE_HZ;
  }
  return ferror(out);
}

static FILE *create(const char *folder, const char *name) {
  char path[4096];
  const int length = snprintf(path, sizeof path, "%s/%s", folder, name);
  FILE *out = length > 0 && (size_t)length < sizeof path ? fopen(path, "w") : NULL;
  if (!out)
    fprintf(stderr, "make-demo: %s/%s: cannot create it; make the folder first\n", folder, name);
  return out;
}

static int write_readme(const char *folder) {
  FILE *out = create(folder, "README.txt");
  if (!out)
    return 1;
  fputs("These captures are invented: a program made them (refs/demo/make_demo.c). Nothing here was measured.\n"
        "2.0 litre petrol, four cylinders, 60-2 wheel, warm idle; column 2 is the crank sensor in volts, 50 kS/s.\n\n",
        out);
  for (int i = 0; i < VANS; i++)
    fprintf(out, "%s.csv  %s\n", vans[i].name, vans[i].note);
  const int failed = ferror(out);
  return fclose(out) != 0 || failed;
}

int main(int count, char **words) {
  const long samples = count == 3 ? strtol(words[2], NULL, 10) : SAMPLES;
  if (count < 2 || count > 3 || samples < 1 || samples > MOST_SAMPLES) {
    fputs("usage: make-demo FOLDER [SAMPLES]\n", stderr);
    return 64;
  }
  for (int i = 0; i < VANS; i++) {
    char name[64];
    snprintf(name, sizeof name, "%s.csv", vans[i].name);
    FILE *out = create(words[1], name);
    if (!out)
      return 73;
    const int failed = write_capture(&vans[i], 60u * 2u + (uint64_t)i, samples, out);
    if (fclose(out) != 0 || failed) {
      fprintf(stderr, "make-demo: %s/%s: writing failed; check the disk\n", words[1], name);
      return 74;
    }
  }
  return write_readme(words[1]) ? 74 : 0;
}
