/* Read back what a verdict rested on, so that the same comparison can be made again. */
#include "report/json_value.h"
#include <math.h>
#include <plumbline/report.h>
#include <string.h>

enum { VERDICT_MOST = 16 * 1024 * 1024 };

static void take(const json_t *object, const char *key, char *out, size_t size) {
  const char *text = json_string_value(json_object_get(object, key));
  plb_text_copy(out, size, text != NULL ? text : "");
}

/* An array of texts as a list of copies; false when memory is short. */
static bool take_texts(const json_t *array, char ***out, size_t *count) {
  *out = plb_calloc(json_array_size(array), sizeof **out);
  for (size_t i = 0; *out != NULL && i < json_array_size(array); i++) {
    const char *text = json_string_value(json_array_get(array, i));
    (*out)[*count] = plb_strdup(text != NULL ? text : "");
    if ((*out)[(*count)++] == NULL) {
      return false;
    }
  }
  return *out != NULL;
}

static bool take_word(const json_t *root, plb_word *out) {
  const char *text = json_string_value(json_object_get(root, "verdict"));
  for (plb_word w = PLB_AGREES; w <= PLB_UNJUDGED; w++) {
    if (text != NULL && strcmp(text, plb_word_name(w)) == 0) {
      *out = w;
      return true;
    }
  }
  return false;
}

static plb_status take_verdict(plb_again *a, const json_t *root, plb_error *err) {
  const char *format = json_string_value(json_object_get(root, "format"));
  if (format == NULL || strcmp(format, "plumbline.verdict/1") != 0 || !take_word(root, &a->word)) {
    return plb_fail(err, PLB_EDATA, "no verdict/1 in it; give what `plumb compare --json` printed for one capture");
  }
  const json_t *request = json_object_get(root, "request"), *options = json_object_get(request, "options");
  const json_t *reference = json_object_get(root, "reference"), *score = json_object_get(root, "score");
  char name[PLB_TEXT_SIZE], status[PLB_NAME_SIZE];
  take(json_object_get(root, "capture"), "path", a->capture_path, sizeof a->capture_path);
  take(json_object_get(root, "capture"), "sha256", a->capture_sha256, sizeof a->capture_sha256);
  take(reference, "sha256", a->reference_sha256, sizeof a->reference_sha256);
  take(reference, "selector", name, sizeof name);
  take(reference, "status", status, sizeof status);
  if (strcmp(status, "file") == 0) {
    take(reference, "path", a->reference, sizeof a->reference);
  } else {
    plb_text_say(a->reference, sizeof a->reference, "%s@%lld", name, (long long)json_integer_value(json_object_get(reference, "version")));
  }
  a->score = json_is_number(score) ? json_number_value(score) : (double)NAN;
  a->rate_hz = json_number_value(json_object_get(options, "rate_hz"));
  a->connected = json_is_true(json_object_get(options, "connected"));
  if (a->capture_path[0] == '\0' || a->reference[0] == '\0') {
    return plb_fail(err, PLB_EDATA, "it names no capture or no known-good; only a verdict against a known-good can be made again");
  }
  if (!take_texts(json_object_get(request, "channels"), &a->channel, &a->channels) ||
      !take_texts(json_object_get(request, "conditions"), &a->condition, &a->conditions) ||
      !take_texts(json_object_get(request, "conditioning"), &a->conditioning, &a->conditionings)) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  return PLB_OK;
}

plb_status plb_again_read(plb_again **out, const char *path, plb_error *err) {
  char *data = NULL;
  size_t size = 0;
  json_error_t where;
  *out = NULL;
  plb_status status = plb_file_read(path, VERDICT_MOST, &data, &size, err);
  if (status != PLB_OK) {
    return status;
  }
  json_t *root = json_loadb(data, size, JSON_REJECT_DUPLICATES, &where);
  plb_again *a = plb_calloc(1, sizeof *a);
  free(data);
  if (a == NULL) {
    status = plb_fail(err, PLB_ENOMEM, "out of memory");
  } else if (root == NULL) {
    status = plb_fail_line(err, PLB_EDATA, where.line, where.column, "not JSON: %s; give one line that `plumb compare --json` printed",
                           where.text);
  } else {
    status = take_verdict(a, root, err);
  }
  json_decref(root);
  if (status != PLB_OK) {
    plb_again_free(a);
    return plb_fail_path(err, status, path);
  }
  *out = a;
  return PLB_OK;
}

static void free_texts(char **text, size_t count) {
  for (size_t i = 0; i < count; i++) {
    free(text[i]);
  }
  free(text);
}

void plb_again_free(plb_again *again) {
  if (again != NULL) {
    free_texts(again->channel, again->channels);
    free_texts(again->condition, again->conditions);
    free_texts(again->conditioning, again->conditionings);
    free(again);
  }
}
