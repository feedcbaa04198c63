#ifndef PLB_TESTS_CORE_CMOCKA_ALL_H
#define PLB_TESTS_CORE_CMOCKA_ALL_H
/** @file  cmocka.h with the headers it asks for, in its order. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#endif
