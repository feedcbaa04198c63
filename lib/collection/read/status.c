/* status.xml: who approved, retired or withdrew which version, when and why. */
#include "collection/read/status.h"
#include "collection/read/layout.h"
#include "collection/read/small_xml.h"

#include <stdio.h>
#include <string.h>

static const char *const kinds[] = {"approve", "retire", "withdraw"};
enum { KINDS = 3, ACTS_MOST = 20000 };

const char *plb_entry_status_name(plb_entry_status status) {
  static const char *const names[] = {"draft", "approved", "retired", "withdrawn"};
  return names[status];
}

void plb_acts_dispose(plb_acts *acts) {
  free(acts->act);
  *acts = (plb_acts){0};
}

/* Order of time, then anything that is the same on every machine, so that a union comes out the same from both sides. */
static int compare_acts(const plb_act *a, const plb_act *b) {
  int c = strcmp(a->when, b->when);
  if (c == 0)
    c = (a->version > b->version) - (a->version < b->version);
  if (c == 0)
    c = strcmp(a->kind, b->kind);
  if (c == 0)
    c = strcmp(a->who, b->who);
  return c ? c : strcmp(a->why, b->why);
}

plb_status plb_acts_add(plb_acts *acts, const plb_act *act, plb_error *err) {
  size_t at = acts->count;
  for (; at > 0; at--) {
    const int c = compare_acts(&acts->act[at - 1], act);
    if (c == 0)
      return PLB_OK;
    if (c < 0)
      break;
  }
  plb_act *grown = plb_grow(acts->act, acts->count, &acts->capacity, sizeof *grown);
  if (!grown)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  acts->act = grown;
  memmove(&grown[at + 1], &grown[at], (acts->count - at) * sizeof *grown);
  grown[at] = *act;
  acts->count++;
  return PLB_OK;
}

static bool known_kind(const char *kind) {
  for (int i = 0; i < KINDS; i++)
    if (strcmp(kinds[i], kind) == 0)
      return true;
  return false;
}

/* "2026-11-25T09:08:30Z", so that times sort as text. */
static bool is_time(const char *t) {
  static const char form[] = "0000-00-00T00:00:00Z";
  if (strlen(t) != sizeof form - 1)
    return false;
  for (size_t i = 0; form[i]; i++)
    if (form[i] == '0' ? t[i] < '0' || t[i] > '9' : t[i] != form[i])
      return false;
  return true;
}

static bool is_line(const char *text) {
  for (; *text; text++)
    if ((unsigned char)*text < 0x20)
      return false;
  return true;
}

static plb_status take_act(plb_acts *acts, const plb_small_element *e, plb_error *err) {
  plb_act act = {0};
  const char *version = plb_small_attribute(e, "version"), *own = plb_small_attribute(e, "own");
  const size_t digits = strspn(version, "0123456789");
  for (size_t i = 0; i < digits && i < 5; i++)
    act.version = act.version * 10 + (unsigned)(version[i] - '0');
  const bool good = strcmp(e->name, "act") == 0 && e->depth == 1 && known_kind(plb_small_attribute(e, "kind")) && version[digits] == '\0' &&
                    digits <= 4 && is_time(plb_small_attribute(e, "when")) && is_line(plb_small_attribute(e, "who")) && is_line(e->text) &&
                    (*own == '\0' || strcmp(own, "true") == 0 || strcmp(own, "false") == 0) &&
                    plb_text_copy(act.kind, sizeof act.kind, plb_small_attribute(e, "kind")) &&
                    plb_text_copy(act.who, sizeof act.who, plb_small_attribute(e, "who")) && act.who[0] != '\0' &&
                    plb_text_copy(act.when, sizeof act.when, plb_small_attribute(e, "when")) && plb_text_copy(act.why, sizeof act.why, e->text);
  if (!good)
    return plb_fail(err, PLB_EDATA, "an act has an unknown kind, no version, no time like 2026-01-31T12:00:00Z, nobody who did it, or a text that is too long");
  act.own = strcmp(own, "true") == 0;
  return plb_acts_add(acts, &act, err);
}

