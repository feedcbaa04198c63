#include "report/json_value.h"
#include "report/report.h"

#include <math.h>
#include <string.h>

void plb_json_set(plb_json *j, json_t *object, const char *key, json_t *value) {
  if (json_object_set_new(object, key, value) != 0)
    j->failed = true;
}

void plb_json_append(plb_json *j, json_t *array, json_t *value) {
  if (json_array_append_new(array, value) != 0)
    j->failed = true;
}

void plb_json_number(plb_json *j, json_t *object, const char *key, double value) {
  plb_json_set(j, object, key, isfinite(value) ? json_real(value) : json_null());
}

void plb_json_count(plb_json *j, json_t *object, const char *key, uint64_t value) {
  plb_json_set(j, object, key, json_integer((json_int_t)value));
}

void plb_json_count_or_null(plb_json *j, json_t *object, const char *key, uint64_t value) {
  plb_json_set(j, object, key, value > 0 ? json_integer((json_int_t)value) : json_null());
}

void plb_json_flag(plb_json *j, json_t *object, const char *key, bool value) {
  plb_json_set(j, object, key, json_boolean(value));
}

json_t *plb_json_string(const char *text) {
  json_t *as_it_is = json_string(text); /* refuses malformed UTF-8 */
  if (as_it_is)
    return as_it_is;
  plb_buffer b;
  plb_buffer_init(&b, (size_t)1 << 20);
  plb_buffer_puts(&b, "");
  for (size_t length; *text; text += length > 0 ? length : 1) {
    length = plb_text_utf8(text);
    plb_buffer_append(&b, length > 0 ? text : "\xEF\xBF\xBD", length > 0 ? length : 3);
  }
  json_t *repaired = b.status == PLB_OK ? json_string(b.data) : NULL;
  plb_buffer_dispose(&b);
  return repaired;
}

void plb_json_text(plb_json *j, json_t *object, const char *key, const char *text) {
  plb_json_set(j, object, key, text ? plb_json_string(text) : json_null());
}

void plb_json_text_or_null(plb_json *j, json_t *object, const char *key, const char *text) {
  plb_json_text(j, object, key, text && *text ? text : NULL);
}

json_t *plb_json_object_in(plb_json *j, json_t *object, const char *key) {
  plb_json_set(j, object, key, json_object());
  return json_object_get(object, key);
}

json_t *plb_json_array_in(plb_json *j, json_t *object, const char *key) {
  plb_json_set(j, object, key, json_array());
  return json_object_get(object, key);
}

int plb_json_decimals(double low, double high) {
  const double step = (high - low) / 20000;
  if (!(step > 0) || !isfinite(step))
    return 9;
  const double decimals = ceil(-log10(step));
  return decimals < 0 ? 0 : decimals > 15 ? 15 : (int)decimals;
}

void plb_json_curve(plb_json *j, json_t *object, const char *key, const float *curve, size_t count, int decimals) {
  if (!curve) {
    plb_json_set(j, object, key, json_null());
    return;
  }
  json_t *array = plb_json_array_in(j, object, key);
  const double ten = pow(10, decimals);
  for (size_t i = 0; i < count; i++) {
    const double value = round((double)curve[i] * ten) / ten;
    plb_json_append(j, array, isfinite(value) ? json_real(value + 0.0) : json_null()); /* + 0.0: no negative zero */
  }
}

void plb_json_reasons(plb_json *j, json_t *object, const char *key, const plb_reason *reason, size_t count) {
  static const char *const classes[] = {"recording", "measuring", "conditions"};
  json_t *array = plb_json_array_in(j, object, key);
  for (size_t i = 0; i < count; i++) {
    json_t *item = json_object();
    plb_json_text(j, item, "class", (size_t)reason[i].kind < 3 ? classes[reason[i].kind] : NULL);
    plb_json_text(j, item, "code", reason[i].code);
    plb_json_text_or_null(j, item, "channel", reason[i].channel);
    plb_json_flag(j, item, "blocks", reason[i].blocks);
    plb_json_text(j, item, "text", reason[i].text);
    plb_json_text(j, item, "do", reason[i].action);
    plb_json_append(j, array, item);
  }
}

static int append(const char *bytes, size_t size, void *payload) {
  plb_buffer *b = payload;
  plb_buffer_append(b, bytes, size);
  return b->status == PLB_OK ? 0 : -1;
}

/* 15 digits: every decimal number of that length comes back the same, and rounded curves stay short. */
plb_status plb_json_dump(plb_json *j, json_t *document, char **out, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, (size_t)256 << 20);
  if (j->failed || !document || json_dump_callback(document, append, &b, JSON_COMPACT | JSON_REAL_PRECISION(15)) != 0)
    b.status = PLB_ENOMEM;
  plb_buffer_append(&b, "\n", 1);
  json_decref(document);
  return plb_report_take(&b, out, err);
}
