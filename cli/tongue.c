/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/tongue.h"

#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define TONGUE_DOMAIN "wither"

/* The catalogues lie beside an installed program's prefix, or beside a program that runs where it
 * was built. */
static const char *catalogue_folder(char *out, size_t size)
{
	char self[PATH_MAX];
	ssize_t length = readlink("/proc/self/exe", self, sizeof self - 1);
	char *slash;

	if (length <= 0)
		return WT_LOCALEDIR;
	self[length] = '\0';
	slash = strrchr(self, '/');
	if (!slash)
		return WT_LOCALEDIR;
	*slash = '\0';
	if ((size_t)snprintf(out, size, "%s/po", self) < size && access(out, R_OK) == 0)
		return out;
	return WT_LOCALEDIR;
}

void wt_tongue_start(int english)
{
	char folder[PATH_MAX];

	if (english) {
		/* An unknown domain has no catalogue: every text stays as written. */
		textdomain("wither-plain");
		return;
	}
	bindtextdomain(TONGUE_DOMAIN, catalogue_folder(folder, sizeof folder));
	bind_textdomain_codeset(TONGUE_DOMAIN, "UTF-8");
	textdomain(TONGUE_DOMAIN);
}

int wt_tongue_foreign(void)
{
	return strcmp(_("tonight"), "tonight") != 0;
}
