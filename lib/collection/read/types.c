#include "collection/read/types.h"
#include "collection/read/layout.h"
#include "collection/read/small_xml.h"

#include <stdio.h>
#include <string.h>

static void put_element(plb_buffer *out, const plb_small_element *e) {
  plb_buffer_printf(out, "  <%s>", e->name);
  plb_buffer_escape(out, e->text);
  plb_buffer_printf(out, "</%s>\n", e->name);
}

static plb_status put_type(const plb_small *small, size_t *i, plb_type_sink sink, void *payload, plb_error *err) {
  const plb_small_element *type = plb_small_at(small, *i);
  const char *slug = plb_small_attribute(type, "slug");
  if (strcmp(type->name, "type") != 0 || !plb_text_is_slug(slug))
    return plb_fail(err, PLB_EDATA, "types.xml: a type without a slug");
  plb_buffer out;
  plb_buffer_init(&out, PLB_SMALL_MOST);
  plb_buffer_printf(&out, "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<type xmlns=\"" PLB_NS_TYPE "\" slug=\"%s\">\n", slug);
  for ((*i)++; *i < plb_small_count(small) && plb_small_at(small, *i)->depth == 2; (*i)++)
    put_element(&out, plb_small_at(small, *i));
  plb_buffer_puts(&out, "</type>\n");
  char path[PLB_PATH_SIZE];
  snprintf(path, sizeof path, "types/%s.xml", slug);
  const plb_status status = out.status == PLB_OK ? sink(path, out.data, out.size, payload, err) : plb_fail(err, out.status, "out of memory");
  plb_buffer_dispose(&out);
  return status;
}

plb_status plb_types_split(const void *data, size_t size, plb_type_sink sink, void *payload, plb_error *err) {
  plb_small *small = NULL;
  plb_status status = plb_small_read(&small, data, size, "types", PLB_NS_TYPE, err);
  for (size_t i = 1; status == PLB_OK && i < plb_small_count(small);)
    status = put_type(small, &i, sink, payload, err);
  plb_small_free(small);
  return status;
}
