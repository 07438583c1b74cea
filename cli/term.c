/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "cli/term.h"

#include <langinfo.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <unistd.h>
#include <wchar.h>

enum { TERM_MIN_WIDTH = 20, TERM_MAX_WIDTH = 400, TERM_PLAIN_WIDTH = 80 };

static const char *locale_wish(const char *category)
{
	const char *names[] = {"LC_ALL", category, "LANG"};

	for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
		const char *value = getenv(names[i]);

		if (value && *value)
			return value;
	}
	return "C";
}

static bool wishes_utf8(const char *name)
{
	const char *dot = strchr(name, '.');

	return dot &&
	       (strncasecmp(dot + 1, "utf8", 4) == 0 || strncasecmp(dot + 1, "utf-8", 5) == 0);
}

void wt_term_locale(void)
{
	const char *messages = locale_wish("LC_MESSAGES");

	if (!setlocale(LC_CTYPE, "") && wishes_utf8(locale_wish("LC_CTYPE")))
		setlocale(LC_CTYPE, "C.UTF-8");
	if (!setlocale(LC_MESSAGES, "") && wishes_utf8(messages)) {
		/* The catalogue is found by LANGUAGE as soon as the locale is any but "C". */
		char language[32];
		size_t length = strcspn(messages, ".@");

		if (length < sizeof language && setlocale(LC_MESSAGES, "C.UTF-8")) {
			memcpy(language, messages, length);
			language[length] = '\0';
			/* What is set but empty says nothing. */
			setenv("LANGUAGE", language, !getenv("LANGUAGE") || !*getenv("LANGUAGE"));
		}
	}
}

static int number_from_env(const char *name)
{
	const char *text = getenv(name);
	long value = text ? strtol(text, NULL, 10) : 0;

	return value > 0 && value <= TERM_MAX_WIDTH ? (int)value : 0;
}

/* Through a pipe a page is mostly read on the terminal that errors go to. */
static int width_behind(int fd)
{
	struct stat kind;
	struct winsize size = {0};

	if (fd < 0 || fstat(fd, &kind) != 0 || !S_ISFIFO(kind.st_mode) || !isatty(STDERR_FILENO) ||
	    ioctl(STDERR_FILENO, TIOCGWINSZ, &size) != 0)
		return 0;
	return size.ws_col;
}

void wt_term_detect(struct wt_term *out, FILE *stream)
{
	struct winsize size = {0};
	int fd = fileno(stream);
	bool tty = fd >= 0 && isatty(fd);
	const char *no_colour = getenv("NO_COLOR");
	const char *kind = getenv("TERM");

	out->utf8 = strcmp(nl_langinfo(CODESET), "UTF-8") == 0;
	out->colour = tty && !(no_colour && *no_colour) && kind && strcmp(kind, "dumb") != 0;
	out->width = 0;
	out->height = 0;
	if (tty && ioctl(fd, TIOCGWINSZ, &size) == 0) {
		out->width = size.ws_col;
		out->height = size.ws_row;
	}
	if (out->width <= 0)
		out->width = number_from_env("COLUMNS");
	if (out->height <= 0)
		out->height = number_from_env("LINES");
	if (out->width <= 0)
		out->width = width_behind(fd);
	if (out->width <= 0)
		out->width = TERM_PLAIN_WIDTH;
	if (out->width < TERM_MIN_WIDTH)
		out->width = TERM_MIN_WIDTH;
	if (out->width > TERM_MAX_WIDTH)
		out->width = TERM_MAX_WIDTH;
}

/* Length of the sequence a lead byte announces and its payload bits; 0 when it is none. */
static int sequence_length(unsigned char lead, uint32_t *bits)
{
	if (lead >= 0xC2 && lead <= 0xDF) {
		*bits = lead & 0x1Fu;
		return 2;
	}
	if (lead >= 0xE0 && lead <= 0xEF) {
		*bits = lead & 0x0Fu;
		return 3;
	}
	if (lead >= 0xF0 && lead <= 0xF4) {
		*bits = lead & 0x07u;
		return 4;
	}
	return 0;
}

