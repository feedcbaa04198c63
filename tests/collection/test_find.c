/* Listing, searching and selecting, in a plain folder laid out like a collection; and what changed between two references. */
#include "collection/fixture.h"
#include "core/cmocka_all.h"

#include <plumbline/collection.h>

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[PLB_PATH_SIZE];

static void put(const char *path, const char *data, size_t size) {
  char full[2 * PLB_PATH_SIZE];
  plb_error err = PLB_ERROR_INIT;
  snprintf(full, sizeof full, "%s/%s", folder, path);
  for (char *slash = strchr(full + 1, '/'); slash; slash = strchr(slash + 1, '/')) {
    *slash = '\0';
    mkdir(full, 0777);
    *slash = '/';
  }
  assert_int_equal(plb_file_write(full, data, size, &err), PLB_OK);
}

static void put_reference(const char *name, unsigned version, unsigned seed) {
  plb_reference *r = fixture_reference(name, seed, 0);
  plb_buffer out;
  plb_error err = PLB_ERROR_INIT;
  char path[PLB_PATH_SIZE];
  plb_buffer_init(&out, (size_t)16 << 20);
  r->version = version;
  assert_int_equal(plb_reference_write_buffer(r, &out, &err), PLB_OK);
  snprintf(path, sizeof path, "references/%s/%04u.xml", name, version);
  put(path, out.data, out.size);
  plb_buffer_dispose(&out);
  plb_reference_free(r);
}

static int set_up(void **state) {
  (void)state;
  static const char status[] = "<status xmlns=\"urn:plumbline:status:1\"><act kind=\"approve\" version=\"1\" when=\"2026-01-01T00:00:00Z\" who=\"A\"/>"
                               "<act kind=\"retire\" version=\"3\" when=\"2026-01-02T00:00:00Z\" who=\"B\">old</act></status>";
  static const char types[] = "<types xmlns=\"urn:plumbline:type:1\"><type slug=\"aa\"><title>First</title><alias>Crank</alias></type>"
                              "<type slug=\"bb\"><title>Second</title></type></types>";
  snprintf(folder, sizeof folder, "%s/find-%ld", PLB_BINARY_DIR, (long)getpid());
  put_reference("aa/x", 1, 1);
  put_reference("aa/x", 2, 2);
  put_reference("aa/x", 3, 3);
  put_reference("aa/x/deeper", 1, 4);
  put_reference("bb/y", 1, 5);
  put_reference("bb/y", 2, 6);
  put("references/aa/x/status.xml", status, sizeof status - 1);
  put("types.xml", types, sizeof types - 1);
  put("references/aa/x/notes.txt", "not ours", 8);
  return 0;
}

static plb_collection *open_it(void) {
  plb_collection *c = NULL;
  plb_error err = PLB_ERROR_INIT;
  if (plb_collection_open(&c, folder, &err) != PLB_OK)
    fail_msg("%s: %s", err.path, err.message);
  return c;
}

static void test_find__without_version_the_newest_approved_one_else_the_newest_draft(void **state) {
  (void)state;
  plb_collection *c = open_it();
  plb_entry e;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_collection_select(c, "aa/x", &e, &err), PLB_OK);
  assert_int_equal(e.version, 1);
  assert_int_equal(e.status, PLB_APPROVED);
  assert_int_equal(plb_collection_select(c, "bb/y", &e, &err), PLB_OK);
  assert_int_equal(e.version, 2);
  assert_int_equal(e.status, PLB_DRAFT);
  assert_int_equal(plb_collection_select(c, "aa/x@3", &e, &err), PLB_OK);
  assert_int_equal(e.status, PLB_RETIRED);
  assert_int_equal(plb_collection_select(c, "aa/x@4", &e, &err), PLB_ENOINPUT);
  assert_int_equal(plb_collection_select(c, "aa/z", &e, &err), PLB_ENOINPUT);
  assert_non_null(strstr(err.message, "did you mean aa/x?"));
  plb_collection_free(c);
}

static size_t count_of(const plb_collection *c, const plb_collection_filter *f) {
  plb_entry *list = NULL;
  size_t count = 0;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_collection_find(c, f, &list, &count, &err), PLB_OK);
  free(list);
  return count;
}

