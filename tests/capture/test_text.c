#include "capture_test.h"
#include <math.h>

/* Delimited text in the forms loggers write. Each row says the same: 3 samples at 1 kHz, two channels. */
typedef struct form {
  const char *name;
  const char *text;
} form;

static const double first_channel[] = {1.5, -2.25, 3}, second_channel[] = {10, 20, 30.5};

static const form forms[] = {
    {"comma", "0,1.5,10\n0.001,-2.25,20\n0.002,3,30.5\n"},
    {"semicolon", "0;1.5;10\n0.001;-2.25;20\n0.002;3;30.5\n"},
    {"tab", "0\t1.5\t10\n0.001\t-2.25\t20\n0.002\t3\t30.5\n"},
    {"blanks", "0 1.5 10\n0.001 -2.25 20\n0.002 3 30.5\n"},
    {"aligned with blanks", "    0      1.50   10.0 \n    0.001 -2.25   20.0 \n    0.002  3.00   30.5 \n"},
    {"blanks and tabs", " 0 \t 1.5 \t 10\n 0.001 \t-2.25\t 20\n 0.002\t3 30.5\n"},
    {"comma and blank", "0, 1.5, 10\n0.001, -2.25, 20\n0.002, 3, 30.5\n"},
    {"CR LF", "0,1.5,10\r\n0.001,-2.25,20\r\n0.002,3,30.5\r\n"},
    {"CR", "0,1.5,10\r0.001,-2.25,20\r0.002,3,30.5\r"},
    {"no line end at the end", "0,1.5,10\n0.001,-2.25,20\n0.002,3,30.5"},
    {"empty lines at the end", "0,1.5,10\n0.001,-2.25,20\n0.002,3,30.5\n\n\n"},
    {"UTF-8 mark", "\xEF\xBB\xBF"
                   "0,1.5,10\n0.001,-2.25,20\n0.002,3,30.5\n"},
    {"decimal comma, semicolon", "0;1,5;10\n0,001;-2,25;20\n0,002;3;30,5\n"},
    {"decimal comma, tab", "0\t1,5\t10\n0,001\t-2,25\t20\n0,002\t3\t30,5\n"},
    {"decimal comma, blanks", "0 1,5 10\n0,001 -2,25 20\n0,002 3 30,5\n"},
    {"decimal comma in quotes", "\"0\",\"1,5\",\"10\"\n\"0,001\",\"-2,25\",\"20\"\n\"0,002\",\"3\",\"30,5\"\n"},
    {"quotes", "\"0\",\"1.5\",\"10\"\n\"0.001\",\"-2.25\",\"20\"\n\"0.002\",\"3\",\"30.5\"\n"},
    {"exponents", "0.000000E+0\t1.500000E+0\t1.0E+1\n1.000000E-3\t-2.250000e0\t2e1\n2.000000E-3\t+3\t3.05E+01\n"},
    {"point without digits", "0.,1.5,10.\n.001,-2.25,20.\n.002,3.,30.5\n"},
    {"trailing separator", "0,1.5,10,\n0.001,-2.25,20,\n0.002,3,30.5,\n"},
    {"trailing separator below a header", "t,a,b\n0,1.5,10,\n0.001,-2.25,20,\n0.002,3,30.5,\n"},
    {"header", "time,CH1,CH2\n0,1.5,10\n0.001,-2.25,20\n0.002,3,30.5\n"},
    {"header and units", "time,CH1,CH2\ns,V,A\n0,1.5,10\n0.001,-2.25,20\n0.002,3,30.5\n"},
    {"units in milliseconds", "Time;CH1;CH2\n(ms);(V);(A)\n\n0;1.5;10\n1;-2.25;20\n2;3;30.5\n"},
    {"units in the header", "Time (us),CH1 (V),CH2 [A]\n0,1.5,10\n1000,-2.25,20\n2000,3,30.5\n"},
    {"units in a header between blanks", "Time (ms)  CH1 (V) CH2 [A]\n0 1.5 10\n1 -2.25 20\n2 3 30.5\n"},
    {"unit behind an underscore", "time_ns,a,b\n0,1.5,10\n1000000,-2.25,20\n2000000,3,30.5\n"},
    {"unit behind a stroke", "t/ms,U/V,I/A\n0,1.5,10\n1,-2.25,20\n2,3,30.5\n"},
    {"preamble", "Recorder;7\nSerial;000123\n\nChannels;2\nTime;A;B\n0;1.5;10\n0.001;-2.25;20\n0.002;3;30.5\n"},
    {"preamble that looks like a row", "1,2,3\nTime,A,B\n0,1.5,10\n0.001,-2.25,20\n0.002,3,30.5\n"},
    {"comments", "# bench\n% more\n; and more\n0,1.5,10\n# paused\n0.001,-2.25,20\n0.002,3,30.5\n"},
    {"header in a comment", "# bench, left\n# time,CH1,CH2\n0,1.5,10\n0.001,-2.25,20\n0.002,3,30.5\n"},
    {"quoted header with a separator",
     "\"time\",\"CH1, left\",\"CH2 \"\"x\"\"\"\n0,1.5,10\n0.001,-2.25,20\n0.002,3,30.5\n"},
    {"time not from nought", "5.000,1.5,10\n5.001,-2.25,20\n5.002,3,30.5\n"},
    {"time before nought", "-0.001,1.5,10\n0.000,-2.25,20\n0.001,3,30.5\n"},
    {"rate in the preamble", "Sample rate,1000,Hz\nA,B\n1.5,10\n-2.25,20\n3,30.5\n"},
    {"interval in the preamble", "Interval: 1 ms\nA,B\n1.5,10\n-2.25,20\n3,30.5\n"},
    {"time in front of each channel", "Time A,A,Time B,B\n0,1.5,0,10\n0.001,-2.25,0.001,20\n0.002,3,0.002,30.5\n"},
    {"words beside numbers", "time,state,CH1,CH2\n0,ok,1.5,10\n0.001,ok,-2.25,20\n0.002,bad,3,30.5\n"},
};

