#include "reference/document.h"
#include "reference/limits.h"

#include <libxml/parser.h>
#include <libxml/parserInternals.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

/* ---- memory of one document: pieces that are freed together ---- */

typedef struct piece {
  struct piece *next;
  size_t used, size;
  _Alignas(16) unsigned char bytes[];
} piece;

struct plb_document {
  plb_node *root;
  piece *pieces;
};

static void *take(plb_document *d, size_t size) {
  enum { PIECE = 32 << 10 };
  size = (size + 15) & ~(size_t)15;
  piece *p = d->pieces;
  if (!p || p->size - p->used < size) {
    const size_t room = size > PIECE ? size : PIECE;
    p = malloc(sizeof *p + room);
    if (!p)
      return NULL;
    *p = (piece){.next = d->pieces, .used = 0, .size = room};
    d->pieces = p;
  }
  void *taken = p->bytes + p->used;
  p->used += size;
  return memset(taken, 0, size);
}

static char *take_text(plb_document *d, const char *text, size_t size) {
  char *copy = take(d, size + 1);
  if (copy)
    memcpy(copy, text, size);
  return copy;
}

void plb_document_free(plb_document *d) {
  if (!d)
    return;
  for (piece *p = d->pieces; p;) {
    piece *next = p->next;
    free(p);
    p = next;
  }
  free(d);
}

const plb_node *plb_document_root(const plb_document *d) { return d->root; }

/* ---- parsing ---- */

enum { DEPTH_MOST = 12 };

typedef struct level {
  plb_node *node, *last; /* last child so far */
  size_t place, used;    /* the place in the sequence, and how often it was used */
} level;

typedef struct build {
  plb_document *document;
  const plb_element_rule *root;
  level level[DEPTH_MOST];
  size_t depth;
  char *text; /* of the element that is open */
  size_t text_size, text_room;
  plb_status status;
  plb_error *err;
  xmlParserCtxtPtr parser;
} build;

static build *build_of(void *parser) { return ((xmlParserCtxtPtr)parser)->_private; }

static int64_t line_of(const build *b) { return b->parser->input ? b->parser->input->line : 0; }

/* The first failure stays; nothing more is read. */
static void stop(build *b, plb_status status) {
  b->status = status;
  xmlStopParser(b->parser);
}

static void stop_for_memory(build *b) {
  stop(b, plb_fail(b->err, PLB_ENOMEM, "memory is short; close other programs"));
}

static size_t text_most(plb_content content) {
  switch (content) {
  case PLB_CONTENT_TEXT:
    return PLB_STRING_MOST - 1;
  case PLB_CONTENT_NUMBERS:
    return (size_t)PLB_READINGS_MOST * 42;
  case PLB_CONTENT_BASE64:
    return (size_t)PLB_BLOCK_MOST * 12;
  case PLB_CONTENT_CHILDREN:
    break;
  }
  return 0;
}

static bool holds(const plb_place *place, const char *name, const plb_element_rule **out) {
  for (size_t i = 0; place->element[i]; i++) {
    if (strcmp(place->element[i]->name, name) == 0) {
      *out = place->element[i];
      return true;
    }
  }
  return false;
}

static void fail_unexpected(build *b, const plb_element_rule *parent, const char *name) {
  const plb_element_rule *found;
  for (const plb_place *p = parent->place; p && p->element[0]; p++) {
    if (holds(p, name, &found)) {
      stop(b, plb_fail_line(b->err, PLB_EDATA, line_of(b), 0,
                            "<%s> stands in the wrong place or too often in <%s>; see the schema", name, parent->name));
      return;
    }
  }
  stop(b, plb_fail_line(b->err, PLB_EDATA, line_of(b), 0,
                        "<%.64s> does not belong in <%s>; remove it or update the program", name, parent->name));
}

