/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lib/wire/says.h"

#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include "lib/wire/text.h"

/* Between the parts; no text that is said holds it. */
enum { PART = 0x1F };

/* One conversion: where it begins and ends, and what kind of value it takes. */
struct conversion {
	const char *begin, *end;
	int position; /* of "%2$s"; 0: the next one */
	int stars;
	int longs; /* 1: long, 2: long long, 3: size_t */
	char kind;
};

/* The next conversion at or behind text, "%%" passed over; false when there is none. */
static bool next_conversion(const char *text, struct conversion *out)
{
	const char *p = text;
	size_t digits;

	for (p = strchr(p, '%'); p && p[1] == '%'; p = strchr(p + 2, '%'))
		;
	if (!p || !p[1])
		return false;
	*out = (struct conversion){.begin = p++};
	digits = strspn(p, "0123456789");
	if (digits == 1 && p[1] == '$') {
		/* A place that no list has, for the nought. */
		out->position = *p == '0' ? WT_SAYS_MOST + 1 : *p - '0';
		p += 2;
	}
	for (; *p && strchr("0123456789.-+ #*", *p); p++)
		out->stars += *p == '*';
	for (; *p == 'l' || *p == 'z' || *p == 'h'; p++)
		out->longs = *p == 'z' ? 3 : *p == 'l' ? out->longs + 1 : out->longs;
	out->kind = *p;
	out->end = *p ? p + 1 : p;
	return *p != '\0';
}

struct parts {
	char *out;
	size_t used;
};

/* Cut behind a whole character where it does not fit. */
static void put_part(struct parts *parts, const char *text, size_t length)
{
	size_t room = WT_SAYS_SIZE - 1 - parts->used;

	if (room < 2)
		return;
	if (parts->used)
		parts->out[parts->used++] = PART;
	room = WT_SAYS_SIZE - 1 - parts->used;
	if (length > room) {
		length = room;
		while (length > 0 && ((unsigned char)text[length] & 0xC0) == 0x80)
			length--;
	}
	for (size_t i = 0; i < length; i++)
		parts->out[parts->used++] =
			(unsigned char)text[i] < 0x20 || text[i] == 0x7F ? '?' : text[i];
	parts->out[parts->used] = '\0';
}

/* The value of a conversion as text.  The specification is a copy out of a format the compiler has
 * checked. */
#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wformat-nonliteral"
static int value_text(const struct conversion *at, va_list *values, char *out, size_t size)
{
	char spec[32];
	int star = at->stars ? va_arg(*values, int) : 0;
	size_t length = (size_t)(at->end - at->begin);

	if (length >= sizeof spec || at->stars > 1)
		return -1;
	memcpy(spec, at->begin, length);
	spec[length] = '\0';
#define PRINT(type)                                                                                \
	(at->stars ? snprintf(out, size, spec, star, va_arg(*values, type))                        \
		   : snprintf(out, size, spec, va_arg(*values, type)))
	switch (at->kind) {
	case 's':
		return PRINT(const char *);
	case 'd':
	case 'i':
	case 'u':
	case 'x':
		return at->longs == 3   ? PRINT(size_t)
		       : at->longs == 2 ? PRINT(long long)
		       : at->longs == 1 ? PRINT(long)
					: PRINT(int);
	case 'c':
		return PRINT(int);
	case 'g':
	case 'f':
	case 'e':
		return PRINT(double);
	default:
		return -1;
	}
#undef PRINT
}
#pragma GCC diagnostic pop

void wt_says_take(char says[static WT_SAYS_SIZE], const char *format, va_list values)
{
	struct parts parts = {.out = says};
	struct conversion at;
	va_list mine;

	va_copy(mine, values);
	put_part(&parts, format, strlen(format));
	for (const char *p = format; next_conversion(p, &at); p = at.end) {
		char text[600] = "";
		int length = value_text(&at, &mine, text, sizeof text);

		if (length < 0)
			break;
		/* A value may be cut to so many bytes. */
		wt_text_mend_end(text);
		put_part(&parts, text, strlen(text));
	}
	va_end(mine);
}

void wt_says_make(char says[static WT_SAYS_SIZE], const char *format, ...)
{
	va_list values;

	va_start(values, format);
	wt_says_take(says, format, values);
	va_end(values);
}

json_t *wt_says_json(const char *says)
{
	json_t *list;
	const char *p = says;

	if (!says || !*says)
		return NULL;
	list = json_array();
	for (;;) {
		size_t length = strcspn(p, "\x1f");

		/* What is no UTF-8 cannot be sent; its place is kept. */
		if (json_array_append_new(list, json_stringn(p, length)) != 0 &&
		    json_array_append_new(list, json_string("?")) != 0) {
			json_decref(list);
			return NULL;
		}
		if (!p[length])
			return list;
		p += length + 1;
	}
}

/* Appends, never beyond size. */
static void append(char *out, size_t size, const char *text, size_t length)
{
	size_t used = strlen(out);

	if (length > size - 1 - used)
		length = size - 1 - used;
	memcpy(out + used, text, length);
	out[used + length] = '\0';
}

/* Text between conversions, with "%%" for a percent sign. */
static void append_plain(char *out, size_t size, const char *text, size_t length)
{
	for (size_t i = 0; i < length; i++) {
		append(out, size, text + i, 1);
		if (text[i] == '%' && i + 1 < length && text[i + 1] == '%')
			i++;
	}
}

/* True behind an apostrophe, or behind the quotation mark of another language. */
static bool is_quoted(const char *format, const char *at)
{
	return (at > format && at[-1] == '\'') ||
	       (at >= format + 3 && memcmp(at - 3, "\xe2\x80\x9c", 3) == 0);
}

bool wt_says_fill(const json_t *says, const char *format, wt_says_word *word, char *out,
		  size_t size)
{
	char put[WT_SAYS_SIZE];
	struct conversion at;
	size_t next = 1;
	const char *p = format;

	out[0] = '\0';
	if (!json_is_array(says) || json_array_size(says) > WT_SAYS_MOST + 1)
		return false;
	for (; next_conversion(p, &at); p = at.end) {
		size_t index = at.position ? (size_t)at.position : next++;
		const char *value = json_string_value(json_array_get(says, index));

		if (!value || index == 0) {
			out[0] = '\0';
			return false;
		}
		append_plain(out, size, p, (size_t)(at.begin - p));
		if (word) {
			word(value, is_quoted(format, at.begin), put);
			value = put;
		}
		append(out, size, value, strlen(value));
	}
	append_plain(out, size, p, strlen(p));
	return true;
}

void wt_says_text(const char *says, char *out, size_t size)
{
	json_t *list = wt_says_json(says);
	const char *format = json_string_value(json_array_get(list, 0));

	out[0] = '\0';
	if (format)
		(void)wt_says_fill(list, format, NULL, out, size);
	json_decref(list);
}
