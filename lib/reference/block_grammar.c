#include "reference/blocks.h"
#include "reference/grammar.h"

static const char *const ties[] = {"up", "even", "away", NULL};

/* clang-format off: one row a line */

static const plb_attribute_rule integers_attributes[] = {
    {"count", PLB_VALUE_INTEGER, true, 1, PLB_BLOCK_MOST, NULL},
    {"decimals", PLB_VALUE_INTEGER, true, 0, PLB_DECIMALS_MOST, NULL},
    {"missing", PLB_VALUE_LONGS, false, 0, 0, NULL},
    {"segment", PLB_VALUE_INTEGER, true, 1, PLB_BLOCK_MOST, NULL},
    {"extra", PLB_VALUE_INTEGER, true, 0, PLB_EXTRA_MOST, NULL},
    {"crc32", PLB_VALUE_CRC, true, 0, 0, NULL},
    {.name = NULL}};
static const plb_attribute_rule steps_attributes[] = {
    {"count", PLB_VALUE_INTEGER, true, 1, PLB_BLOCK_MOST, NULL},
    {"decimals", PLB_VALUE_INTEGER, true, 0, PLB_DECIMALS_MOST, NULL},
    {"missing", PLB_VALUE_LONGS, false, 0, 0, NULL},
    {"digits", PLB_VALUE_INTEGER, false, 1, PLB_DIGITS_MOST, NULL},
    {"ties", PLB_VALUE_WORD, false, 0, 0, ties},
    {"coefficients", PLB_VALUE_LONGS, true, 0, 0, NULL},
    {"code-bits", PLB_VALUE_INTEGER, true, 0, 31, NULL},
    {"step-shift", PLB_VALUE_INTEGER, true, 0, PLB_STEP_SHIFT_MOST, NULL},
    {"segment", PLB_VALUE_INTEGER, true, 1, PLB_BLOCK_MOST, NULL},
    {"extra", PLB_VALUE_INTEGER, true, 0, PLB_EXTRA_MOST, NULL},
    {"crc32", PLB_VALUE_CRC, true, 0, 0, NULL},
    {.name = NULL}};
static const plb_attribute_rule codes_attributes[] = {
    {"count", PLB_VALUE_INTEGER, true, 1, PLB_BLOCK_MOST, NULL},
    {"scale", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"offset", PLB_VALUE_NUMBER, true, 0, 0, NULL},
    {"segment", PLB_VALUE_INTEGER, true, 1, PLB_BLOCK_MOST, NULL},
    {"extra", PLB_VALUE_INTEGER, true, 0, PLB_EXTRA_MOST, NULL},
    {"crc32", PLB_VALUE_CRC, true, 0, 0, NULL},
    {.name = NULL}};
static const plb_attribute_rule floats_attributes[] = {
    {"count", PLB_VALUE_INTEGER, true, 1, PLB_BLOCK_MOST, NULL},
    {"planes", PLB_VALUE_INTEGER, true, 4, 8, NULL},
    {"crc32", PLB_VALUE_CRC, true, 0, 0, NULL},
    {.name = NULL}};
const plb_element_rule plb_rule_integers = {"integers", integers_attributes, NULL, PLB_CONTENT_BASE64};
const plb_element_rule plb_rule_steps = {"steps", steps_attributes, NULL, PLB_CONTENT_BASE64};
const plb_element_rule plb_rule_codes = {"codes", codes_attributes, NULL, PLB_CONTENT_BASE64};
const plb_element_rule plb_rule_floats = {"floats", floats_attributes, NULL, PLB_CONTENT_BASE64};
