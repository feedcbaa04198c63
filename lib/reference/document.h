#ifndef PLB_REFERENCE_DOCUMENT_H
#define PLB_REFERENCE_DOCUMENT_H
/**
 * @file  Bytes to a tree of elements that fits a grammar: the strict closed reader. Nothing gets in that the tables
 * of grammar.h do not name; no DOCTYPE, no processing instruction, no CDATA, no foreign namespace, no entity beyond
 * the five of XML.
 */
#include "core/core.h"
#include "reference/grammar.h"

typedef struct plb_node plb_node;
struct plb_node {
  const plb_element_rule *rule;
  int64_t line;
  const char **value; /**< in the order of the rule's attributes; NULL: absent */
  char *text;         /**< NUL-terminated; for elements without text NULL */
  size_t text_size;
  plb_node *child, *next; /**< first child; next sibling */
};

typedef struct plb_document plb_document;

/**
 * @param root  the grammar
 * @param name  stands for the path in messages
 * @return PLB_OK, PLB_EDATA (with line), PLB_ENOMEM
 */
PLB_CHECKED plb_status plb_document_parse(plb_document **out, const plb_element_rule *root, const void *data,
                                          size_t size, const char *name, plb_error *err);
void plb_document_free(plb_document *document);
const plb_node *plb_document_root(const plb_document *document);

/** A DOCTYPE, an overlong or overfull tag, a NUL, anything but elements, comments and text: refused before any parser
   sees it. */
PLB_CHECKED plb_status plb_document_scan(const char *data, size_t size, plb_error *err);

/** The first child of this name; NULL when there is none. */
const plb_node *plb_node_child(const plb_node *node, const char *name);
/** The first element at or after `node` among its siblings with this name. */
const plb_node *plb_node_from(const plb_node *node, const char *name);
size_t plb_node_count(const plb_node *parent, const char *name);
bool plb_node_is(const plb_node *node, const char *name);
/** An attribute's text, NULL when absent. The name must be one of the rule's. */
const char *plb_node_value(const plb_node *node, const char *attribute);
/** An attribute as a number; NaN when absent. */
double plb_node_number(const plb_node *node, const char *attribute);
/** As an integer; `otherwise` when absent. */
int64_t plb_node_integer(const plb_node *node, const char *attribute, int64_t otherwise);
/** As a flag; false when absent. */
bool plb_node_flag(const plb_node *node, const char *attribute);
/** Position of an attribute's word in its list; -1 when absent. */
int plb_node_word(const plb_node *node, const char *attribute);
/** Copy an attribute into a fixed field; empty when absent. It fits: the grammar has seen to it. */
void plb_node_copy(const plb_node *node, const char *attribute, char *out, size_t size);
/** A child's text as a new string; NULL when there is no such child. @return false when memory is short */
PLB_CHECKED bool plb_node_string(const plb_node *node, const char *child, char **out);

#endif
