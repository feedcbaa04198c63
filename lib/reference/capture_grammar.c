#include "reference/grammar.h"
#include "reference/limits.h"

/* clang-format off: one row a line */

static const char *const stores[] = {"codes", "numbers", NULL};

static const plb_attribute_rule word_attributes[] = {
    {"name", PLB_VALUE_NAME, true, 0, 0, NULL},
    {"value", PLB_VALUE_NAME, true, 0, 0, NULL},
    {.name = NULL}};
static const plb_attribute_rule range_attributes[] = {
    {"name", PLB_VALUE_NAME, true, 0, 0, NULL},
    {"low", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"high", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"unit", PLB_VALUE_UNIT, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_element_rule word = {"word", word_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_element_rule range = {"range", range_attributes, NULL, PLB_CONTENT_CHILDREN};
static const plb_place conditions_places[] = {{{&word, &range}, 1, PLB_CONDITIONS_MOST}, {.most = 0}};
static const plb_element_rule conditions = {"conditions", NULL, conditions_places, PLB_CONTENT_CHILDREN};

static const plb_attribute_rule channel_attributes[] = {
    {"role", PLB_VALUE_NAME, true, 0, 0, NULL},
    {"unit", PLB_VALUE_UNIT, true, 0, 0, NULL},
    {"factor", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"column", PLB_VALUE_INTEGER, false, 1, 100000, NULL},
    {"header", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"stored", PLB_VALUE_WORD, true, 0, 0, stores},
    {"code-low", PLB_VALUE_INTEGER, false, INT32_MIN, INT32_MAX, NULL},
    {"code-high", PLB_VALUE_INTEGER, false, INT32_MIN, INT32_MAX, NULL},
    {.name = NULL}};
static const plb_place channel_places[] = {
    {{&plb_rule_integers, &plb_rule_steps, &plb_rule_codes, &plb_rule_floats}, 1, PLB_CAPTURE_VALUES_MOST},
    {.most = 0}};
static const plb_element_rule channel = {"channel", channel_attributes, channel_places, PLB_CONTENT_CHILDREN};

static const plb_element_rule place = {"place", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule note = {"note", NULL, NULL, PLB_CONTENT_TEXT};
static const plb_element_rule applied = {"applied", NULL, NULL, PLB_CONTENT_TEXT};

static const plb_attribute_rule capture_attributes[] = {
    {"id", PLB_VALUE_ID, true, 0, 0, NULL},
    {"date", PLB_VALUE_DATE, false, 0, 0, NULL},
    {"samples", PLB_VALUE_INTEGER, true, 1, PLB_CAPTURE_VALUES_MOST, NULL},
    {"rate-hz", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"start-s", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"uneven", PLB_VALUE_NUMBER, false, 0, 0, NULL},
    {"gap-row", PLB_VALUE_INTEGER, false, 1, PLB_CAPTURE_VALUES_MOST, NULL},
    {"pairs", PLB_VALUE_FLAG, false, 0, 0, NULL},
    {"format", PLB_VALUE_NAME, false, 0, 0, NULL},
    {"source", PLB_VALUE_TEXT, false, 0, 0, NULL},
    {"sha256", PLB_VALUE_HASH, false, 0, 0, NULL},
    {.name = NULL}};
static const plb_place capture_places[] = {
    {{&place}, 0, 1},
    {{&conditions}, 0, 1},
    {{&note}, 0, PLB_NOTES_MOST},
    {{&applied}, 0, PLB_NOTES_MOST},
    {{&channel}, 1, PLB_CHANNELS_MOST},
    {.most = 0}};
const plb_element_rule plb_rule_capture = {"capture", capture_attributes, capture_places, PLB_CONTENT_CHILDREN};
