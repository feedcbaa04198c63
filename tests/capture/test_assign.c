#include "capture_test.h"
#include <math.h>

static plb_channel_map parse(const char *text) {
  plb_channel_map map;
  plb_error error = PLB_ERROR_INIT;
  if (plb_channel_map_parse(text, &map, &error) != PLB_OK)
    fail_msg("\"%s\": %s", text, error.message);
  return map;
}

static void test_assign__parse_accepts(void **state) {
  (void)state;
  plb_channel_map m = parse("crank=2");
  assert_string_equal(m.role, "crank");
  assert_int_equal(m.column, 2);
  assert_string_equal(m.unit, "");
  assert_same_bits(m.factor, 1.0);
  m = parse("cam signal=CH 2, left:V:0.1");
  assert_string_equal(m.role, "cam signal");
  assert_int_equal(m.column, 0);
  assert_string_equal(m.header, "CH 2, left");
  assert_string_equal(m.unit, "V");
  assert_same_bits(m.factor, 0.1);
  m = parse("a=3::-20");
  assert_string_equal(m.unit, "");
  assert_same_bits(m.factor, -20.0);
  assert_string_equal(parse("n=4:rpm").unit, "/min"); /* a word people use, as UCUM */
  assert_string_equal(parse("p=4:[psi]:1e-3").unit, "[psi]");
}

static void test_assign__parse_refuses(void **state) {
  (void)state;
  static const char *const texts[] = {"",
                                      "crank",
                                      "=2",
                                      "crank=",
                                      "crank=0",
                                      "crank=99999999",
                                      "crank=2:nonsense",
                                      "crank=2:V:",
                                      "crank=2:V:0",
                                      "crank=2:V:x",
                                      "crank=2:V:inf",
                                      "crank=2:V:1:1",
                                      "a role whose name is longer than any name of a channel may be, by far=2"};
  for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
    plb_channel_map map;
    plb_error error = PLB_ERROR_INIT;
    if (plb_channel_map_parse(texts[i], &map, &error) != PLB_EUSAGE)
      fail_msg("\"%s\" is accepted", texts[i]);
    assert_non_null(strchr(error.message, ';'));
  }
}

static const char recording[] = "Time (ms),Crank (mV),Cam,Temp (degF)\n0,1500,7,32\n1,-2500,8,212\n2,0.25,9,50\n";

static void assign(plb_capture *c, const char *const *texts, size_t count) {
  plb_channel_map maps[4];
  plb_error error = PLB_ERROR_INIT;
  for (size_t i = 0; i < count; i++)
    maps[i] = parse(texts[i]);
  if (plb_capture_assign(c, maps, count, &error) != PLB_OK)
    fail_msg("%s", error.message);
}

static void test_assign__by_number_name_and_order(void **state) {
  (void)state;
  plb_capture *c = read_at(recording, 0);
  assign(c, (const char *const[]){"a=3", "b=Crank (mV)", "again=crank", "z=Temp"}, 4);
  assert_int_equal(plb_capture_channels(c), 4);
  assert_string_equal(plb_capture_role(c, 0), "a");
  assert_int_equal(plb_capture_column(c, 0), 3);
  const double cam[] = {7, 8, 9}, crank[] = {1500, -2500, 0.25};
  assert_values(c, 0, cam, 3);
  assert_values(c, 1, crank, 3);
  assert_values(c, 2, crank, 3); /* in any case of letters, and a second time */
  assert_string_equal(plb_capture_unit(c, 2), "mV");
  assert_int_equal(plb_capture_find(c, "z"), 3);
  assert_int_equal(plb_capture_find(c, "Cam"), -1);
  plb_capture_free(c);
}

/* 100 mV/A: the file's volts times 10 are amperes. */
static void test_assign__factor_multiplies(void **state) {
  (void)state;
  plb_capture *c = read_at("t,u (V)\n0,0.5\n1,0.25\n", 0);
  assign(c, (const char *const[]){"i=2:A:10"}, 1);
  const double expected[] = {5, 2.5};
  assert_values(c, 0, expected, 2);
  assert_string_equal(plb_capture_unit(c, 0), "A");
  assert_same_bits(plb_capture_factor(c, 0), 10.0);
  assert_same_bits(plb_capture_step(c, 0), 2.5);
  plb_capture_free(c);
}

