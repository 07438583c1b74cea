/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/wire/base64.h"

#include <stdlib.h>
#include <string.h>

static const char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

char *wt_base64_encode(const void *bytes, size_t length)
{
	const unsigned char *in = bytes;
	char *text = malloc((length + 2) / 3 * 4 + 1), *out = text;

	if (!text)
		return NULL;
	for (size_t i = 0; i < length; i += 3) {
		unsigned block = (unsigned)in[i] << 16;
		if (i + 1 < length)
			block |= (unsigned)in[i + 1] << 8;
		if (i + 2 < length)
			block |= in[i + 2];
		*out++ = letters[block >> 18];
		*out++ = letters[block >> 12 & 63];
		*out++ = i + 1 < length ? letters[block >> 6 & 63] : '=';
		*out++ = i + 2 < length ? letters[block & 63] : '=';
	}
	*out = '\0';
	return text;
}

/* Value of one letter, or -1. */
static int letter_value(char c)
{
	const char *at = c ? strchr(letters, c) : NULL;
	return at ? (int)(at - letters) : -1;
}

char *wt_base64_decode(const char *text, size_t *length)
{
	size_t n = strlen(text), padding = 0, used = 0;
	char *bytes;

	if (n % 4)
		return NULL;
	while (padding < 2 && padding < n && text[n - 1 - padding] == '=')
		padding++;
	bytes = malloc(n / 4 * 3 + 1);
	if (!bytes)
		return NULL;
	for (size_t i = 0; i < n; i += 4) {
		unsigned block = 0;
		size_t whole = i + 4 == n ? 4 - padding : 4;
		for (size_t j = 0; j < 4; j++) {
			int value = j < whole ? letter_value(text[i + j]) : 0;
			if (value < 0)
				goto fail;
			block = block << 6 | (unsigned)value;
		}
		/* Bits beyond the last byte must be zero, else two texts would mean the same. */
		if ((whole == 3 && block & 0xff) || (whole == 2 && block & 0xffff))
			goto fail;
		for (size_t j = 0; j + 1 < whole; j++)
			bytes[used++] = (char)(block >> (16 - 8 * j) & 0xff);
	}
	bytes[used] = '\0';
	*length = used;
	return bytes;
fail:
	free(bytes);
	return NULL;
}
