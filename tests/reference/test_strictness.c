/* Whatever the schema refuses the reader refuses too: valid documents are changed in every place, one change at a
   time. */
#include "filled.h"
#include "reference/capture_document.h"
#include "reference/schema.h"

#include <libxml/parser.h>
#include <libxml/tree.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

typedef plb_status (*reader)(const void *data, size_t size, plb_error *err);

typedef struct tally {
  const char *schema;
  reader read;
  xmlDocPtr tree;
  size_t tried, both, reader_only;
} tally;

static plb_status read_reference(const void *data, size_t size, plb_error *err) {
  plb_reference *r = NULL;
  const plb_status status = plb_reference_read_memory(&r, data, size, "changed", err);
  plb_reference_free(r);
  return status;
}

static plb_status read_capture(const void *data, size_t size, plb_error *err) {
  plb_capture *c = NULL;
  const plb_status status = plb_capture_read_document(&c, data, size, "changed", err);
  plb_capture_free(c);
  return status;
}

static void judge_text(tally *t, const char *text, size_t size, const char *what) {
  plb_error by_schema = PLB_ERROR_INIT, by_reader = PLB_ERROR_INIT;
  const bool valid = plb_schema_validate(t->schema, text, size, "changed", &by_schema) == PLB_OK;
  const bool read = t->read(text, size, &by_reader) == PLB_OK;
  t->tried++;
  t->both += !valid && !read;
  t->reader_only += valid && !read;
  if (!valid && read)
    fail_msg("%s: the schema refuses (%s), the reader does not", what, by_schema.message);
  if (!read && (by_reader.message[0] == '\0' || strchr(by_reader.message, '\n')))
    fail_msg("%s: no single-line message", what);
}

static void judge(tally *t, const char *what, const char *name) {
  xmlChar *text = NULL;
  int size = 0;
  char label[200];
  snprintf(label, sizeof label, "%s %s", what, name);
  xmlDocDumpMemory(t->tree, &text, &size);
  assert_non_null(text);
  judge_text(t, (const char *)text, (size_t)size, label);
  xmlFree(text);
}

static char *long_text(size_t size) {
  char *text = plb_calloc(size + 1, 1);
  assert_non_null(text);
  return memset(text, 'x', size);
}

static void try_values(tally *t, xmlNodePtr node, const xmlChar *name) {
  static const char *const values[] = {"",
                                       " ",
                                       "x",
                                       "0",
                                       "-0",
                                       "-1",
                                       "+1",
                                       "01",
                                       " 1",
                                       "1 ",
                                       "1.5",
                                       "1.",
                                       ".5",
                                       "1E5",
                                       "1e999",
                                       "NaN",
                                       "INF",
                                       "0x10",
                                       "99999999999999999999",
                                       "4294967296",
                                       "65537",
                                       "TRUE",
                                       "up",
                                       "1  2",
                                       "1 2 3 4 5",
                                       "5 0",
                                       "2024-05-31T00:00:00",
                                       "A/b",
                                       "crank-inductive/",
                                       "crank-inductive/a/b/c/d",
                                       "gggggggg",
                                       "a&b",
                                       "\xC3\xA4",
                                       "a\tb",
                                       "none"};
  xmlChar *before = xmlGetNoNsProp(node, name);
  for (size_t i = 0; i < sizeof values / sizeof values[0]; i++) {
    xmlSetProp(node, name, (const xmlChar *)values[i]);
    judge(t, values[i], (const char *)name);
  }
  static const size_t sizes[] = {31, 32, 63, 64, 255, 256};
  for (size_t i = 0; i < sizeof sizes / sizeof sizes[0]; i++) {
    char *text = long_text(sizes[i]);
    xmlSetProp(node, name, (const xmlChar *)text);
    judge(t, "long", (const char *)name);
    free(text);
  }
  xmlSetProp(node, name, before);
  xmlFree(before);
}

static void change_attributes(tally *t, xmlNodePtr node) {
  char name[64];
  for (xmlAttrPtr a = node->properties; a; a = a->next) {
    snprintf(name, sizeof name, "%s", (const char *)a->name);
    try_values(t, node, (const xmlChar *)name);
    xmlNodeSetName((xmlNodePtr)a, (const xmlChar *)"renamed");
    judge(t, "rename attribute", name);
    xmlNodeSetName((xmlNodePtr)a, (const xmlChar *)name);
  }
  xmlAttrPtr added = xmlSetProp(node, (const xmlChar *)"surplus", (const xmlChar *)"1");
  judge(t, "surplus attribute in", (const char *)node->name);
  xmlRemoveProp(added);
}

