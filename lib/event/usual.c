/*
 * Excursions that come back regularly are what the signal does: an injector's openings, which are too far apart to be seen as its two states. Four
 * alike are needed, each a whole number of times their shortest distance from the next. Where one of them is due and something no larger stands in
 * its place, cut up otherwise, that is usual as well.
 */
#include "event/event.h"

#include <math.h>

enum { FEWEST = 4, STEPS_MOST = 3 };
static const double like_size = 0.2, like_length = 0.3, like_distance = 0.1;

typedef struct series {
  const plb_found *member[PLB_USUAL_MOST];
  size_t count;
  double distance; /* samples */
} series;

static bool is_alike(const plb_found *a, const plb_found *b) {
  const double length = fmax(a->last - a->first, b->last - b->first);
  return a->kind == b->kind && a->unit == b->unit && fabs(a->size - b->size) <= like_size * fmax(fabs(a->size), fabs(b->size)) &&
         fabs((a->last - a->first) - (b->last - b->first)) <= fmax(like_length * length, 2.0);
}

/* Those like `first` from it on, in the order of time. */
static void gather(series *s, const plb_found *first, const plb_found *end) {
  s->count = 0;
  for (const plb_found *f = first; f < end && s->count < PLB_USUAL_MOST; f++) {
    if (!is_alike(first, f))
      continue;
    size_t k = s->count++;
    for (; k > 0 && s->member[k - 1]->first > f->first; k--)
      s->member[k] = s->member[k - 1];
    s->member[k] = f;
  }
}

static bool is_regular(series *s) {
  if (s->count < FEWEST)
    return false;
  s->distance = INFINITY;
  for (size_t k = 1; k < s->count; k++)
    s->distance = fmin(s->distance, s->member[k]->first - s->member[k - 1]->first);
  double sum = 0.0, steps = 0.0;
  for (size_t k = 1; k < s->count; k++) {
    const double gap = s->member[k]->first - s->member[k - 1]->first, times = round(gap / s->distance);
    if (!(s->distance > 0.0) || times > STEPS_MOST || fabs(gap - times * s->distance) > like_distance * s->distance * times)
      return false;
    sum += gap;
    steps += times;
  }
  s->distance = sum / steps;
  return true;
}

/* It is one of them, or stands where one of them is due and is no larger. */
static bool belongs(const series *s, const plb_found *f) {
  const plb_found *first = s->member[0], *last = s->member[s->count - 1];
  const double length = first->last - first->first, slack = fmax(0.02 * s->distance, length);
  for (size_t k = 0; k < s->count; k++)
    if (f == s->member[k])
      return true;
  for (double due = first->first - s->distance; due <= last->first + 1.5 * s->distance; due += s->distance)
    if (f->first > due - slack && f->first < due + length + slack && f->unit == first->unit)
      return fabs(f->size) <= 1.5 * fabs(first->size);
  return false;
}

void plb_usual_drop(plb_found_list *list, size_t from) {
  if (list->count < from + FEWEST)
    return;
  series s;
  for (size_t i = from; i < list->count;) {
    gather(&s, &list->item[i], list->item + list->count);
    if (!is_regular(&s)) {
      i++;
      continue;
    }
    /* the members lie in the list itself: mark first, then close up */
    for (size_t k = from; k < list->count; k++)
      if (belongs(&s, &list->item[k]))
        list->item[k].sigma = NAN;
    size_t kept = from;
    for (size_t k = from; k < list->count; k++)
      if (!isnan(list->item[k].sigma))
        list->item[kept++] = list->item[k];
    list->count = kept;
    i = from;
  }
}
