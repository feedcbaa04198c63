/* Listing and searching: by type, words, condition ranges, provenance and status. */
#include "collection/read/collection.h"
#include "collection/read/status.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/** One condition, as an entry keeps it or as it was asked for. */
typedef struct range {
  char name[PLB_NAME_SIZE], word[PLB_NAME_SIZE], unit[PLB_UNIT_SIZE];
  double low, high;
} range;

static size_t number_length(const char *text) {
  size_t n = strspn(text, "+-0123456789.eE");
  const char *dots = strstr(text, "..");
  if (dots && (size_t)(dots - text) < n)
    n = (size_t)(dots - text);
  while (n > 0 && (text[n - 1] == 'e' || text[n - 1] == 'E'))
    n--;
  return n;
}

/* "speed=600..900/min", "state=hot-idle", up to the end or a newline. */
static bool parse_range(const char *text, range *out) {
  char line[PLB_TEXT_SIZE];
  const size_t n = strcspn(text, "\n");
  const char *equals = memchr(text, '=', n);
  if (!equals || n >= sizeof line || (size_t)(equals - text) >= sizeof out->name)
    return false;
  *out = (range){.low = NAN};
  memcpy(out->name, text, (size_t)(equals - text));
  memcpy(line, equals + 1, n - (size_t)(equals + 1 - text));
  line[n - (size_t)(equals + 1 - text)] = '\0';
  size_t length = number_length(line);
  if (length == 0 || !plb_text_number(line, length, &out->low))
    return plb_text_copy(out->word, sizeof out->word, line);
  out->high = out->low;
  const char *rest = line + length;
  if (strncmp(rest, "..", 2) == 0) {
    length = number_length(rest + 2);
    if (!plb_text_number(rest + 2, length, &out->high))
      return false;
    rest += 2 + length;
  }
  return plb_text_copy(out->unit, sizeof out->unit, rest);
}

static bool overlap(const range *asked, const range *has) {
  if (asked->word[0] || has->word[0])
    return strcmp(asked->word, has->word) == 0;
  double low = asked->low, high = asked->high;
  if (asked->unit[0] && has->unit[0] && strcmp(asked->unit, has->unit) != 0 &&
      (!plb_unit_convert(asked->low, asked->unit, has->unit, &low) || !plb_unit_convert(asked->high, asked->unit, has->unit, &high)))
    return false;
  return low <= has->high && high >= has->low;
}

static bool has_condition(const plb_entry *e, const range *asked) {
  for (const char *line = e->conditions; *line; line += strcspn(line, "\n"), line += *line == '\n') {
    range has;
    if (parse_range(line, &has) && strcmp(has.name, asked->name) == 0 && overlap(asked, &has))
      return true;
  }
  return false;
}

static char lower(char c) { return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c; }

static bool holds_word(const char *text, const char *word, size_t size) {
  for (; *text; text++) {
    size_t i = 0;
    while (i < size && text[i] && lower(text[i]) == lower(word[i]))
      i++;
    if (i == size)
      return true;
  }
  return false;
}

static bool has_words(const plb_entry *e, const char *words) {
  while (*words) {
    const size_t n = strcspn(words, " \t");
    if (n && !holds_word(e->name, words, n) && !holds_word(e->title, words, n) && !holds_word(e->type, words, n) &&
        !holds_word(e->conditions, words, n) && !holds_word(e->id, words, n))
      return false;
    words += n;
    words += strspn(words, " \t");
  }
  return true;
}

typedef struct asked {
  const plb_collection_filter *filter;
  const char *type;
  range *condition;
} asked;

static bool wanted(const asked *a, const plb_entry *e) {
  const plb_collection_filter *f = a->filter;
  if ((a->type && strcmp(a->type, e->type) != 0) || (f->provenance && strcmp(f->provenance, e->provenance) != 0) ||
      (f->status && strcmp(f->status, plb_entry_status_name(e->status)) != 0) || (f->text && !has_words(e, f->text)))
    return false;
  for (size_t i = 0; i < f->condition_count; i++)
    if (!has_condition(e, &a->condition[i]))
      return false;
  return true;
}

static plb_entry_kind listed_kind(const plb_collection_filter *f) {
  return f->captures ? PLB_ENTRY_CAPTURE : f->cases ? PLB_ENTRY_CASE : f->types ? PLB_ENTRY_TYPE : PLB_ENTRY_REFERENCE;
}