static void check_form(const form *f) {
  print_message("  %s\n", f->name);
  plb_capture *c = read_at(f->text, 0);
  assert_int_equal(c->channels, 2);
  assert_same_bits(c->rate_hz, 1000.0);
  assert_values(c, 0, first_channel, 3);
  assert_values(c, 1, second_channel, 3);
  assert_string_equal(c->format, "delimited text");
  plb_capture_free(c);
}

static void test_text__forms_of_loggers(void **state) {
  (void)state;
  for (size_t i = 0; i < sizeof forms / sizeof forms[0]; i++)
    check_form(&forms[i]);
}

/* The same form as above in both byte orders, with a character of two units in the header. */
static void test_text__utf16(void **state) {
  (void)state;
  static const uint16_t head[] = {0xFEFF, 't', ',', 0x00B5, ',', 0xD83D, 0xDD27, '\r', '\n'};
  static const char rows[] = "0,1.5,10\r\n0.001,-2.25,20\r\n0.002,3,30.5\r\n";
  for (int big = 0; big < 2; big++) {
    char data[256];
    size_t n = 0;
    for (size_t i = 0; i < sizeof head / sizeof head[0] + sizeof rows - 1; i++) {
      const uint16_t unit =
          i < sizeof head / sizeof head[0] ? head[i] : (uint16_t)rows[i - sizeof head / sizeof head[0]];
      data[n++] = (char)(big ? unit >> 8 : unit & 0xFF);
      data[n++] = (char)(big ? unit & 0xFF : unit >> 8);
    }
    plb_capture *c = read_bytes_at(data, n, 0);
    assert_values(c, 0, first_channel, 3);
    assert_values(c, 1, second_channel, 3);
    assert_string_equal(plb_capture_role(c, 0), "\xC2\xB5");
    assert_string_equal(plb_capture_role(c, 1), "\xF0\x9F\x94\xA7");
    plb_capture_free(c);
    data[10 + big] = 0x20; /* the first half of the pair is gone */
    data[11 - big] = 0x00;
    assert_true(error_of_bytes(data, n, 0).byte >= 0);
    assert_int_equal(error_of_bytes(data, n - 1, 0).byte, (int64_t)n - 2);
  }
}

