#include "filled.h"
#include "reference/identity.h"
#include "reference/schema.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

static void write_to(plb_reference *r, plb_buffer *out) {
  plb_error err = PLB_ERROR_INIT;
  plb_buffer_init(out, SIZE_MAX);
  if (plb_reference_write_buffer(r, out, &err) != PLB_OK)
    fail_msg("line %ld: %s", (long)err.line, err.message);
}

static plb_reference *read_from(const plb_buffer *in) {
  plb_error err = PLB_ERROR_INIT;
  plb_reference *r = NULL;
  if (plb_reference_read_memory(&r, in->data, in->size, "written", &err) != PLB_OK)
    fail_msg("line %ld: %s", (long)err.line, err.message);
  return r;
}

static void round_trip(plb_cycle_kind kind, plb_provenance provenance) {
  plb_buffer first, second;
  plb_reference *r = filled_reference(kind, provenance);
  write_to(r, &first);
  plb_reference *back = read_from(&first);
  assert_same_reference(r, back);
  write_to(back, &second);
  assert_int_equal(first.size, second.size);
  assert_memory_equal(first.data, second.data, first.size);
  plb_buffer_dispose(&first);
  plb_buffer_dispose(&second);
  plb_reference_free(r);
  plb_reference_free(back);
}

static void test_round_trip__keeps_every_field(void **state) {
  (void)state;
  for (int kind = PLB_CYCLE_WHEEL; kind <= PLB_CYCLE_STEADY; kind++)
    for (int provenance = PLB_MEASURED; provenance <= PLB_STANDARD; provenance++)
      round_trip((plb_cycle_kind)kind, (plb_provenance)provenance);
}

static void test_round_trip__same_content_same_bytes(void **state) {
  (void)state;
  plb_buffer first, second;
  plb_reference *a = filled_reference(PLB_CYCLE_WHEEL, PLB_MODELLED),
                *b = filled_reference(PLB_CYCLE_WHEEL, PLB_MODELLED);
  write_to(a, &first);
  write_to(b, &second);
  assert_int_equal(first.size, second.size);
  assert_memory_equal(first.data, second.data, first.size);
  assert_string_equal(a->id, b->id);
  plb_buffer_dispose(&first);
  plb_buffer_dispose(&second);
  plb_reference_free(a);
  plb_reference_free(b);
}

static void test_round_trip__id_ignores_date_but_not_content(void **state) {
  (void)state;
  plb_buffer first, second, third;
  plb_reference *r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  char of_bytes[33], id[33], sha256[PLB_HASH_SIZE];
  plb_error err = PLB_ERROR_INIT;
  write_to(r, &first);
  assert_int_equal(plb_identity_of(first.data, first.size, of_bytes, &err), PLB_OK);
  assert_string_equal(of_bytes, r->id);
  strcpy(id, r->id);
  plb_sha256(first.data, first.size, sha256);
  assert_string_equal(sha256, plb_reference_sha256(r));
  free(r->date);
  r->date = NULL;
  write_to(r, &second);
  assert_string_equal(id, r->id);
  assert_string_not_equal(sha256, r->sha256);
  r->version++;
  write_to(r, &third);
  assert_string_not_equal(id, r->id);
  plb_buffer_dispose(&first);
  plb_buffer_dispose(&second);
  plb_buffer_dispose(&third);
  plb_reference_free(r);
}

/* Nothing but what a reference cannot do without. */
static void test_round_trip__smallest_reference(void **state) {
  (void)state;
  plb_buffer out;
  plb_reference *r = plb_reference_new();
  r->provenance = PLB_STANDARD;
  strcpy(r->type, "lin");
  strcpy(r->name, "lin/levels");
  r->channel = plb_calloc(1, sizeof *r->channel);
  r->channels = 1;
  strcpy(r->channel[0].role, "bus");
  strcpy(r->channel[0].unit, "V");
  r->channel[0].offset = PLB_RULE_FIXED;
  r->choice.spec.kind = PLB_CYCLE_STEADY;
  r->choice.spec.level.value = NAN;
  r->choice.grid = 2;
  write_to(r, &out);
  plb_reference *back = read_from(&out);
  assert_same_reference(r, back);
  assert_int_equal(plb_reference_exemplars(back), 0);
  plb_buffer_dispose(&out);
  plb_reference_free(r);
  plb_reference_free(back);
}

/* Names come from files and people: any bytes. What XML can hold comes back unchanged, the rest as '?', never longer
   than it was. */
static void test_round_trip__any_bytes_in_names(void **state) {
  (void)state;
  plb_buffer out;
  plb_reference *r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  memset(r->exemplar[0].name, 0xFE, PLB_TEXT_SIZE - 1);
  strcpy(r->exemplar[1].name, "\x01\x7F\xC2\x85\xEF\xBF\xBE\xED\xA0\x80 \xF0\x9F\x9A\x97 \t\n\r<&>\"'");
  write_to(r, &out);
  plb_reference *back = read_from(&out);
  for (size_t i = 0; i < PLB_TEXT_SIZE - 1; i++)
    assert_int_equal(back->exemplar[0].name[i], '?');
  assert_string_equal(back->exemplar[1].name, "?\x7F\xC2\x85???? \xF0\x9F\x9A\x97 \t\n\r<&>\"'");
  plb_buffer_dispose(&out);
  plb_reference_free(r);
  plb_reference_free(back);
}

