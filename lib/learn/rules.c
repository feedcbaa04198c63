#include "learn/rules.h"
#include "compare/rules.h"
#include <math.h>
#include <string.h>

/*
 * A rule is proposed when it explains: left out one by one, the captures' sizes must scatter half as much about what the others predict as they do
 * without it, they must differ at all, and speed or supply must have a range. What is within these is left absolute.
 */
enum { FEWEST = 5 };
static const double scatter_share = 0.5, least_scatter = 0.05, least_speed_ratio = 1.3, least_supply_ratio = 1.08;

/* Sizes of one channel and what they may follow. */
typedef struct sizes {
  size_t n;
  double *log_gain, *log_rate, *log_supply; /* [n] */
  double *offset, *supply;                  /* [n] offset as a share of the swing */
} sizes;

static bool sizes_init(sizes *s, const plb_reference *r, size_t channel, const plb_profile *const *profile, size_t n) {
  const size_t grid = r->choice.grid;
  *s = (sizes){.n = n};
  s->log_gain = plb_calloc(5 * n, sizeof *s->log_gain);
  float *centre = plb_calloc(grid, sizeof *centre);
  if (s->log_gain == NULL || centre == NULL) {
    free(centre);
    return false;
  }
  s->log_rate = s->log_gain + n;
  s->log_supply = s->log_gain + 2 * n;
  s->offset = s->log_gain + 3 * n;
  s->supply = s->log_gain + 4 * n;
  for (size_t i = 0; i < n; i++) {
    for (size_t g = 0; g < grid; g++) {
      centre[g] += plb_profile_curve(profile[i], channel)[g] / (float)n;
    }
  }
  for (size_t i = 0; i < n; i++) {
    const plb_gain g = plb_gain_against(plb_profile_curve(profile[i], channel), centre, grid);
    s->log_gain[i] = g.gain > 0.0 ? log(g.gain) : NAN;
    s->offset[i] = g.offset / r->channel[channel].peak_to_peak;
    s->log_rate[i] = profile[i]->rate_hz > 0.0 ? log(profile[i]->rate_hz) : NAN;
    s->supply[i] = profile[i]->supply_v > 0.0 ? profile[i]->supply_v : NAN;
    s->log_supply[i] = log(s->supply[i]);
  }
  free(centre);
  return true;
}

/* RMS of what the others predict of each. `at` NULL: predict their mean; `slope` NaN: a curve, else a line of that slope. NaN: not known for all. */
static double left_out_scatter(const double *value, const double *at, double slope, size_t n) {
  double square = 0.0;
  double *x = plb_calloc(2 * n, sizeof *x), *y = x + n;
  for (size_t i = 0; x != NULL && i < n; i++) {
    size_t count = 0;
    double mean = 0.0;
    for (size_t k = 0; k < n; k++) {
      if (k != i) {
        x[count] = at != NULL ? at[k] : 0.0;
        y[count] = value[k];
        mean += (value[k] - (at != NULL && isfinite(slope) ? slope * at[k] : 0.0)) / (double)(n - 1);
        count++;
      }
    }
    double predicted = mean + (at != NULL && isfinite(slope) ? slope * at[i] : 0.0);
    if (at != NULL && isnan(slope)) {
      plb_rule_curve curve;
      plb_rule_curve_fit(&curve, x, y, count);
      const double low = curve.at[0], high = curve.at[curve.knots - 1]; /* the outermost are predicted from the end of the others' curve */
      predicted = plb_rule_curve_at(&curve, fmin(fmax(at[i], low), high));
    }
    square += (value[i] - predicted) * (value[i] - predicted);
  }
  free(x);
  return x != NULL ? sqrt(square / (double)n) : NAN;
}

static double ratio_of(const double *log_value, size_t n) {
  double low = INFINITY, high = -INFINITY;
  for (size_t i = 0; i < n; i++) {
    if (!isfinite(log_value[i])) {
      return NAN;
    }
    low = fmin(low, log_value[i]);
    high = fmax(high, log_value[i]);
  }
  return exp(high - low);
}

static void propose_amplitude(plb_reference_channel *ch, const sizes *s, plb_buffer *notes) {
  const double plain = left_out_scatter(s->log_gain, NULL, NAN, s->n);
  if (s->n < FEWEST || !(plain > least_scatter)) {
    return;
  }
  const bool supplied = ratio_of(s->log_supply, s->n) >= least_supply_ratio, sped = ratio_of(s->log_rate, s->n) >= least_speed_ratio;
  const double by_supply = supplied ? left_out_scatter(s->log_gain, s->log_supply, 1.0, s->n) : INFINITY;
  const double by_speed = sped ? left_out_scatter(s->log_gain, s->log_rate, NAN, s->n) : INFINITY;
  if (fmin(by_supply, by_speed) > scatter_share * plain) {
    return;
  }
  ch->amplitude = by_supply <= 1.2 * by_speed ? PLB_RULE_SUPPLY_PROPORTIONAL : PLB_RULE_SPEED_CURVE;
  plb_buffer_printf(notes, "The size of %s follows the %s: left out one by one, the captures scatter %.0f %% about it, %.0f %% without it (rule %s).\n",
                    ch->role, ch->amplitude == PLB_RULE_SPEED_CURVE ? "speed" : "supply", 100.0 * fmin(by_supply, by_speed), 100.0 * plain,
                    plb_rule_name(ch->amplitude));
}

