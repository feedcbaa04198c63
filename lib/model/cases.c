/* The traces on which a naive comparison goes wrong, with what is right. Common practice of the trade. */
#include "model/model.h"
#include "core/fail.h"
#include <string.h>

static const plb_model_case cases[] = {
    {"clamped-coil-slow", "crank-inductive-60-2-clamped", {0, NULL, 0, NULL, 600, 0, 2.0}, "unjudged",
     "clamped input, coasting: the amplitude does not follow the speed; the shape fits, the speed is outside"},
};

size_t plb_model_case_count(void) { return sizeof cases / sizeof cases[0]; }
const plb_model_case *plb_model_case_at(size_t index) { return &cases[index]; }

const plb_model_case *plb_model_case_find(const char *name) {
  for (size_t i = 0; i < plb_model_case_count(); i++)
    if (strcmp(cases[i].name, name) == 0)
      return &cases[i];
  return NULL;
}

plb_status plb_model_draw_case(plb_capture **out, const plb_model_case *which, uint64_t seed, plb_error *err) {
  *out = NULL;
  const plb_model_family *family = plb_model_find(which->family);
  if (!family)
    return plb_fail(err, PLB_EINTERNAL, "the case %s names the family %s, which does not exist; report this", which->name, which->family);
  plb_model_request request = which->request;
  request.seed = seed;
  return plb_model_draw(out, family, &request, NULL, err);
}
