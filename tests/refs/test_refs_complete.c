/* Every shipped reference has every part that a technician needs; what is missing is listed by name. */
#include "tests/core/cmocka_all.h"
#include "reference/model.h"
#include "shelf.h"
#include <math.h>

enum { FEWEST = 48 };

static unsigned gaps;

static void need(bool there, const char *name, const char *part) {
  if (!there) {
    printf("%s: no %s\n", name, part);
    gaps++;
  }
}

static bool has(const char *text) { return text != NULL && strlen(text) > 1; }

static void need_connection(const plb_reference *r, const char *name) {
  need(has(r->connection.test_point), name, "test point");
  need(has(r->connection.place), name, "place");
  need(has(r->connection.ground), name, "ground clip");
  need(has(r->connection.never), name, "place where the clip never goes");
  need(has(r->connection.probe), name, "probe");
  need(has(r->connection.range), name, "range");
  need(has(r->connection.coupling), name, "coupling");
  need(has(r->connection.trigger), name, "trigger");
  need(r->connection.rate_needed_hz > 0, name, "sample rate");
  need(r->connection.cautions >= 2, name, "cautions");
}

static void need_bands(const plb_reference *r, const char *name) {
  need(r->bands > 0, name, "sections");
  for (size_t b = 0; b < r->bands; b++) {
    char part[160];
    snprintf(part, sizeof part, "plain words of what good looks like in section %.60s", r->band[b].name);
    need(has(r->band[b].good), name, part);
    snprintf(part, sizeof part, "pointers for two directions in section %.60s", r->band[b].name);
    bool low = false, other = false;
    for (size_t p = 0; p < r->band[b].pointers; p++) {
      low = low || strcmp(r->band[b].pointer[p].direction, "low") == 0;
      other = other || strcmp(r->band[b].pointer[p].direction, "low") != 0;
    }
    const bool frequency = r->band[b].domain != PLB_BAND_CYCLE;
    need(frequency ? low || other : r->band[b].pointers >= 2 && other, name, part);
  }
}

static bool has_condition(const plb_reference *r, const char *word) {
  for (size_t i = 0; i < r->conditions; i++)
    if (strcmp(r->condition[i].name, word) == 0)
      return true;
  return false;
}

static void need_learned(const plb_reference *r, const char *name) {
  need(r->exemplars >= 20, name, "20 good captures");
  need(plb_reference_groups(r) >= 20, name, "20 modelled vehicles");
  need(r->corridor.centre != NULL, name, "good range");
  need(r->calibration.limit > 0 && r->calibration.independent >= 20, name, "calibration");
  const plb_cycle_kind kind = r->choice.spec.kind;
  const bool unmarked = kind == PLB_CYCLE_ONCE || kind == PLB_CYCLE_REPEAT || kind == PLB_CYCLE_STEADY || kind == PLB_CYCLE_AGAINST;
  need(unmarked || r->choice.landmarks > 0, name, "marks");
  need(unmarked || kind == PLB_CYCLE_WHEEL || r->choice.spans > 0, name, "stretches between marks");
}

/* Where commutation, ripple or hash tells something that the mean curve hides. */
static const char *const hashes[] = {"alternator-ripple", "blower-motor",  "charging-voltage", "crank-inductive",      "fuel-pump-current",
                                     "knock",             "sensor-supply", "transmission-speed", "wheel-speed-inductive"};

static void need_frequency(const plb_reference *r, const char *name) {
  bool listed = false, there = false;
  for (size_t i = 0; i < sizeof hashes / sizeof hashes[0]; i++)
    listed = listed || strcmp(r->type, hashes[i]) == 0;
  for (size_t b = 0; b < r->bands; b++)
    there = there || r->band[b].domain != PLB_BAND_CYCLE;
  need(!listed || there, name, "frequency band, though hash or ripple matters there");
}