static void propose_offset(plb_reference_channel *ch, const sizes *s, plb_buffer *notes) {
  const double plain = left_out_scatter(s->offset, NULL, NAN, s->n);
  if (s->n < FEWEST || !(plain > least_scatter) || !(ratio_of(s->log_supply, s->n) >= least_supply_ratio)) {
    return;
  }
  const double by_supply = left_out_scatter(s->offset, s->supply, NAN, s->n);
  if (by_supply <= scatter_share * plain) {
    ch->offset = PLB_RULE_SUPPLY_PROPORTIONAL;
    plb_buffer_printf(notes, "The height of %s follows the supply: scatter %.0f %% of the swing about it, %.0f %% without it (rule supply-proportional).\n",
                      ch->role, 100.0 * by_supply, 100.0 * plain);
  }
}

static plb_status keep_curve(plb_reference_channel *ch, const sizes *s, plb_error *err) {
  plb_rule_curve curve;
  plb_rule_curve_fit(&curve, s->log_rate, s->log_gain, s->n);
  ch->speed = plb_calloc(curve.knots, sizeof *ch->speed);
  if (ch->speed == NULL) {
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  ch->speeds = curve.knots;
  for (size_t k = 0; k < curve.knots; k++) {
    ch->speed[k] = (plb_speed_point){exp(curve.at[k]), exp(curve.height[k])};
  }
  return PLB_OK;
}

/* "crank=free": the channel, and the rule if it is one of the words. */
static plb_status state_rule(plb_reference *r, const char *text, bool offset, bool *given, plb_error *err) {
  static const plb_rule amplitudes[] = {PLB_RULE_ABSOLUTE, PLB_RULE_SUPPLY_PROPORTIONAL, PLB_RULE_SPEED_CURVE, PLB_RULE_LOAD_PROPORTIONAL,
                                        PLB_RULE_FREE};
  static const plb_rule offsets[] = {PLB_RULE_FIXED, PLB_RULE_FREE, PLB_RULE_SUPPLY_PROPORTIONAL, PLB_RULE_PEGGED};
  const plb_rule *rules = offset ? offsets : amplitudes;
  const size_t count = offset ? sizeof offsets / sizeof *offsets : sizeof amplitudes / sizeof *amplitudes;
  const char *equals = strchr(text, '=');
  const size_t length = equals != NULL ? (size_t)(equals - text) : 0;
  for (size_t c = 0; c < r->channels && equals != NULL; c++) {
    if (strlen(r->channel[c].role) != length || strncmp(r->channel[c].role, text, length) != 0) {
      continue;
    }
    for (size_t k = 0; k < count; k++) {
      if (strcmp(plb_rule_name(rules[k]), equals + 1) == 0) {
        *(offset ? &r->channel[c].offset : &r->channel[c].amplitude) = rules[k];
        given[c] = true;
        return PLB_OK;
      }
    }
  }
  return plb_fail(err, PLB_EUSAGE, "--%s %s: write ROLE=RULE with a channel of the captures; for example %s=%s", offset ? "offset" : "amplitude",
                  text, r->channel[0].role, offset ? "free" : "speed-curve");
}

/* Nothing can be pegged but at a mark: the first one of the cycle. */
static plb_status peg(plb_reference *r, plb_reference_channel *ch, plb_error *err) {
  if (ch->offset == PLB_RULE_PEGGED && r->choice.landmarks == 0) {
    return plb_fail(err, PLB_EUSAGE, "--offset %s=pegged needs a cycle with marks, and this one has none; choose fixed or free", ch->role);
  }
  if (ch->offset == PLB_RULE_PEGGED) {
    plb_text_copy(ch->pegged, sizeof ch->pegged, r->choice.landmark[0].name);
  }
  return PLB_OK;
}

static plb_status learn_channel(plb_reference *r, size_t c, bool amplitude, bool offset, const plb_profile *const *profile, size_t n,
                                plb_buffer *notes, plb_error *err) {
  sizes s;
  plb_status status = sizes_init(&s, r, c, profile, n) ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK && !amplitude) {
    propose_amplitude(&r->channel[c], &s, notes);
  }
  if (status == PLB_OK && !offset) {
    propose_offset(&r->channel[c], &s, notes);
  }
  if (status == PLB_OK && r->channel[c].amplitude == PLB_RULE_SPEED_CURVE) {
    status = keep_curve(&r->channel[c], &s, err);
  }
  free(s.log_gain);
  return status == PLB_OK ? peg(r, &r->channel[c], err) : status;
}

plb_status plb_learn_rules(plb_reference *r, const plb_learn_options *o, const plb_profile *const *profile, size_t count, plb_buffer *notes,
                           plb_error *err) {
  bool *given = plb_calloc(2 * r->channels, sizeof *given);
  plb_status status = given != NULL ? PLB_OK : plb_fail(err, PLB_ENOMEM, "out of memory");
  for (size_t i = 0; i < o->rules && status == PLB_OK; i++) {
    status = state_rule(r, o->rule[i], false, given, err);
  }
  for (size_t i = 0; i < o->offset_rules && status == PLB_OK; i++) {
    status = state_rule(r, o->offset_rule[i], true, given + r->channels, err);
  }
  /* single events have no speed, and steady signals no cycle that could have one */
  const bool cyclic = r->choice.spec.kind == PLB_CYCLE_WHEEL || r->choice.spec.kind == PLB_CYCLE_EDGE || r->choice.spec.kind == PLB_CYCLE_REPEAT;
  for (size_t c = 0; c < r->channels && status == PLB_OK; c++) {
    status = learn_channel(r, c, given[c] || !cyclic, given[r->channels + c] || !cyclic, profile, count, notes, err);
  }
  free(given);
  return status;
}