/* Which rule a child of the open element follows: go forward in the sequence, never back. */
static const plb_element_rule *next_rule(build *b, level *parent, const char *name) {
  const plb_place *place = parent->node->rule->place;
  const plb_element_rule *rule = NULL;
  if (!place) {
    fail_unexpected(b, parent->node->rule, name);
    return NULL;
  }
  while (place[parent->place].element[0]) {
    const plb_place *here = &place[parent->place];
    if (holds(here, name, &rule) && parent->used < here->most) {
      parent->used++;
      return rule;
    }
    if (parent->used < here->least)
      break;
    parent->place++;
    parent->used = 0;
  }
  if (place[parent->place].element[0] && parent->used < place[parent->place].least &&
      !holds(&place[parent->place], name, &rule))
    stop(b, plb_fail_line(b->err, PLB_EDATA, line_of(b), 0, "<%s> must come before <%.64s> in <%s>; see the schema",
                          place[parent->place].element[0]->name, name, parent->node->rule->name));
  else
    fail_unexpected(b, parent->node->rule, name);
  return NULL;
}

static size_t count_attributes(const plb_element_rule *rule) {
  size_t n = 0;
  while (rule->attribute && rule->attribute[n].name)
    n++;
  return n;
}

/* The XML library hands an ampersand in an attribute over as "&#38;" (it is read twice when a tree is built). */
static void unescape(char *text) {
  char *out = text;
  for (const char *in = text; *in; in++) {
    *out++ = *in;
    if (*in == '&' && strncmp(in, "&#38;", 5) == 0)
      in += 4;
  }
  *out = '\0';
}

static plb_status take_attribute(build *b, plb_node *node, const xmlChar **attribute) {
  const char *name = (const char *)attribute[0];
  const plb_attribute_rule *rules = node->rule->attribute;
  size_t i = 0;
  while (rules && rules[i].name && strcmp(rules[i].name, name) != 0)
    i++;
  if (!rules || !rules[i].name || attribute[2])
    return plb_fail_line(b->err, PLB_EDATA, line_of(b), 0,
                         "<%s> has no attribute \"%.64s\"; remove it or update the program", node->rule->name, name);
  char *value = take_text(b->document, (const char *)attribute[3], (size_t)(attribute[4] - attribute[3]));
  if (!value)
    return plb_fail(b->err, PLB_ENOMEM, "memory is short; close other programs");
  unescape(value);
  if (!plb_rule_accepts(&rules[i], value))
    return plb_fail_line(b->err, PLB_EDATA, line_of(b), 0, "\"%.80s\" is no value for \"%s\" of <%s>; see the schema",
                         value, name, node->rule->name);
  node->value[i] = value;
  return PLB_OK;
}

static plb_status take_attributes(build *b, plb_node *node, int count, const xmlChar **attributes) {
  const size_t known = count_attributes(node->rule);
  node->value = take(b->document, (known + 1) * sizeof *node->value);
  if (!node->value)
    return plb_fail(b->err, PLB_ENOMEM, "memory is short; close other programs");
  for (int i = 0; i < count; i++) {
    const plb_status status = take_attribute(b, node, attributes + 5 * i);
    if (status != PLB_OK)
      return status;
  }
  for (size_t i = 0; i < known; i++)
    if (node->rule->attribute[i].required && !node->value[i])
      return plb_fail_line(b->err, PLB_EDATA, line_of(b), 0, "<%s> lacks the attribute \"%s\"; see the schema",
                           node->rule->name, node->rule->attribute[i].name);
  return PLB_OK;
}

static void on_start(void *parser, const xmlChar *name, const xmlChar *prefix, const xmlChar *uri, int namespaces,
                     const xmlChar **declared, int attributes, int defaulted, const xmlChar **attribute) {
  (void)declared;
  build *b = build_of(parser);
  if (b->status != PLB_OK)
    return;
  const char *plain = (const char *)name;
  if (prefix || defaulted || !uri || strcmp((const char *)uri, PLB_REFERENCE_NAMESPACE) != 0 ||
      namespaces != (b->depth == 0)) {
    stop(b,
         plb_fail_line(b->err, PLB_EDATA, line_of(b), 0,
                       "<%.64s> is not an element of " PLB_REFERENCE_NAMESPACE "; is this the right kind of document?",
                       plain));
    return;
  }
  const plb_element_rule *rule = b->root;
  if (b->depth == 0 && strcmp(plain, rule->name) != 0) {
    stop(b, plb_fail_line(b->err, PLB_EDATA, line_of(b), 0, "the document is a <%.64s>, not a <%s>; give another file",
                          plain, rule->name));
    return;
  }
  level *parent = b->depth > 0 ? &b->level[b->depth - 1] : NULL;
  if (parent && !(rule = next_rule(b, parent, plain)))
    return;
  plb_node *node = take(b->document, sizeof *node);
  if (!node || b->depth == DEPTH_MOST) {
    stop_for_memory(b);
    return;
  }
  node->rule = rule;
  node->line = line_of(b);
  const plb_status status = take_attributes(b, node, attributes, attribute);
  if (status != PLB_OK) {
    stop(b, status);
    return;
  }
  if (!parent)
    b->document->root = node;
  else if (parent->last)
    parent->last->next = node;
  else
    parent->node->child = node;
  if (parent)
    parent->last = node;
  b->level[b->depth++] = (level){node, NULL, 0, 0};
  b->text_size = 0;
}

