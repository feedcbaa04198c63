#include "reference/document.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

bool plb_node_is(const plb_node *node, const char *name) { return strcmp(node->rule->name, name) == 0; }

const plb_node *plb_node_from(const plb_node *node, const char *name) {
  while (node && !plb_node_is(node, name))
    node = node->next;
  return node;
}

const plb_node *plb_node_child(const plb_node *node, const char *name) {
  return node ? plb_node_from(node->child, name) : NULL;
}

size_t plb_node_count(const plb_node *parent, const char *name) {
  size_t n = 0;
  for (const plb_node *c = plb_node_child(parent, name); c; c = plb_node_from(c->next, name))
    n++;
  return n;
}

const char *plb_node_value(const plb_node *node, const char *attribute) {
  for (size_t i = 0; node->rule->attribute && node->rule->attribute[i].name; i++)
    if (strcmp(node->rule->attribute[i].name, attribute) == 0)
      return node->value[i];
  return NULL;
}

double plb_node_number(const plb_node *node, const char *attribute) {
  const char *text = plb_node_value(node, attribute);
  double value;
  return text && plb_text_number(text, strlen(text), &value) ? value : (double)NAN;
}

int64_t plb_node_integer(const plb_node *node, const char *attribute, int64_t otherwise) {
  const char *text = plb_node_value(node, attribute);
  return text ? strtoll(text, NULL, 10) : otherwise;
}

bool plb_node_flag(const plb_node *node, const char *attribute) {
  const char *text = plb_node_value(node, attribute);
  return text && strcmp(text, "true") == 0;
}

int plb_node_word(const plb_node *node, const char *attribute) {
  const char *text = plb_node_value(node, attribute);
  for (size_t i = 0; text && node->rule->attribute[i].name; i++)
    if (strcmp(node->rule->attribute[i].name, attribute) == 0)
      for (int k = 0; node->rule->attribute[i].word[k]; k++)
        if (strcmp(node->rule->attribute[i].word[k], text) == 0)
          return k;
  return -1;
}

void plb_node_copy(const plb_node *node, const char *attribute, char *out, size_t size) {
  const char *text = plb_node_value(node, attribute);
  plb_text_copy(out, size, text ? text : "");
}

bool plb_node_string(const plb_node *node, const char *child, char **out) {
  const plb_node *found = plb_node_child(node, child);
  *out = found ? plb_strdup(found->text) : NULL;
  return !found || *out;
}
