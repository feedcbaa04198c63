#ifndef PLB_VERSION_H
#define PLB_VERSION_H
/** @file  The version of the library; project() in CMakeLists.txt says the same (a test compares them). */
#include <plumbline/types.h>
PLB_BEGIN_DECLS
#define PLB_VERSION "0.1.0"
/** @return the version of the library that is running, e.g. "0.1.0". */
PLB_API const char *plb_version(void);
PLB_END_DECLS
#endif