/* A unit of the same kind converts: exactly where only the point moves. */
static void test_assign__unit_converts(void **state) {
  (void)state;
  plb_capture *c = read_at(recording, 0);
  assign(c, (const char *const[]){"v=2:V", "u=2:uV", "k=4:Cel"}, 3);
  const double volts[] = {1.5, -2.5, 0.00025}, microvolts[] = {1500000, -2500000, 250};
  assert_values(c, 0, volts, 3);
  assert_values(c, 1, microvolts, 3);
  assert_string_equal(plb_capture_unit(c, 0), "V");
  double celsius[3];
  plb_capture_values(c, 2, 0, 3, celsius);
  for (int i = 0; i < 3; i++) /* 32, 212 and 50 degF by definition; the codes are scaled in doubles */
    assert_true(fabs(celsius[i] - (double[]){0, 100, 10}[i]) < 1e-12);
  plb_capture_free(c);
}

static void test_assign__refused(void **state) {
  (void)state;
  plb_capture *c = read_at(recording, 0);
  plb_error error = PLB_ERROR_INIT;
  plb_channel_map maps[2] = {parse("a=2"), parse("a=3")};
  assert_int_equal(plb_capture_assign(c, maps, 2, &error), PLB_EUSAGE);
  maps[1] = parse("b=1"); /* the time column is no channel */
  assert_int_equal(plb_capture_assign(c, maps, 2, &error), PLB_EDATA);
  assert_string_equal(error.message,
                      "column 1 holds no channel; there are: 2 \"Crank (mV)\", 3 \"Cam\", 4 \"Temp (degF)\"");
  assert_string_equal(error.path, "test");
  maps[1] = parse("b=Cram");
  assert_int_equal(plb_capture_assign(c, maps, 2, NULL), PLB_EDATA);
  strcpy(maps[0].unit, "Volt");
  assert_int_equal(plb_capture_assign(c, maps, 1, &error), PLB_EUSAGE);
  assert_int_equal(plb_capture_assign(c, maps, 0, &error), PLB_EUSAGE);
  assert_int_equal(plb_capture_channels(c), 3); /* nothing was changed */
  const double cam[] = {7, 8, 9};
  assert_values(c, 1, cam, 3);
  plb_capture_free(c);
}

static void test_assign__step(void **state) {
  (void)state;
  plb_capture *c = read_at("0,1.25,0.1,3,0\n1,1.5,0.3,3,1e-9\n2,2.25,0.7,3,5\n3,1.25,0.30000000000001,3,4\n", 0);
  assert_same_bits(plb_capture_step(c, 0), 0.25);
  assert_true(fabs(plb_capture_step(c, 1) - 1e-14) < 1e-16);
  assert_same_bits(plb_capture_step(c, 2), 0.0);
  assert_same_bits(plb_capture_step(c, 3), 1e-9);
  plb_capture_free(c);
}

static void test_assign__add_real_and_notes(void **state) {
  (void)state;
  plb_capture *c = plb_capture_new();
  const double x[] = {1.5, NAN, 3};
  plb_error error = PLB_ERROR_INIT;
  assert_int_equal(plb_capture_add_real(c, "a", "V", x, 3, &error), PLB_OK);
  assert_int_equal(plb_capture_add_real(c, "b", "", x, 2, &error), PLB_EINVAL);
  assert_int_equal(plb_capture_add_real(c, "b", "", x, 3, &error), PLB_OK);
  assert_values(c, 0, x, 3);
  assert_string_equal(plb_capture_unit(c, 1), "1");
  assert_int_equal(plb_capture_column(c, 1), 2);
  plb_capture_add_note(c, "%.1f", 0.5);
  assert_string_equal(plb_capture_note(c, 0), "0.5");
  double part[2];
  plb_capture_values(c, 0, 1, 2, part);
  assert_same_bits(part[1], 3.0);
  plb_capture_free(c);
  plb_capture_free(NULL);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_assign__parse_accepts),
      cmocka_unit_test(test_assign__parse_refuses),
      cmocka_unit_test(test_assign__by_number_name_and_order),
      cmocka_unit_test(test_assign__factor_multiplies),
      cmocka_unit_test(test_assign__unit_converts),
      cmocka_unit_test(test_assign__refused),
      cmocka_unit_test(test_assign__step),
      cmocka_unit_test(test_assign__add_real_and_notes),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
