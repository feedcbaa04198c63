#include "reference/grammar.h"
#include "cycle/cycle.h"
#include "reference/limits.h"

/* ---- words; where they stand for an enumeration, in its order ---- */

/* clang-format off: one row a line */

static const char *const provenances[] = {"measured", "modelled", "standard", NULL};
static const char *const amplitudes[] = {"absolute", "supply-proportional", "speed-curve", "load-proportional", "free",
                                         NULL};
static const char *const offsets[] = {"supply-proportional", "free", "fixed", "pegged", NULL};
static const char *const edges[] = {"rising", "falling", NULL};
static const char *const level_kinds[] = {"unit", "states", "supply", NULL};
static const char *const layouts[] = {"scaled", "absolute", NULL};
static const char *const domains[] = {"cycle", "frequency", "order", NULL};
static const char *const frequency_units[] = {"Hz", "order", NULL};
static const char *const level_of[] = {"signal", "residual", NULL};
static const char *const combines[] = {"difference", "sum", NULL};
static const char *const shares_of[] = {"supply", NULL};
static const char *const statistics[] = {"value", "lowest", "highest", "each", NULL};
static const char *const directions[] = {"low", "high", "early", "late", "noisy", "missing", NULL};

/* A curve is one block; the grid is at most 2,048 points. */
static const plb_place curve_places[] = {{{&plb_rule_integers, &plb_rule_floats}, 1, 1}, {.most = 0}};

/* ---- texts ---- */

