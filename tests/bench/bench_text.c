/*
 * Reading delimited text: MB/s of plb_capture_read() beside `wc -l`, a strtod loop over the bytes in memory and pandas. Rounds alternate,
 * because absolute figures drift from minute to minute; read the ratios.
 *
 *   bench_text [ROWS [ROUNDS]]      default 1000000 5; the file goes to TMPDIR or /tmp
 */
#include "core/core.h"
#include <plumbline/capture.h>

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { WAYS = 4 };
static const char *const names[WAYS] = {"plb_capture_read", "strtod loop (bytes in memory)", "wc -l (process)",
                                        "pandas.read_csv (in process)"};

static double now_s(void) {
  struct timespec t;
  clock_gettime(CLOCK_MONOTONIC, &t);
  return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

/* Time and two channels of four and five decimals. @return the bytes written */
static size_t write_table(const char *path, size_t rows) {
  plb_random random;
  plb_random_seed(&random, 1);
  FILE *file = fopen(path, "w");
  if (!file)
    return 0;
  long long size = 0;
  for (size_t i = 0; i < rows; i++)
    size += fprintf(file, "%.6f,%.4f,%.5f\n", (double)i * 1e-5, 3.0 * plb_random_normal(&random),
                    2.0 + plb_random_normal(&random));
  return fclose(file) == 0 ? (size_t)size : 0;
}

static double time_reader(const char *path, double *sum) {
  const double start = now_s();
  plb_capture *capture = NULL;
  plb_error error = PLB_ERROR_INIT;
  if (plb_capture_read(&capture, path, NULL, &error) != PLB_OK) {
    fprintf(stderr, "%s\n", error.message);
    exit(1);
  }
  const double taken = now_s() - start;
  double last[2];
  plb_capture_values(capture, 0, plb_capture_samples(capture) - 1, 1, &last[0]);
  plb_capture_values(capture, 1, plb_capture_samples(capture) - 1, 1, &last[1]);
  *sum = last[0] + last[1];
  plb_capture_free(capture);
  return taken;
}

static double time_strtod(const char *data, double *sum) {
  const double start = now_s();
  char *p = (char *)(uintptr_t)data;
  double before[2] = {0.0, 0.0}, value = 0.0;
  for (char *end;; p = end + (*end != '\0')) {
    before[0] = before[1];
    before[1] = value;
    value = strtod(p, &end);
    if (end == p)
      break;
  }
  *sum = before[0] + before[1];
  return now_s() - start;
}

static double time_command(const char *command) {
  const double start = now_s();
  FILE *out = popen(command, "r");
  double printed = -1.0;
  const bool found = out && fscanf(out, "%lf", &printed) == 1;
  const bool well = out && pclose(out) == 0 && found;
  return well ? now_s() - start : -1.0;
}

/* pandas times itself: its start is no part of reading. */
static double time_pandas(const char *path) {
  char command[PLB_PATH_SIZE + 256];
  snprintf(command, sizeof command,
           "/usr/bin/python3 -c 'import time, pandas; t = time.perf_counter(); pandas.read_csv(\"%s\", header=None); "
           "print(time.perf_counter() - t)' 2>/dev/null",
           path);
  FILE *out = popen(command, "r");
  double taken = -1.0;
  if (out && fscanf(out, "%lf", &taken) != 1)
    taken = -1.0;
  if (out)
    pclose(out);
  return taken;
}

int main(int argc, char **argv) {
  const size_t rows = argc > 1 ? (size_t)strtoull(argv[1], NULL, 10) : 1000000;
  const int rounds = argc > 2 ? atoi(argv[2]) : 5;
  char path[PLB_PATH_SIZE], command[PLB_PATH_SIZE + 16];
  const char *folder = getenv("TMPDIR");
  snprintf(path, sizeof path, "%s/plumbline-bench-text-%ld.csv", folder ? folder : "/tmp", (long)getpid());
  snprintf(command, sizeof command, "wc -l %s", path);
  const size_t size = write_table(path, rows);
  char *data = NULL;
  size_t read_size = 0;
  if (size == 0 || plb_file_read(path, SIZE_MAX / 2, &data, &read_size, NULL) != PLB_OK) {
    fprintf(stderr, "cannot write %s\n", path);
    return 1;
  }
  double best[WAYS] = {INFINITY, INFINITY, INFINITY, INFINITY}, sum_reader = 0.0, sum_strtod = 0.0;
  for (int i = 0; i < rounds; i++) {
    const double taken[WAYS] = {time_reader(path, &sum_reader), time_strtod(data, &sum_strtod), time_command(command),
                                time_pandas(path)};
    for (int k = 0; k < WAYS; k++)
      if (taken[k] > 0.0 && taken[k] < best[k])
        best[k] = taken[k];
  }
  printf("%zu rows, %.2f MB, best of %d rounds\n", rows, (double)size * 1e-6, rounds);
  for (int k = 0; k < WAYS; k++) {
    if (isinf(best[k]))
      printf("%-32s not here\n", names[k]);
    else
      printf("%-32s %8.1f ms %8.0f MB/s   %.2f of plb_capture_read's speed\n", names[k], 1e3 * best[k],
             (double)size * 1e-6 / best[k], best[0] / best[k]);
  }
  printf("last row: %s\n", sum_reader == sum_strtod ? "the same" : "DIFFERENT");
  free(data);
  remove(path);
  return sum_reader == sum_strtod ? 0 : 1;
}
