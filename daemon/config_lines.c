/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * inih splits "key = value"; the reader below stands between it and the text.
 * It counts lines, refuses what inih would cut or join in silence (long lines,
 * comments behind a value, continuation lines), and keeps the sections itself,
 * because inih does not tell of a section without keys.
 */
#include "daemon/config_lines.h"

#include <ini.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "lib/wire/text.h"

/* inih reads into INI_MAX_LINE bytes, which hold the line, its end and a 0. */
enum { LINE_MAX_BYTES = 198, QUOTE_SIZE = 68, FAULTS_MAX = 50, BLOCKS_MAX = 3000 };

struct reader {
	struct wt_config_lines *lines;
	const char *text;
	size_t length, at;
	int line;
	bool skip; /* keys belong to a section that was refused */
};

void wt_config_lines_fault(struct wt_config_lines *lines, int line, const char *format, ...)
{
	va_list args;

	lines->n_errors++;
	if (lines->n_errors == FAULTS_MAX + 1)
		(void)fprintf(lines->errors, "%s:%d: and more\n", lines->file, line);
	if (lines->n_errors > FAULTS_MAX)
		return;
	(void)fprintf(lines->errors, "%s:%d: ", lines->file, line);
	va_start(args, format);
	(void)vfprintf(lines->errors, format, args);
	va_end(args);
	(void)fputc('\n', lines->errors);
}

static const char *quote(const char *text, size_t length, char out[QUOTE_SIZE])
{
	wt_text_clean(text, length, out, QUOTE_SIZE);
	return out;
}

static bool blank(char c)
{
	return c == ' ' || c == '\t' || c == '\r' || c == '\f' || c == '\v';
}

static void trim(const char **text, size_t *length)
{
	while (*length && blank((*text)[0])) {
		(*text)++;
		(*length)--;
	}
	while (*length && blank((*text)[*length - 1]))
		(*length)--;
}

/* The words a section line may start with, as a list for the near miss. */
static void section_words(const char *words[WT_SECTION_COUNT + 1])
{
	for (size_t i = 0; i < WT_SECTION_COUNT; i++)
		words[i] = wt_config_sections[i].word;
	words[WT_SECTION_COUNT] = NULL;
}

static bool find_section(struct reader *reader, const char *word, size_t length,
			 enum wt_config_section *out)
{
	const char *words[WT_SECTION_COUNT + 1], *near;
	char quoted[QUOTE_SIZE];

	section_words(words);
	for (size_t i = 0; i < WT_SECTION_COUNT; i++) {
		if (strlen(words[i]) == length && !memcmp(words[i], word, length)) {
			*out = (enum wt_config_section)i;
			return true;
		}
	}
	near = wt_text_nearest(quote(word, length, quoted), words);
	wt_config_lines_fault(
		reader->lines, reader->line,
		"no section is called '%s'%s%s%s; accepted: site, daemon, broker, room, "
		"station, scale, style, tray, hearth, outlook, notice",
		quoted, near ? ", did you mean '" : "", near ? near : "", near ? "'?" : "");
	return false;
}

static struct wt_config_block *find_block(struct wt_config_lines *lines,
					  enum wt_config_section section, const char *name)
{
	for (size_t i = 0; i < lines->n_blocks; i++) {
		struct wt_config_block *block = &lines->blocks[i];
		if (block->section == section &&
		    (name ? block->name && !strcmp(block->name, name) : !block->name))
			return block;
	}
	return NULL;
}

/* Takes name over. */
static void add_block(struct reader *reader, enum wt_config_section section, char *name)
{
	struct wt_config_lines *lines = reader->lines;
	struct wt_config_block *before = find_block(lines, section, name), *grown = NULL;
	char quoted[QUOTE_SIZE];

	if (before) {
		wt_config_lines_fault(lines, reader->line,
				      "section [%s%s%s] was already begun on line %d",
				      wt_config_sections[section].word, name ? " " : "",
				      name ? quote(name, strlen(name), quoted) : "", before->line);
	} else if (lines->n_blocks == BLOCKS_MAX) {
		wt_config_lines_fault(lines, reader->line, "at most %d sections are accepted",
				      BLOCKS_MAX);
	} else {
		grown = realloc(lines->blocks, (lines->n_blocks + 1) * sizeof *grown);
		if (!grown)
			wt_config_lines_fault(lines, reader->line, "out of memory");
	}
	if (!grown) {
		free(name);
		reader->skip = true;
		return;
	}
	lines->blocks = grown;
	lines->blocks[lines->n_blocks++] =
		(struct wt_config_block){.section = section, .name = name, .line = reader->line};
}

