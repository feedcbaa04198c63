#include "report/facts.h"

#include <math.h>
#include <string.h>

enum { PERIOD_SAMPLES = 65536 };

/* What a channel looks like, as far as guesses need it. */
typedef struct look {
  const double *x;
  size_t n;
  double rate_hz;
  const char *unit;
  plb_facts facts;
  plb_states states;
  double flat_share; /* of the samples within a quarter of the swing of the two levels */
  plb_wheel_guess wheel;
  size_t pulses;            /* rising passages of the middle level */
  double high_share;        /* of the time above the middle level */
  double between_share;     /* of the samples that belong to neither level: 30 to 70 % of the swing */
  double pulse_s, regular;  /* median pulse period, and the spread of the periods as a share of it; NaN: too few */
  double period_s, repeats; /* by autocorrelation: the period and how well it repeats, 0..1 */
} look;

/* Rounded to three digits: a guess must not look like a measurement. */
static void say_level(const look *l, double value, char out[PLB_SAY_SIZE]) {
  const bool nothing = fabs(value) < 0.002 * (l->facts.highest - l->facts.lowest);
  plb_say_quantity(nothing ? 0 : value, l->unit, 3, out);
}

static plb_status look_at_pulses(look *l, plb_error *err) {
  const double swing = l->states.high - l->states.low;
  plb_crossing *crossing = NULL;
  size_t count = 0;
  plb_status status =
      plb_crossings(l->x, l->n, l->states.low + 0.35 * swing, l->states.low + 0.65 * swing, &crossing, &count, err);
  double *period = status == PLB_OK ? plb_calloc(count + 1, sizeof *period) : NULL;
  if (status == PLB_OK && !period)
    status = plb_fail(err, PLB_ENOMEM, "no memory to guess; give a shorter capture");
  size_t periods = 0;
  double last = NAN;
  for (size_t i = 0; i < count && status == PLB_OK; i++) {
    if (crossing[i].direction < 0)
      continue;
    if (isfinite(last))
      period[periods++] = crossing[i].at - last;
    last = crossing[i].at;
    l->pulses++;
  }
  l->regular = NAN;
  if (periods >= 3) {
    const double median = plb_median(period, periods);
    l->pulse_s = median / l->rate_hz;
    l->regular = plb_mad(period, periods, median) / median;
  }
  free(period);
  free(crossing);
  return status;
}

static double share_above(const look *l, double level) {
  size_t above = 0;
  for (size_t i = 0; i < l->n; i++)
    above += l->x[i] > level;
  return l->n > 0 ? (double)above / (double)l->n : 0;
}

/* The first peak of the autocorrelation that is nearly as high as the highest, once it has fallen far from its height at lag 0: nearer
 * bumps are noise on a slow slope. The top of the passage above 0.8 of the highest counts, for the same reason. 0: there is none. */
static size_t first_peak(const float *r, size_t lags) {
  size_t start = 1;
  while (start < lags && r[start] > 0.3f)
    start++;
  float highest = 0;
  for (size_t k = start; k + 1 < lags; k++)
    highest = r[k] > highest ? r[k] : highest;
  size_t peak = start;
  while (peak + 1 < lags && !(highest > 0 && r[peak] >= 0.8f * highest))
    peak++;
  for (size_t k = peak; k + 1 < lags && r[k] >= 0.8f * highest; k++)
    peak = r[k] > r[peak] ? k : peak;
  return peak + 1 < lags && highest > 0 ? peak : 0;
}

/* Autocorrelation of the signal, averaged down to a size that is quick; a sample that is no number counts as the mean. */
static plb_status look_for_period(look *l, plb_error *err) {
  const size_t down = l->n / PERIOD_SAMPLES + 1, n = l->n / down, lags = n / 2;
  if (n < 32 || l->rate_hz <= 0)
    return PLB_OK;
  float *x = plb_calloc(n, sizeof *x), *r = plb_calloc(lags + 1, sizeof *r);
  plb_status status = x && r ? PLB_OK : plb_fail(err, PLB_ENOMEM, "no memory to guess; give a shorter capture");
  for (size_t k = 0; k < n && status == PLB_OK; k++) {
    double sum = 0;
    for (size_t i = 0; i < down; i++)
      sum += isfinite(l->x[k * down + i]) ? l->x[k * down + i] - l->facts.mean : 0;
    x[k] = (float)(sum / (double)down);
  }
  if (status == PLB_OK)
    status = plb_autocorrelate(x, n, lags, r, err);
  const size_t peak = status == PLB_OK ? first_peak(r, lags) : 0;
  if (peak > 1) {
    l->period_s = ((double)peak + plb_parabola_peak((double)r[peak - 1], (double)r[peak], (double)r[peak + 1], NULL)) *
                  (double)down / l->rate_hz;
    l->repeats = fmin(fmax((double)r[peak], 0), 1);
  }
  free(x);
  free(r);
  return status;
}