static bool is_blank(const char *text, size_t size) {
  for (size_t i = 0; i < size; i++)
    if (text[i] != ' ' && text[i] != '\n' && text[i] != '\t' && text[i] != '\r')
      return false;
  return true;
}

static void on_text(void *parser, const xmlChar *text, int length) {
  build *b = build_of(parser);
  if (b->status != PLB_OK || b->depth == 0)
    return;
  const plb_element_rule *rule = b->level[b->depth - 1].node->rule;
  const size_t size = (size_t)length;
  if (rule->content == PLB_CONTENT_CHILDREN) {
    if (!is_blank((const char *)text, size))
      stop(b, plb_fail_line(b->err, PLB_EDATA, line_of(b), 0, "<%s> holds no text of its own; remove it", rule->name));
    return;
  }
  if (size > text_most(rule->content) - b->text_size) {
    stop(b, plb_fail_line(b->err, PLB_EDATA, line_of(b), 0, "the text of <%s> is longer than %zu bytes; shorten it",
                          rule->name, text_most(rule->content)));
    return;
  }
  if (b->text_size + size + 1 > b->text_room) {
    const size_t room = (b->text_size + size + 1) * 2;
    char *moved = realloc(b->text, room);
    if (!moved) {
      stop_for_memory(b);
      return;
    }
    b->text = moved;
    b->text_room = room;
  }
  memcpy(b->text + b->text_size, text, size);
  b->text_size += size;
}

static bool are_numbers(const char *text) {
  static const char blanks[] = " \n\t\r";
  for (;;) {
    text += strspn(text, blanks);
    if (!*text)
      return true;
    const size_t size = strcspn(text, blanks);
    if (!plb_rule_is_number(text, size) && !(size == 4 && memcmp(text, "none", 4) == 0))
      return false;
    text += size;
  }
}

static plb_status finish_text(build *b, plb_node *node) {
  if (node->rule->content == PLB_CONTENT_CHILDREN)
    return PLB_OK;
  node->text = take_text(b->document, b->text ? b->text : "", b->text_size);
  if (!node->text)
    return plb_fail(b->err, PLB_ENOMEM, "memory is short; close other programs");
  node->text_size = b->text_size;
  if (node->text_size == 0)
    return plb_fail_line(b->err, PLB_EDATA, line_of(b), 0, "<%s> is empty; fill it or remove it", node->rule->name);
  if (node->rule->content == PLB_CONTENT_NUMBERS && !are_numbers(node->text))
    return plb_fail_line(b->err, PLB_EDATA, node->line, 0,
                         "<%s> holds something that is not a number or \"none\"; correct it", node->rule->name);
  return PLB_OK;
}

static void on_end(void *parser, const xmlChar *name, const xmlChar *prefix, const xmlChar *uri) {
  (void)name;
  (void)prefix;
  (void)uri;
  build *b = build_of(parser);
  if (b->status != PLB_OK || b->depth == 0)
    return;
  level *ended = &b->level[b->depth - 1];
  const plb_place *place = ended->node->rule->place;
  for (; place && place[ended->place].element[0]; ended->place++, ended->used = 0) {
    if (ended->used < place[ended->place].least) {
      stop(b, plb_fail_line(b->err, PLB_EDATA, line_of(b), 0, "<%s> lacks <%s>; see the schema",
                            ended->node->rule->name, place[ended->place].element[0]->name));
      return;
    }
  }
  const plb_status status = finish_text(b, ended->node);
  if (status != PLB_OK) {
    stop(b, status);
    return;
  }
  b->depth--;
  b->text_size = 0;
}