static void test_text__names_and_units(void **state) {
  (void)state;
  plb_capture *c = read_at("Time (ms);\"Crank, raw (mV)\";CH2;B;\xC2\xB5 [\xC2\xB0"
                           "C]\n;;;rpm;\n0;1;2;3;4\n1;5;6;7;8\n2;9;8;7;6\n",
                           0);
  assert_int_equal(c->channels, 4);
  assert_string_equal(plb_capture_role(c, 0), "Crank, raw");
  assert_string_equal(plb_capture_unit(c, 0), "mV");
  assert_string_equal(c->channel[0].header, "Crank, raw (mV)");
  assert_string_equal(plb_capture_unit(c, 1), "1");
  assert_string_equal(plb_capture_unit(c, 2), "/min");
  assert_string_equal(plb_capture_unit(c, 3), "Cel");
  assert_int_equal(plb_capture_column(c, 0), 2);
  assert_int_equal(plb_capture_find(c, "B"), 2);
  assert_int_equal(plb_capture_find(c, "nothing"), -1);
  plb_capture_free(c);
}

static void test_text__names_fall_back_to_column_numbers(void **state) {
  (void)state;
  plb_capture *c = read_at("t,CH,CH,,this name is longer than any name of a channel may be and so it is not used at "
                           "all\n0,1,2,3,4\n1,2,3,4,5\n",
                           0);
  assert_string_equal(plb_capture_role(c, 0), "CH");
  assert_string_equal(plb_capture_role(c, 1), "c3");
  assert_string_equal(plb_capture_role(c, 2), "c4");
  assert_string_equal(plb_capture_role(c, 3), "c5");
  assert_true(has_note(c, "too long"));
  plb_capture_free(c);
}

/* A column letter is no ampere, and a header that does not fit names nothing. */
static void test_text__headers_are_not_over_read(void **state) {
  (void)state;
  plb_capture *c = read_at("t\tA\tB\n0\t1\t2\n1\t2\t3\n", 0);
  assert_string_equal(plb_capture_unit(c, 0), "1");
  plb_capture_free(c);
  c = read_at("time of day and signal of the crank\n0 1\n1 2\n2 1\n", 0);
  assert_string_equal(plb_capture_role(c, 0), "c2");
  assert_true(has_note(c, "header is not used"));
  plb_capture_free(c);
}

/* Every value is code / 10^decimals with as few decimals as the column needs. */
static void test_text__codes_are_exact(void **state) {
  (void)state;
  plb_capture *c = read_at("0,1.50,4.127562E+0,100,0\n0.1,2.25,-7.645951E-1,2e3,0.000\n0.2,-3,0.000000E+0,-5,0\n", 0);
  static const int decimals[] = {2, 7, 0, 0};
  static const int32_t first[] = {150, 41275620, 100, 0};
  for (size_t i = 0; i < 4; i++) {
    assert_non_null(c->channel[i].samples.code);
    assert_int_equal(c->channel[i].samples.decimals, decimals[i]);
    assert_int_equal(c->channel[i].samples.code[0], first[i]);
  }
  const double expected[] = {4.127562, -0.7645951, 0};
  assert_values(c, 1, expected, 3);
  plb_capture_free(c);
}

/* 2^31 - 1 is the last code; beyond, or with ten decimals, the column holds doubles. */
static void test_text__columns_become_doubles_where_codes_end(void **state) {
  (void)state;
  plb_capture *c = read_at("0,2147483647,1,0.000000001,1.5\n1,-2147483647,2147483648,0.0000000001,\n2,5,1,0,2\n", 0);
  assert_non_null(c->channel[0].samples.code);
  assert_non_null(c->channel[1].samples.real);
  assert_non_null(c->channel[2].samples.real);
  assert_non_null(c->channel[3].samples.real);
  const double second[] = {1, 2147483648.0, 1}, third[] = {1e-9, 1e-10, 0}, fourth[] = {1.5, NAN, 2};
  assert_values(c, 1, second, 3);
  assert_values(c, 2, third, 3);
  assert_values(c, 3, fourth, 3);
  plb_capture_free(c);
}