static void check_parts(const plb_reference *r, const char *name) {
  need(strcmp(r->name, name) == 0 && r->version == 1, name, "name and version as its place says");
  need(has(r->title) && has(r->system) && has(r->date) && has(r->method) && has(r->sources), name, "title, system, date, method and sources");
  need(r->provenance == PLB_MODELLED || r->provenance == PLB_STANDARD, name, "honest provenance");
  need(r->supply_nominal_v > 0, name, "nominal supply");
  need(has_condition(r, "state"), name, "operating state");
  need_connection(r, name);
  need_bands(r, name);
  need(r->readings > 0, name, "limits on readings");
  for (size_t i = 0; i < r->readings; i++)
    need(has(r->reading[i].source), name, "source of every limit");
  if (r->provenance == PLB_MODELLED)
    need_learned(r, name);
  need_frequency(r, name);
}

static void check_one(const char *name, const char *path, void *payload) {
  plb_reference *r = NULL;
  plb_error err = PLB_ERROR_INIT;
  (void)payload;
  if (plb_reference_read(&r, path, &err) != PLB_OK) {
    printf("%s: %s\n", name, err.message);
    gaps++;
    return;
  }
  check_parts(r, name);
  plb_reference_free(r);
}

/* The list is worth something only if it grows with each part that is taken away. */
static void test_refs_complete__a_missing_part_is_found(void **state) {
  (void)state;
  plb_reference *r = NULL;
  const char *name = "charging-voltage/load-step";
  char path[1024];
  snprintf(path, sizeof path, PLB_SOURCE_DIR "/refs/references/%s/0001.xml", name);
  assert_int_equal(plb_reference_read(&r, path, NULL), PLB_OK);
  gaps = 0;
  check_parts(r, name);
  assert_int_equal(gaps, 0);
  plb_reference less = *r; /* shares what r owns */
  less.connection.never = NULL;
  check_parts(&less, name);
  assert_int_equal(gaps, 1);
  less.connection.rate_needed_hz = 0;
  check_parts(&less, name);
  assert_int_equal(gaps, 3);
  less = *r;
  less.readings = 0;
  less.conditions = 0;
  gaps = 0;
  check_parts(&less, name);
  assert_int_equal(gaps, 2);
  less = *r;
  for (less.bands = 0; less.bands < r->bands && r->band[less.bands].domain == PLB_BAND_CYCLE;)
    less.bands++; /* those of the cycle stand first */
  assert_true(less.bands < r->bands);
  gaps = 0;
  check_parts(&less, name);
  assert_int_equal(gaps, 1);
  gaps = 0;
  plb_reference_free(r);
}

static void test_refs_complete__every_part_is_there(void **state) {
  (void)state;
  gaps = 0;
  const size_t count = shelf_each(check_one, NULL);
  printf("%zu references\n", count);
  assert_true(count >= FEWEST);
  assert_int_equal(gaps, 0);
}

/* ---- cautions: which must stand where ---- */

static const struct {
  const char *type; /* beginning of the type */
  const char *word; /* of the caution */
} must[] = {
    {"injector-", "Fuel lines"},      {"injector-", "Boosted and piezo"}, {"fuel-", "Fuel lines"},        {"high-pressure-pump", "Fuel lines"},
    {"coil-", "pacemaker"},           {"coil-secondary", "never a plain probe on the secondary"},         {"coil-primary", "catalyst"},
    {"starter-", "Before cranking"},  {"starter-", "pacemaker"},          {"starter-", "catalyst"},       {"battery-", "weld a tool"},
    {"parasitic", "weld a tool"},     {"charging", "weld a tool"},        {"cylinder-pressure", "catalyst"}, {"cylinder-pressure", "pacemaker"},
    {"can-", "outside supply"},       {"lin", "outside supply"},          {"sent", "outside supply"},     {"sensor-supply", "outside supply"},
    {"psi5", "airbag"},               {"can-", "airbag"},                 {"knock", "exhaust led outside"}, {"oxygen-", "exhaust led outside"},
    {"pedal", "airbag"},              {"wheel-speed", "turned by hand or driven"}, {"injector-voltage", "rated for the highest spike"},
    {"coil-primary-voltage", "rated for the highest spike"}, {"relay", "rated for the highest spike"},
    {"pwm-valve", "rated for the highest spike"}, {"cam-phaser-valve", "rated for the highest spike"}, {"boost-", "turned by hand or driven"},
    {"pedal", "outside supply"}, {"throttle", "outside supply"}, {"glow-", "weld a tool"}};

