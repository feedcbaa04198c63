#include "compare/rules.h"
#include "signal/linear.h"
#include <math.h>
#include <string.h>

/* Position of `at` among the knots: between index and index + 1, share of the way. */
static size_t place(const plb_rule_curve *c, double at, double *share) {
  size_t k = 0;
  while (k + 2 < c->knots && at > c->at[k + 1]) {
    k++;
  }
  *share = (at - c->at[k]) / (c->at[k + 1] - c->at[k]);
  return k;
}

/*
 * Least squares for the heights at equally spaced knots, with a small cost on each bend (a penalised linear spline, Eilers and Marx 1996, FROM
 * MEMORY): a straight line over few points, a curve that may flatten over more.
 */
void plb_rule_curve_fit(plb_rule_curve *out, const double *at, const double *value, size_t n) {
  static const double bend_cost = 0.02;
  double low = INFINITY, high = -INFINITY, mean = 0.0;
  *out = (plb_rule_curve){0};
  for (size_t i = 0; i < n; i++) {
    low = fmin(low, at[i]);
    high = fmax(high, at[i]);
    mean += value[i] / (double)n;
  }
  if (n == 0) {
    return;
  }
  if (n < 3 || !(high > low)) { /* no slope can be told */
    const double width = high > low ? high - low : 1e-6;
    *out = (plb_rule_curve){2, {low, low + width}, {mean, mean}};
    return;
  }
  const size_t k = n < 5 ? 2 : n < 9 ? 3 : PLB_KNOTS_MOST;
  double a[PLB_KNOTS_MOST * PLB_KNOTS_MOST] = {0}, b[PLB_KNOTS_MOST] = {0};
  out->knots = k;
  for (size_t i = 0; i < k; i++) {
    out->at[i] = low + (high - low) * (double)i / (double)(k - 1);
  }
  for (size_t i = 0; i < n; i++) {
    double share;
    const size_t p = place(out, at[i], &share);
    const double weight[2] = {1.0 - share, share};
    for (size_t r = 0; r < 2; r++) {
      b[p + r] += weight[r] * value[i];
      for (size_t s = 0; s < 2; s++) {
        a[(p + r) * k + p + s] += weight[r] * weight[s];
      }
    }
  }
  static const double bend[3] = {1.0, -2.0, 1.0};
  for (size_t i = 0; i + 2 < k; i++) {
    for (size_t r = 0; r < 3; r++) {
      for (size_t s = 0; s < 3; s++) {
        a[(i + r) * k + i + s] += bend_cost * (double)n * bend[r] * bend[s];
      }
    }
  }
  for (size_t i = 0; i < k; i++) {
    a[i * k + i] += 1e-9 * (double)n;
  }
  if (!plb_cholesky(a, k)) {
    *out = (plb_rule_curve){2, {low, high}, {mean, mean}};
    return;
  }
  plb_cholesky_solve(a, k, b);
  memcpy(out->height, b, k * sizeof *b);
}

double plb_rule_curve_at(const plb_rule_curve *c, double at) {
  if (c->knots < 2 || !isfinite(at)) {
    return NAN;
  }
  const double low = c->at[0], high = c->at[c->knots - 1], slack = 0.05 * (high - low) + 0.02;
  if (at < low - slack || at > high + slack) {
    return NAN;
  }
  double share;
  const size_t k = place(c, at, &share);
  return c->height[k] + share * (c->height[k + 1] - c->height[k]);
}

static double log_of(double value) { return value > 0.0 ? log(value) : NAN; }

static size_t peg_of(const plb_reference_channel *channel, const plb_cycle_choice *choice) {
  for (size_t m = 0; channel->pegged[0] != '\0' && m < choice->landmarks; m++) {
    if (strcmp(choice->landmark[m].name, channel->pegged) == 0) {
      const size_t cell = (size_t)(choice->landmark[m].phase * (double)choice->grid);
      return cell < choice->grid ? cell : choice->grid - 1;
    }
  }
  return SIZE_MAX;
}

bool plb_rule_fit_init(plb_rule_fit *out, const plb_reference_channel *channel, const plb_cycle_choice *choice,
                       const plb_profile *const *member, const double *log_gain, const double *offset, size_t n) {
  *out = (plb_rule_fit){.amplitude = channel->amplitude, .offset = channel->offset, .peg = peg_of(channel, choice)};
  double *at = plb_calloc(2 * n, sizeof *at);
  if (at == NULL) {
    return false;
  }
  double *value = at + n;
  size_t count = 0;
  for (size_t i = 0; i < n && channel->amplitude == PLB_RULE_SPEED_CURVE; i++) {
    if (member[i]->rate_hz > 0.0) {
      at[count] = log(member[i]->rate_hz);
      value[count++] = log_gain[i];
    }
  }
  plb_rule_curve_fit(&out->gain, at, value, count);
  count = 0;
  for (size_t i = 0; i < n && channel->offset == PLB_RULE_SUPPLY_PROPORTIONAL; i++) {
    if (member[i]->supply_v > 0.0) {
      at[count] = member[i]->supply_v;
      value[count++] = offset[i];
    }
  }
  plb_rule_curve_fit(&out->height, at, value, count);
  free(at);
  return true;
}

double plb_rule_log_gain(const plb_rule_fit *rule, const plb_profile *x) {
  switch (rule->amplitude) {
  case PLB_RULE_SPEED_CURVE:
    return plb_rule_curve_at(&rule->gain, log_of(x->rate_hz));
  case PLB_RULE_SUPPLY_PROPORTIONAL:
    return log_of(x->supply_v);
  case PLB_RULE_LOAD_PROPORTIONAL:
    return log_of(x->load);
  default:
    return 0.0;
  }
}

double plb_rule_offset(const plb_rule_fit *rule, const plb_profile *x, const float *centre, double gain) {
  switch (rule->offset) {
  case PLB_RULE_SUPPLY_PROPORTIONAL:
    return plb_rule_curve_at(&rule->height, x->supply_v > 0.0 ? x->supply_v : NAN);
  case PLB_RULE_PEGGED: /* the value at the mark stays, whatever the size */
    return rule->peg != SIZE_MAX ? (1.0 - gain) * (double)centre[rule->peg] : 0.0;
  default:
    return 0.0;
  }
}
