/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fuzz.h"
#include "lib/wire/outlook_doc.h"

void fuzz_outlook(const uint8_t *data, size_t size)
{
	static struct wt_outlook_doc doc;
	char why[256] = "";
	json_t *document = json_loadb((const char *)data, size, JSON_DECODE_ANY, NULL);

	if (!document)
		return;
	if (wt_outlook_doc_parse(document, &doc, why, sizeof why)) {
		fuzz_require(doc.n >= 1 && doc.n <= WT_OUTLOOK_STEPS_MAX, "an outlook has steps");
		for (size_t i = 0; i < doc.n; i++) {
			fuzz_require(doc.temp_c[i] >= -60 && doc.temp_c[i] <= 60,
				     "temperature in range");
			fuzz_require(doc.rh_pct[i] >= 0 && doc.rh_pct[i] <= 100,
				     "humidity in range");
			fuzz_require(i == 0 || doc.at_unix_s[i] > doc.at_unix_s[i - 1],
				     "times ascend");
		}
	} else {
		fuzz_require(why[0] != '\0', "a refused document is told why");
		fuzz_require_printable(why, 0);
	}
	json_decref(document);
}
