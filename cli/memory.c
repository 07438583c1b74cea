/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/memory.h"

#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "cli/run.h"
#include "cli/tongue.h"

static void (*before_end)(void);

void wt_memory_before_end(void (*leave)(void))
{
	before_end = leave;
}

void wt_memory_end(void)
{
	if (before_end)
		before_end();
	wt_run_complain("%s", _("out of memory: stopped half-way. If something was to be noted, "
				"look whether it was before you note it again."));
	exit(WT_EXIT_FAILED);
}

static void *get_any(size_t size)
{
	void *block = malloc(size ? size : 1);

	if (!block)
		wt_memory_end();
	return block;
}

void wt_memory_start(void)
{
	json_set_alloc_funcs(get_any, free);
}

void *wt_memory_get(size_t n, size_t size)
{
	void *block = calloc(n ? n : 1, size ? size : 1);

	if (!block)
		wt_memory_end();
	return block;
}

void *wt_memory_grow(void *old, size_t size)
{
	void *block = realloc(old, size ? size : 1);

	if (!block)
		wt_memory_end();
	return block;
}

char *wt_memory_copy(const char *text)
{
	char *copy = strdup(text);

	if (!copy)
		wt_memory_end();
	return copy;
}
