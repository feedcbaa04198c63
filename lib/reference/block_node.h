#ifndef PLB_REFERENCE_BLOCK_NODE_H
#define PLB_REFERENCE_BLOCK_NODE_H
/** @file  Sample blocks as elements: from a node of a document, and into a document being written. */
#include "reference/blocks.h"
#include "reference/document.h"
#include "reference/xml.h"

/** What the tag of a block says; refuses attributes that do not go together. */
PLB_CHECKED plb_status plb_block_from_node(plb_block *out, const plb_node *node, plb_error *err);

/** Compress `code` (kind, decimals, steps or scale set by the caller) and write it as one element. */
PLB_CHECKED plb_status plb_block_write_codes(plb_xml *xml, plb_packer *packer, plb_block *block, const int32_t *code,
                                             plb_error *err);
PLB_CHECKED plb_status plb_block_write_floats(plb_xml *xml, plb_packer *packer, plb_block *block, const double *value,
                                              plb_error *err);

/** Write <name> with a curve in one block: integers with decimals where that is exact, else 32-bit floats. */
PLB_CHECKED plb_status plb_curve_write(plb_xml *xml, plb_packer *packer, const char *name, const float *curve, size_t n,
                                       plb_error *err);
/** Read the one block of <name>; every value must be finite. @param out  [size: n] */
PLB_CHECKED plb_status plb_curve_read(const plb_node *node, float *out, size_t n, plb_error *err);

#endif