static plb_status look_at(look *l, const plb_capture *capture, size_t channel, const double *x, plb_error *err) {
  *l = (look){.x = x,
              .n = plb_capture_samples(capture),
              .rate_hz = plb_capture_rate_hz(capture),
              .unit = plb_capture_unit(capture, channel),
              .regular = NAN,
              .pulse_s = NAN,
              .period_s = NAN};
  plb_status status = plb_facts_of(&l->facts, x, l->n, plb_capture_step(capture, channel), err);
  if (status != PLB_OK || !isfinite(l->facts.mean) || !(l->facts.highest > l->facts.lowest) || l->n < 8)
    return status;
  status = plb_state_levels(x, l->n, 0, &l->states, err);
  if (status == PLB_OK && l->rate_hz > 0)
    status = plb_wheel_guess_from(x, l->n, l->rate_hz, &l->wheel, err);
  if (status == PLB_OK)
    status = look_for_period(l, err);
  if (status == PLB_OK && l->states.two)
    status = look_at_pulses(l, err);
  l->flat_share = l->states.low_share + l->states.high_share;
  l->high_share = share_above(l, plb_reference_level(l->states.low, l->states.high, 50));
  l->between_share = share_above(l, plb_reference_level(l->states.low, l->states.high, 30)) -
                     share_above(l, plb_reference_level(l->states.low, l->states.high, 70));
  return status;
}

/* Each guesser fills the guess and its confidence, or leaves confidence 0. How sure: the share of such traces that, in the author's
 * judgement, are what is said; common practice, nothing is measured behind these figures. */

static void guess_wheel(const look *l, plb_guess *out) {
  if (l->wheel.confidence < 0.3 || l->wheel.teeth < 4)
    return;
  char speed[PLB_SAY_SIZE];
  plb_say_number(l->wheel.per_min, 3, speed);
  const double swing = l->facts.highest - l->facts.lowest;
  const bool two_sided = l->facts.lowest < -0.05 * swing && l->facts.highest > 0.05 * swing;
  const bool square = l->states.two && l->flat_share > 0.9;
  const bool clamped = two_sided && l->states.low_share > 0.25 && l->facts.highest > -2 * l->facts.lowest;
  const char *kind = !two_sided ? square ? ", square and one-sided" : ""
                     : clamped  ? ", two-sided, its lower half clamped"
                                : ", two-sided";
  char missing[PLB_SAY_SIZE] = "";
  if (l->wheel.missing > 0)
    plb_text_print(missing, sizeof missing, " with %d missing", l->wheel.missing);
  plb_text_print(out->what, sizeof out->what, "%d-tooth wheel%s, about %s rpm%s", l->wheel.teeth, missing, speed, kind);
  plb_text_print(out->cycle, sizeof out->cycle, "wheel:teeth=%d,missing=%d", l->wheel.teeth, l->wheel.missing);
  const bool crank = l->wheel.teeth >= 12 && l->wheel.missing > 0;
  if (crank && (two_sided || square))
    plb_text_copy(out->type, sizeof out->type, two_sided ? "crank-inductive" : "crank-hall");
  out->confidence = l->wheel.confidence * (crank ? 0.9 : 0.6);
}

static void guess_pulses(const look *l, plb_guess *out) {
  const bool edges =
      l->between_share < 0.3 * fmin(l->high_share, 1 - l->high_share); /* two levels, and little in between */
  if (!l->states.two || l->pulses < 3 || l->flat_share < 0.7 || !edges)
    return;
  char low[PLB_SAY_SIZE], high[PLB_SAY_SIZE], rate[PLB_SAY_SIZE], share[PLB_SAY_SIZE];
  const double swing = l->states.high - l->states.low, spike = l->facts.highest - l->states.high;
  const bool regular = l->regular < 0.05;
  const bool flyback = spike > 1.5 * swing && share_above(l, l->states.high + 0.5 * swing) < 0.1;
  say_level(l, l->states.low, low);
  say_level(l, l->states.high, high);
  plb_say_share(l->high_share, share);
  plb_say_quantity(1 / l->pulse_s, "Hz", 3, rate);
  plb_text_print(out->what, sizeof out->what, "pulses between %.40s and %.40s, high %s of the time%s%s%s", low, high,
                 share, regular ? ", about " : "", regular ? rate : "",
                 flyback ? ", with spikes as a coil makes when it is switched off" : "");
  plb_text_copy(out->cycle, sizeof out->cycle,
                flyback ? "edge:level=50%states,slope=falling" : "edge:level=50%states,slope=rising");
  if (flyback)
    plb_text_copy(out->type, sizeof out->type, "injector-voltage");
  out->confidence = (flyback ? 0.4 : 0.3) + (regular ? 0.2 : 0);
}

