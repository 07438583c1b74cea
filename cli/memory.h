/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What is printed must be whole, and an act must go out as it was typed.  Where there is no memory
 * for that, the program says so and ends.
 */
#ifndef WT_CLI_MEMORY_H
#define WT_CLI_MEMORY_H

#include <stddef.h>

/* From now on the JSON library asks here, too. */
void wt_memory_start(void);

/* What must be done before the end is said, such as giving back the terminal; NULL: nothing. */
void wt_memory_before_end(void (*leave)(void));

/* Never NULL.  n times size bytes, all zero; old grown to size bytes; a copy of text. */
void *wt_memory_get(size_t n, size_t size);
void *wt_memory_grow(void *old, size_t size);
char *wt_memory_copy(const char *text);

/* Says that there is no memory; ends with WT_EXIT_FAILED. */
void wt_memory_end(void) __attribute__((noreturn));

#endif /* WT_CLI_MEMORY_H */
