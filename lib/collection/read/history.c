/* What was done to one reference, and what rests on one document. */
#include "collection/read/collection.h"
#include "collection/read/status.h"

#include <stdio.h>
#include <string.h>

static plb_status add_version(plb_acts *acts, const plb_row *row, plb_error *err) {
  plb_act act = {.kind = "add", .version = row->version};
  snprintf(act.who, sizeof act.who, "%s", row->text[PLB_ROW_AUTHOR]);
  snprintf(act.when, sizeof act.when, "%s", row->text[PLB_ROW_WHEN]);
  snprintf(act.why, sizeof act.why, "%s", row->text[PLB_ROW_WHY]);
  return plb_acts_add(acts, &act, err);
}

plb_status plb_collection_history(const plb_collection *c, const char *name, plb_act **out, size_t *count_out, plb_error *err) {
  *out = NULL;
  *count_out = 0;
  plb_acts acts = {0};
  bool equal = false, any = false;
  plb_status status = PLB_OK;
  for (size_t i = plb_collection_search(c, PLB_PATH_REFERENCE, name, 0, &equal); i < plb_collection_rows(c) && status == PLB_OK; i++) {
    plb_row row;
    plb_collection_row(c, i, &row);
    if (strcmp(row.text[PLB_ROW_NAME], name) != 0 || (row.kind != PLB_PATH_REFERENCE && row.kind != PLB_PATH_STATUS))
      break;
    any = true;
    status = row.kind == PLB_PATH_REFERENCE ? add_version(&acts, &row, err) : plb_acts_unpack(&acts, row.text[PLB_ROW_ACTS], err);
  }
  if (status == PLB_OK && !any) {
    plb_entry e;
    status = plb_collection_select(c, name, &e, err); /* says what is near */
    if (status == PLB_OK)
      status = plb_fail(err, PLB_EUSAGE, "only references have a history; name one as type/name");
  }
  if (status != PLB_OK) {
    plb_acts_dispose(&acts);
    return status;
  }
  *out = acts.act;
  *count_out = acts.count;
  return PLB_OK;
}

static bool has_line(const char *lines, const char *line) {
  const size_t n = strlen(line);
  for (const char *at = lines; n && (at = strstr(at, line)) != NULL; at += n)
    if ((at == lines || at[-1] == '\n') && (at[n] == '\n' || at[n] == '\0'))
      return true;
  return false;
}

static bool rests_on(const plb_entry *e, const plb_entry *base) {
  char line[PLB_TEXT_SIZE + 32];
  if (base->kind == PLB_ENTRY_CAPTURE) {
    snprintf(line, sizeof line, "%.64s", base->captures);
    return has_line(e->captures, line) || has_line(e->captures, base->name);
  }
  if (base->kind == PLB_ENTRY_REFERENCE && e->kind == PLB_ENTRY_CASE) {
    snprintf(line, sizeof line, "departed=%s@%u", base->name, base->version);
    return has_line(e->conditions, line);
  }
  return false;
}

plb_status plb_collection_rests_on(const plb_collection *c, const plb_entry *base, size_t **out, size_t *count_out, plb_error *err) {
  size_t *list = plb_calloc(c->entries + 1, sizeof *list), n = 0;
  if (!list)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  plb_entry e;
  for (size_t i = 0; plb_collection_entry(c, i, &e); i++)
    if (e.kind != PLB_ENTRY_CAPTURE && rests_on(&e, base))
      list[n++] = i;
  *out = list;
  *count_out = n;
  return PLB_OK;
}
