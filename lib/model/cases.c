/* The traces on which a naive comparison goes wrong, with what is right. Common practice of the trade. */
#include "model/model.h"
#include "core/fail.h"
#include <string.h>

static const plb_model_case cases[] = {
    {"clamped-coil-slow",
     "crank-inductive-60-2-clamped",
     {0, NULL, 0, NULL, 600, 0, 2.0},
     "unjudged",
     "clamped input, coasting: the amplitude does not follow the speed; the shape fits, only the speed is outside"},
    {"hall-unplugged",
     "crank-hall-cranking",
     {0, NULL, 0, "unplugged", 0, 0, 0},
     "unjudged",
     "an open-collector output has no pull-up when unplugged: 0 V says nothing about the sensor"},
    {"hall-connected-flat",
     "crank-hall-cranking",
     {0, "no-pull-up", 1, NULL, 0, 0, 0},
     "departs",
     "connected and the engine turns, as the starter current shows: the signal is missing; pull-up, sensor or wire"},
    {"factor-forgotten",
     "crank-inductive-60-2-idle",
     {0, "attenuator-forgotten", 1, NULL, 0, 0, 0},
     "unjudged",
     "noise and code steps are at a tenth as well: check the probe factor"},
    {"amplitude-a-tenth",
     "crank-inductive-60-2-idle",
     {0, "weak-magnet", 1, NULL, 0, 0, 0},
     "departs",
     "a tenth with the usual noise: factor first, then air gap and coil"},
    {"lead-inverted",
     "crank-inductive-60-2-idle",
     {0, "lead-inverted", 1, NULL, 0, 0, 0},
     "unjudged",
     "the gap is on the other edge: swap the leads and repeat"},
    {"wires-crossed",
     "cam-crank",
     {0, "reversed-leads", 1, NULL, 0, 0, 0},
     "departs",
     "a second channel with a proved ground shows that the lead is right: the sensor's wires are crossed"},
    {"pump-bad-bar",
     "fuel-pump-current",
     {0, "bad-bar", 0.3, NULL, 0, 0, 3.4},
     "departs",
     "one low hump in eight, every turn: recurring, one commutator bar"},
    {"can-acknowledge",
     "can-pair",
     {0, NULL, 0, NULL, 0, 0, 0},
     "agrees",
     "several nodes drive the acknowledge bit: it stands taller, edges clean"},
    {"can-termination",
     "can-pair",
     {0, "terminator-missing", 1, NULL, 0, 0, 0},
     "departs",
     "every dominant bit high and recessive edges slow"},
    {"coolant-pull-up-switch",
     "coolant-warm-up",
     {0, NULL, 0, "pull-up-switch", 0, 0, 0},
     "unjudged",
     "the control unit switches its pull-up near 50 degrees C; agrees where the known-good holds that variant"},
    {"coolant-open",
     "coolant-warm-up",
     {0, "open-circuit", 1, NULL, 0, 1000, 300},
     "departs",
     "three milliseconds to 5 V and back: open circuit"},
    {"cranking-even-low",
     "starter-current",
     {0, "low-compression-all", 1, NULL, 0, 0, 0},
     "unjudged",
     "even humps, all low, fast cranking: the balance agrees, the level cannot be judged; even does not mean good"},
    {"coil-sampled-slowly",
     "coil-primary-voltage",
     {0, NULL, 0, NULL, 0, 20e3, 0},
     "unjudged",
     "the peak falls between samples: sample faster; dwell and burn time can be judged"},
    {"ripple-no-load",
     "alternator-ripple",
     {0, "open-diode", 1, "no-load", 0, 0, 0},
     "unjudged",
     "without load an open diode hardly shows: put load on"},
    {"ripple-open-diode",
     "alternator-ripple",
     {0, "open-diode", 1, NULL, 0, 0, 0},
     "departs",
     "with load, one deep dip in each electrical turn: recurring"},
    {"cam-advanced",
     "cam-crank",
     {0, NULL, 0, "advanced", 2500, 0, 0.6},
     "unjudged",
     "variable timing away from its parked position"},
    {"cam-late-everywhere",
     "cam-crank",
     {0, "jumped-belt", 1, NULL, 0, 0, 0},
     "departs",
     "eighteen degrees late at idle as in every other state: belt or chain"},
    {"oxygen-cold", "oxygen-front", {0, NULL, 0, "cold", 0, 0, 0}, "unjudged", "flat 0.45 V: not warm, heater off"},
    {"oxygen-enriched",
     "oxygen-front",
     {0, NULL, 0, "enriched", 0, 0, 0},
     "agrees",
     "flat 0.1 V, then 0.85 V within 100 ms when enriched: the sensor responds; mixture or a leak is in question"},
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
    return plb_fail(err, PLB_EINTERNAL, "the case %s names the family %s, which does not exist; report this",
                    which->name, which->family);
  plb_model_request request = which->request;
  request.seed = seed;
  return plb_model_draw(out, family, &request, NULL, err);
}
