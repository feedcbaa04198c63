/* The index: many random changes against a plain list, compaction included; damage; a reader that has an old one open. */
#include "core/cmocka_all.h"

#include "collection/read/index_format.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { NAMES = 150, CHANGES = 700, DATA_MOST = 3000 };

typedef struct model {
  bool there;
  char name[32], sha256[PLB_HASH_SIZE], data[DATA_MOST];
  size_t size;
} model;

static void set_row(plb_row *row, const model *m, unsigned version, const char *path) {
  *row = (plb_row){.kind = PLB_PATH_REFERENCE, .version = version, .exemplars = m->size, .data = m->data, .size = m->size};
  for (int k = 0; k < PLB_ROW_TEXTS; k++)
    row->text[k] = "";
  row->text[PLB_ROW_NAME] = m->name;
  row->text[PLB_ROW_PATH] = path;
  row->text[PLB_ROW_SHA256] = m->sha256;
}

static void change_model(model *m, int i, plb_random *random) {
  m->there = true;
  m->size = (size_t)plb_random_below(random, DATA_MOST);
  for (size_t k = 0; k < m->size; k++)
    m->data[k] = (char)plb_random_below(random, 256);
  snprintf(m->name, sizeof m->name, "t/n%03d", i);
  plb_sha256(m->data, m->size, m->sha256);
}

static void compare(const plb_index *x, const model *all, const char *commit) {
  size_t count = 0;
  assert_string_equal(plb_index_commit(x), commit);
  for (int i = 0; i < NAMES; i++) {
    bool equal = false;
    plb_row row;
    const size_t at = plb_index_search(x, PLB_PATH_REFERENCE, all[i].name[0] ? all[i].name : "t/none", 1, &equal);
    assert_int_equal(equal, all[i].there);
    if (!equal)
      continue;
    count++;
    plb_index_row(x, at, &row);
    assert_int_equal(row.size, all[i].size);
    assert_memory_equal(row.data, all[i].data, row.size);
    assert_string_equal(row.text[PLB_ROW_SHA256], all[i].sha256);
    assert_string_equal(row.text[PLB_ROW_TITLE], "");
  }
  assert_int_equal(plb_index_count(x), count);
}

static void place(char *out, const char *name) { snprintf(out, PLB_PATH_SIZE, "%s/index-%ld-%s", PLB_BINARY_DIR, (long)getpid(), name); }

static void test_index__random_changes(void **state) {
  (void)state;
  static model all[NAMES];
  char path[PLB_PATH_SIZE], commit[PLB_COMMIT_SIZE], old_commit[PLB_COMMIT_SIZE] = "0";
  plb_random random;
  plb_error err = PLB_ERROR_INIT;
  plb_random_seed(&random, 7);
  place(path, "random");
  assert_int_equal(plb_index_write(path, "0", NULL, 0, &err), PLB_OK);
  size_t compactions = 0, before = 0;
  for (int c = 1; c <= CHANGES; c++) {
    plb_row rows[3];
    const size_t n = 1 + (size_t)plb_random_below(&random, 3);
    int chosen[3];
    for (size_t k = 0; k < n; k++) {
      chosen[k] = (int)((plb_random_below(&random, NAMES / 3) + k * (NAMES / 3)) % NAMES); /* different ones in one change */
      change_model(&all[chosen[k]], chosen[k], &random);
      set_row(&rows[k], &all[chosen[k]], 1, "p");
    }
    plb_index *old = NULL, *now = NULL;
    assert_int_equal(plb_index_open(&old, path, &err), PLB_OK);
    assert_string_equal(plb_index_commit(old), old_commit);
    snprintf(commit, sizeof commit, "%d", c);
    assert_int_equal(plb_index_append(path, old, commit, rows, n, &err), PLB_OK);
    assert_int_equal(plb_index_open(&now, path, &err), PLB_OK);
    const size_t used = (size_t)plb_index_get_header(now)->used;
    compactions += used < before;
    before = used;
    if (c % 25 == 0 || c == CHANGES) {
      compare(now, all, commit);
      assert_int_equal(plb_index_verify(now, &err), PLB_OK);
      assert_int_equal(plb_index_verify(old, &err), PLB_OK); /* a reader keeps what it has mapped */
    }
    strcpy(old_commit, commit);
    plb_index_free(old);
    plb_index_free(now);
  }
  assert_true(compactions > 0);
  unlink(path);
}

/* Whatever byte is wrong: the file is refused or verify says so, and nothing is read outside it (run under ASan). */
static void test_index__damage(void **state) {
  (void)state;
  static model all[NAMES];
  plb_row rows[NAMES];
  char path[PLB_PATH_SIZE], *data = NULL;
  size_t size = 0, unseen = 0;
  plb_random random;
  plb_error err = PLB_ERROR_INIT;
  plb_random_seed(&random, 9);
  for (int i = 0; i < NAMES; i++) {
    change_model(&all[i], i, &random);
    set_row(&rows[i], &all[i], 1, "p");
  }
  place(path, "damage");
  assert_int_equal(plb_index_write(path, "abc", rows, NAMES, &err), PLB_OK);
  assert_int_equal(plb_file_read(path, 1 << 24, &data, &size, &err), PLB_OK);
  for (int i = 0; i < 300; i++) {
    const size_t at = i < 140 ? (size_t)i : (size_t)plb_random_below(&random, size);
    const char kept = data[at];
    data[at] = (char)(data[at] ^ (1 << plb_random_below(&random, 8)));
    FILE *f = fopen(path, "wb");
    assert_int_equal(fwrite(data, 1, size, f), size);
    fclose(f);
    data[at] = kept;
    plb_index *x = NULL;
    if (plb_index_open(&x, path, &err) == PLB_OK) {
      plb_row row;
      for (size_t k = 0; k < plb_index_count(x); k++)
        plb_index_row(x, k, &row);
      unseen += plb_index_verify(x, &err) == PLB_OK;
    }
    plb_index_free(x);
  }
  assert_true(unseen <= 6); /* padding between parts, and the unused words */
  free(data);
  unlink(path);
}

static void test_index__cut_short(void **state) {
  (void)state;
  static model one;
  plb_row row;
  char path[PLB_PATH_SIZE], *data = NULL;
  size_t size = 0;
  plb_random random;
  plb_error err = PLB_ERROR_INIT;
  plb_random_seed(&random, 3);
  change_model(&one, 1, &random);
  set_row(&row, &one, 1, "p");
  place(path, "short");
  assert_int_equal(plb_index_write(path, "abc", &row, 1, &err), PLB_OK);
  assert_int_equal(plb_file_read(path, 1 << 24, &data, &size, &err), PLB_OK);
  for (size_t n = 0; n < size; n += 37) {
    FILE *f = fopen(path, "wb");
    assert_int_equal(fwrite(data, 1, n, f), n);
    fclose(f);
    plb_index *x = NULL;
    assert_int_not_equal(plb_index_open(&x, path, &err), PLB_OK);
    assert_null(x);
  }
  free(data);
  unlink(path);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_index__random_changes),
      cmocka_unit_test(test_index__damage),
      cmocka_unit_test(test_index__cut_short),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
