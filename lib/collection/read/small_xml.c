/* A closed reader for small documents. libxml2 parses; what it hands over is flattened and everything unknown is refused. */
#include "collection/read/small_xml.h"
#include "collection/read/layout.h"

#include <libxml/parser.h>
#include <libxml/tree.h>
#include <string.h>

enum { ELEMENTS_MOST = 100000, DEPTH_MOST = 4, ATTRIBUTES_MOST = 7 };

struct plb_small {
  xmlDoc *doc;
  plb_small_element *element;
  size_t count, capacity;
  xmlChar **owned; /**< texts that libxml2 made for us */
  size_t owned_count, owned_capacity;
};

static const char *own(plb_small *s, xmlChar *text) {
  if (!text)
    return NULL;
  xmlChar **grown = plb_grow(s->owned, s->owned_count, &s->owned_capacity, sizeof *grown);
  if (!grown) {
    xmlFree(text);
    return NULL;
  }
  s->owned = grown;
  s->owned[s->owned_count++] = text;
  return (const char *)text;
}

static plb_status take_attributes(plb_small *s, plb_small_element *e, xmlNode *node, plb_error *err) {
  size_t n = 0;
  for (xmlAttr *a = node->properties; a; a = a->next) {
    if (a->ns || n == ATTRIBUTES_MOST)
      return plb_fail_line(err, PLB_EDATA, xmlGetLineNo(node), 0, "%s has attributes that do not belong here", e->name);
    e->attribute[n][0] = (const char *)a->name;
    e->attribute[n][1] = own(s, xmlNodeListGetString(s->doc, a->children, 1));
    if (!e->attribute[n][1])
      e->attribute[n][1] = "";
    n++;
  }
  return PLB_OK;
}

static plb_status take(plb_small *s, xmlNode *node, const char *ns, unsigned depth, plb_error *err) {
  if (depth > DEPTH_MOST || s->count >= ELEMENTS_MOST)
    return plb_fail_line(err, PLB_EDATA, xmlGetLineNo(node), 0, "too many elements, or nested too deep");
  if (!node->ns || strcmp((const char *)node->ns->href, ns) != 0)
    return plb_fail_line(err, PLB_EDATA, xmlGetLineNo(node), 0, "%s is not in the namespace %s", (const char *)node->name, ns);
  plb_small_element *grown = plb_grow(s->element, s->count, &s->capacity, sizeof *grown);
  if (!grown)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  s->element = grown;
  const size_t index = s->count++;
  plb_small_element e = {.name = (const char *)node->name, .depth = depth, .text = ""};
  plb_status status = take_attributes(s, &e, node, err);
  bool children = false;
  for (xmlNode *child = node->children; child && status == PLB_OK; child = child->next) {
    if (child->type == XML_ELEMENT_NODE) {
      children = true;
      status = take(s, child, ns, depth + 1, err);
    } else if (child->type != XML_TEXT_NODE && child->type != XML_CDATA_SECTION_NODE && child->type != XML_COMMENT_NODE) {
      status = plb_fail_line(err, PLB_EDATA, xmlGetLineNo(child), 0, "only elements and text belong here");
    }
  }
  if (status == PLB_OK && !children) {
    const char *text = own(s, xmlNodeGetContent(node));
    e.text = text ? text : "";
  }
  s->element[index] = e;
  return status;
}

static bool holds(const char *data, size_t size, const char *word) {
  const size_t n = strlen(word);
  for (const char *p = data; size >= n && p <= data + size - n; p++) {
    p = memchr(p, word[0], (size_t)(data + size - p) - n + 1);
    if (!p)
      return false;
    if (memcmp(p, word, n) == 0)
      return true;
  }
  return false;
}

static void silent(void *payload, xmlError *error) {
  (void)payload;
  (void)error;
}

static plb_status parse(plb_small *s, const void *data, size_t size, plb_error *err) {
  xmlParserCtxt *context = xmlNewParserCtxt();
  if (!context)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  xmlSetStructuredErrorFunc(context, silent);
  s->doc = xmlCtxtReadMemory(context, data, (int)size, NULL, NULL, XML_PARSE_NONET | XML_PARSE_NOERROR | XML_PARSE_NOWARNING);
  plb_status status = PLB_OK;
  if (!s->doc || !context->wellFormed || context->errNo != 0) {
    const int line = context->lastError.line;
    status = plb_fail_line(err, PLB_EDATA, line, 0, "not well-formed XML");
  }
  xmlSetStructuredErrorFunc(NULL, NULL);
  xmlFreeParserCtxt(context);
  return status;
}