/* Dropping an attribute is tried on a copy: putting it back would change the order. */
static void drop_attributes(tally *t, xmlNodePtr node) {
  size_t count = 0;
  for (xmlAttrPtr a = node->properties; a; a = a->next)
    count++;
  for (size_t i = 0; i < count; i++) {
    xmlNodePtr copy = xmlCopyNode(node, 1);
    xmlAttrPtr a = copy->properties;
    for (size_t k = 0; k < i; k++)
      a = a->next;
    char name[64];
    snprintf(name, sizeof name, "%s", (const char *)a->name);
    xmlRemoveProp(a);
    xmlReplaceNode(node, copy);
    judge(t, "drop attribute", name);
    xmlReplaceNode(copy, node);
    xmlFreeNode(copy);
  }
}

static void change_element(tally *t, xmlNodePtr node) {
  const char *name = (const char *)node->name;
  char kept[64];
  snprintf(kept, sizeof kept, "%s", name);
  xmlNodePtr twin = xmlAddNextSibling(node, xmlCopyNode(node, 1));
  judge(t, "duplicate", kept);
  xmlUnlinkNode(twin);
  xmlFreeNode(twin);
  xmlNodeSetName(node, (const xmlChar *)"renamed");
  judge(t, "rename", kept);
  xmlNodeSetName(node, (const xmlChar *)kept);
  xmlNodePtr child = xmlNewChild(node, node->ns, (const xmlChar *)"surplus", NULL);
  judge(t, "surplus child in", kept);
  xmlUnlinkNode(child);
  xmlFreeNode(child);
  xmlNodePtr text = xmlAddPrevSibling(node, xmlNewText((const xmlChar *)"stray"));
  judge(t, "text before", kept);
  xmlUnlinkNode(text);
  xmlFreeNode(text);
}

static xmlNodePtr next_element(xmlNodePtr node) {
  do
    node = node->next;
  while (node && node->type != XML_ELEMENT_NODE);
  return node;
}

static void move_element(tally *t, xmlNodePtr node) {
  xmlNodePtr next = next_element(node), mark = xmlNewComment((const xmlChar *)"here");
  xmlAddNextSibling(node, mark);
  xmlUnlinkNode(node);
  judge(t, "drop", (const char *)node->name);
  if (next) {
    xmlAddNextSibling(next, node);
    judge(t, "swap", (const char *)node->name);
    xmlUnlinkNode(node);
  }
  xmlReplaceNode(mark, node);
  xmlFreeNode(mark);
}

static bool holds_text(const xmlNode *node) {
  return node->children && !node->children->next && node->children->type == XML_TEXT_NODE;
}

static void change_text(tally *t, xmlNodePtr node) {
  static const char *const texts[] = {"", " ", "@@", "AAAA", "A", "none", "1 none 2", "1e999", "text", "<", "\xC3\xA4"};
  if (!holds_text(node))
    return;
  xmlChar *before = xmlNodeGetContent(node);
  for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
    xmlChar *escaped = xmlEncodeSpecialChars(t->tree, (const xmlChar *)texts[i]);
    xmlNodeSetContent(node, escaped);
    judge(t, texts[i], (const char *)node->name);
    xmlFree(escaped);
  }
  static const size_t sizes[] = {256, 65535, 65536};
  for (size_t i = 0; i < sizeof sizes / sizeof sizes[0]; i++) {
    char *text = long_text(sizes[i]);
    xmlNodeSetContent(node, (const xmlChar *)text);
    judge(t, "long text", (const char *)node->name);
    free(text);
  }
  xmlChar *escaped = xmlEncodeSpecialChars(t->tree, before);
  xmlNodeSetContent(node, escaped);
  xmlFree(escaped);
  xmlFree(before);
}

/* Elements of one name under one parent are all alike: the first is enough. */
static bool seen_often(const xmlNode *node) {
  size_t before = 0;
  for (const xmlNode *n = node->prev; n; n = n->prev)
    before += n->type == XML_ELEMENT_NODE && xmlStrEqual(n->name, node->name);
  return before > 0;
}

/* Values are tried once for each kind of element, wherever it stands. */
static bool is_new(const char **known, size_t *count, const xmlNode *node) {
  char *path = plb_calloc(1, 200);
  assert_non_null(path);
  snprintf(path, 200, "%s/%s", node->parent && node->parent->name ? (const char *)node->parent->name : "",
           (const char *)node->name);
  for (size_t i = 0; i < *count; i++) {
    if (strcmp(known[i], path) == 0) {
      free(path);
      return false;
    }
  }
  assert_true(*count < 200);
  known[(*count)++] = path;
  return true;
}

static void change_all(tally *t, xmlNodePtr node, const char **known, size_t *count) {
  const bool first = is_new(known, count, node);
  if (first)
    change_text(t, node);
  if (first) {
    change_attributes(t, node);
    drop_attributes(t, node);
  }
  if (node->parent->type == XML_ELEMENT_NODE) {
    change_element(t, node);
    move_element(t, node);
  }
  for (xmlNodePtr child = node->children; child; child = child->next)
    if (child->type == XML_ELEMENT_NODE && !seen_often(child))
      change_all(t, child, known, count);
}