static const plb_element_rule title = {"title", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule why = {"why", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule predecessor = {"predecessor", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule method = {"method", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule sources = {"sources", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule system_ = {"system", NULL, NULL, PLB_CONTENT_TEXT};

/* ---- provenance, subject, conditions, connection ---- */

static const plb_attribute_rule provenance_attributes[] = {
    {"kind", PLB_VALUE_WORD, true, 0, 0, provenances},
    {"exemplars", PLB_VALUE_INTEGER, true, 0, PLB_EXEMPLARS_MOST, NULL},
    {"groups", PLB_VALUE_INTEGER, true, 0, PLB_EXEMPLARS_MOST, NULL},
    {.name = NULL}};
static const plb_place provenance_places[] = {{{&method}, 0, 1}, {{&sources}, 0, 1}, {.most = 0}};
static const plb_element_rule provenance = {"provenance", provenance_attributes, provenance_places,
                                            PLB_CONTENT_CHILDREN};

static const plb_attribute_rule subject_attributes[] = {
    {"cylinders", PLB_VALUE_INTEGER, false, 1, 64, NULL},
    {"supply-nominal-v", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_place subject_places[] = {{{&system_}, 0, 1}, {.most = 0}};
static const plb_element_rule subject = {"subject", subject_attributes, subject_places, PLB_CONTENT_CHILDREN};

static const plb_attribute_rule word_attributes[] = {
    {"name", PLB_VALUE_NAME, true, 0, 0, NULL},
    {"value", PLB_VALUE_NAME, true, 0, 0, NULL},
    {"stated", PLB_VALUE_FLAG, true, 0, 0, NULL},
    {.name = NULL}};
static const plb_attribute_rule range_attributes[] = {
    {"name", PLB_VALUE_NAME, true, 0, 0, NULL},
    {"low", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"high", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"unit", PLB_VALUE_UNIT, false, 0, 0, NULL},
    {"stated", PLB_VALUE_FLAG, true, 0, 0, NULL},
    {.name = NULL}};
static const plb_element_rule word = {"word", word_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_element_rule range = {"range", range_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_place conditions_places[] = {{{&word, &range}, 1, PLB_CONDITIONS_MOST}, {.most = 0}};
static const plb_element_rule conditions = {"conditions", NULL, conditions_places, PLB_CONTENT_CHILDREN};

static const plb_element_rule test_point = {"test-point", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule place = {"place", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule ground = {"ground", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule never = {"never", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule probe = {"probe", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule span_of_volts = {"range", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule coupling = {"coupling", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule trigger = {"trigger", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule caution = {"caution", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_attribute_rule connection_attributes[] = {
    {"connected", PLB_VALUE_FLAG, true, 0, 0, NULL},
    {"rate-needed-hz", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_place connection_places[] = {
    {{&test_point}, 0, 1},    {{&place}, 0, 1},    {{&ground}, 0, 1},  {{&never}, 0, 1},
    {{&probe}, 0, 1},         {{&span_of_volts}, 0, 1}, {{&coupling}, 0, 1}, {{&trigger}, 0, 1},
    {{&caution}, 0, PLB_CAUTIONS_MOST}, {.most = 0}};
static const plb_element_rule connection = {"connection", connection_attributes, connection_places,
                                            PLB_CONTENT_CHILDREN};

/* ---- channels ---- */

static const plb_attribute_rule speed_attributes[] = {
    {"rate-hz", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"gain", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {.name = NULL}};
static const plb_element_rule speed = {"speed", speed_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_attribute_rule channel_attributes[] = {
    {"role", PLB_VALUE_NAME, true, 0, 0, NULL},
    {"unit", PLB_VALUE_UNIT, true, 0, 0, NULL},
    {"amplitude", PLB_VALUE_WORD, true, 0, 0, amplitudes},
    {"offset", PLB_VALUE_WORD, true, 0, 0, offsets},
    {"pegged", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"peak-to-peak", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"noise", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"sample-noise", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"step", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"range-low", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"range-high", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"column", PLB_VALUE_INTEGER, false, 1, 100000, NULL},
    {"header", PLB_VALUE_NAME, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_place channel_places[] = {{{&speed}, 0, PLB_SPEEDS_MOST}, {.most = 0}};
static const plb_element_rule channel = {"channel", channel_attributes, channel_places, PLB_CONTENT_CHILDREN};
static const plb_place channels_places[] = {{{&channel}, 1, PLB_CHANNELS_MOST}, {.most = 0}};
static const plb_element_rule channels = {"channels", NULL, channels_places, PLB_CONTENT_CHILDREN};

/* ---- cycle ---- */

static const plb_attribute_rule wheel_attributes[] = {
    {"channel", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"teeth", PLB_VALUE_INTEGER, true, 3, 512, NULL},
    {"missing", PLB_VALUE_INTEGER, true, 0, 8, NULL},
    {"revs", PLB_VALUE_INTEGER, true, 1, 2, NULL},
    {.name = NULL}};
static const plb_attribute_rule edge_attributes[] = {
    {"channel", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"level", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"level-of", PLB_VALUE_WORD, true, 0, 0, level_kinds},
    {"level-unit", PLB_VALUE_UNIT, false, 0, 0, NULL},
    {"slope", PLB_VALUE_WORD, false, 0, 0, edges},
    {.name = NULL}};
static const plb_attribute_rule repeat_attributes[] = {
    {"channel", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"period-s", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_attribute_rule plain_attributes[] = {
    {"channel", PLB_VALUE_NAME, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_attribute_rule against_attributes[] = {
    {"channel", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"along", PLB_VALUE_NAME, true, 0, 0, NULL},
    {.name = NULL}};
static const plb_element_rule wheel = {"wheel", wheel_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_element_rule edge = {"edge", edge_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_element_rule repeat = {"repeat", repeat_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_element_rule once = {"once", plain_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_element_rule against = {"against", against_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_element_rule steady = {"steady", plain_attributes, NULL, PLB_CONTENT_CHILDREN};

static const plb_attribute_rule landmark_attributes[] = {
    {"name", PLB_VALUE_NAME, true, 0, 0, NULL},
    {"phase", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"direction", PLB_VALUE_WORD, false, 0, 0, edges},
    {"level", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_attribute_rule span_attributes[] = {
    {"name", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"from", PLB_VALUE_INTEGER, true, 0, PLB_LANDMARK_MOST, NULL},
    {"to", PLB_VALUE_INTEGER, true, 0, PLB_LANDMARK_MOST, NULL},
    {"layout", PLB_VALUE_WORD, true, 0, 0, layouts},
    {"duration-s", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_element_rule template_ = {"template", NULL, curve_places, PLB_CONTENT_CHILDREN};
static const plb_element_rule stroke = {"stroke", NULL, curve_places, PLB_CONTENT_CHILDREN};
static const plb_element_rule landmark = {"landmark", landmark_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_element_rule span = {"span", span_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_attribute_rule cycle_attributes[] = {
    {"channel", PLB_VALUE_NAME, true, 0, 0, NULL},
    {"grid", PLB_VALUE_INTEGER, true, 2, PLB_GRID_MOST, NULL},
    {"edge", PLB_VALUE_WORD, false, 0, 0, edges},
    {"level-low", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"level-high", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"rate-low-hz", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"rate-high-hz", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"seam", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"shortest-pulse-s", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"longest-ratio", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"correlation-low", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"stroke-channel", PLB_VALUE_NAME, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_place cycle_places[] = {
    {{&wheel, &edge, &repeat, &once, &against, &steady}, 1, 1},
    {{&template_}, 0, 1},
    {{&stroke}, 0, 1},
    {{&landmark}, 0, PLB_LANDMARK_MOST},
    {{&span}, 0, PLB_LANDMARK_MOST + 1},
    {.most = 0}};
static const plb_element_rule cycle = {"cycle", cycle_attributes, cycle_places, PLB_CONTENT_CHILDREN};

/* ---- corridor, bands, readings ---- */

static const plb_attribute_rule by_channel[] = {
    {"channel", PLB_VALUE_NAME, true, 0, 0, NULL}, {.name = NULL}};
static const plb_element_rule centre = {"centre", NULL, curve_places, PLB_CONTENT_CHILDREN};
static const plb_element_rule lower = {"lower", NULL, curve_places, PLB_CONTENT_CHILDREN};
static const plb_element_rule upper = {"upper", NULL, curve_places, PLB_CONTENT_CHILDREN};
static const plb_element_rule jitter = {"jitter", NULL, curve_places, PLB_CONTENT_CHILDREN};
static const plb_place good_range_places[] = {{{&centre}, 1, 1}, {{&lower}, 1, 1}, {{&upper}, 1, 1}, {.most = 0}};
static const plb_element_rule good_range = {"good-range", by_channel, good_range_places, PLB_CONTENT_CHILDREN};
static const plb_place corridor_places[] = {{{&good_range}, 1, PLB_CHANNELS_MOST}, {{&jitter}, 0, 1}, {.most = 0}};
static const plb_element_rule corridor = {"corridor", NULL, corridor_places, PLB_CONTENT_CHILDREN};

static const plb_attribute_rule pointer_attributes[] = {
    {"direction", PLB_VALUE_WORD, true, 0, 0, directions}, {.name = NULL}};
static const plb_element_rule good = {"good", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule pointer = {"pointer", pointer_attributes, NULL, PLB_CONTENT_TEXT};
static const plb_attribute_rule band_attributes[] = {
    {"name", PLB_VALUE_NAME, true, 0, 0, NULL},
    {"channel", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"domain", PLB_VALUE_WORD, true, 0, 0, domains},
    {"from", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"to", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"tolerance", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"unit", PLB_VALUE_WORD, false, 0, 0, frequency_units},
    {"of", PLB_VALUE_WORD, false, 0, 0, level_of},
    {"level", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"spread", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_place band_places[] = {{{&good}, 0, 1}, {{&pointer}, 0, PLB_POINTERS_MOST}, {.most = 0}};
static const plb_element_rule band = {"band", band_attributes, band_places, PLB_CONTENT_CHILDREN};
static const plb_place bands_places[] = {{{&band}, 1, PLB_BANDS_MOST}, {.most = 0}};
static const plb_element_rule bands = {"bands", NULL, bands_places, PLB_CONTENT_CHILDREN};

static const plb_element_rule source = {"source", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_attribute_rule limit_attributes[] = {
    {"name", PLB_VALUE_NAME, true, 0, 0, NULL},
    {"channel", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"unit", PLB_VALUE_UNIT, false, 0, 0, NULL},
    {"low", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"high", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"against", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"combine", PLB_VALUE_WORD, false, 0, 0, combines},
    {"share-of", PLB_VALUE_WORD, false, 0, 0, shares_of},
    {"statistic", PLB_VALUE_WORD, false, 0, 0, statistics},
    {"uncertainty", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_place limit_places[] = {{{&source}, 0, 1}, {.most = 0}};
static const plb_element_rule limit = {"limit", limit_attributes, limit_places, PLB_CONTENT_CHILDREN};
static const plb_place readings_places[] = {{{&limit}, 1, PLB_READINGS_MOST}, {.most = 0}};
static const plb_element_rule readings = {"readings", NULL, readings_places, PLB_CONTENT_CHILDREN};

/* ---- exemplars, calibration ---- */

static const plb_element_rule median = {"median", NULL, curve_places, PLB_CONTENT_CHILDREN};
static const plb_element_rule spread = {"spread", NULL, curve_places, PLB_CONTENT_CHILDREN};
static const plb_place profile_places[] = {{{&median}, 1, 1}, {{&spread}, 1, 1}, {.most = 0}};
static const plb_element_rule profile = {"profile", by_channel, profile_places, PLB_CONTENT_CHILDREN};
static const plb_element_rule values = {"values", NULL, NULL, PLB_CONTENT_NUMBERS};
static const plb_element_rule levels = {"levels", NULL, NULL, PLB_CONTENT_NUMBERS};
static const plb_element_rule band_scores = {"band-scores", NULL, NULL, PLB_CONTENT_NUMBERS};
static const plb_attribute_rule exemplar_attributes[] = {
    {"name", PLB_VALUE_TEXT, true, 0, 0, NULL},
    {"sha256", PLB_VALUE_HASH, false, 0, 0, NULL},
    {"group", PLB_VALUE_TEXT, false, 0, 0, NULL},
    {"held-out", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"rate-hz", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"cycles", PLB_VALUE_INTEGER, true, 0, UINT32_MAX, NULL},
    {"unmapped", PLB_VALUE_INTEGER, true, 0, UINT32_MAX, NULL},
    {"damaged", PLB_VALUE_INTEGER, true, 0, UINT32_MAX, NULL},
    {"supply-v", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"load", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_place exemplar_places[] = {
    {{&profile}, 0, PLB_CHANNELS_MOST}, {{&values}, 0, 1}, {{&band_scores}, 0, 1}, {{&levels}, 0, 1}, {.most = 0}};
static const plb_element_rule exemplar = {"exemplar", exemplar_attributes, exemplar_places, PLB_CONTENT_CHILDREN};
static const plb_place exemplars_places[] = {{{&exemplar}, 1, PLB_EXEMPLARS_MOST}, {.most = 0}};
static const plb_element_rule exemplars = {"exemplars", NULL, exemplars_places, PLB_CONTENT_CHILDREN};

static const plb_attribute_rule scale_attributes[] = {
    {"kind", PLB_VALUE_NAME, true, 0, 0, NULL},
    {"channel", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"name", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"value", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_element_rule scale = {"scale", scale_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_attribute_rule calibration_attributes[] = {
    {"alpha", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"promise", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"promise-upper90", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"independent", PLB_VALUE_INTEGER, true, 0, PLB_EXEMPLARS_MOST, NULL},
    {"groups-stated", PLB_VALUE_FLAG, true, 0, 0, NULL},
    {"one-group", PLB_VALUE_FLAG, true, 0, 0, NULL},
    {"limit", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"guard", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"guard-robust", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"odd", PLB_VALUE_TEXT, false, 0, 0, NULL},
    {"odd-ratio", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_place calibration_places[] = {{{&scale}, 0, PLB_SCALES_MOST}, {.most = 0}};
static const plb_element_rule calibration = {"calibration", calibration_attributes, calibration_places,
                                             PLB_CONTENT_CHILDREN};

/* ---- the reference ---- */

static const plb_attribute_rule reference_attributes[] = {
    {"id", PLB_VALUE_ID, true, 0, 0, NULL},
    {"type", PLB_VALUE_SLUG, true, 0, 0, NULL},
    {"name", PLB_VALUE_PATH, true, 0, 0, NULL},
    {"version", PLB_VALUE_INTEGER, true, 0, 999999, NULL},
    {"date", PLB_VALUE_DATE, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_place reference_places[] = {
    {{&title}, 0, 1},    {{&why}, 0, 1},        {{&predecessor}, 0, 1}, {{&provenance}, 1, 1}, {{&subject}, 0, 1},
    {{&conditions}, 0, 1}, {{&connection}, 1, 1}, {{&channels}, 1, 1},  {{&cycle}, 1, 1},      {{&corridor}, 0, 1},
    {{&bands}, 0, 1},    {{&readings}, 0, 1},   {{&exemplars}, 0, 1},   {{&calibration}, 0, 1}, {.most = 0}};
const plb_element_rule plb_rule_reference = {"reference", reference_attributes, reference_places, PLB_CONTENT_CHILDREN};