static bool warns(const plb_reference *r, const char *word) {
  for (size_t c = 0; c < r->connection.cautions; c++)
    if (strstr(r->connection.caution[c], word) != NULL)
      return true;
  return false;
}

/* No waiting time and no promise as a number of ours: "5 V" is the name of a line, any other digit has no business there. */
static bool has_number(const char *text) {
  for (const char *p = text; *p != '\0'; p++)
    if (*p >= '0' && *p <= '9' && strncmp(p, "5 V", 3) != 0)
      return true;
  return false;
}

static bool in_state(const plb_reference *r, const char *word) {
  for (size_t c = 0; c < r->conditions; c++)
    if (strcmp(r->condition[c].word, word) == 0)
      return true;
  return false;
}

/* Or may start: who cranks may get a running engine. */
static bool engine_runs(const plb_reference *r) {
  static const char *const states[] = {"cranking", "hot-idle", "cold-idle", "loaded", "snap-throttle", "steady-speed"};
  for (size_t i = 0; i < sizeof states / sizeof states[0]; i++)
    if (in_state(r, states[i]))
      return strncmp(r->type, "wheel-speed", strlen("wheel-speed")) != 0; /* a wheel is turned */
  return false;
}

/* A probe at a wire of a connector; not at posts and terminals, round a lead, or at a transducer of one's own. */
static bool through_a_plug(const plb_reference *r) {
  static const char *const elsewhere[] = {"alternator-", "battery-", "charging-", "coil-secondary", "cylinder-pressure", "drop-"};
  for (size_t i = 0; i < sizeof elsewhere / sizeof elsewhere[0]; i++)
    if (strncmp(r->type, elsewhere[i], strlen(elsewhere[i])) == 0)
      return false;
  for (size_t c = 0; c < r->channels; c++)
    if (strcmp(r->channel[c].unit, "V") == 0)
      return true;
  return false;
}

static void check_cautions(const char *name, const char *path, void *payload) {
  plb_reference *r = NULL;
  plb_error err = PLB_ERROR_INIT;
  (void)payload;
  assert_int_equal(plb_reference_read(&r, path, &err), PLB_OK);
  need(warns(r, "vehicle maker's instructions"), name, "deference to the vehicle maker");
  need(warns(r, "high-voltage") || warns(r, "hybrid"), name, "caution of high-voltage vehicles");
  need(warns(r, "start their engine by themselves"), name, "caution of vehicles that start by themselves");
  need(!in_state(r, "cranking") || warns(r, "Before cranking"), name, "caution before cranking");
  need(!engine_runs(r) || warns(r, "exhaust led outside"), name, "caution of exhaust gas");
  need(!through_a_plug(r) || warns(r, "Back-probe"), name, "caution of pierced wires");
  need(r->channels < 2 || warns(r, "ground clips"), name, "caution of clips that share one ground");
  for (size_t k = 0; k < sizeof must / sizeof must[0]; k++)
    if (strncmp(r->type, must[k].type, strlen(must[k].type)) == 0)
      need(warns(r, must[k].word), name, must[k].word);
  for (size_t c = 0; c < r->connection.cautions; c++)
    need(!has_number(r->connection.caution[c]), name, "cautions without numbers of ours");
  plb_reference_free(r);
}

static void test_refs_complete__cautions_stand_where_they_apply(void **state) {
  (void)state;
  gaps = 0;
  shelf_each(check_cautions, NULL);
  assert_int_equal(gaps, 0);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_refs_complete__every_part_is_there),
      cmocka_unit_test(test_refs_complete__a_missing_part_is_found),
      cmocka_unit_test(test_refs_complete__cautions_stand_where_they_apply),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
