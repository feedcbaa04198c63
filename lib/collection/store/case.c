/* A proved fault: capture, cause, proof, repair, and what it departed from. */
#include "collection/read/collection.h"
#include "collection/read/small_xml.h"
#include "collection/store/store.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

/* Random, so that the id of a case tells nothing about it. */
static plb_status random_id(char *out, plb_error *err) {
  unsigned char bytes[16];
  FILE *f = fopen("/dev/urandom", "rb");
  const bool well = f && fread(bytes, sizeof bytes, 1, f) == 1;
  if (f)
    fclose(f);
  if (!well)
    return plb_fail(err, PLB_EIO, "no random numbers");
  for (int i = 0; i < 16; i++)
    snprintf(out + 2 * i, 3, "%02x", bytes[i]);
  return PLB_OK;
}

/* A file is stored; anything else must be the id of a capture that is there. */
static plb_status take_capture(plb_change *c, const plb_collection *known, const char *said, char *id_out, plb_error *err) {
  char *data = NULL;
  size_t size = 0;
  plb_entry e;
  if (access(said, F_OK) != 0) {
    plb_status status = plb_collection_select(known, said, &e, err);
    if (status == PLB_OK && e.kind != PLB_ENTRY_CAPTURE)
      status = plb_fail(err, PLB_EUSAGE, "%.100s is no capture", said);
    if (status == PLB_OK)
      snprintf(id_out, 33, "%s", e.name);
    return status;
  }
  plb_status status = plb_file_read(said, 1 << 30, &data, &size, err);
  if (status == PLB_OK)
    status = plb_add_capture(c, said, data, size, id_out, err);
  free(data);
  return status;
}

static void put_text(plb_buffer *b, const char *name, const char *text) {
  if (!text)
    return;
  plb_buffer_printf(b, "  <%s>", name);
  plb_buffer_escape(b, text);
  plb_buffer_printf(b, "</%s>\n", name);
}

static plb_status put_departed(plb_buffer *b, const plb_collection *known, const char *selector, plb_error *err) {
  plb_entry e;
  const plb_status status = plb_collection_select(known, selector, &e, err);
  if (status == PLB_OK && e.kind != PLB_ENTRY_REFERENCE)
    return plb_fail(err, PLB_EUSAGE, "%.100s is no reference", selector);
  if (status == PLB_OK)
    plb_buffer_printf(b, "  <departed reference=\"%s\" version=\"%u\" sha256=\"%s\"/>\n", e.name, e.version, e.sha256);
  return status;
}

static const char *base_name(const char *path) {
  const char *slash = strrchr(path, '/');
  return slash ? slash + 1 : path;
}

/* The end of a JSON string that begins at its quote: behind the closing one, or the text's end. */
static const char *string_end(const char *quote) {
  const char *at = quote + 1;
  while (*at && *at != '"')
    at += at[0] == '\\' && at[1] ? 2 : 1;
  return *at ? at + 1 : at;
}

static bool is_string(const char *quote, const char *end, const char *text) {
  const size_t n = strlen(text);
  return (size_t)(end - quote) == n + 2 && strncmp(quote + 1, text, n) == 0;
}

/* A known-good is named by its file or by a selector, which is kept whole. */
static bool is_file(const char *first, const char *end) { return *first == '/' || *first == '.' || (end - first > 5 && strncmp(end - 5, ".xml", 4) == 0); }

static plb_status check_name(const plb_private_facts *facts, const char *first, const char *end, plb_error *err) {
  char name[PLB_PATH_SIZE];
  snprintf(name, sizeof name, "%.*s", (int)(end - first > 0 ? end - first - 1 : 0), first);
  return plb_private_check(facts, name, "a file's name in the verdict", err);
}

/* The folders a file lies in often tell the job or the vehicle, and mean nothing elsewhere: only its name stays. */
static plb_status drop_folders(char *json, const plb_private_facts *facts, plb_error *err) {
  char *out = json;
  plb_status status = PLB_OK;
  bool path = false, reference = false;
  for (const char *at = json; *at && status == PLB_OK;) {
    if (*at != '"') {
      const bool still = *at == ':' || *at == ' ' || *at == '\n';
      path = path && still;
      reference = reference && still;
      *out++ = *at++;
      continue;
    }
    const char *end = string_end(at), *first = at + 1;
    if (path || (reference && is_file(first, end)))
      for (const char *c = first; c < end; c++)
        first = *c == '/' ? c + 1 : first;
    if (path || reference)
      status = check_name(facts, first, end, err);
    path = is_string(at, end, "path") || is_string(at, end, "capture");
    reference = is_string(at, end, "reference");
    *out++ = '"';
    memmove(out, first, (size_t)(end - first));
    out += end - first;
    at = end;
  }
  *out = '\0';
  return status;
}

