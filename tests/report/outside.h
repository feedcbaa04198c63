#ifndef PLB_TESTS_REPORT_OUTSIDE_H
#define PLB_TESTS_REPORT_OUTSIDE_H
/** @file  Judges from outside: a JSON Schema validator and an XML parser. */

/** Write text to a scratch file in the build folder; `path` [1024] gets its name. */
void outside_write(const char *name, const char *text, char path[1024]);
/** Validate lines of JSON against schema/SCHEMA with python3-jsonschema; skips the test, saying so, where that is absent. */
void assert_valid_json(const char *schema, const char *name, const char *text);
/** Parse with xmllint (no network, no DTD); skips the test, saying so, where that is absent. */
void assert_well_formed(const char *name, const char *text);

#endif