uint32_t wt_term_next(const char **text)
{
	const unsigned char *p = (const unsigned char *)*text;
	uint32_t value = 0;
	int length;

	if (!*p)
		return 0;
	if (*p < 0x80) {
		*text += 1;
		return *p < 0x20 || *p == 0x7F ? ' ' : *p;
	}
	length = sequence_length(*p, &value);
	for (int i = 1; i < length; i++) {
		if ((p[i] & 0xC0) != 0x80) {
			length = 0;
			break;
		}
		value = value << 6 | (p[i] & 0x3Fu);
	}
	if (length == 0) {
		*text += 1;
		return 0xFFFD;
	}
	*text += length;
	if (value >= 0x80 && value < 0xA0)
		return ' ';
	/* Marks that turn the writing direction could make a row say something else; separators of
	 * lines and paragraphs could break it. */
	if (value == 0x061C || value == 0x200E || value == 0x200F ||
	    (value >= 0x2028 && value <= 0x202E) || (value >= 0x2066 && value <= 0x2069) ||
	    value == 0xFEFF)
		return 0xFFFD;
	return value;
}

int wt_term_char_cells(uint32_t character)
{
	int cells = character < 0x80 ? 1 : wcwidth((wchar_t)character);

	return cells < 0 ? 1 : cells;
}

int wt_term_cells(const char *text)
{
	int cells = 0;
	uint32_t c;

	while ((c = wt_term_next(&text)))
		cells += wt_term_char_cells(c);
	return cells;
}

static size_t put_utf8(char *out, uint32_t c)
{
	if (c < 0x80) {
		out[0] = (char)c;
		return 1;
	}
	if (c < 0x800) {
		out[0] = (char)(0xC0 | c >> 6);
		out[1] = (char)(0x80 | (c & 0x3F));
		return 2;
	}
	if (c < 0x10000) {
		out[0] = (char)(0xE0 | c >> 12);
		out[1] = (char)(0x80 | (c >> 6 & 0x3F));
		out[2] = (char)(0x80 | (c & 0x3F));
		return 3;
	}
	out[0] = (char)(0xF0 | c >> 18);
	out[1] = (char)(0x80 | (c >> 12 & 0x3F));
	out[2] = (char)(0x80 | (c >> 6 & 0x3F));
	out[3] = (char)(0x80 | (c & 0x3F));
	return 4;
}

/* ASCII for the few signs our own texts use; '?' for the rest. */
static const char *ascii_for(uint32_t c)
{
	static const struct {
		uint32_t c;
		const char *ascii;
	} map[] = {
		{0x2013, "-"}, {0x2014, "-"},  {0x2026, "~"},  {0xB7, "*"},   {0xB0, ""},
		{0xB2, "2"},   {0xB1, "+-"},   {0x2192, ">"},  {0x2212, "-"}, {0x2019, "'"},
		{0xD7, "x"},   {0x2265, ">="}, {0x2264, "<="}, {0x25CF, "o"},
	};

	for (size_t i = 0; i < sizeof map / sizeof *map; i++)
		if (map[i].c == c)
			return map[i].ascii;
	return "?";
}

/* One character into out (at least 8 bytes), as the terminal may show it; gives its cells. */
static int put_char(const struct wt_term *term, char *out, size_t *length, uint32_t c)
{
	if (c < 0x80 || term->utf8) {
		*length = put_utf8(out, c);
		return wt_term_char_cells(c);
	}
	*length = strlen(ascii_for(c));
	memcpy(out, ascii_for(c), *length);
	return (int)*length;
}

int wt_term_copy(const struct wt_term *term, char *out, size_t size, int cells, const char *text)
{
	size_t used = 0, cut_at = 0;
	int width = 0, cut_width = 0;
	uint32_t c;

	if (size < 8) {
		out[0] = '\0';
		return 0;
	}
	while ((c = wt_term_next(&text))) {
		char one[8];
		size_t length;
		int one_cells = put_char(term, one, &length, c);

		if (width + one_cells > cells || used + length + 4 > size) {
			/* What was put beyond the place of the ellipsis goes again. */
			used = cut_at;
			width = cut_width;
			if (cells > 0) {
				put_char(term, one, &length, 0x2026);
				memcpy(out + used, one, length);
				used += length;
				width += 1;
			}
			break;
		}
		memcpy(out + used, one, length);
		used += length;
		width += one_cells;
		if (width <= cells - 1) {
			cut_at = used;
			cut_width = width;
		}
	}
	out[used] = '\0';
	return width;
}
