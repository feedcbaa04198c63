/*
 * Writes a drawn capture as delimited text: draw_model FAMILY [SEED [FAULT SEVERITY [STATE]]] or draw_model CASE
 * [SEED]. Without arguments it lists families, faults and cases. Everything it writes is modelled.
 */
#include "model/model.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int list_all(void) {
  for (size_t i = 0; i < plb_model_count(); i++) {
    const plb_model_family *f = plb_model_at(i);
    printf("%s (%s): %s; --cycle %s\n", f->name, f->type, f->text, f->cycle);
    for (size_t k = 0; k < plb_model_fault_count(f); k++)
      printf("    %s\n", plb_model_fault_at(f, k)->name);
    for (size_t k = 0; k < f->unseens; k++)
      printf("    %s, not to be seen here: %s\n", f->unseen[k].fault.name, f->unseen[k].why);
  }
  for (size_t i = 0; i < plb_model_case_count(); i++) {
    const plb_model_case *c = plb_model_case_at(i);
    printf("case %s (%s), %s: %s\n", c->name, c->family, c->verdict, c->text);
  }
  return 0;
}

static plb_status draw(plb_capture **out, int argc, char **argv, plb_error *err) {
  const uint64_t seed = argc > 2 ? strtoull(argv[2], NULL, 10) : 1;
  const plb_model_case *which = plb_model_case_find(argv[1]);
  if (which)
    return plb_model_draw_case(out, which, seed, err);
  const plb_model_family *family = plb_model_find(argv[1]);
  if (!family) {
    fprintf(stderr, "draw_model: no family or case \"%s\"; run without arguments for the list\n", argv[1]);
    exit(64);
  }
  plb_model_request request = PLB_MODEL_REQUEST_INIT;
  request.seed = seed;
  request.fault = argc > 3 && strcmp(argv[3], "good") != 0 ? argv[3] : NULL;
  request.severity = argc > 4 ? strtod(argv[4], NULL) : 0.0;
  request.state = argc > 5 ? argv[5] : NULL;
  return plb_model_draw(out, family, &request, NULL, err);
}

static int write_text(const plb_capture *capture) {
  const size_t channels = plb_capture_channels(capture), n = plb_capture_samples(capture);
  double *x[PLB_MODEL_CHANNELS];
  for (size_t c = 0; c < channels; c++)
    x[c] = plb_capture_copy_values(capture, c);
  printf("time [s]");
  for (size_t c = 0; c < channels; c++)
    printf(",%s [%s]", plb_capture_role(capture, c), plb_capture_unit(capture, c));
  printf("\n");
  for (size_t i = 0; i < n; i++) {
    printf("%.9g", (double)i / plb_capture_rate_hz(capture));
    for (size_t c = 0; c < channels; c++)
      printf(",%.7g", x[c] ? x[c][i] : 0.0);
    printf("\n");
  }
  for (size_t c = 0; c < channels; c++)
    free(x[c]);
  return fflush(stdout) == 0 ? 0 : 74;
}

int main(int argc, char **argv) {
  if (argc < 2)
    return list_all();
  plb_error err = PLB_ERROR_INIT;
  plb_capture *capture = NULL;
  if (draw(&capture, argc, argv, &err)) {
    fprintf(stderr, "draw_model: %s\n", err.message);
    return plb_status_exit(err.status);
  }
  const int code = write_text(capture);
  plb_capture_free(capture);
  return code;
}