static void test_find__filters(void **state) {
  (void)state;
  static const struct {
    plb_collection_filter filter;
    const char *condition;
    size_t count;
  } rows[] = {
      {{.version = 1}, NULL, 3},
      {{.version = 1, .all_versions = true}, NULL, 6},
      {{.version = 1, .type = "aa"}, NULL, 2},
      {{.version = 1, .type = "crank"}, NULL, 2}, /* an alias, case aside */
      {{.version = 1, .type = "none"}, NULL, 0},
      {{.version = 1, .text = "fixture DEEPER"}, NULL, 1},
      {{.version = 1, .text = "nowhere"}, NULL, 0},
      {{.version = 1, .status = "approved"}, NULL, 1},
      {{.version = 1, .status = "retired", .all_versions = true}, NULL, 1},
      {{.version = 1, .provenance = "measured"}, NULL, 3},
      {{.version = 1, .provenance = "standard"}, NULL, 0},
      {{.version = 1}, "state=hot-idle", 3},
      {{.version = 1}, "state=cranking", 0},
      {{.version = 1}, "speed=100..200/min", 0},
      {{.version = 1}, "speed=100..700/min", 3},
      {{.version = 1}, "speed=15Hz", 3}, /* 900 per minute */
      {{.version = 1}, "speed=5Hz", 0},
      {{.version = 1}, "coolant=200Cel", 3}, /* open upwards */
      {{.version = 1, .types = true}, NULL, 2},
      {{.version = 1, .captures = true}, NULL, 0},
  };
  plb_collection *c = open_it();
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    plb_collection_filter f = rows[i].filter;
    f.conditions = &rows[i].condition;
    f.condition_count = rows[i].condition != NULL;
    if (count_of(c, &f) != rows[i].count)
      fail_msg("row %zu: %zu instead of %zu", i, count_of(c, &f), rows[i].count);
  }
  plb_collection_free(c);
}

static void test_find__history_in_order_of_time(void **state) {
  (void)state;
  plb_collection *c = open_it();
  plb_act *acts = NULL;
  size_t count = 0;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_collection_history(c, "aa/x", &acts, &count, &err), PLB_OK);
  assert_int_equal(count, 5);
  assert_string_equal(acts[3].kind, "approve");
  assert_string_equal(acts[4].kind, "retire");
  assert_string_equal(acts[4].why, "old");
  free(acts);
  plb_collection_free(c);
}

static void test_find__load_by_selector_or_path(void **state) {
  (void)state;
  plb_reference *r = NULL;
  char status[PLB_NAME_SIZE], path[2 * PLB_PATH_SIZE];
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_collection_load(&r, "aa/x", folder, status, &err), PLB_OK);
  assert_string_equal(status, "approved");
  assert_int_equal(plb_reference_version(r), 1);
  plb_reference_free(r);
  snprintf(path, sizeof path, "%s/references/aa/x/0002.xml", folder);
  assert_int_equal(plb_collection_load(&r, path, NULL, status, &err), PLB_OK);
  assert_string_equal(status, "file");
  plb_reference_free(r);
  assert_int_equal(plb_collection_load(&r, "aa/q", folder, status, &err), PLB_ENOINPUT);
  assert_non_null(strstr(err.message, "did you mean"));
  assert_int_equal(plb_collection_load(&r, "missing.xml", folder, status, &err), PLB_ENOINPUT);
}

static bool says(const plb_difference *d, size_t count, const char *what, const char *text) {
  bool found = false;
  for (size_t i = 0; i < count; i++)
    found = found || (strcmp(d[i].what, what) == 0 && strstr(d[i].text, text));
  return found;
}

static void test_find__difference_in_the_trades_terms(void **state) {
  (void)state;
  plb_reference *a = fixture_reference("aa/x", 1, 0), *b = fixture_reference("aa/x", 1, 0);
  plb_difference *d = NULL;
  size_t count = 0;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_reference_difference(a, b, &d, &count, &err), PLB_OK);
  assert_int_equal(count, 0);
  free(d);
  b->condition[1].high = 5000;
  b->reading[0].high = 0.3;
  b->band[0].tolerance = 2;
  b->corridor.upper[0] += 0.5f;
  plb_text_copy(b->exemplar[1].sha256, sizeof b->exemplar[1].sha256, "other");
  assert_int_equal(plb_reference_difference(a, b, &d, &count, &err), PLB_OK);
  assert_true(says(d, count, "condition", "speed: was 601 to 6000 /min, is 601 to 5000 /min"));
  assert_true(says(d, count, "reading", "log gain: was -0.2 to 0.2, is -0.2 to 0.3"));
  assert_true(says(d, count, "section", "tolerance was 1, is 2"));
  assert_true(says(d, count, "good range", "section b01 (0 to 30 degrees)"));
  assert_true(says(d, count, "good range", "at most by +0.5 V"));
  assert_true(says(d, count, "good capture", "left out: good-1.txt"));
  assert_int_equal(count, 6);
  free(d);
  plb_reference_free(a);
  plb_reference_free(b);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_find__without_version_the_newest_approved_one_else_the_newest_draft),
      cmocka_unit_test(test_find__filters),
      cmocka_unit_test(test_find__history_in_order_of_time),
      cmocka_unit_test(test_find__load_by_selector_or_path),
      cmocka_unit_test(test_find__difference_in_the_trades_terms),
  };
  return cmocka_run_group_tests(tests, set_up, NULL);
}