static void on_refused(build *b, const char *what) {
  if (b->status == PLB_OK)
    stop(b, plb_fail_line(b->err, PLB_EDATA, line_of(b), 0, "%s is not accepted; remove it", what));
}

static void on_cdata(void *parser, const xmlChar *text, int size) {
  (void)text;
  (void)size;
  on_refused(build_of(parser), "a CDATA section");
}

static void on_instruction(void *parser, const xmlChar *target, const xmlChar *data) {
  (void)target;
  (void)data;
  on_refused(build_of(parser), "a processing instruction");
}

static void on_subset(void *parser, const xmlChar *name, const xmlChar *external, const xmlChar *system) {
  (void)name;
  (void)external;
  (void)system;
  on_refused(build_of(parser), "a DOCTYPE");
}

static void on_entity(void *parser, const xmlChar *name) {
  (void)name;
  on_refused(build_of(parser), "an entity");
}

static void on_error(void *parser, xmlErrorPtr error) {
  build *b = build_of(parser);
  if (b->status != PLB_OK || !error)
    return;
  char text[160];
  size_t size = 0;
  for (const char *c = error->message ? error->message : "not XML"; *c && *c != '\n' && size + 1 < sizeof text; c++)
    text[size++] = (unsigned char)*c < 0x20 || (unsigned char)*c > 0x7E ? '?' : *c;
  text[size] = '\0';
  stop(b, error->code == XML_ERR_NO_MEMORY ? plb_fail(b->err, PLB_ENOMEM, "memory is short; close other programs")
                                           : plb_fail_line(b->err, PLB_EDATA, error->line, 0,
                                                           "not well-formed XML: %s; get an undamaged copy", text));
}

static void start_library(void) { xmlInitParser(); }

static plb_status run_parser(build *b, const char *data, size_t size) {
  static pthread_once_t once = PTHREAD_ONCE_INIT;
  pthread_once(&once, start_library);
  b->parser = xmlNewParserCtxt();
  if (!b->parser)
    return plb_fail(b->err, PLB_ENOMEM, "memory is short; close other programs");
  *b->parser->sax = (xmlSAXHandler){.initialized = XML_SAX2_MAGIC,
                                    .startElementNs = on_start,
                                    .endElementNs = on_end,
                                    .characters = on_text,
                                    .ignorableWhitespace = on_text,
                                    .cdataBlock = on_cdata,
                                    .processingInstruction = on_instruction,
                                    .internalSubset = on_subset,
                                    .reference = on_entity,
                                    .serror = on_error};
  b->parser->_private = b;
  xmlDocPtr tree = xmlCtxtReadMemory(b->parser, data, (int)size, NULL, "UTF-8", XML_PARSE_NONET | XML_PARSE_BIG_LINES);
  xmlFreeDoc(tree);
  if (b->status == PLB_OK && (!b->parser->wellFormed || b->parser->errNo != 0 || b->depth != 0 || !b->document->root))
    b->status = plb_fail(b->err, PLB_EDATA, "not well-formed XML; get an undamaged copy");
  xmlFreeParserCtxt(b->parser);
  return b->status;
}

plb_status plb_document_parse(plb_document **out, const plb_element_rule *root, const void *data, size_t size,
                              const char *name, plb_error *err) {
  plb_error local = PLB_ERROR_INIT;
  build b = {.root = root, .err = err ? err : &local};
  plb_status status = plb_document_scan(data, size, b.err);
  if (status != PLB_OK)
    goto done;
  b.document = plb_calloc(1, sizeof *b.document);
  if (!b.document) {
    status = plb_fail(b.err, PLB_ENOMEM, "memory is short; close other programs");
    goto done;
  }
  status = run_parser(&b, data, size);
  if (status != PLB_OK)
    goto done;
  *out = b.document;
  b.document = NULL;
done:
  free(b.text);
  plb_document_free(b.document);
  return status == PLB_OK ? PLB_OK : plb_fail_path(b.err, status, name);
}
