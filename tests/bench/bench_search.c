/*
 * Searching a recording of 100 million samples for events, beside what the machine's memory and disk give: copying as many
 * bytes in memory, and reading the file without looking at it. Rounds alternate; read the ratios. The recording is modelled: noise.
 *
 *   bench_search [MILLIONS [ROUNDS]]      default 100 2; the file (2 bytes a sample) goes to TMPDIR or /tmp
 */
#include "core/core.h"
#include <plumbline/event.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

enum { MILLION = 1000000, PIECE = 1 << 20 };

static double now_s(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static bool write_noise(const char *path, size_t millions) {
  int16_t *piece = malloc(MILLION * sizeof *piece);
  FILE *file = fopen(path, "wb");
  bool well = piece && file;
  plb_random random;
  plb_random_seed(&random, 5);
  for (size_t m = 0; m < millions && well; m++) {
    for (size_t i = 0; i < MILLION; i++)
      piece[i] = (int16_t)lrint(2500 + 20 * plb_random_normal(&random));
    well = fwrite(piece, sizeof *piece, MILLION, file) == MILLION;
  }
  free(piece);
  return file && fclose(file) == 0 && well;
}

static double time_search(const char *path, plb_search_summary *summary) {
  plb_error err = PLB_ERROR_INIT;
  plb_search_options o = PLB_SEARCH_OPTIONS_INIT;
  o.stream = (plb_stream_options){1, PLB_SAMPLE_INT16, 1, 10e3, 1e-3, 0};
  const double start = now_s();
  if (plb_search(path, &o, NULL, summary, &err) != PLB_OK) {
    fprintf(stderr, "%s\n", err.message);
    exit(1);
  }
  return now_s() - start;
}

static double time_reading(const char *path) {
  char *piece = malloc(PIECE);
  FILE *file = fopen(path, "rb");
  const double start = now_s();
  while (piece && file && fread(piece, 1, PIECE, file) > 0)
    continue;
  const double taken = now_s() - start;
  if (file)
    fclose(file);
  free(piece);
  return taken;
}

/* As many bytes as doubles of all samples have, from one part of memory to another, 64 MiB at a time. */
static double time_copy(size_t millions) {
  const size_t size = (size_t)64 << 20, total = millions * MILLION * sizeof(double);
  char *from = malloc(size), *to = malloc(size);
  if (!from || !to)
    exit(1);
  memset(from, 1, size);
  memset(to, 2, size);
  const double start = now_s();
  for (size_t done = 0; done < total; done += size) {
    memcpy(to, from, size);
    from[done / size % size]++; /* so that no copy can be left out */
  }
  const double taken = now_s() - start + (to[5] == 99 ? 1e-9 : 0);
  free(from);
  free(to);
  return taken;
}

int main(int count, char **words) {
  const size_t millions = count > 1 ? (size_t)strtoul(words[1], NULL, 10) : 100;
  const int rounds = count > 2 ? atoi(words[2]) : 2;
  const char *folder = getenv("TMPDIR");
  char path[512];
  snprintf(path, sizeof path, "%s/bench-search-%ld.raw", folder ? folder : "/tmp", (long)getpid());
  if (!write_noise(path, millions)) {
    remove(path);
    fprintf(stderr, "cannot write %s\n", path);
    return 1;
  }
  for (int r = 0; r < rounds; r++) {
    plb_search_summary s;
    struct rusage use;
    const double search_s = time_search(path, &s);
    getrusage(RUSAGE_SELF, &use);
    const double read_s = time_reading(path), copy_s = time_copy(millions);
    printf("%zu million samples: searched in %.2f s (%.1f million a second), %llu events, %zu bytes of windows, at most %ld KiB "
           "resident;\n  read only %.3f s: ratio %.1f; copied in memory as doubles %.3f s (%.1f GB/s): ratio %.1f\n",
           millions, search_s, (double)millions / search_s, (unsigned long long)s.events, s.memory_bytes, use.ru_maxrss, read_s,
           search_s / read_s, copy_s, (double)millions * 8e-3 / copy_s, search_s / copy_s);
  }
  return remove(path) == 0 ? 0 : 1;
}