/* The name after the section's word, quotes around it taken off; NULL when there is a fault. */
static char *section_name(struct reader *reader, const char *word, const char *name, size_t length)
{
	char quoted[QUOTE_SIZE];

	if (length >= 2 && name[0] == '"' && name[length - 1] == '"') {
		name++;
		length -= 2;
		trim(&name, &length);
	}
	if (length == 0 || length > 48 || memchr(name, '"', length) || memchr(name, ']', length) ||
	    !wt_text_is_clean(name, length)) {
		wt_config_lines_fault(reader->lines, reader->line,
				      "[%s NAME] needs a name of 1 to 48 bytes without control "
				      "characters, '\"' and ']', not '%s'",
				      word, quote(name, length, quoted));
		return NULL;
	}
	char *copy = strndup(name, length);
	if (!copy)
		wt_config_lines_fault(reader->lines, reader->line, "out of memory");
	return copy;
}

/* "[word]" or "[word name]"; text is the trimmed line. */
static void read_section(struct reader *reader, const char *text, size_t length)
{
	enum wt_config_section section;
	char quoted[QUOTE_SIZE], *name = NULL;
	const char *inner = text + 1;
	size_t inner_length, word_length = 0;

	reader->skip = true;
	if (text[length - 1] != ']') {
		wt_config_lines_fault(reader->lines, reader->line,
				      "a section line is [section] or [section NAME], not '%s'",
				      quote(text, length, quoted));
		return;
	}
	inner_length = length - 2;
	trim(&inner, &inner_length);
	while (word_length < inner_length && !blank(inner[word_length]))
		word_length++;
	if (!find_section(reader, inner, word_length, &section))
		return;
	inner += word_length;
	inner_length -= word_length;
	trim(&inner, &inner_length);
	if (wt_config_sections[section].named) {
		name = section_name(reader, wt_config_sections[section].word, inner, inner_length);
		if (!name)
			return;
	} else if (inner_length) {
		wt_config_lines_fault(
			reader->lines, reader->line, "section [%s] takes no name, not '%s'",
			wt_config_sections[section].word, quote(inner, inner_length, quoted));
		return;
	}
	reader->skip = false;
	add_block(reader, section, name);
}

/* A ';' after a blank would silently end the value. */
static bool hides_comment(const char *text, size_t length)
{
	for (size_t i = 1; i < length; i++) {
		if (text[i] == ';' && blank(text[i - 1]))
			return true;
	}
	return false;
}

/* True when inih may have the line: a "key = value" that it will not cut. */
static bool check_line(struct reader *reader, const char *text, size_t length)
{
	char quoted[QUOTE_SIZE];

	if (length > LINE_MAX_BYTES) {
		wt_config_lines_fault(reader->lines, reader->line,
				      "the line is %zu bytes long, at most %d are accepted: '%s'",
				      length, LINE_MAX_BYTES, quote(text, length, quoted));
		return false;
	}
	if (length == 0 || text[0] == '#' || text[0] == ';')
		return false;
	if (memchr(text, '\0', length)) {
		wt_config_lines_fault(reader->lines, reader->line, "the line holds a byte 0: '%s'",
				      quote(text, length, quoted));
		return false;
	}
	if (text[0] == '[') {
		read_section(reader, text, length);
		return false;
	}
	if (!memchr(text, '=', length)) {
		wt_config_lines_fault(reader->lines, reader->line,
				      "a line is 'key = value', [section] or '# comment', not '%s'",
				      quote(text, length, quoted));
		return false;
	}
	if (hides_comment(text, length)) {
		/* The key alone: what follows might be a secret in the wrong place. */
		size_t key_length = (size_t)((const char *)memchr(text, '=', length) - text);
		wt_config_lines_fault(reader->lines, reader->line,
				      "a comment needs a line of its own, not one behind '%s='",
				      quote(text, key_length, quoted));
		return false;
	}
	return true;
}

/* For inih: the next line, trimmed so that no line continues another; empty where it was dealt with
 * here. */
static char *next_line(char *out, int size, void *stream)
{
	struct reader *reader = stream;
	const char *text = reader->text + reader->at;
	const char *end;
	size_t length;

	if (reader->at >= reader->length || size < LINE_MAX_BYTES + 2)
		return NULL;
	end = memchr(text, '\n', reader->length - reader->at);
	length = end ? (size_t)(end - text) : reader->length - reader->at;
	reader->at += length + 1;
	reader->line++;
	trim(&text, &length);
	if (!check_line(reader, text, length))
		length = 0;
	memcpy(out, text, length);
	memcpy(out + length, "\n", 2);
	return out;
}