/* The change comes long after the rows that the layout was told from, more than once. */
static void test_text__late_decimals_keep_earlier_values(void **state) {
  (void)state;
  enum { N = 30000 };
  char *text = malloc((size_t)N * 40), *p = text;
  double *expected = malloc(N * sizeof *expected);
  for (int i = 0; i < N; i++) {
    char value[24];
    const int decimals = i < 9000 ? 1 : i < 20000 ? 4 : 12;
    snprintf(value, sizeof value, "%.*f", i % 7000 == 6999 || i > 9000 ? decimals : 0, i * 0.123456789);
    expected[i] = strtod(value, NULL);
    p += sprintf(p, "%d,%s\n", i, value);
  }
  plb_capture *c = read_bytes_at(text, (size_t)(p - text), 0);
  assert_values(c, 0, expected, N);
  plb_capture_free(c);
  free(text);
  free(expected);
}

/* Decimals are raised twice; the second time the codes no longer have room. */
static void test_text__raising_decimals_minds_earlier_raises(void **state) {
  (void)state;
  char text[16384], *p = text;
  for (int i = 0; i < 1000; i++) /* rows that the layout is not told from lie between those that are */
    p += sprintf(p, "%d,%s\n", i, i == 450 ? "20000" : i == 460 ? "0.1234" : i == 470 ? "0.123456" : "1");
  plb_capture *c = read_at(text, 0);
  double value[2];
  plb_capture_values(c, 0, 450, 1, &value[0]);
  plb_capture_values(c, 0, 470, 1, &value[1]);
  assert_same_bits(value[0], 20000.0);
  assert_same_bits(value[1], 0.123456);
  assert_non_null(c->channel[0].samples.real);
  plb_capture_free(c);
}

static void test_text__trailing_separator_is_no_column(void **state) {
  (void)state;
  plb_capture *c = read_at("t,a,\n0,1,\n1,2,\n2,3,\n", 0);
  assert_int_equal(c->channels, 1);
  assert_false(has_note(c, "left out"));
  plb_capture_free(c);
}

static void test_text__lines_are_counted_with_every_line_end(void **state) {
  (void)state;
  static const char *const texts[] = {"t,a\n\n0,1\n# c\n1,2\n2,x\n", "t,a\r\n\r\n0,1\r\n# c\r\n1,2\r\n2,x\r\n",
                                      "t,a\r\r0,1\r# c\r1,2\r2,x\r"};
  for (int i = 0; i < 3; i++) {
    const plb_error error = error_of(texts[i], 0);
    assert_int_equal(error.line, 6);
    assert_int_equal(error.column, 3);
  }
}

static void test_text__missing_and_beyond(void **state) {
  (void)state;
  plb_capture *c = read_at("t,a,b\n0,1,1\n1,,nan\n2,---,N/A\n3,inf,-Infinity\n4,5,6\n5,9.9E+37,9.91E37\n", 0);
  const double a[] = {1, NAN, NAN, NAN, 5, NAN}, b[] = {1, NAN, NAN, NAN, 6, NAN};
  assert_values(c, 0, a, 6);
  assert_values(c, 1, b, 6);
  assert_true(has_note(c, "missing samples (empty cells): 5"));
  assert_true(has_note(c, "beyond the recorder's range, counted as missing: 3"));
  plb_capture_free(c);
}

static void test_text__minus_nought_is_nought(void **state) {
  (void)state;
  plb_capture *c = read_at("0,-0.0,-0.0\n1,-0,0.1234567890123\n", 0);
  const double codes[] = {0.0, 0.0}, reals[] = {0.0, 0.1234567890123};
  assert_values(c, 0, codes, 2);
  assert_values(c, 1, reals, 2);
  plb_capture_free(c);
}

static void test_text__pairs_are_told(void **state) {
  (void)state;
  plb_capture *c = read_at("time,CH1 Min,CH1 Max\n0,1,2\n1,3,4\n2,0,9\n", 0);
  assert_true(c->pairs);
  plb_capture_free(c);
  c = read_at("time,Min,Mean\n0,1,2\n1,3,4\n2,0,9\n", 0);
  assert_false(c->pairs);
  plb_capture_free(c);
}

