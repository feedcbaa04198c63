#ifndef PLB_CAPTURE_TEXT_EDGES_H
#define PLB_CAPTURE_TEXT_EDGES_H
/** @file  Lists of edges: rows "time, 0/1, 0/1" that stand where something changes, each state lasting until the next row. */
#include "capture/text_table.h"

/** True when every column but the time holds 0 and 1 only, the rows lie unevenly in time, and most of them change something. */
bool plb_text_is_edge_list(const plb_text_table *r, const plb_capture *capture);

/**
 * Hold each state until the next row, at a rate at which every stamp falls on a sample; where that would be too many samples, at one that gives
 * the shortest state 16 of them, and a note says by how much edges are rounded.
 * @return PLB_OK, PLB_EDATA (even then too many), PLB_ENOMEM
 */
PLB_CHECKED plb_status plb_text_hold_edges(const plb_text_table *r, plb_capture *capture, plb_error *err);

#endif