static void guess_repeat(const look *l, plb_guess *out) {
  if (!(l->repeats > 0.5) || !(l->period_s > 0))
    return;
  char period[PLB_SAY_SIZE], rate[PLB_SAY_SIZE], plain[PLB_NUMBER_SIZE];
  const char *code = "s";
  const double factor = plb_unit_scale_for_people(l->period_s, "s", &code);
  plb_say_quantity(l->period_s, "s", 3, period);
  plb_say_quantity(1 / l->period_s, "Hz", 3, rate);
  plb_text_print(plain, sizeof plain, "%.3g", l->period_s * factor);
  plb_text_print(out->what, sizeof out->what, "repeats every %.40s (%.40s)", period, rate);
  plb_text_print(out->cycle, sizeof out->cycle, "repeat:period=%s%s", plain, code);
  out->confidence = 0.35 * l->repeats;
}

static void guess_nothing(const look *l, plb_guess *out) {
  const double swing = l->facts.highest - l->facts.lowest;
  char mean[PLB_SAY_SIZE], most[PLB_SAY_SIZE];
  say_level(l, l->facts.mean, mean);
  say_level(l, swing, most);
  if (!isfinite(l->facts.mean))
    plb_text_copy(out->what, sizeof out->what, "no numbers at all");
  else if (!(swing > 0))
    plb_text_print(out->what, sizeof out->what, "flat at %.40s", mean);
  else if (swing < 20 * l->facts.step || swing < 12 * l->facts.noise)
    plb_text_print(out->what, sizeof out->what, "no signal to speak of: %.40s, moving by %.40s in all", mean, most);
  else if (swing < 0.2 * fabs(l->facts.mean))
    plb_text_print(out->what, sizeof out->what, "nearly steady at %.40s, moving by %.40s", mean, most);
  else
    plb_text_print(out->what, sizeof out->what, "one event or a slow change, moving by %.40s", most);
  const bool steady = swing < 0.2 * fabs(l->facts.mean);
  plb_text_copy(out->cycle, sizeof out->cycle,
                !(swing > 0) || swing < 20 * l->facts.step ? ""
                : steady                                   ? "steady"
                                                           : "once");
  out->confidence = 0.1;
}

static void guess_one(const look *l, plb_guess *out) {
  static void (*const guessers[])(const look *, plb_guess *) = {guess_wheel, guess_pulses, guess_repeat, guess_nothing};
  const double swing = l->facts.highest - l->facts.lowest;
  const bool silent = !isfinite(swing) || swing < 20 * l->facts.step || swing < 12 * l->facts.noise;
  for (size_t i = 0; i < sizeof guessers / sizeof guessers[0] && out->confidence <= 0; i++)
    if (!silent || guessers[i] == guess_nothing)
      guessers[i](l, out);
}

static int by_confidence(const void *a, const void *b) {
  const plb_guess *x = a, *y = b;
  if (x->confidence != y->confidence)
    return x->confidence > y->confidence ? -1 : 1;
  return x->column - y->column;
}

plb_status plb_guess_capture(plb_guess **out, size_t *count_out, const plb_capture *capture, plb_error *err) {
  const size_t channels = plb_capture_channels(capture);
  plb_status status = PLB_OK;
  *out = NULL;
  *count_out = 0;
  plb_guess *guess = plb_calloc(channels, sizeof *guess);
  if (!guess)
    return plb_fail(err, PLB_ENOMEM, "no memory to guess; give a shorter capture");
  for (size_t c = 0; c < channels && status == PLB_OK; c++) {
    double *x = plb_capture_copy_values(capture, c);
    look l;
    status =
        x ? look_at(&l, capture, c, x, err) : plb_fail(err, PLB_ENOMEM, "no memory to guess; give a shorter capture");
    plb_text_copy(guess[c].channel, sizeof guess[c].channel, plb_capture_role(capture, c));
    guess[c].column = plb_capture_column(capture, c);
    if (status == PLB_OK)
      guess_one(&l, &guess[c]);
    free(x);
  }
  if (status == PLB_OK)
    status = plb_guess_pairs(guess, capture, err);
  if (status != PLB_OK) {
    free(guess);
    return status;
  }
  qsort(guess, channels, sizeof *guess, by_confidence);
  *out = guess;
  *count_out = channels;
  return PLB_OK;
}