/* --- the comma --- */

static void test_text__comma_decided_by_evidence(void **state) {
  (void)state;
  plb_capture *c = read_at("0,05\n0,15\n0,25\n", 1000); /* 05 is no way to write five */
  const double decimal[] = {0.05, 0.15, 0.25};
  assert_int_equal(c->channels, 1);
  assert_values(c, 0, decimal, 3);
  plb_capture_free(c);
  c = read_at("0,1\n1,0\n2,1\n3,0\n", 0); /* the first column counts up */
  assert_int_equal(c->channels, 1);
  assert_same_bits(c->rate_hz, 1.0);
  plb_capture_free(c);
  c = read_at("a,b\n5,3\n7,2\n9,9\n", 1000); /* the header has two names */
  assert_int_equal(c->channels, 2);
  plb_capture_free(c);
  c = read_at("5,3\n7,-2\n9,9\n", 1000); /* a sign cannot stand behind a decimal comma */
  assert_int_equal(c->channels, 2);
  plb_capture_free(c);
}

static void test_text__ambiguous_comma_is_refused(void **state) {
  (void)state;
  static const char *const texts[] = {"5,3\n8,2\n9,9\n", "0,001,1,25\n0,002,1,50\n0,003,1,75\n",
                                      "1,234;2,345\n3,456;1,111\n"};
  for (size_t i = 0; i < 3; i++) {
    const plb_error error = error_of(texts[i], 1000);
    assert_int_equal(error.status, PLB_EDATA);
    assert_non_null(strstr(error.message, "decimal"));
  }
}

/* 0,5 first stands in the middle of the file, behind thousands of whole numbers. */
static void test_text__decimal_comma_is_looked_for_in_the_whole_file(void **state) {
  (void)state;
  enum { N = 20000 };
  char *text = malloc((size_t)N * 24), *p = text;
  for (int i = 0; i < N; i++)
    p += sprintf(p, i > 5000 && i < 18000 ? "%d;%d,5\n" : "%d;%d\n", i, i % 10);
  plb_capture *c = read_bytes_at(text, (size_t)(p - text), 0);
  double value;
  plb_capture_values(c, 0, 10001, 1, &value);
  assert_same_bits(value, 1.5);
  plb_capture_free(c);
  free(text);
}

/* --- time --- */

typedef struct rate_row {
  char style; /* of a stamp: f, e or g */
  int digits;
  double rate_hz, unit_s;
  const char *header;
  int n;
} rate_row;

/* The rate is the roundest one that the printed digits allow. */
static void test_text__rate_from_stamps(void **state) {
  (void)state;
  static const rate_row rows[] = {
      {'f', 6, 44100, 1, "time", 44101},  {'f', 9, 44100, 1, "time", 500},     {'e', 6, 100000, 1, "time", 50000},
      {'f', 8, 1e6, 1, "time", 1000},     {'g', 5, 1000, 1, "time", 2000},     {'f', 3, 20000, 1e-3, "t (ms)", 3000},
      {'f', 1, 2e6, 1e-6, "t [us]", 500}, {'f', 0, 1e7, 1e-9, "time_ns", 500}, {'f', 4, 3000, 1, "time", 9000},
      {'f', 7, 1e4 / 3, 1, "time", 5000},
  };
  for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
    const rate_row *r = &rows[i];
    char *text = malloc((size_t)r->n * 40 + 100), *p = text;
    p += sprintf(p, "%s,a\n", r->header);
    for (int k = 0; k < r->n; k++) {
      const double stamp = k / r->rate_hz / r->unit_s;
      p += r->style == 'f'   ? sprintf(p, "%.*f", r->digits, stamp)
           : r->style == 'e' ? sprintf(p, "%.*e", r->digits, stamp)
                             : sprintf(p, "%.*g", r->digits, stamp);
      p += sprintf(p, ",%d\n", k % 7);
    }
    plb_capture *c = read_bytes_at(text, (size_t)(p - text), 0);
    if (fabs(c->rate_hz / r->rate_hz - 1.0) > (i == 9 ? 1e-8 : 1e-15))
      fail_msg("row %zu: %.17g Hz, expected %.17g", i, c->rate_hz, r->rate_hz);
    assert_true(c->uneven < 0.02);
    plb_capture_free(c);
    free(text);
  }
}

