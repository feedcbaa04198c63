/* Which cycle and options a family is evaluated with, where they differ from what its model states. */
#include "evaluate.h"
#include <string.h>

static const struct {
  const char *family, *cycle; /* NULL: the model's */
  bool quick;                 /* one of the families of the short run: every kind of cycle, every kind of circuit */
} table[] = {
    {"crank-inductive-60-2-idle", NULL, true},
    {"crank-hall-cranking", NULL, true},
    {"injector-voltage", NULL, true},
    {"fuel-pump-current", NULL, true},
    {"coil-primary-current", NULL, true},
    {"manifold-pressure-idle", NULL, true},
    {"charging-voltage", NULL, true},
};

const char *eval_cycle_of(const plb_model_family *family) {
  for (size_t i = 0; i < sizeof table / sizeof *table; i++)
    if (strcmp(table[i].family, family->name) == 0 && table[i].cycle)
      return table[i].cycle;
  return family->cycle;
}

bool eval_is_quick_family(const char *name) {
  for (size_t i = 0; i < sizeof table / sizeof *table; i++)
    if (strcmp(table[i].family, name) == 0)
      return table[i].quick;
  return false;
}
