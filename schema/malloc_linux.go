package schema

/*
#include <features.h>
#ifdef __GLIBC__
#include <malloc.h>
#endif

static void keepLittle(void) {
#ifdef __GLIBC__
	mallopt(M_ARENA_MAX, 1);
	mallopt(M_MMAP_THRESHOLD, 128 << 10);
#endif
}
*/
import "C"

// SQLite takes the size of a large blob several times over, from the C library, on whatever
// thread Go runs it. That library would keep it for each thread, and raise the size from
// which it gives memory back at once to the largest that it saw: 11 MB of a take of
// fragments that hold 1 MB each.
func init() { C.keepLittle() }
