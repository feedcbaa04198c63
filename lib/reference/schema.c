#include "reference/schema.h"
#include "core/core.h"
#include "reference/document.h"

#include <libxml/parser.h>
#include <libxml/xmlschemas.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>

typedef struct report {
  plb_status status;
  plb_error *err;
} report;

static void on_error(void *payload, xmlErrorPtr error) {
  report *r = payload;
  if (r->status != PLB_OK || !error)
    return;
  char text[240];
  size_t size = 0;
  /* Names come with the namespace in braces; people do not need it. */
  for (const char *c = error->message ? error->message : "not valid"; *c && *c != '\n' && size + 1 < sizeof text; c++) {
    if (strncmp(c, "{urn:", 5) == 0) {
      const char *end = strchr(c, '}');
      c = end ? end : c;
      continue;
    }
    text[size++] = (unsigned char)*c < 0x20 || (unsigned char)*c > 0x7E ? '?' : *c;
  }
  while (size > 0 && text[size - 1] == '.')
    size--;
  text[size] = '\0';
  r->status = plb_fail_line(r->err, PLB_EDATA, error->line, 0, "not valid: %s; see the schema", text);
}

/* Compiling costs milliseconds, so each schema is kept, under a lock. A compiled schema is only read by those who validate,
   each with a context of its own, so validating needs none. */
typedef struct compiled {
  char path[PLB_PATH_SIZE];
  xmlSchemaPtr schema;
  struct compiled *next;
} compiled;

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static compiled *known;

static plb_status compile(const char *path, xmlSchemaPtr *out, plb_error *err) {
  enum { SCHEMA_MOST = 1 << 20 };
  char *text = NULL;
  size_t size = 0;
  plb_error inner = PLB_ERROR_INIT;
  report r = {PLB_OK, &inner};
  plb_status status = plb_file_read(path, SCHEMA_MOST, &text, &size, err);
  if (status != PLB_OK)
    return status;
  xmlSchemaParserCtxtPtr parser = xmlSchemaNewMemParserCtxt(text, (int)size);
  if (parser) {
    xmlSchemaSetParserStructuredErrors(parser, on_error, &r);
    *out = xmlSchemaParse(parser);
    xmlSchemaFreeParserCtxt(parser);
  }
  if (!parser || !*out)
    status = plb_fail_path(err, plb_fail(err, PLB_EINTERNAL, "the schema cannot be compiled: %s", inner.message), path);
  free(text);
  return status;
}

static plb_status find_compiled(const char *path, xmlSchemaPtr *out, plb_error *err) {
  for (compiled *c = known; c; c = c->next) {
    if (strcmp(c->path, path) == 0) {
      *out = c->schema;
      return PLB_OK;
    }
  }
  compiled *c = plb_calloc(1, sizeof *c);
  if (!c)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  const plb_status status = compile(path, &c->schema, err);
  if (status != PLB_OK) {
    free(c);
    return status;
  }
  plb_text_copy(c->path, sizeof c->path, path);
  c->next = known;
  known = c;
  *out = c->schema;
  return PLB_OK;
}

static plb_status validate_tree(xmlSchemaPtr schema, xmlDocPtr tree, plb_error *err) {
  report r = {PLB_OK, err};
  xmlSchemaValidCtxtPtr context = xmlSchemaNewValidCtxt(schema);
  if (!context)
    return plb_fail(err, PLB_ENOMEM, "memory is short; close other programs");
  xmlSchemaSetValidStructuredErrors(context, on_error, &r);
  const int result = xmlSchemaValidateDoc(context, tree);
  xmlSchemaFreeValidCtxt(context);
  if (r.status == PLB_OK && result != 0)
    r.status = plb_fail(err, PLB_EDATA, "not valid; see the schema");
  return r.status;
}

static void on_parse_error(void *parser, xmlErrorPtr error) { on_error(((xmlParserCtxtPtr)parser)->_private, error); }

static xmlDocPtr parse(const char *data, size_t size, report *r) {
  xmlParserCtxtPtr parser = xmlNewParserCtxt();
  if (!parser)
    return NULL;
  parser->_private = r;
  parser->sax->serror = on_parse_error;
  /* Blanks between elements say nothing here and would be half of the nodes. */
  xmlDocPtr tree = xmlCtxtReadMemory(parser, data, (int)size, NULL, "UTF-8", XML_PARSE_NONET | XML_PARSE_BIG_LINES | XML_PARSE_COMPACT | XML_PARSE_NOBLANKS);
  if (tree && (!parser->wellFormed || parser->errNo != 0)) {
    xmlFreeDoc(tree);
    tree = NULL;
  }
  xmlFreeParserCtxt(parser);
  return tree;
}

plb_status plb_schema_validate(const char *schema, const void *data, size_t size, const char *name, plb_error *err) {
  plb_error local = PLB_ERROR_INIT;
  plb_error *e = err ? err : &local;
  char path[PLB_PATH_SIZE];
  xmlSchemaPtr rules = NULL;
  xmlDocPtr tree = NULL;
  report r = {PLB_OK, e};
  plb_status status = plb_document_scan(data, size, e);
  if (status != PLB_OK)
    return plb_fail_path(e, status, name);
  status = plb_file_find_data(schema, path, e);
  if (status != PLB_OK)
    return status;
  pthread_mutex_lock(&lock);
  status = find_compiled(path, &rules, e);
  pthread_mutex_unlock(&lock);
  if (status != PLB_OK)
    return status;
  tree = parse(data, size, &r);
  if (tree)
    status = validate_tree(rules, tree, e);
  else
    status = r.status != PLB_OK ? r.status : plb_fail(e, PLB_EDATA, "not well-formed XML; get an undamaged copy");
  if (status != PLB_OK)
    plb_fail_path(e, status, name);
  xmlFreeDoc(tree);
  return status;
}
