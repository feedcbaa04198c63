/*
 * NIST StRD, univariate summary statistics: certified means, standard deviations (n - 1) and lag-1 autocorrelations, VERIFIED (a public copy of
 * the values of itl.nist.gov/div898/strd). The data of Lottery, Lew, Mavro and Michelso were entered FROM MEMORY; that all three certified values
 * come out to every digit shows that they are the data. PiDigits is left out: its certified mean, 4.5348, is not that of the first 5000 digits of pi,
 * 4.5358 (COMPUTED), so that the file holds other digits, and it was not at hand.
 */
#include "signal/signal.h"
#include "tests/reading/reading_test.h"

static const short lottery[] = {
    162, 671, 933, 414, 788, 730, 817, 33,  536, 875, 670, 236, 473, 167, 877, 980, 316, 950, 456, 92,  517, 557, 956, 954, 104, 178, 794, 278,
    147, 773, 437, 435, 502, 610, 582, 780, 689, 562, 964, 791, 28,  97,  848, 281, 858, 538, 660, 972, 671, 613, 867, 448, 738, 966, 139, 636,
    847, 659, 754, 243, 122, 455, 195, 968, 793, 59,  730, 361, 574, 522, 97,  762, 431, 158, 429, 414, 22,  629, 788, 999, 187, 215, 810, 782,
    47,  34,  108, 986, 25,  644, 829, 630, 315, 567, 919, 331, 207, 412, 242, 607, 668, 944, 749, 168, 864, 442, 533, 805, 372, 63,  458, 777,
    416, 340, 436, 140, 919, 350, 510, 572, 905, 900, 85,  389, 473, 758, 444, 169, 625, 692, 140, 897, 672, 288, 312, 860, 724, 226, 884, 508,
    976, 741, 476, 417, 831, 15,  318, 432, 241, 114, 799, 955, 833, 358, 935, 146, 630, 830, 440, 642, 356, 373, 271, 715, 367, 393, 190, 669,
    8,   861, 108, 795, 269, 590, 326, 866, 64,  523, 862, 840, 219, 382, 998, 4,   628, 305, 747, 247, 34,  747, 729, 645, 856, 974, 24,  568,
    24,  694, 608, 480, 410, 729, 947, 293, 53,  930, 223, 203, 677, 227, 62,  455, 387, 318, 562, 242, 428, 968};
static const short lew[] = {
    -213, -564, -35,  -15,  141,  115,  -420, -360, 203,  -338, -431, 194,  -220, -513, 154,  -125, -559, 92,   -21,  -579, -52,  99,   -543, -175, 162,
    -457, -346, 204,  -300, -474, 164,  -107, -572, -8,   83,   -541, -224, 180,  -420, -374, 201,  -236, -531, 83,   27,   -564, -112, 131,  -507, -254,
    199,  -311, -495, 143,  -46,  -579, -90,  136,  -472, -338, 202,  -287, -477, 169,  -124, -568, 17,   48,   -568, -135, 162,  -430, -422, 172,  -74,
    -577, -13,  92,   -534, -243, 194,  -355, -465, 156,  -81,  -578, -64,  139,  -449, -384, 193,  -198, -538, 110,  -44,  -577, -6,   66,   -552, -164,
    161,  -460, -344, 205,  -281, -504, 134,  -28,  -576, -118, 156,  -437, -381, 200,  -220, -540, 83,   11,   -568, -160, 172,  -414, -408, 188,  -125,
    -572, -32,  139,  -492, -321, 205,  -262, -504, 142,  -83,  -574, 0,    48,   -571, -106, 137,  -501, -266, 190,  -391, -406, 194,  -186, -553, 83,
    -13,  -577, -49,  103,  -515, -280, 201,  300,  -506, 131,  -45,  -578, -80,  138,  -462, -361, 201,  -211, -554, 32,   74,   -533, -235, 187,  -372,
    -442, 182,  -147, -566, 25,   68,   -535, -244, 194,  -351, -463, 174,  -125, -570, 15,   72,   -550, -190, 172,  -424, -385, 198,  -218, -536, 96};
/* 2 + n / 100,000 */
static const short mavro[] = {180, 170, 180, 190, 180, 170, 150, 140, 150, 150, 170, 180, 180, 190, 190, 210, 200, 160, 140, 130, 130, 150, 150, 160, 150,
                              140, 130, 140, 150, 140, 150, 160, 150, 160, 190, 200, 200, 210, 220, 230, 240, 250, 270, 260, 260, 260, 270, 260, 250, 240};
/* 299 + n / 1000 */
static const short michelso[] = {
    850, 740, 900, 1070, 930, 850, 950, 980, 980, 880, 1000, 980, 930, 650, 760, 810, 1000, 1000, 960, 960, 960, 940, 960, 940, 880,
    800, 850, 880, 900,  840, 830, 790, 810, 880, 880, 830,  800, 790, 760, 800, 880, 880,  880,  860, 720, 720, 620, 860, 970, 950,
    880, 910, 850, 870,  840, 840, 850, 840, 840, 840, 890,  810, 810, 820, 800, 770, 760,  740,  750, 760, 910, 920, 890, 860, 880,
    720, 840, 850, 850,  780, 890, 840, 780, 810, 760, 810,  790, 810, 820, 850, 870, 870,  810,  740, 810, 940, 950, 800, 810, 870};

static void check(const char *name, const double *x, size_t n, double mean, double sd, double lag_1) {
  plb_readings *r = must_measure(capture_of(x, n, 1e3, "V"), NULL);
  double *apart = room_for(n);
  for (size_t i = 0; i < n; i++)
    apart[i] = x[i] - mean;
  assert_near(value_of(r, "mean"), mean, 1e-14 * fabs(mean), name);
  assert_near(value_of(r, "ac-rms") * sqrt((double)n / ((double)n - 1.0)), sd, 3e-13 * sd, name);
  assert_near(plb_dot(apart, apart + 1, n - 1) / plb_dot(apart, apart, n), lag_1, 1e-10, name);
  free(apart);
  plb_readings_free(r);
}

static void check_whole(const char *name, const short *data, size_t n, double first, double unit, double mean, double sd, double lag_1) {
  double *x = room_for(n);
  for (size_t i = 0; i < n; i++)
    x[i] = first + data[i] / unit;
  check(name, x, n, mean, sd, lag_1);
  free(x);
}

static void test_nist__data_sets(void **state) {
  (void)state;
  check_whole("Lottery", lottery, sizeof lottery / sizeof *lottery, 0, 1, 518.958715596330, 291.699727470969, -0.120948622967393);
  check_whole("Lew", lew, sizeof lew / sizeof *lew, 0, 1, -177.435000000000, 277.332168044316, -0.307304800605679);
  check_whole("Mavro", mavro, sizeof mavro / sizeof *mavro, 2, 1e5, 2.00185600000000, 0.000429123454003053, 0.937989183438248);
  check_whole("Michelso", michelso, sizeof michelso / sizeof *michelso, 299, 1e3, 299.852400000000, 0.0790105478190518, 0.535199668621283);
}

int main(void) {
  const struct CMUnitTest tests[] = {cmocka_unit_test(test_nist__data_sets)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