plb_status plb_small_read(plb_small **out, const void *data, size_t size, const char *root, const char *ns, plb_error *err) {
  *out = NULL;
  if (size > PLB_SMALL_MOST)
    return plb_fail(err, PLB_EDATA, "larger than %d bytes", PLB_SMALL_MOST);
  if (size == 0 || memchr(data, 0, size) || holds(data, size, "<!DOCTYPE") || holds(data, size, "<!ENTITY"))
    return plb_fail(err, PLB_EDATA, "empty, binary, or with a document type, which no document of a collection has");
  plb_small *s = plb_calloc(1, sizeof *s);
  if (!s)
    return plb_fail(err, PLB_ENOMEM, "out of memory");
  plb_status status = parse(s, data, size, err);
  xmlNode *top = status == PLB_OK ? xmlDocGetRootElement(s->doc) : NULL;
  if (status == PLB_OK && (!top || strcmp((const char *)top->name, root) != 0))
    status = plb_fail(err, PLB_EDATA, "the document is a %s, not a %s", top ? (const char *)top->name : "nothing", root);
  if (status == PLB_OK)
    status = take(s, top, ns, 0, err);
  if (status == PLB_OK)
    *out = s;
  else
    plb_small_free(s);
  return status;
}

void plb_small_free(plb_small *s) {
  if (!s)
    return;
  for (size_t i = 0; i < s->owned_count; i++)
    xmlFree(s->owned[i]);
  free(s->owned);
  free(s->element);
  xmlFreeDoc(s->doc);
  free(s);
}

size_t plb_small_count(const plb_small *s) { return s->count; }
const plb_small_element *plb_small_at(const plb_small *s, size_t index) { return &s->element[index]; }

const char *plb_small_attribute(const plb_small_element *element, const char *name) {
  for (size_t i = 0; element->attribute[i][0]; i++)
    if (strcmp(element->attribute[i][0], name) == 0)
      return element->attribute[i][1];
  return "";
}

const char *plb_small_text(const plb_small *s, const char *name) {
  for (size_t i = 0; i < s->count; i++)
    if (strcmp(s->element[i].name, name) == 0)
      return s->element[i].text;
  return "";
}

static const char *skip_prolog(const char *p, const char *end) {
  if (end - p >= 3 && memcmp(p, "\xEF\xBB\xBF", 3) == 0)
    p += 3;
  while (p < end) {
    while (p < end && strchr(" \t\r\n", *p) && *p)
      p++;
    if (end - p < 4 || *p != '<' || (p[1] != '?' && memcmp(p, "<!--", 4) != 0))
      return p;
    const char *stop = p[1] == '?' ? "?>" : "-->";
    const size_t n = strlen(stop);
    while (end - p >= (ptrdiff_t)n && memcmp(p, stop, n) != 0)
      p++;
    p += n;
  }
  return end;
}

bool plb_small_root(const void *data, size_t size, char root[PLB_NAME_SIZE], char ns[PLB_NAME_SIZE]) {
  const char *p = data, *end = p + size;
  p = skip_prolog(p, end);
  if (p >= end || *p != '<')
    return false;
  p++;
  const char *close = memchr(p, '>', (size_t)(end - p < 65536 ? end - p : 65536));
  if (!close)
    return false;
  size_t n = 0;
  while (p + n < close && !strchr(" \t\r\n/", p[n]))
    n++;
  if (n == 0 || n >= PLB_NAME_SIZE)
    return false;
  memcpy(root, p, n);
  root[n] = '\0';
  for (p += n; p + 9 < close; p++)
    if (memcmp(p, "xmlns=", 6) == 0 && (p[6] == '"' || p[6] == '\'')) {
      const char *value = p + 7, *quote = memchr(value, p[6], (size_t)(close - value));
      if (!quote || (size_t)(quote - value) >= PLB_NAME_SIZE)
        return false;
      memcpy(ns, value, (size_t)(quote - value));
      ns[quote - value] = '\0';
      return true;
    }
  return false;
}