/* @param part  only this child of the root; NULL: all of it */
static void change_everything(const char *schema, reader read, const char *data, size_t size, const char *part) {
  const char *known[200];
  size_t count = 0;
  tally t = {.schema = schema, .read = read, .tree = xmlReadMemory(data, (int)size, NULL, "UTF-8", XML_PARSE_NONET)};
  assert_non_null(t.tree);
  judge(&t, "unchanged", "document");
  assert_int_equal(t.both + t.reader_only, 0);
  xmlNodePtr start = xmlDocGetRootElement(t.tree);
  if (part)
    for (start = start->children; start && !xmlStrEqual(start->name, (const xmlChar *)part);)
      start = start->next;
  assert_non_null(start);
  change_all(&t, start, known, &count);
  judge(&t, "unchanged", "document");
  print_message("%s: %zu changed documents; %zu refused by both, %zu by the reader alone\n", schema, t.tried, t.both,
                t.reader_only);
  assert_true(t.both > 300);
  for (size_t i = 0; i < count; i++)
    free((void *)(uintptr_t)known[i]);
  xmlFreeDoc(t.tree);
}

static void test_strictness__reference(void **state) {
  (void)state;
  static const plb_cycle_kind kinds[] = {PLB_CYCLE_WHEEL, PLB_CYCLE_EDGE, PLB_CYCLE_REPEAT, PLB_CYCLE_AGAINST,
                                         PLB_CYCLE_STEADY};
  for (size_t i = 0; i < sizeof kinds / sizeof kinds[0]; i++) {
    plb_buffer out;
    plb_error err = PLB_ERROR_INIT;
    plb_buffer_init(&out, SIZE_MAX);
    plb_reference *r = filled_reference(kinds[i], PLB_MEASURED);
    r->exemplars = 1; /* short documents, many of them */
    r->calibration.odd[0] = '\0';
    assert_int_equal(plb_reference_write_buffer(r, &out, &err), PLB_OK);
    change_everything("schema/reference.xsd", read_reference, out.data, out.size, i == 0 ? NULL : "cycle");
    r->exemplars = FILLED_EXEMPLARS;
    plb_buffer_dispose(&out);
    plb_reference_free(r);
  }
}

static plb_capture *small_capture(void) {
  plb_capture *c = plb_capture_new();
  assert_non_null(c);
  c->samples = 40;
  c->rate_hz = 1000;
  c->pairs = true;
  c->uneven = 0.1;
  c->gap_row = 3;
  strcpy(c->path, "a.csv");
  strcpy(c->format, "delimited text");
  plb_sha256("a", 1, c->sha256);
  plb_capture_add_note(c, "time column: 1");
  for (int i = 0; i < 4; i++) {
    plb_channel *channel = plb_capture_add_channel(c);
    assert_non_null(channel);
    snprintf(channel->role, sizeof channel->role, "c%d", i + 2);
    strcpy(channel->header, "V");
    plb_samples *s = &channel->samples;
    *s = (plb_samples){.decimals = i == 2 ? -1 : 3, .scale = 0.5, .offset = 0.25, .code_low = -10, .code_high = 10};
    if (i == 3)
      s->real = plb_calloc(c->samples, sizeof *s->real);
    else
      s->code = plb_calloc(c->samples, sizeof *s->code);
    for (size_t k = 0; k < c->samples; k++) {
      if (i == 3)
        s->real[k] = sqrt((double)k);
      else
        s->code[k] = i == 0 ? (int32_t)(k * k % 10) : (int32_t)(k * 10 % 130);
    }
  }
  return c;
}

static void test_strictness__capture(void **state) {
  (void)state;
  plb_buffer out;
  plb_error err = PLB_ERROR_INIT;
  char date[] = "2024-05-31", place[] = "at the component";
  plb_condition conditions[2] = {{.name = "state", .word = "cranking", .low = NAN, .high = NAN},
                                 {.name = "speed", .unit = "/min", .low = 180, .high = 220}};
  const plb_capture_about about = {.date = date, .place = place, .condition = conditions, .conditions = 2};
  plb_capture *c = small_capture();
  plb_buffer_init(&out, SIZE_MAX);
  assert_int_equal(plb_capture_write_buffer(c, &about, &out, NULL, &err), PLB_OK);
  change_everything("schema/capture.xsd", read_capture, out.data, out.size, NULL);
  plb_buffer_dispose(&out);
  plb_capture_free(c);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_strictness__reference),
      cmocka_unit_test(test_strictness__capture),
  };
  const int failed = cmocka_run_group_tests(tests, NULL, NULL);
  xmlCleanupParser();
  return failed;
}
