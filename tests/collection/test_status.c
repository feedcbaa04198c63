/* Acts: order, union, what holds after them; and what the closed reader refuses. */
#include "core/cmocka_all.h"

#include "collection/read/status.h"

#include <string.h>

static plb_act act(const char *kind, unsigned version, const char *when, const char *who) {
  plb_act a = {.version = version, .why = "tabs\tand \"quotes\" & <tags>"};
  plb_text_copy(a.kind, sizeof a.kind, kind);
  plb_text_copy(a.when, sizeof a.when, when);
  plb_text_copy(a.who, sizeof a.who, who);
  for (char *c = a.why; *c; c++)
    if (*c == '\t')
      *c = ' ';
  return a;
}

static const plb_act *acts_of(plb_act out[4]) {
  out[0] = act("approve", 1, "2026-01-01T00:00:00Z", "Ada");
  out[1] = act("retire", 1, "2026-01-03T00:00:00Z", "Bob");
  out[2] = act("approve", 2, "2026-01-02T00:00:00Z", "Ada");
  out[3] = act("withdraw", 2, "2026-01-04T00:00:00Z", "Cleo <c@example>");
  return out;
}

static void test_status__last_act_decides(void **state) {
  (void)state;
  plb_act a[4];
  acts_of(a);
  plb_acts all = {0};
  plb_buffer packed;
  plb_buffer_init(&packed, 100000);
  for (int i = 3; i >= 0; i--)
    assert_int_equal(plb_acts_add(&all, &a[i], NULL), PLB_OK);
  assert_int_equal(plb_acts_status(&all, 1, NULL), PLB_RETIRED);
  assert_int_equal(plb_acts_status(&all, 2, NULL), PLB_WITHDRAWN);
  assert_int_equal(plb_acts_status(&all, 3, NULL), PLB_DRAFT);
  plb_acts_pack(&all, &packed);
  for (unsigned v = 1; v <= 3; v++)
    assert_int_equal(plb_packed_status(packed.data, v), plb_acts_status(&all, v, NULL));
  plb_buffer_dispose(&packed);
  plb_acts_dispose(&all);
}

/* From either side, with any part shared, the union is the same bytes. */
static void test_status__union_does_not_depend_on_the_side(void **state) {
  (void)state;
  plb_act a[4];
  acts_of(a);
  plb_buffer text[2];
  for (int side = 0; side < 2; side++) {
    static const int order[2][6] = {{0, 1, 2, 1, 3, 2}, {2, 3, 1, 0, 1, 0}};
    plb_acts all = {0};
    for (int i = 0; i < 6; i++)
      assert_int_equal(plb_acts_add(&all, &a[order[side][i]], NULL), PLB_OK);
    assert_int_equal(all.count, 4);
    plb_buffer_init(&text[side], 100000);
    plb_acts_write(&all, &text[side]);
    plb_acts_dispose(&all);
  }
  assert_string_equal(text[0].data, text[1].data);
  plb_buffer_dispose(&text[0]);
  plb_buffer_dispose(&text[1]);
}

static void test_status__written_reads_back(void **state) {
  (void)state;
  plb_act a[4];
  acts_of(a);
  a[3].own = true;
  plb_acts all = {0}, back = {0}, unpacked = {0};
  plb_buffer text, packed;
  plb_error err = PLB_ERROR_INIT;
  plb_buffer_init(&text, 100000);
  plb_buffer_init(&packed, 100000);
  for (int i = 0; i < 4; i++)
    assert_int_equal(plb_acts_add(&all, &a[i], NULL), PLB_OK);
  plb_acts_write(&all, &text);
  assert_int_equal(plb_acts_read(&back, text.data, text.size, &err), PLB_OK);
  plb_acts_pack(&all, &packed);
  assert_int_equal(plb_acts_unpack(&unpacked, packed.data, &err), PLB_OK);
  assert_int_equal(back.count, 4);
  assert_int_equal(unpacked.count, 4);
  for (size_t i = 0; i < 4; i++) {
    /* field by field: what lies behind the end of a text and between fields is nobody's */
    assert_string_equal(back.act[i].kind, all.act[i].kind);
    assert_int_equal(back.act[i].version, all.act[i].version);
    assert_string_equal(back.act[i].who, all.act[i].who);
    assert_string_equal(back.act[i].when, all.act[i].when);
    assert_string_equal(back.act[i].why, all.act[i].why);
    assert_int_equal(back.act[i].own, all.act[i].own);
    assert_string_equal(unpacked.act[i].who, all.act[i].who);
    assert_int_equal(unpacked.act[i].own, all.act[i].own);
    assert_string_equal(unpacked.act[i].why, all.act[i].why);
  }
  plb_buffer_dispose(&text);
  plb_buffer_dispose(&packed);
  plb_acts_dispose(&all);
  plb_acts_dispose(&back);
  plb_acts_dispose(&unpacked);
}

static void test_status__reader_is_closed(void **state) {
  (void)state;
#define NS "xmlns=\"urn:plumbline:status:1\""
#define GOOD "kind=\"approve\" version=\"1\" when=\"2026-01-01T00:00:00Z\" who=\"A\""
  static const char *const bad[] = {
      "", "<status/>", "<status xmlns=\"urn:other\"/>", "<statuses " NS "/>", "<status " NS ">", "<!DOCTYPE status><status " NS "/>",
      "<status " NS "><act " GOOD "><x/></act></status>", "<status " NS "><other/></status>",
      "<status " NS "><act kind=\"praise\" version=\"1\" when=\"2026-01-01T00:00:00Z\" who=\"A\"/></status>",
      "<status " NS "><act kind=\"approve\" version=\"x\" when=\"2026-01-01T00:00:00Z\" who=\"A\"/></status>",
      "<status " NS "><act kind=\"approve\" version=\"1\" when=\"yesterday\" who=\"A\"/></status>",
      "<status " NS "><act kind=\"approve\" version=\"1\" when=\"2026-01-01T00:00:00Z\"/></status>",
      "<status " NS "><act kind=\"approve\" version=\"1\" when=\"2026-01-01T00:00:00Z\" who=\"a&#9;b\"/></status>",
      "<status " NS "><act " GOOD ">two&#10;lines</act></status>", "<status " NS "><?php x?></status>"};
  for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
    plb_acts acts = {0};
    if (plb_acts_read(&acts, bad[i], strlen(bad[i]), NULL) != PLB_EDATA)
      fail_msg("%s passed", bad[i]);
    plb_acts_dispose(&acts);
  }
  static const char good[] = "<status " NS "><act " GOOD ">why</act></status>";
  plb_acts acts = {0};
  assert_int_equal(plb_acts_read(&acts, good, strlen(good), NULL), PLB_OK);
  assert_int_equal(acts.count, 1);
  plb_acts_dispose(&acts);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_status__last_act_decides),
      cmocka_unit_test(test_status__union_does_not_depend_on_the_side),
      cmocka_unit_test(test_status__written_reads_back),
      cmocka_unit_test(test_status__reader_is_closed),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