static void test_text__time_told_by_even_rise(void **state) {
  (void)state;
  plb_capture *c = read_at("1 0.00 5\n2 0.01 7\n3 0.02 6\n4 0.03 1\n", 0); /* the first column only counts */
  assert_same_bits(c->rate_hz, 100.0);
  assert_int_equal(plb_capture_column(c, 0), 1);
  assert_int_equal(plb_capture_column(c, 1), 3);
  assert_true(has_note(c, "time column: 2"));
  plb_capture_free(c);
  assert_non_null(strstr(error_of("5 1\n3 2\n4 3\n", 0).message, "no time column; give --rate"));
  assert_non_null(strstr(error_of("sample,a\n1,5\n2,5\n3,9\n4,9\n5,9\n6,9\n7,9\n8,9\n", 0).message, "give --rate"));
}

static void test_text__given_rate_means_no_time_column(void **state) {
  (void)state;
  plb_capture *c = read_at("time,a\n0,1\n1,2\n2,3\n", 500);
  assert_int_equal(c->channels, 2);
  assert_same_bits(c->rate_hz, 500.0);
  assert_same_bits(plb_capture_start_s(c), 0.0);
  plb_capture_free(c);
}

static void test_text__uneven_steps_are_measured(void **state) {
  (void)state;
  plb_capture *c = read_at("t,a\n0.000,1\n1.000,2\n2.500,3\n3.000,4\n4.000,5\n", 0); /* steps 1, 1.5, 0.5, 1; mean 1 */
  assert_true(fabs(c->uneven - 0.5) < 0.01);
  plb_capture_free(c);
  c = read_at("t,a\n0.0,1\n0.3,2\n0.7,3\n1.0,4\n", 0); /* thirds, rounded where they are printed */
  assert_true(c->uneven < 1e-9);
  plb_capture_free(c);
}

static void test_text__repeated_stamps(void **state) {
  (void)state;
  plb_capture *c = read_at("time,a\n0.00,1\n0.00,2\n0.00,1\n0.01,1\n0.01,2\n0.01,5\n0.02,1\n", 0);
  assert_true(fabs(c->rate_hz - 300) < 1e-9);
  assert_true(has_note(c, "stamps that repeat"));
  plb_capture_free(c);
}

static void test_text__start_time(void **state) {
  (void)state;
  plb_capture *c = read_at("t (ms),a\n-2.5,1\n-2.0,2\n-1.5,3\n", 0);
  assert_same_bits(plb_capture_start_s(c), -0.0025);
  plb_capture_free(c);
}

/* The last row is cut inside a column, or inside a number that still reads as one: only the first can be told. */
static void test_text__cut_last_row(void **state) {
  (void)state;
  const plb_error error = error_of("0,1,2\n1,1,2\n2,1", 0);
  assert_int_equal(error.line, 3);
  assert_non_null(strstr(error.message, "cut off: 2 of 3 columns"));
}

/* Every prefix of a file is read or refused; run under the sanitizers this finds reads past the end. */
static void test_text__every_prefix_is_safe(void **state) {
  (void)state;
  static const char text[] =
      "# c\r\nTime (ms);\"A \"\"x\"\" (V)\";B\r\n(ms);;\r\n0,0;\"1,5\";-2\r\n0,1;-2,25E-3;nan\r\n0,2;;3\r\n";
  for (size_t n = 0; n < sizeof text; n++) {
    for (int k = 0; k < 2; k++) {
      plb_read_options options = PLB_READ_OPTIONS_INIT;
      options.rate_hz = k;
      plb_capture *c = NULL;
      plb_error error = PLB_ERROR_INIT;
      if (plb_capture_read_memory(&c, text, n, "prefix", &options, &error) != PLB_OK)
        assert_true(error.message[0] != '\0' && strchr(error.message, ';'));
      plb_capture_free(c);
    }
  }
}