static const struct wt_config_key_def *
find_key(struct reader *reader, const struct wt_config_block *block, const char *name)
{
	const char *names[32], *near;
	char quoted[QUOTE_SIZE], accepted[400] = "";
	size_t n = 0, used = 0;

	for (size_t i = 0; i < wt_config_n_keys; i++) {
		if (wt_config_keys[i].section != block->section)
			continue;
		if (!strcmp(wt_config_keys[i].name, name))
			return &wt_config_keys[i];
		if (n < sizeof names / sizeof names[0] - 1)
			names[n++] = wt_config_keys[i].name;
	}
	names[n] = NULL;
	for (size_t i = 0; i < n && used < sizeof accepted; i++)
		used += (size_t)snprintf(accepted + used, sizeof accepted - used, "%s%s",
					 i ? ", " : "", names[i]);
	near = wt_text_nearest(quote(name, strlen(name), quoted), names);
	wt_config_lines_fault(
		reader->lines, reader->line, "[%s] has no key '%s'%s%s%s; accepted: %s",
		wt_config_sections[block->section].word, quoted, near ? ", did you mean '" : "",
		near ? near : "", near ? "'?" : "", n ? accepted : "none");
	return NULL;
}

static void add_entry(struct reader *reader, struct wt_config_block *block,
		      const struct wt_config_key_def *key, const char *value)
{
	struct wt_config_entry *grown;
	char *copy;

	for (size_t i = 0; i < block->n_entries; i++) {
		if (block->entries[i].key == key) {
			wt_config_lines_fault(reader->lines, reader->line,
					      "%s was already given on line %d", key->name,
					      block->entries[i].line);
			return;
		}
	}
	copy = strdup(value);
	grown = copy ? realloc(block->entries, (block->n_entries + 1) * sizeof *grown) : NULL;
	if (!grown) {
		free(copy);
		wt_config_lines_fault(reader->lines, reader->line, "out of memory");
		return;
	}
	block->entries = grown;
	grown[block->n_entries++] =
		(struct wt_config_entry){.key = key, .value = copy, .line = reader->line};
}

/* For inih: one key.  The section it passes is not used, see next_line(). */
static int take_key(void *context, const char *section, const char *name, const char *value)
{
	struct reader *reader = context;
	struct wt_config_lines *lines = reader->lines;
	struct wt_config_block *block =
		lines->n_blocks ? &lines->blocks[lines->n_blocks - 1] : NULL;
	const struct wt_config_key_def *key;
	char quoted[QUOTE_SIZE];

	(void)section;
	if (reader->skip)
		return 1;
	if (!block) {
		wt_config_lines_fault(lines, reader->line, "'%s' stands before the first [section]",
				      quote(name, strlen(name), quoted));
		return 1;
	}
	key = find_key(reader, block, name);
	if (key)
		add_entry(reader, block, key, value);
	return 1;
}

void wt_config_lines_read(struct wt_config_lines *out, const char *text, size_t length)
{
	struct reader reader = {.lines = out, .text = text, .length = length};

	if (length >= 3 && !memcmp(text, "\xef\xbb\xbf", 3))
		reader.at = 3;
	if (ini_parse_stream(next_line, &reader, take_key, &reader) != 0 && out->n_errors == 0)
		wt_config_lines_fault(out, reader.line, "the file cannot be read as 'key = value'");
}

void wt_config_lines_clear(struct wt_config_lines *lines)
{
	for (size_t i = 0; i < lines->n_blocks; i++) {
		for (size_t j = 0; j < lines->blocks[i].n_entries; j++)
			free(lines->blocks[i].entries[j].value);
		free(lines->blocks[i].entries);
		free(lines->blocks[i].name);
	}
	free(lines->blocks);
	lines->blocks = NULL;
	lines->n_blocks = 0;
}

static const struct wt_config_entry *find_entry(const struct wt_config_block *block,
						const char *key)
{
	for (size_t i = 0; i < block->n_entries; i++) {
		if (!strcmp(block->entries[i].key->name, key))
			return &block->entries[i];
	}
	return NULL;
}

int wt_config_block_line(const struct wt_config_block *block, const char *key)
{
	const struct wt_config_entry *entry = find_entry(block, key);
	return entry ? entry->line : block->line;
}

bool wt_config_block_has(const struct wt_config_block *block, const char *key)
{
	return find_entry(block, key) != NULL;
}