/* Of the versions [first, last) of one reference the one that a selector without "@" means; else the last. */
static size_t serving(const plb_entry *e, size_t first, size_t last) {
  size_t draft = last, approved = last;
  for (size_t i = first; i < last; i++) {
    if (e[i].status == PLB_APPROVED)
      approved = i;
    if (e[i].status == PLB_DRAFT)
      draft = i;
  }
  return approved < last ? approved : draft < last ? draft : last - 1;
}

static size_t keep_serving(plb_entry *e, size_t count) {
  size_t n = 0;
  for (size_t first = 0, last; first < count; first = last) {
    for (last = first + 1; last < count && strcmp(e[last].name, e[first].name) == 0; last++) {
    }
    e[n++] = e[serving(e, first, last)];
  }
  return n;
}

static plb_status parse_conditions(const plb_collection_filter *f, range *out, plb_error *err) {
  for (size_t i = 0; i < f->condition_count; i++)
    if (!parse_range(f->conditions[i], &out[i]))
      return plb_fail(err, PLB_EUSAGE, "%.80s is no condition; write NAME=VALUE, NAME=LOW..HIGH or NAME=WORD", f->conditions[i]);
  return PLB_OK;
}

static bool is_one_of(const char *word, const char *const *known, size_t count) {
  for (size_t i = 0; i < count; i++)
    if (strcmp(word, known[i]) == 0)
      return true;
  return false;
}

/* A word that is misspelt must not look like an empty collection. */
static plb_status check_words(const plb_collection_filter *f, plb_error *err) {
  static const char *const statuses[] = {"draft", "approved", "retired", "withdrawn"};
  static const char *const provenances[] = {"measured", "modelled", "standard"};
  if (f->status && !is_one_of(f->status, statuses, 4))
    return plb_fail(err, PLB_EUSAGE, "%.60s is no status; say draft, approved, retired or withdrawn", f->status);
  if (f->provenance && !is_one_of(f->provenance, provenances, 3))
    return plb_fail(err, PLB_EUSAGE, "%.60s is no provenance; say measured, modelled or standard", f->provenance);
  return PLB_OK;
}

/* One version of each reference, the one in use; who asks for drafts, say, wants those beside an approved version too. */
static bool lists_serving(const plb_collection_filter *f) {
  return !f->all_versions && (!f->status || strcmp(f->status, "approved") == 0);
}

plb_status plb_collection_find(const plb_collection *c, const plb_collection_filter *filter, plb_entry **out, size_t *count_out, plb_error *err) {
  *out = NULL;
  *count_out = 0;
  const plb_entry_kind kind = listed_kind(filter);
  plb_entry *list = plb_calloc(c->entries + 1, sizeof *list);
  asked a = {filter, filter->type ? plb_collection_type(c, filter->type) : NULL, plb_calloc(filter->condition_count + 1, sizeof(range))};
  plb_status status = list && a.condition ? parse_conditions(filter, a.condition, err) : plb_fail(err, PLB_ENOMEM, "out of memory");
  if (status == PLB_OK)
    status = check_words(filter, err);
  if (filter->type && !a.type)
    a.type = filter->type;
  size_t n = 0;
  for (size_t i = 0; status == PLB_OK && i < c->entries; i++) {
    plb_entry e;
    if (plb_collection_entry(c, i, &e) && e.kind == kind)
      list[n++] = e;
  }
  if (kind == PLB_ENTRY_REFERENCE && lists_serving(filter))
    n = keep_serving(list, n);
  size_t kept = 0;
  for (size_t i = 0; i < n; i++)
    if (wanted(&a, &list[i]))
      list[kept++] = list[i];
  free(a.condition);
  if (status != PLB_OK) {
    free(list);
    return status;
  }
  *out = list;
  *count_out = kept;
  return PLB_OK;
}

static bool same_word(const char *a, const char *b, size_t size) {
  for (size_t i = 0; i < size; i++)
    if (lower(a[i]) != lower(b[i]))
      return false;
  return b[size] == '\0';
}

const char *plb_collection_type(const plb_collection *c, const char *word) {
  bool equal = false;
  for (size_t i = plb_collection_search(c, PLB_PATH_TYPE, "", 0, &equal); i < plb_collection_rows(c); i++) {
    plb_row row;
    plb_collection_row(c, i, &row);
    if (row.kind != PLB_PATH_TYPE)
      break;
    if (strcmp(row.text[PLB_ROW_NAME], word) == 0)
      return row.text[PLB_ROW_NAME];
    for (const char *alias = row.text[PLB_ROW_CONDITIONS]; *alias; alias += strcspn(alias, "\n"), alias += *alias == '\n')
      if (same_word(alias, word, strcspn(alias, "\n")))
        return row.text[PLB_ROW_NAME];
  }
  return NULL;
}
