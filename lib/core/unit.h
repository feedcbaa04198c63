#ifndef PLB_CORE_UNIT_H
#define PLB_CORE_UNIT_H
/** @file  The UCUM codes this library knows, and what they are worth. Case-sensitive. */
#include <plumbline/types.h>

/** True for a code that can be converted: V mV uV kV A mA uA kA Ohm kOhm MOhm mOhm Hz kHz MHz s ms us ns min h deg rad circ
 * Pa kPa MPa hPa bar mbar [psi] K Cel % 1 /min 1/min F uF nF H mH T mT Wb C J kg/h g/s ... `rpm`, `ohm` and `degC` are not UCUM. */
bool plb_unit_known(const char *code);

/**
 * Convert a value between two codes of the same kind.
 * @return false when either is unknown or the kinds differ
 */
bool plb_unit_convert(double value, const char *from, const char *to, double *out);

/** A unit as people and loggers write it ("Volts", "(V)", "degC", "rpm", "°C", "ohm") to its UCUM code; NULL when not recognised. */
const char *plb_unit_from_label(const char *label);

/** Split a value for people: 0.00042 s -> 420 "us". @return the factor, and the code in `*code_out` (static) */
double plb_unit_scale_for_people(double value, const char *code, const char **code_out);

#endif
