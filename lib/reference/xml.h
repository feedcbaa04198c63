#ifndef PLB_REFERENCE_XML_H
#define PLB_REFERENCE_XML_H
/**
 * @file  Writing XML one way only: two spaces a level, LF, attributes in the order they are given, lines broken at
 * about 100 columns, so that the same content is always the same bytes and two versions can be compared line by line.
 */
#include "core/core.h"

typedef struct plb_xml {
  plb_buffer *out;
  int depth;
  bool tag_open;         /**< attributes may still follow */
  bool text_inside;      /**< the open element holds text: its end tag follows on the same line */
  size_t line_start;     /**< offset in `out` */
  size_t base64_columns; /**< characters of base64 in a line */
} plb_xml;

/** Write the XML declaration. */
void plb_xml_init(plb_xml *xml, plb_buffer *out, size_t base64_columns);
void plb_xml_open(plb_xml *xml, const char *element);
void plb_xml_close(plb_xml *xml, const char *element);
/** An attribute; nothing is written for NULL or "". */
void plb_xml_attribute(plb_xml *xml, const char *name, const char *value);
/** A number in its shortest exact form; nothing for one that is not finite. */
void plb_xml_number(plb_xml *xml, const char *name, double value);
void plb_xml_integer(plb_xml *xml, const char *name, int64_t value);
void plb_xml_flag(plb_xml *xml, const char *name, bool value);
/** <element>text</element> on one line (text may hold line ends); nothing for NULL or "". */
void plb_xml_text(plb_xml *xml, const char *element, const char *text);
/** The text of the open element; plb_xml_close() follows. */
void plb_xml_put_text(plb_xml *xml, const char *text);
/** <element>numbers</element>, "none" for NaN, lines broken. */
void plb_xml_numbers(plb_xml *xml, const char *element, const double *value, size_t n);
/** The text of the open element as lines of base64. */
void plb_xml_put_base64(plb_xml *xml, const unsigned char *data, size_t size);

/** Did all of it fit? @param advice  what to do when the document is too large @return PLB_OK, PLB_EDATA, PLB_ENOMEM */
PLB_CHECKED plb_status plb_xml_check(const plb_xml *xml, const char *advice, plb_error *err);

#endif
