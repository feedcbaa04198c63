#ifndef PLB_MODEL_MATRIX_H
#define PLB_MODEL_MATRIX_H
/** @file  Family by kind of fault: every cell is filled, or says why it is empty. */
#include "model/model.h"

/** "shorted turns", "poor ground", ... */
const char *plb_matrix_kind_name(plb_fault_kind kind);
/** "component", "wiring", "supply or ground", "measuring" */
const char *plb_matrix_place_name(plb_fault_place place);
/** First fault of this kind that the family has from `from` on (0: the first); NULL: none. */
const plb_model_fault *plb_matrix_fault(const plb_model_family *family, plb_fault_kind kind, size_t from);
/** Why the family has no fault of this kind; NULL when nothing excuses it. */
const char *plb_matrix_reason(const plb_model_family *family, plb_fault_kind kind);
#endif
