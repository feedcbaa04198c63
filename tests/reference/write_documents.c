/* write_documents FOLDER: one reference of every kind of cycle and provenance, and captures of every kind of sample,
   without our own * check by the schema having the last word. */
#include "filled.h"
#include "reference/capture_document.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static int failed(const plb_error *err) {
  fprintf(stderr, "%s\n", err->message);
  return 1;
}

static int write_references(const char *folder) {
  for (int kind = PLB_CYCLE_WHEEL; kind <= PLB_CYCLE_STEADY; kind++) {
    for (int provenance = PLB_MEASURED; provenance <= PLB_STANDARD; provenance++) {
      char path[PLB_PATH_SIZE];
      plb_error err = PLB_ERROR_INIT;
      plb_reference *r = filled_reference((plb_cycle_kind)kind, (plb_provenance)provenance);
      snprintf(path, sizeof path, "%s/reference-%s-%s.xml", folder, plb_cycle_kind_name((plb_cycle_kind)kind),
               plb_provenance_name((plb_provenance)provenance));
      const plb_status status = plb_reference_write(r, path, &err);
      plb_reference_free(r);
      if (status != PLB_OK)
        return failed(&err);
    }
  }
  return 0;
}

static int write_capture(const char *folder) {
  char path[PLB_PATH_SIZE];
  plb_error err = PLB_ERROR_INIT;
  plb_capture *c = plb_capture_new();
  c->samples = 70000;
  c->rate_hz = 1e5;
  strcpy(c->path, "a & b.csv");
  for (int i = 0; i < 5; i++) {
    plb_channel *channel = plb_capture_add_channel(c);
    snprintf(channel->role, sizeof channel->role, "c%d", i);
    plb_samples *s = &channel->samples;
    *s =
        (plb_samples){.decimals = i == 2 ? -1 : 3, .scale = 0.25, .offset = -1.0, .code_low = -2048, .code_high = 2047};
    if (i < 3)
      s->code = plb_calloc(c->samples, sizeof *s->code);
    else
      s->real = plb_calloc(c->samples, sizeof *s->real);
    for (size_t k = 0; k < c->samples; k++) {
      const double signal = 1000.0 * sin(0.01 * (double)k);
      if (i < 3)
        s->code[k] = (int32_t)lround(i == 1 ? round(signal) * 4.887 : signal);
      else
        s->real[k] = i == 3 && k % 100 ? round(signal) / 8.0 : i == 3 ? (double)NAN : signal;
    }
  }
  snprintf(path, sizeof path, "%s/capture.xml", folder);
  const plb_status status = plb_capture_write_document(c, path, &err);
  plb_capture_free(c);
  return status == PLB_OK ? 0 : failed(&err);
}

int main(int argc, char **argv) {
  if (argc != 2)
    return 64;
  return write_references(argv[1]) || write_capture(argv[1]);
}
