#ifndef PLB_REFERENCE_GRAMMAR_H
#define PLB_REFERENCE_GRAMMAR_H
/**
 * @file  What a document may hold, as tables: each element's attributes, children and text. The tables say the same
 * as schema/ *.xsd, or less: whatever a schema refuses, the reader refuses too. A new element is a row here, a type
 * in the schema, and its reading and writing.
 */
#include <plumbline/types.h>

typedef enum plb_value_kind {
  PLB_VALUE_NAME,    /**< 1..63 bytes */
  PLB_VALUE_TEXT,    /**< 1..255 bytes */
  PLB_VALUE_UNIT,    /**< 1..31 bytes */
  PLB_VALUE_SLUG,    /**< a type */
  PLB_VALUE_PATH,    /**< type/name */
  PLB_VALUE_ID,      /**< 32 hexadecimal digits */
  PLB_VALUE_HASH,    /**< 64 hexadecimal digits */
  PLB_VALUE_CRC,     /**< 8 hexadecimal digits */
  PLB_VALUE_DATE,    /**< 2024-05-31, or 2024-05-31T23:59:59Z */
  PLB_VALUE_NUMBER,  /**< finite */
  PLB_VALUE_INTEGER, /**< low..high */
  PLB_VALUE_LONGS,   /**< signed integers of 64 bits, a blank between them */
  PLB_VALUE_FLAG,    /**< true or false */
  PLB_VALUE_WORD     /**< one of the words */
} plb_value_kind;

typedef struct plb_attribute_rule {
  const char *name;
  plb_value_kind kind;
  bool required;
  int64_t low, high;       /**< integers */
  const char *const *word; /**< words, up to NULL */
} plb_attribute_rule;

typedef enum plb_content {
  PLB_CONTENT_CHILDREN, /**< elements, or nothing */
  PLB_CONTENT_TEXT,     /**< 1..PLB_STRING_MOST - 1 bytes */
  PLB_CONTENT_NUMBERS,  /**< numbers or `none`, blanks between them */
  PLB_CONTENT_BASE64
} plb_content;

enum { PLB_CHOICE_MOST = 6 };

typedef struct plb_element_rule plb_element_rule;

/** One place in a sequence of children: any of the elements, `least` to `most` times in all. */
typedef struct plb_place {
  const plb_element_rule *element[PLB_CHOICE_MOST + 1]; /**< up to NULL */
  size_t least, most;
} plb_place;

struct plb_element_rule {
  const char *name;
  const plb_attribute_rule *attribute; /**< up to one without name; NULL: none */
  const plb_place *place;              /**< up to one without element; NULL: none */
  plb_content content;
};

extern const plb_element_rule plb_rule_reference; /**< root of a reference */
extern const plb_element_rule plb_rule_capture;   /**< root of a capture */

/** Sample blocks, shared by all documents. */
extern const plb_element_rule plb_rule_integers, plb_rule_steps, plb_rule_codes, plb_rule_floats;

/** -?[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?, finite, at most 40 bytes. */
bool plb_rule_is_number(const char *text, size_t size);

/** Is `text` a value of this attribute? */
bool plb_rule_accepts(const plb_attribute_rule *rule, const char *text);

#define PLB_REFERENCE_NAMESPACE "urn:plumbline:reference:1"

#endif