plb_status plb_acts_read(plb_acts *acts, const void *data, size_t size, plb_error *err) {
  plb_small *small = NULL;
  plb_status status = plb_small_read(&small, data, size, "status", PLB_NS_STATUS, err);
  for (size_t i = 1; status == PLB_OK && i < plb_small_count(small); i++)
    status = i > ACTS_MOST ? plb_fail(err, PLB_EDATA, "more than %d acts", ACTS_MOST) : take_act(acts, plb_small_at(small, i), err);
  plb_small_free(small);
  return status;
}

void plb_acts_write(const plb_acts *acts, plb_buffer *out) {
  plb_buffer_puts(out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<status xmlns=\"" PLB_NS_STATUS "\">\n");
  for (size_t i = 0; i < acts->count; i++) {
    const plb_act *a = &acts->act[i];
    plb_buffer_printf(out, "  <act kind=\"%s\" version=\"%u\" when=\"%s\" who=\"", a->kind, a->version, a->when);
    plb_buffer_escape(out, a->who);
    plb_buffer_puts(out, a->own ? "\" own=\"true\">" : "\">");
    plb_buffer_escape(out, a->why);
    plb_buffer_puts(out, "</act>\n");
  }
  plb_buffer_puts(out, "</status>\n");
}

void plb_acts_pack(const plb_acts *acts, plb_buffer *out) {
  for (size_t i = 0; i < acts->count; i++) {
    const plb_act *a = &acts->act[i];
    plb_buffer_printf(out, "%s\t%u\t%s\t%s\t%d\t%s\n", a->kind, a->version, a->when, a->who, a->own, a->why);
  }
}

typedef struct line_fields {
  const char *at[6];
  size_t size[6];
} line_fields;

static const char *split_line(const char *line, line_fields *out) {
  for (int i = 0; i < 6; i++) {
    out->at[i] = line;
    out->size[i] = strcspn(line, i < 5 ? "\t\n" : "\n");
    line += out->size[i];
    if (*line)
      line++;
  }
  return line;
}

static bool copy_field(char *out, size_t size, const line_fields *f, int i) {
  if (f->size[i] >= size)
    return false;
  memcpy(out, f->at[i], f->size[i]);
  out[f->size[i]] = '\0';
  return true;
}

static unsigned version_of(const line_fields *f) {
  unsigned version = 0;
  for (size_t i = 0; i < f->size[1]; i++)
    version = version * 10 + (unsigned)(f->at[1][i] - '0');
  return version;
}

plb_status plb_acts_unpack(plb_acts *acts, const char *packed, plb_error *err) {
  plb_status status = PLB_OK;
  while (*packed && status == PLB_OK) {
    line_fields f;
    packed = split_line(packed, &f);
    plb_act act = {.version = version_of(&f), .own = f.size[4] == 1 && f.at[4][0] == '1'};
    if (!copy_field(act.kind, sizeof act.kind, &f, 0) || !copy_field(act.when, sizeof act.when, &f, 2) ||
        !copy_field(act.who, sizeof act.who, &f, 3) || !copy_field(act.why, sizeof act.why, &f, 5))
      return plb_fail(err, PLB_EDATA, "the index is damaged; delete it, it is made again");
    status = plb_acts_add(acts, &act, err);
  }
  return status;
}

static plb_entry_status status_after(char first_letter) {
  return first_letter == 'a' ? PLB_APPROVED : first_letter == 'r' ? PLB_RETIRED : PLB_WITHDRAWN;
}

plb_entry_status plb_acts_status(const plb_acts *acts, unsigned version, const plb_act **last_out) {
  const plb_act *last = NULL;
  for (size_t i = 0; i < acts->count; i++)
    if (acts->act[i].version == version)
      last = &acts->act[i];
  if (last_out)
    *last_out = last;
  return last ? status_after(last->kind[0]) : PLB_DRAFT;
}

plb_entry_status plb_packed_status(const char *packed, unsigned version) {
  plb_entry_status status = PLB_DRAFT;
  while (*packed) {
    line_fields f;
    packed = split_line(packed, &f);
    if (version_of(&f) == version)
      status = status_after(f.at[0][0]);
  }
  return status;
}