static void expect_refusal(plb_reference *r, const char *part) {
  plb_error err = PLB_ERROR_INIT;
  plb_buffer out;
  plb_buffer_init(&out, SIZE_MAX);
  assert_int_not_equal(plb_reference_write_buffer(r, &out, &err), PLB_OK);
  if (!strstr(err.message, part))
    fail_msg("\"%s\" is not in \"%s\"", part, err.message);
  plb_buffer_dispose(&out);
  plb_reference_free(r);
}

static void test_round_trip__writer_refuses_what_makes_no_sense(void **state) {
  (void)state;
  plb_reference *r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  r->corridor.lower[5] = r->corridor.centre[5] + 1.0f;
  expect_refusal(r, "out of order at point 5");
  r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  r->exemplar[1].spread[3] = NAN;
  expect_refusal(r, "not finite at point 3");
  r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  strcpy(r->band[2].channel, "knock");
  expect_refusal(r, "\"knock\" is none of the channels");
  r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  r->band[0].to = 0;
  expect_refusal(r, "below to");
  r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  r->calibration.limit = NAN;
  expect_refusal(r, "lacks the attribute \"limit\"");
  r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  strcpy(r->name, "knock/bench");
  expect_refusal(r, "must begin with the type");
  r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED);
  strcpy(r->type, "Crank");
  expect_refusal(r, "no sensor type");
}

static void test_round_trip__failed_write_leaves_the_file_alone(void **state) {
  (void)state;
  char path[] = "/tmp/plumbline-round-trip-XXXXXX";
  const int fd = mkstemp(path);
  plb_error err = PLB_ERROR_INIT;
  plb_reference *r = filled_reference(PLB_CYCLE_WHEEL, PLB_MEASURED), *back = NULL;
  assert_true(fd >= 0);
  assert_int_equal(write(fd, "before", 6), 6);
  close(fd);
  r->exemplar[0].median[0] = INFINITY;
  assert_int_equal(plb_reference_write(r, path, &err), PLB_EDATA);
  char kept[16] = "";
  FILE *file = fopen(path, "rb");
  assert_non_null(file);
  assert_int_equal(fread(kept, 1, sizeof kept, file), 6);
  fclose(file);
  assert_string_equal(kept, "before");
  r->exemplar[0].median[0] = 1.0f;
  assert_int_equal(plb_reference_write(r, path, &err), PLB_OK);
  assert_int_equal(plb_reference_read(&back, path, &err), PLB_OK);
  assert_same_reference(r, back);
  unlink(path);
  plb_reference_free(r);
  plb_reference_free(back);
}

static void test_round_trip__accessors_bear_null(void **state) {
  (void)state;
  plb_reference_free(NULL);
  assert_string_equal(plb_reference_id(NULL), "");
  assert_string_equal(plb_reference_type(NULL), "");
  assert_string_equal(plb_reference_name(NULL), "");
  assert_string_equal(plb_reference_title(NULL), "");
  assert_string_equal(plb_reference_sha256(NULL), "");
  assert_string_equal(plb_reference_role(NULL, 0), "");
  assert_string_equal(plb_reference_unit(NULL, 0), "");
  assert_int_equal(plb_reference_version(NULL), 0);
  assert_int_equal(plb_reference_channels(NULL), 0);
  assert_int_equal(plb_reference_exemplars(NULL), 0);
}

static void test_round_trip__decimals_keep_a_curve(void **state) {
  (void)state;
  /* Half a step of 10^-4 is 1/20,000 of 1; of 5 V likewise; 0.3 needs one more. Large swings need none, tiny ones
     nine. */
  assert_int_equal(plb_decimals_for(1.0), 4);
  assert_int_equal(plb_decimals_for(5.0), 4);
  assert_int_equal(plb_decimals_for(0.3), 5);
  assert_int_equal(plb_decimals_for(20000.0), 0);
  assert_int_equal(plb_decimals_for(0.0), 9);
  assert_int_equal(plb_decimals_for(NAN), 9);
  float x[] = {1.23456f, -0.00001f, 2.5f};
  plb_round_decimals(x, 3, 4);
  assert_true(x[0] == 1.2346f && x[1] == 0.0f && !signbit(x[1]) && x[2] == 2.5f);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_round_trip__keeps_every_field),
      cmocka_unit_test(test_round_trip__same_content_same_bytes),
      cmocka_unit_test(test_round_trip__id_ignores_date_but_not_content),
      cmocka_unit_test(test_round_trip__smallest_reference),
      cmocka_unit_test(test_round_trip__any_bytes_in_names),
      cmocka_unit_test(test_round_trip__writer_refuses_what_makes_no_sense),
      cmocka_unit_test(test_round_trip__failed_write_leaves_the_file_alone),
      cmocka_unit_test(test_round_trip__accessors_bear_null),
      cmocka_unit_test(test_round_trip__decimals_keep_a_curve),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
