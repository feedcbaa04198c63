/* What list, find, show, history and diff print for programs. */
#include "collection/read/layout.h"
#include "core/core.h"

#include <math.h>
#include <string.h>

enum { JSON_MOST = 1 << 28 };

static void put_string(plb_buffer *b, const char *text) {
  plb_buffer_puts(b, "\"");
  while (*text) {
    const size_t plain = strcspn(text, "\"\\\x01\x02\x03\x04\x05\x06\x07\x08\x09\x0a\x0b\x0c\x0d\x0e\x0f\x10\x11\x12\x13\x14\x15\x16\x17\x18\x19\x1a\x1b\x1c\x1d\x1e\x1f");
    plb_buffer_append(b, text, plain);
    text += plain;
    if (*text)
      plb_buffer_printf(b, "\\u%04x", (unsigned)(unsigned char)*text++);
  }
  plb_buffer_puts(b, "\"");
}

static void put_key(plb_buffer *b, const char *key, const char *text) {
  plb_buffer_printf(b, ",\"%s\":", key);
  put_string(b, text);
}

static void put_lines(plb_buffer *b, const char *key, const char *lines) {
  plb_buffer_printf(b, ",\"%s\":[", key);
  for (const char *line = lines; *line;) {
    char text[PLB_PATH_SIZE];
    const size_t n = strcspn(line, "\n"), kept = n < sizeof text ? n : sizeof text - 1;
    memcpy(text, line, kept);
    text[kept] = '\0';
    if (line != lines)
      plb_buffer_puts(b, ",");
    put_string(b, text);
    line += n;
    line += *line == '\n';
  }
  plb_buffer_puts(b, "]");
}

static void put_entry(plb_buffer *b, const plb_entry *e) {
  static const char *const kinds[] = {"reference", "capture", "case", "type"};
  plb_buffer_printf(b, "{\"kind\":\"%s\"", kinds[e->kind]);
  put_key(b, "name", e->name);
  if (e->version)
    plb_buffer_printf(b, ",\"version\":%u", e->version);
  else
    plb_buffer_puts(b, ",\"version\":null");
  put_key(b, "type", e->type);
  put_key(b, "title", e->title);
  put_key(b, "status", plb_entry_status_name(e->status));
  put_key(b, "provenance", e->provenance);
  plb_buffer_printf(b, ",\"exemplars\":%zu", e->exemplars);
  put_lines(b, e->kind == PLB_ENTRY_TYPE ? "aliases" : "conditions", e->conditions);
  put_lines(b, "captures", e->captures);
  put_key(b, "author", e->author);
  put_key(b, "when", e->when);
  put_key(b, "why", e->why);
  put_key(b, "id", e->id);
  put_key(b, "sha256", e->sha256);
  put_key(b, "commit", e->commit);
  put_key(b, "path", e->path);
  plb_buffer_printf(b, ",\"bytes\":%zu}", e->size);
}

static plb_status give(plb_buffer *b, char **out, plb_error *err) {
  if (b->status != PLB_OK) {
    plb_buffer_dispose(b);
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  }
  *out = b->data;
  return PLB_OK;
}

plb_status plb_listing_json(char **out, const plb_entry *list, size_t count, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, JSON_MOST);
  plb_buffer_puts(&b, "{\"format\":\"plumbline.listing/1\",\"entries\":[");
  for (size_t i = 0; i < count; i++) {
    plb_buffer_puts(&b, i ? ",\n" : "\n");
    put_entry(&b, &list[i]);
  }
  plb_buffer_puts(&b, "]}\n");
  return give(&b, out, err);
}

plb_status plb_history_json(char **out, const char *name, const plb_act *acts, size_t count, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, JSON_MOST);
  plb_buffer_puts(&b, "{\"format\":\"plumbline.listing/1\"");
  put_key(&b, "name", name);
  plb_buffer_puts(&b, ",\"acts\":[");
  for (size_t i = 0; i < count; i++) {
    plb_buffer_printf(&b, "%s{\"act\":\"%s\",\"version\":%u", i ? ",\n" : "\n", acts[i].kind, acts[i].version);
    put_key(&b, "who", acts[i].who);
    put_key(&b, "when", acts[i].when);
    put_key(&b, "why", acts[i].why);
    plb_buffer_printf(&b, ",\"own\":%s}", acts[i].own ? "true" : "false");
  }
  plb_buffer_puts(&b, "]}\n");
  return give(&b, out, err);
}

plb_status plb_difference_json(char **out, const plb_difference *list, size_t count, plb_error *err) {
  plb_buffer b;
  plb_buffer_init(&b, JSON_MOST);
  plb_buffer_puts(&b, "{\"format\":\"plumbline.difference/1\",\"differences\":[");
  for (size_t i = 0; i < count; i++) {
    plb_buffer_puts(&b, i ? ",\n{\"what\":" : "\n{\"what\":");
    put_string(&b, list[i].what);
    put_key(&b, "where", list[i].where);
    put_key(&b, "text", list[i].text);
    if (isfinite(list[i].size))
      plb_buffer_printf(&b, ",\"size\":%.9g", list[i].size);
    else
      plb_buffer_puts(&b, ",\"size\":null");
    put_key(&b, "unit", list[i].unit);
    plb_buffer_puts(&b, "}");
  }
  plb_buffer_puts(&b, "]}\n");
  return give(&b, out, err);
}
