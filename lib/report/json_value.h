#ifndef PLB_REPORT_JSON_VALUE_H
#define PLB_REPORT_JSON_VALUE_H
/** @file  JSON values by the rules of every document here: numbers finite or null, text always UTF-8, failures sticky. */
#include "core/core.h"
#include <jansson.h>
#include <plumbline/capture.h>

typedef struct plb_json {
  bool failed; /**< memory was short somewhere: the document must not be written */
} plb_json;

/** Put `value` (taken over; NULL means that memory was short) under `key`. */
void plb_json_set(plb_json *j, json_t *object, const char *key, json_t *value);
void plb_json_append(plb_json *j, json_t *array, json_t *value);
/** A number, or null when it is not finite. */
void plb_json_number(plb_json *j, json_t *object, const char *key, double value);
void plb_json_count(plb_json *j, json_t *object, const char *key, uint64_t value);
/** A count of which 0 means that there is none: null. */
void plb_json_count_or_null(plb_json *j, json_t *object, const char *key, uint64_t value);
void plb_json_flag(plb_json *j, json_t *object, const char *key, bool value);
/** Text; malformed UTF-8 becomes U+FFFD; a NULL text becomes null. */
void plb_json_text(plb_json *j, json_t *object, const char *key, const char *text);
/** Text of which the empty one means that there is none: null. */
void plb_json_text_or_null(plb_json *j, json_t *object, const char *key, const char *text);
/** One text as a value, for arrays; NULL when memory is short. */
json_t *plb_json_string(const char *text);
/** An empty object or array, put under `key` and lent. NULL when memory is short. */
json_t *plb_json_object_in(plb_json *j, json_t *object, const char *key);
json_t *plb_json_array_in(plb_json *j, json_t *object, const char *key);
/** A curve with each value rounded to `decimals`; null under the key when `curve` is NULL. */
void plb_json_curve(plb_json *j, json_t *object, const char *key, const float *curve, size_t count, int decimals);
/** Decimals that keep a curve between `low` and `high` to one part in 20,000 of that range. */
int plb_json_decimals(double low, double high);
/** One line, its line end included, as malloc'ed text; the document is taken over. */
PLB_CHECKED plb_status plb_json_dump(plb_json *j, json_t *document, char **out, plb_error *err);

/** Reasons (also the recording check) as {class, code, channel, blocks, text, do}. */
void plb_json_reasons(plb_json *j, json_t *object, const char *key, const plb_reason *reason, size_t count);

#endif