/*
 * RFC 4180, rules 1 to 5 VERIFIED (a copy of its text), 6 and 7 FROM MEMORY: rows end in CRLF, the last one perhaps not; a header or none; quotes
 * around a cell or none; "" is a quote inside quotes. Rule 4 makes blanks part of the cell: around a number they mean nothing.
 */
static void test_text__rfc_4180(void **state) {
  (void)state;
  static const double values[] = {1, 2, 3};
  static const char *const texts[] = {"\"time\",\"say \"\"V\"\", then\"\r\n\"0\",1\r\n1,\"2\"\r\n2, 3\r\n",
                                      "\"time\",\"say \"\"V\"\", then\"\r\n0,1\r\n1,2\r\n2,3", "0.0,1\r\n1.0,2\r\n2.0,3"};
  for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
    plb_capture *c = read_at(texts[i], 0);
    assert_int_equal(plb_capture_channels(c), 1);
    if (i < 2)
      assert_string_equal(plb_capture_role(c, 0), "say \"V\", then");
    assert_values(c, 0, values, 3);
    plb_capture_free(c);
  }
}

/* Stamps 4 ms apart at least, states of 12 ms: held at a rate at which each has 16 samples or more, the edges where they were. */
static void test_text__edges_are_held_with_samples_enough(void **state) {
  (void)state;
  plb_capture *c = read_at("time_s,level\n0,0\n0.012,1\n0.020,0\n0.032,1\n0.040,0\n", 0);
  const double rate = plb_capture_rate_hz(c);
  const size_t n = plb_capture_samples(c);
  assert_true(0.008 * rate >= 16.0);
  assert_int_equal(n, llround(0.040 * rate) + 1);
  double *x = calloc(n, sizeof *x);
  plb_capture_values(c, 0, 0, n, x);
  for (size_t i = 0; i < n; i++) {
    const double t = (double)i / rate + 1e-9;
    assert_true(x[i] == ((t >= 0.012 && t < 0.020) || (t >= 0.032 && t < 0.040) ? 1.0 : 0.0));
  }
  free(x);
  plb_capture_free(c);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_text__edges_are_held_with_samples_enough),
      cmocka_unit_test(test_text__forms_of_loggers),
      cmocka_unit_test(test_text__rfc_4180),
      cmocka_unit_test(test_text__utf16),
      cmocka_unit_test(test_text__names_and_units),
      cmocka_unit_test(test_text__names_fall_back_to_column_numbers),
      cmocka_unit_test(test_text__headers_are_not_over_read),
      cmocka_unit_test(test_text__codes_are_exact),
      cmocka_unit_test(test_text__columns_become_doubles_where_codes_end),
      cmocka_unit_test(test_text__late_decimals_keep_earlier_values),
      cmocka_unit_test(test_text__raising_decimals_minds_earlier_raises),
      cmocka_unit_test(test_text__trailing_separator_is_no_column),
      cmocka_unit_test(test_text__lines_are_counted_with_every_line_end),
      cmocka_unit_test(test_text__missing_and_beyond),
      cmocka_unit_test(test_text__minus_nought_is_nought),
      cmocka_unit_test(test_text__pairs_are_told),
      cmocka_unit_test(test_text__comma_decided_by_evidence),
      cmocka_unit_test(test_text__ambiguous_comma_is_refused),
      cmocka_unit_test(test_text__decimal_comma_is_looked_for_in_the_whole_file),
      cmocka_unit_test(test_text__rate_from_stamps),
      cmocka_unit_test(test_text__time_told_by_even_rise),
      cmocka_unit_test(test_text__given_rate_means_no_time_column),
      cmocka_unit_test(test_text__uneven_steps_are_measured),
      cmocka_unit_test(test_text__repeated_stamps),
      cmocka_unit_test(test_text__start_time),
      cmocka_unit_test(test_text__cut_last_row),
      cmocka_unit_test(test_text__every_prefix_is_safe),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
