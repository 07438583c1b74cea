/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Texts in the user's language.  Numbers keep their point everywhere.
 */
#ifndef WT_CLI_TONGUE_H
#define WT_CLI_TONGUE_H

#include <libintl.h>

#define _(text) gettext(text)
#define N_(text) text
/* One thing or many; each language has its own forms. */
#define _n(one, many, n) ngettext(one, many, (unsigned long)(n))

/* Finds the catalogue; english says that nothing shall be translated. */
void wt_tongue_start(int english);

/* True when texts come out in another language than they were written in. */
int wt_tongue_foreign(void);

#endif /* WT_CLI_TONGUE_H */
