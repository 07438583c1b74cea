/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Reading the daemon's documents.  What is absent, null or of another kind is
 * NAN, NULL or an empty list: unknown, never 0.
 */
#ifndef WT_CLI_DOC_H
#define WT_CLI_DOC_H

#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

/* NAN when unknown. */
double wt_doc_number(const json_t *object, const char *key);
/* `missing` when unknown. */
long long wt_doc_integer(const json_t *object, const char *key, long long missing);
/* Borrowed; NULL when unknown. */
const char *wt_doc_text(const json_t *object, const char *key);
bool wt_doc_true(const json_t *object, const char *key);
/* Borrowed; NULL when unknown. */
const json_t *wt_doc_object(const json_t *object, const char *key);
/* Borrowed; NULL, of size 0 for json_array_size(), when unknown. */
const json_t *wt_doc_list(const json_t *object, const char *key);

struct wt_doc_triple {
	double p10, p50, p90;
};
struct wt_doc_triple wt_doc_triple(const json_t *object, const char *key);

#endif /* WT_CLI_DOC_H */
