/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * RFC 6901, sections 3 and 4.  Tokens are compared with object keys byte by
 * byte while the escapes are undone, so nothing is copied or allocated.
 */
#include "lib/wire/pointer.h"

#include <stddef.h>
#include <string.h>

bool wt_pointer_valid(const char *text)
{
	if (!text || (text[0] != '\0' && text[0] != '/'))
		return false;
	for (; *text; text++) {
		if (text[0] == '~' && text[1] != '0' && text[1] != '1')
			return false;
	}
	return true;
}

/* True when the escaped token of that length names key. */
static bool token_is(const char *token, size_t length, const char *key)
{
	for (size_t i = 0; i < length; i++, key++) {
		char c = token[i];
		if (c == '~')
			c = token[++i] == '1' ? '/' : '~';
		if (*key != c)
			return false;
	}
	return *key == '\0';
}

static const json_t *member(const json_t *object, const char *token, size_t length)
{
	const char *key;
	json_t *value;
	/* The iteration macro wants a pointer that is not const; nothing is changed. */
	union {
		const json_t *in;
		json_t *out;
	} alias = {.in = object};

	json_object_foreach(alias.out, key, value)
	{
		if (token_is(token, length, key))
			return value;
	}
	return NULL;
}

/* An index is 0 or digits without a leading zero; "-" is the element after the last, so none. */
static const json_t *element(const json_t *array, const char *token, size_t length)
{
	size_t index = 0;

	if (length == 0 || length > 9 || (token[0] == '0' && length > 1))
		return NULL;
	for (size_t i = 0; i < length; i++) {
		if (token[i] < '0' || token[i] > '9')
			return NULL;
		index = index * 10 + (size_t)(token[i] - '0');
	}
	return json_array_get(array, index);
}

const json_t *wt_pointer_get(const json_t *document, const char *pointer)
{
	const json_t *value = document;

	if (!document || !wt_pointer_valid(pointer))
		return NULL;
	while (value && *pointer) {
		const char *token = pointer + 1;
		size_t length = strcspn(token, "/");
		if (json_is_object(value))
			value = member(value, token, length);
		else if (json_is_array(value))
			value = element(value, token, length);
		else
			value = NULL;
		pointer = token + length;
	}
	return value;
}
