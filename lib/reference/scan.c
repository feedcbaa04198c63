#include "reference/document.h"
#include "reference/limits.h"

#include <string.h>

/* What is refused before any parser sees it. */

typedef struct scan {
  const char *data;
  size_t size, at;
} scan;

static bool starts(const scan *s, const char *text) {
  const size_t n = strlen(text);
  return s->size - s->at >= n && memcmp(s->data + s->at, text, n) == 0;
}

static int64_t line_at(const scan *s, size_t at) {
  int64_t line = 1;
  for (size_t i = 0; i < at; i++)
    line += s->data[i] == '\n';
  return line;
}

/* Go to the next `c`; to the end when there is none. */
static void go_to(scan *s, char c) {
  const char *found = memchr(s->data + s->at, c, s->size - s->at);
  s->at = found ? (size_t)(found - s->data) : s->size;
}

/* Go behind `end`; false when it does not come. */
static bool skip_past(scan *s, const char *end) {
  for (go_to(s, end[0]); s->at < s->size; s->at++, go_to(s, end[0])) {
    if (starts(s, end)) {
      s->at += strlen(end);
      return true;
    }
  }
  return false;
}

static plb_status fail_scan(const scan *s, size_t at, plb_error *err, const char *text) {
  return plb_fail_line(err, PLB_EDATA, line_at(s, at), 0, "%s", text);
}

/* One tag: its bytes and attributes are counted here because the XML library takes quadratic time for many. */
static plb_status scan_tag(scan *s, plb_error *err) {
  const size_t first = s->at;
  unsigned attributes = 0;
  char quote = 0;
  for (; s->at < s->size; s->at++) {
    const char c = s->data[s->at];
    if (s->at - first > PLB_TAG_MOST)
      return plb_fail_line(err, PLB_EDATA, line_at(s, first), 0, "the tag is longer than %d bytes; get a proper copy",
                           PLB_TAG_MOST);
    if (quote) {
      quote = c == quote ? 0 : quote;
    } else if (c == '"' || c == '\'') {
      quote = c;
    } else if (c == '=' && ++attributes > PLB_TAG_ATTRIBUTES_MOST) {
      return plb_fail_line(err, PLB_EDATA, line_at(s, first), 0,
                           "the tag has more than %d attributes; get a proper copy", PLB_TAG_ATTRIBUTES_MOST);
    } else if (c == '>') {
      s->at++;
      return PLB_OK;
    }
  }
  return fail_scan(s, first, err, "the file ends inside a tag; get a whole copy");
}

static plb_status scan_markup(scan *s, plb_error *err) {
  const size_t first = s->at;
  if (starts(s, "<!--")) {
    s->at += 4;
    return skip_past(s, "-->") ? PLB_OK : fail_scan(s, first, err, "the comment does not end; get a whole copy");
  }
  if (starts(s, "<!DOCTYPE"))
    return fail_scan(s, first, err, "a DOCTYPE is not accepted; remove it");
  if (starts(s, "<!"))
    return fail_scan(s, first, err, "\"<!\" may only begin a comment; remove it");
  if (starts(s, "<?"))
    return fail_scan(s, first, err, "processing instructions are not accepted; remove this one");
  return scan_tag(s, err);
}

plb_status plb_document_scan(const char *data, size_t size, plb_error *err) {
  if (size > PLB_DOCUMENT_MOST)
    return plb_fail(err, PLB_EDATA, "the document is larger than %d bytes; get a proper copy", PLB_DOCUMENT_MOST);
  if (size >= 2 && (unsigned char)data[0] == 0x1F && (unsigned char)data[1] == 0x8B)
    return plb_fail(err, PLB_EDATA, "the document is compressed; unpack it first");
  if (memchr(data, '\0', size))
    return plb_fail(err, PLB_EDATA, "the document is not UTF-8 text; save it as UTF-8");
  scan s = {data, size, 0};
  if (size >= 3 && memcmp(data, "\xEF\xBB\xBF", 3) == 0)
    s.at = 3;
  if (starts(&s, "<?xml ") && !skip_past(&s, "?>"))
    return fail_scan(&s, 0, err, "the XML declaration does not end; get a whole copy");
  for (go_to(&s, '<'); s.at < s.size; go_to(&s, '<')) {
    const plb_status status = scan_markup(&s, err);
    if (status != PLB_OK)
      return status;
  }
  return PLB_OK;
}