static plb_status put_verdict(plb_buffer *b, const char *path, const plb_private_facts *facts, plb_error *err) {
  char *data = NULL;
  size_t size = 0;
  plb_status status = plb_file_read(path, PLB_SMALL_MOST / 2, &data, &size, err);
  if (status == PLB_OK && !strstr(data, "\"plumbline.verdict/1\""))
    status = plb_fail_path(err, plb_fail(err, PLB_EDATA, "no verdict; give what \"plumb compare --json\" printed"), path);
  if (status == PLB_OK)
    status = drop_folders(data, facts, err);
  if (status == PLB_OK)
    put_text(b, "verdict", data);
  free(data);
  return status;
}

static plb_status check_private(const plb_store *s, const plb_case *in, const plb_private_facts *facts, plb_error *err) {
  const struct {
    const char *text, *what;
  } told[] = {{base_name(in->before), "the name of --before"}, {in->after ? base_name(in->after) : NULL, "the name of --after"}, {in->cause, "--cause"},
              {in->proof, "--proof"},                          {in->repair, "--repair"},                                       {s->options.why, "--why"}};
  plb_status status = PLB_OK;
  for (size_t i = 0; i < sizeof told / sizeof told[0] && status == PLB_OK; i++)
    status = plb_private_check(facts, told[i].text, told[i].what, err);
  return status;
}

static plb_status check_input(const plb_case *in, plb_error *err) {
  if (!in->type || !in->cause || !in->proof || !in->before)
    return plb_fail(err, PLB_EUSAGE, "a case needs --type, --cause, --proof and --before: what was measured, what was wrong, how that was proved, and the capture");
  return PLB_OK;
}

static plb_status write_case(plb_change *c, const plb_collection *known, const plb_case *in, const plb_private_facts *facts, const char *id, plb_buffer *b,
                             plb_error *err) {
  char before[33] = "", after[33] = "";
  const char *type = plb_collection_type(known, in->type);
  if (!type && !plb_text_is_slug(in->type))
    return plb_fail(err, PLB_EUSAGE, "%.60s is no sensor type; \"plumb collection list --types\" shows them", in->type);
  plb_buffer_printf(b, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<case xmlns=\"" PLB_NS_CASE "\" id=\"%s\" type=\"%s\">\n", id, type ? type : in->type);
  put_text(b, "cause", in->cause);
  put_text(b, "proof", in->proof);
  put_text(b, "repair", in->repair);
  plb_status status = take_capture(c, known, in->before, before, err);
  if (status == PLB_OK && in->after)
    status = take_capture(c, known, in->after, after, err);
  plb_buffer_printf(b, "  <before capture=\"%s\"/>\n", before);
  if (after[0])
    plb_buffer_printf(b, "  <after capture=\"%s\"/>\n", after);
  if (status == PLB_OK && in->departed)
    status = put_departed(b, known, in->departed, err);
  if (status == PLB_OK && in->verdict)
    status = put_verdict(b, in->verdict, facts, err);
  plb_buffer_puts(b, "</case>\n");
  return status == PLB_OK ? b->status : status;
}

plb_status plb_store_add_case(plb_store *s, const plb_case *in, const plb_private_facts *facts, plb_error *err) {
  plb_change c = {0};
  plb_collection *known = NULL;
  char id[33], path[PLB_PATH_SIZE], message[PLB_PATH_SIZE];
  plb_buffer b;
  plb_buffer_init(&b, PLB_SMALL_MOST);
  plb_status status = check_input(in, err);
  if (status == PLB_OK)
    status = check_private(s, in, facts, err);
  if (status == PLB_OK)
    status = random_id(id, err);
  if (status == PLB_OK)
    status = plb_store_refresh_index(s->folder, err);
  if (status == PLB_OK)
    status = plb_collection_open(&known, s->folder, err);
  if (status == PLB_OK)
    status = plb_change_begin(&c, s, err);
  if (status == PLB_OK)
    status = write_case(&c, known, in, facts, id, &b, err);
  snprintf(path, sizeof path, "cases/%s.xml", status == PLB_OK ? id : "");
  if (status == PLB_OK)
    status = plb_change_put(&c, path, b.data, b.size, err);
  if (status == PLB_OK && (facts->vehicle || facts->job || facts->person))
    status = plb_private_put(s, id, facts, err);
  if (status == PLB_OK) {
    snprintf(message, sizeof message, "Add case %s: %.200s", id, in->cause);
    status = plb_change_commit(&c, message, err);
  }
  if (status == PLB_OK)
    plb_store_say(s, "stored case %s: %s", id, in->cause);
  plb_change_end(&c);
  plb_collection_free(known);
  plb_buffer_dispose(&b);
  return status;
}
