/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdio.h>
#include <string.h>

#include "cli/args.h"
#include "cli/memory.h"
#include "cli/run.h"
#include "cli/term.h"
#include "cli/tongue.h"

int main(int argc, char **argv)
{
	struct wt_command call;
	struct wt_term term;
	char why[1024];
	int code;

	wt_term_locale();
	wt_term_detect(&term, stdout);
	wt_tongue_start(!term.utf8);
	if (argc > 1 && strcmp(argv[1], "complete") == 0)
		return wt_run_complete(argc - 2, argv + 2);
	wt_memory_start();
	if (!wt_args_parse(argc - 1, argv + (argc > 0), &call, why, sizeof why)) {
		wt_run_complain("%s", why);
		return WT_EXIT_USAGE;
	}
	if (call.version) {
		puts("wither " WT_VERSION);
		code = wt_run_finish(WT_EXIT_FINE);
	} else if (call.help) {
		code = wt_run_help(&call);
	} else {
		code = wt_run_command(&call);
	}
	wt_args_clear(&call);
	return code;
}
