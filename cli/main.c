/* The command: finds the sub-command and runs it. */
#include <plumbline/plumbline.h>

int main(void) { return 64; }
