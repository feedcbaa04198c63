#include "reference/capture_document.h"
#include "reference/grammar.h"
#include "reference/model.h"
#include <string.h>

/* Our own documents stand to the right of the readers of recordings, and join their table here. */

/* A capture document is XML that names our namespace and begins with the element `capture`. */
static int probe(const char *data, size_t size) {
  const char *p = data, *end = data + size;
  if (size >= 3 && memcmp(p, "\xEF\xBB\xBF", 3) == 0)
    p += 3;
  for (;;) {
    while (p < end && (*p == ' ' || *p == '\t' || *p == '\r' || *p == '\n'))
      p++;
    if (end - p < 9 || *p != '<')
      return 0;
    if (p[1] != '?' && p[1] != '!')
      break;
    const char *close = p[1] == '!' ? strstr(p, "-->") : strstr(p, "?>");
    if (!close)
      return 0;
    p = close + (p[1] == '!' ? 3 : 2);
  }
  const bool named = strncmp(p, "<capture", 8) == 0 && strchr(" \t\r\n", p[8]);
  const char *space = strstr(p, PLB_REFERENCE_NAMESPACE), *close = strchr(p, '>');
  return named && space && close && space < close ? 2 : 0;
}

static plb_status read_document(plb_capture *out, const char *data, size_t size, const plb_read_options *options,
                                plb_error *err) {
  plb_capture *read = NULL;
  const plb_status status = plb_capture_read_document(&read, data, size, out->path, err);
  if (status != PLB_OK)
    return status;
  plb_capture was = *out;
  *out = *read;
  *read = (plb_capture){.samples = 0};
  memcpy(out->path, was.path, sizeof out->path);
  if (out->format[0] == '\0')
    memcpy(out->format, was.format, sizeof out->format);
  plb_capture_free(read);
  if (options->rate_hz > 0.0 && options->rate_hz != out->rate_hz) {
    plb_capture_add_note(out, "the file says %.10g Hz; the rate given holds", out->rate_hz);
    out->rate_hz = options->rate_hz;
  }
  return PLB_OK;
}

static const plb_format document_format = {"capture document", probe, read_document, NULL};

plb_status plb_capture_open(plb_capture **out, const char *path, const plb_read_options *options, plb_error *err) {
  return plb_capture_read_also(out, path, options, &document_format, err);
}
