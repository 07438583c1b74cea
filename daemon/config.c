/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "daemon/config.h"

#include <errno.h>
#include <fcntl.h>
#include <grp.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "daemon/config_lines.h"
#include "lib/style_table.h"
#include "lib/wire/text.h"

enum { FILE_MAX_BYTES = 256 * 1024, SECRET_MAX_BYTES = 1024 };

/* Where nothing is written, a small workshop at sea level is meant (our choice); minutes of one
 * firing by season: common practice, no source. */
static bool set_defaults(struct wt_config *config)
{
	*config = (struct wt_config){
		.site_name = strdup("workshop"),
		.timezone = strdup("UTC"),
		.latitude_deg = (double)NAN,
		.longitude_deg = (double)NAN,
		.database = strdup(WT_CONFIG_DATABASE),
		.socket = strdup(WT_CONFIG_SOCKET),
		.forecast_every_s = 300,
		.members = 1024,
		.seed = 1,
		.keep_raw_days = 400,
		.broker_port = 0,
		.broker_version = 5,
		.tray_area_m2 = (double)NAN,
		.tray_perforated = true,
		.woks = 1,
		.wok_kg = 5,
		.minutes_by_season =
			{[WT_SEASON_SPRING] = 20, [WT_SEASON_SUMMER] = 25, [WT_SEASON_AUTUMN] = 28},
		.last_start_min = 22 * 60,
		.first_start_min = 5 * 60 + 30,
		.outlook_refresh_s = 3600,
		.notice_call_changes = true,
		.notice_station_silent = true,
		.notice_past_soon = true,
		.notice_most_a_day = 6,
	};
	return config->site_name && config->timezone && config->database && config->socket;
}

/* Reads the keys of a block into target. */
static void fill(struct wt_config_lines *lines, const struct wt_config_block *block, void *target)
{
	for (size_t i = 0; i < block->n_entries; i++) {
		const struct wt_config_entry *entry = &block->entries[i];
		char quoted[68];
		if (entry->key->set(entry->key, entry->value, (char *)target + entry->key->offset))
			continue;
		wt_text_clean(entry->value, strlen(entry->value), quoted, sizeof quoted);
		wt_config_lines_fault(lines, entry->line, "%s must be %s, not '%s'",
				      entry->key->name, entry->key->accepted, quoted);
	}
}

/* A copy of text, or NULL and a fault. */
static char *copy(struct wt_config_lines *lines, int line, const char *text)
{
	char *out = strdup(text);

	if (!out)
		wt_config_lines_fault(lines, line, "out of memory");
	return out;
}

/* Room for one more in an array of structs, zeroed; array is the address of its pointer; NULL (and
 * a fault) when there is no memory. */
static void *grow(struct wt_config_lines *lines, void *array, size_t *n, size_t size)
{
	char *grown;

	memcpy(&grown, array, sizeof grown);
	grown = realloc(grown, (*n + 1) * size);
	if (!grown) {
		wt_config_lines_fault(lines, 0, "out of memory");
		return NULL;
	}
	memcpy(array, &grown, sizeof grown);
	memset(grown + *n * size, 0, size);
	return grown + (*n)++ * size;
}

/* Index of the room a section names; the only room there is when it names none. */
static size_t find_room(struct wt_config_lines *lines, const struct wt_config_block *block,
			const struct wt_config *config, const char *name)
{
	const char *word = wt_config_sections[block->section].word;
	char quoted[68] = "", accepted[300] = "";
	size_t used = 0;

	if (!name && config->n_rooms == 1)
		return 0;
	for (size_t i = 0; name && i < config->n_rooms; i++) {
		if (config->rooms[i].name && !strcmp(config->rooms[i].name, name))
			return i;
	}
	for (size_t i = 0; i < config->n_rooms && used < sizeof accepted; i++)
		used += (size_t)snprintf(accepted + used, sizeof accepted - used, "%s%s",
					 i ? ", " : "", config->rooms[i].name);
	if (config->n_rooms == 0)
		(void)snprintf(accepted, sizeof accepted, "none yet, add a [room NAME] section");
	if (name)
		wt_text_clean(name, strlen(name), quoted, sizeof quoted);
	if (name)
		wt_config_lines_fault(lines, wt_config_block_line(block, "room"),
				      "there is no [room %s]; rooms: %s", quoted, accepted);
	else
		wt_config_lines_fault(lines, block->line, "[%s %s] needs 'room ='; rooms: %s", word,
				      block->name, accepted);
	return 0;
}

static void need(struct wt_config_lines *lines, const struct wt_config_block *block, bool there,
		 const char *what)
{
	if (!there)
		wt_config_lines_fault(lines, block->line, "[%s%s%s] needs %s",
				      wt_config_sections[block->section].word,
				      block->name ? " " : "", block->name ? block->name : "", what);
}

static void topic_for(struct wt_config_lines *lines, const struct wt_config_block *block,
		      const char *topic, const char *key, char **field)
{
	if (topic && wt_config_block_has(block, key))
		wt_config_lines_fault(lines, wt_config_block_line(block, key),
				      "'topic' serves both values; give either topic or %s", key);
	if (topic && !*field)
		*field = copy(lines, block->line, topic);
}

static void check_rule(struct wt_config_lines *lines, const struct wt_config_block *block,
		       const struct wt_payload_rule *rule)
{
	bool same_topic =
		rule->temp_topic && rule->rh_topic && !strcmp(rule->temp_topic, rule->rh_topic);

	need(lines, block, rule->temp_topic || wt_config_block_has(block, "temp_topic"),
	     "'topic =' or 'temp_topic ='");
	need(lines, block, rule->rh_topic || wt_config_block_has(block, "rh_topic"),
	     "'topic =' or 'rh_topic ='");
	if (same_topic && (!rule->temp_pointer || !rule->rh_pointer))
		need(lines, block, false,
		     "temp_pointer and rh_pointer: one number cannot be both temperature and "
		     "humidity");
	need(lines, block,
	     wt_config_block_has(block, "match_pointer") ==
		     wt_config_block_has(block, "match_value"),
	     "both match_pointer and match_value, or neither");
}

static void free_rule(const struct wt_payload_rule *rule)
{
	char *const fields[] = {rule->temp_topic,    rule->rh_topic,     rule->temp_pointer,
				rule->rh_pointer,    rule->time_pointer, rule->battery_pointer,
				rule->match_pointer, rule->match_value};

	for (size_t i = 0; i < sizeof fields / sizeof fields[0]; i++)
		free(fields[i]);
}

static void free_station(const struct wt_config_station *station)
{
	free(station->name);
	free_rule(&station->rule);
}

static void free_scale(const struct wt_config_scale *scale)
{
	free(scale->name);
	free(scale->topic);
	free(scale->pointer);
}

static void read_station(struct wt_config_lines *lines, const struct wt_config_block *block,
			 struct wt_config *config)
{
	struct wt_config_station_draft draft = {.station.expected_every_s = 300};
	struct wt_config_station *station;

	fill(lines, block, &draft);
	topic_for(lines, block, draft.topic, "temp_topic", &draft.station.rule.temp_topic);
	topic_for(lines, block, draft.topic, "rh_topic", &draft.station.rule.rh_topic);
	if (!wt_config_block_has(block, "topic"))
		check_rule(lines, block, &draft.station.rule);
	else if (draft.topic)
		check_rule(lines, block, &draft.station.rule);
	draft.station.room = find_room(lines, block, config, draft.room);
	draft.station.name = copy(lines, block->line, block->name);
	free(draft.room);
	free(draft.topic);
	station = grow(lines, &config->stations, &config->n_stations, sizeof *station);
	if (station)
		*station = draft.station;
	else
		free_station(&draft.station);
}

static void read_scale(struct wt_config_lines *lines, const struct wt_config_block *block,
		       struct wt_config *config)
{
	struct wt_config_scale_draft draft = {.scale.kg_per_unit = 1};
	struct wt_config_scale *scale;

	fill(lines, block, &draft);
	need(lines, block, wt_config_block_has(block, "topic"), "'topic ='");
	draft.scale.room = find_room(lines, block, config, draft.room);
	draft.scale.name = copy(lines, block->line, block->name);
	free(draft.room);
	scale = grow(lines, &config->scales, &config->n_scales, sizeof *scale);
	if (scale)
		*scale = draft.scale;
	else
		free_scale(&draft.scale);
}

static void read_room(struct wt_config_lines *lines, const struct wt_config_block *block,
		      struct wt_config *config)
{
	struct wt_config_room *room = grow(lines, &config->rooms, &config->n_rooms, sizeof *room);

	if (room)
		room->name = copy(lines, block->line, block->name);
}

static void check_style(struct wt_config_lines *lines, const struct wt_config_block *block,
			const struct wt_config_style *style)
{
	if (!(style->ready_from_loss_pct < style->latest_loss_pct))
		wt_config_lines_fault(lines, wt_config_block_line(block, "latest_loss_pct"),
				      "latest_loss_pct must be more than ready_from_loss_pct (%g), "
				      "not '%g'",
				      style->ready_from_loss_pct, style->latest_loss_pct);
	else if (!(style->aim_loss_pct >= style->ready_from_loss_pct &&
		   style->aim_loss_pct <= style->latest_loss_pct))
		wt_config_lines_fault(
			lines, wt_config_block_line(block, "aim_loss_pct"),
			"aim_loss_pct must be %g to %g (ready_from to latest), not '%g'",
			style->ready_from_loss_pct, style->latest_loss_pct, style->aim_loss_pct);
	if (!(style->least_hours < style->most_hours))
		wt_config_lines_fault(lines, wt_config_block_line(block, "least_hours"),
				      "least_hours must be less than most_hours (%g), not '%g'",
				      style->most_hours, style->least_hours);
}

static void read_style(struct wt_config_lines *lines, const struct wt_config_block *block,
		       struct wt_config *config)
{
	struct wt_config_style *style = NULL;
	size_t errors_before = lines->n_errors;

	for (size_t i = 0; i < config->n_styles; i++) {
		if (config->styles[i].name && !strcmp(config->styles[i].name, block->name))
			style = &config->styles[i];
	}
	if (!style) {
		style = grow(lines, &config->styles, &config->n_styles, sizeof *style);
		if (!style)
			return;
		style->name = copy(lines, block->line, block->name);
		style->most_hours = HUGE_VAL;
		need(lines, block,
		     wt_config_block_has(block, "ready_from_loss_pct") &&
			     wt_config_block_has(block, "latest_loss_pct"),
		     "ready_from_loss_pct and latest_loss_pct: it is not a built-in style");
	}
	if (!config->usual_style_told)
		config->usual_style = (size_t)(style - config->styles);
	config->usual_style_told = true;
	fill(lines, block, style);
	/* Between the two ends unless it is said. */
	if (!wt_config_block_has(block, "aim_loss_pct") &&
	    (wt_config_block_has(block, "ready_from_loss_pct") ||
	     wt_config_block_has(block, "latest_loss_pct")))
		style->aim_loss_pct = (style->ready_from_loss_pct + style->latest_loss_pct) / 2;
	if (lines->n_errors == errors_before)
		check_style(lines, block, style);
}

/* Where the file of a secret is named: what is wrong with the file is only known later. */
static char *where(struct wt_config_lines *lines, const struct wt_config_block *block,
		   const char *key)
{
	char *text = NULL;
	int line = wt_config_block_line(block, key);

	if (wt_config_block_has(block, key) && asprintf(&text, "%s:%d", lines->file, line) < 0) {
		wt_config_lines_fault(lines, line, "out of memory");
		return NULL;
	}
	return text;
}

static void note_where(char **out, struct wt_config_lines *lines,
		       const struct wt_config_block *block, const char *key)
{
	free(*out);
	*out = where(lines, block, key);
}

static void check_broker(struct wt_config_lines *lines, const struct wt_config_block *block,
			 struct wt_config *config)
{
	note_where(&config->broker_password_where, lines, block, "password_file");
	note_where(&config->broker_ca_where, lines, block, "ca_file");
	note_where(&config->broker_cert_where, lines, block, "cert_file");
	note_where(&config->broker_key_where, lines, block, "key_file");
	need(lines, block, wt_config_block_has(block, "host"), "'host ='");
	if (config->broker_password_file && !config->broker_user)
		need(lines, block, false, "'user =' beside password_file");
	if (!config->broker_cert_file != !config->broker_key_file)
		need(lines, block, false, "both cert_file and key_file, or neither");
	if (!config->broker_tls && (config->broker_ca_file || config->broker_cert_file))
		need(lines, block, false, "'tls = yes' for ca_file, cert_file and key_file");
	if (config->discovery_prefix && !config->publish_prefix)
		need(lines, block, false, "'publish_prefix =' beside discovery_prefix");
}

static void check_outlook(struct wt_config_lines *lines, const struct wt_config_block *block)
{
	need(lines, block, wt_config_block_has(block, "url"), "'url ='");
	need(lines, block, wt_config_block_has(block, "contact"),
	     "'contact =': weather services ask callers to say who they are");
}

static void check_site(struct wt_config_lines *lines, const struct wt_config_block *block)
{
	need(lines, block,
	     wt_config_block_has(block, "latitude") == wt_config_block_has(block, "longitude"),
	     "both latitude and longitude, or neither");
}

static void check_hearth(struct wt_config_lines *lines, const struct wt_config_block *block,
			 const struct wt_config *config)
{
	/* A last start after midnight, such as 01:00, is the same night's. */
	if (config->last_start_min == config->first_start_min)
		wt_config_lines_fault(lines, wt_config_block_line(block, "last_start"),
				      "last_start and first_start must differ");
}

static void check_notice(struct wt_config_lines *lines, const struct wt_config_block *block)
{
	need(lines, block, wt_config_block_has(block, "url"), "'url ='");
	need(lines, block,
	     wt_config_block_has(block, "quiet_from") == wt_config_block_has(block, "quiet_until"),
	     "both quiet_from and quiet_until, or neither");
}

static void read_block(struct wt_config_lines *lines, const struct wt_config_block *block,
		       struct wt_config *config)
{
	switch (block->section) {
	case WT_SECTION_STATION:
		read_station(lines, block, config);
		break;
	case WT_SECTION_SCALE:
		read_scale(lines, block, config);
		break;
	case WT_SECTION_STYLE:
		read_style(lines, block, config);
		break;
	case WT_SECTION_ROOM:
		break; /* read before the others, which name rooms */
	default:
		fill(lines, block, config);
		break;
	}
	if (block->section == WT_SECTION_SITE)
		check_site(lines, block);
	if (block->section == WT_SECTION_DAEMON)
		note_where(&config->socket_group_where, lines, block, "socket_group");
	if (block->section == WT_SECTION_BROKER)
		check_broker(lines, block, config);
	if (block->section == WT_SECTION_HEARTH)
		check_hearth(lines, block, config);
	if (block->section == WT_SECTION_OUTLOOK)
		check_outlook(lines, block);
	if (block->section == WT_SECTION_NOTICE)
		check_notice(lines, block);
}

static void add_built_in_styles(struct wt_config_lines *lines, struct wt_config *config)
{
	for (size_t i = 0; i < wt_style_table_count(); i++) {
		const struct wt_style *built_in = wt_style_table_at(i);
		struct wt_config_style *style =
			grow(lines, &config->styles, &config->n_styles, sizeof *style);
		if (!style)
			return;
		*style = (struct wt_config_style){
			.name = copy(lines, 0, built_in->name),
			.ready_from_loss_pct = built_in->ready_from_loss_pct,
			.aim_loss_pct = built_in->aim_loss_pct,
			.latest_loss_pct = built_in->latest_loss_pct,
			.least_hours = built_in->least_hours,
			.most_hours = built_in->most_hours,
			.prefer = built_in->prefer,
		};
	}
}

static void build(struct wt_config_lines *lines, struct wt_config *config)
{
	add_built_in_styles(lines, config);
	for (size_t i = 0; i < lines->n_blocks; i++) {
		if (lines->blocks[i].section == WT_SECTION_ROOM)
			read_room(lines, &lines->blocks[i], config);
	}
	if (config->n_rooms == 0)
		wt_config_lines_fault(lines, 1, "at least one [room NAME] section is needed");
	for (size_t i = 0; i < lines->n_blocks; i++)
		read_block(lines, &lines->blocks[i], config);
	if (config->broker_port == 0)
		config->broker_port = config->broker_tls ? 8883 : 1883;
}

int wt_config_parse(const char *name, const char *text, size_t length, FILE *errors,
		    struct wt_config **out)
{
	struct wt_config_lines lines = {.file = name, .errors = errors};
	struct wt_config *config = calloc(1, sizeof *config);

	if (!config || !set_defaults(config)) {
		(void)fprintf(errors, "%s: out of memory\n", name);
		wt_config_free(&config);
		return -1;
	}
	wt_config_lines_read(&lines, text, length);
	build(&lines, config);
	wt_config_lines_clear(&lines);
	if (lines.n_errors) {
		wt_config_free(&config);
		return -1;
	}
	*out = config;
	return 0;
}

/* The whole of a file of at most max bytes, malloc'd; NULL with errno set. */
static char *slurp(int fd, size_t max, size_t *length)
{
	char *text = malloc(max + 1);
	size_t used = 0;
	ssize_t n = 1;

	while (text && used <= max && n > 0) {
		n = read(fd, text + used, max + 1 - used);
		if (n < 0 && errno == EINTR)
			n = 1;
		else if (n > 0)
			used += (size_t)n;
	}
	if (!text || n < 0 || used > max) {
		if (text && used > max)
			errno = EFBIG;
		free(text);
		return NULL;
	}
	*length = used;
	return text;
}

int wt_config_read(const char *path, FILE *errors, struct wt_config **out)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC), result = -1;
	size_t length;
	char *text = fd >= 0 ? slurp(fd, FILE_MAX_BYTES, &length) : NULL;

	if (!text)
		(void)fprintf(errors, "%s: cannot be read: %s\n", path, strerror(errno));
	else
		result = wt_config_parse(path, text, length, errors, out);
	free(text);
	if (fd >= 0)
		close(fd);
	return result;
}

/* What is wrong with a secret's file, or NULL. */
static const char *secret_fault(const struct stat *info)
{
	if (!S_ISREG(info->st_mode))
		return "is not a plain file";
	if (info->st_mode & 027)
		return "may be read by others or written by its group; make it 0600 or 0640";
	return NULL;
}

static bool secret_is_kept(const char *where, const char *key, const char *path, FILE *errors)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
	struct stat info;
	const char *fault = fd < 0 || fstat(fd, &info) ? strerror(errno) : secret_fault(&info);

	if (fault)
		(void)fprintf(errors, "%s: %s '%s': %s\n", where, key, path, fault);
	if (fd >= 0)
		close(fd);
	return !fault;
}

bool wt_config_secrets_check(const struct wt_config *config, FILE *errors)
{
	bool fine = true;

	if (config->broker_password_file)
		fine = secret_is_kept(config->broker_password_where, "password_file",
				      config->broker_password_file, errors);
	if (config->broker_key_file)
		fine = secret_is_kept(config->broker_key_where, "key_file", config->broker_key_file,
				      errors) &&
		       fine;
	return fine;
}

static bool can_be_read(const char *where, const char *key, const char *path, FILE *errors)
{
	int fd = path ? open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK) : -1;

	if (path && fd < 0)
		(void)fprintf(errors, "%s: %s '%s': %s\n", where, key, path, strerror(errno));
	if (fd >= 0)
		close(fd);
	return !path || fd >= 0;
}

bool wt_config_certificates_check(const struct wt_config *config, FILE *errors)
{
	bool fine = can_be_read(config->broker_ca_where, "ca_file", config->broker_ca_file, errors);

	return can_be_read(config->broker_cert_where, "cert_file", config->broker_cert_file,
			   errors) &&
	       fine;
}

bool wt_config_group_check(const struct wt_config *config, FILE *errors)
{
	char buffer[4096];
	struct group entry, *found = NULL;

	if (!config->socket_group ||
	    (getgrnam_r(config->socket_group, &entry, buffer, sizeof buffer, &found) == 0 && found))
		return true;
	(void)fprintf(errors, "%s: socket_group must be a group of this machine, not '%s'\n",
		      config->socket_group_where, config->socket_group);
	return false;
}

char *wt_config_secret_read(const char *path, FILE *errors)
{
	/* O_NONBLOCK so that a named pipe cannot hold the daemon up. */
	int fd = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);
	struct stat info;
	const char *fault = NULL;
	char *text = NULL, *secret = NULL;
	size_t length = 0;

	if (fd < 0 || fstat(fd, &info))
		fault = strerror(errno);
	else
		fault = secret_fault(&info);
	if (!fault && info.st_size > SECRET_MAX_BYTES)
		fault = "is longer than 1 KiB";
	if (!fault) {
		text = slurp(fd, SECRET_MAX_BYTES, &length);
		if (text)
			text[length] = '\0';
		if (text && text[strcspn(text, "\r\n")] != '\0')
			text[strcspn(text, "\r\n")] = '\0';
		if (!text || !*text)
			fault = "holds no secret";
		else
			secret = strdup(text);
	}
	if (fault)
		(void)fprintf(errors, "%s: %s\n", path, fault);
	if (text)
		explicit_bzero(text, length);
	free(text);
	if (fd >= 0)
		close(fd);
	return secret;
}

static void free_lists(struct wt_config *config)
{
	for (size_t i = 0; i < config->n_rooms; i++)
		free(config->rooms[i].name);
	for (size_t i = 0; i < config->n_stations; i++)
		free_station(&config->stations[i]);
	for (size_t i = 0; i < config->n_scales; i++)
		free_scale(&config->scales[i]);
	for (size_t i = 0; i < config->n_styles; i++)
		free(config->styles[i].name);
	free(config->rooms);
	free(config->stations);
	free(config->scales);
	free(config->styles);
}

bool wt_config_take_zone(const struct wt_config *config)
{
	/* Without memory for the zone's file the C library takes UTC under the zone's name. */
	errno = 0;
	if (setenv("TZ", config->timezone, 1) == 0)
		tzset();
	return errno != ENOMEM;
}

void wt_config_free(struct wt_config **config)
{
	struct wt_config *c = *config;

	if (!c)
		return;
	free_lists(c);
	char *const texts[] = {c->site_name,        c->timezone,
			       c->database,         c->socket,
			       c->socket_group,     c->record,
			       c->broker_host,      c->broker_client_id,
			       c->broker_user,      c->broker_password_file,
			       c->broker_ca_file,   c->broker_cert_file,
			       c->broker_key_file,  c->broker_password_where,
			       c->broker_ca_where,  c->broker_cert_where,
			       c->broker_key_where, c->socket_group_where,
			       c->publish_prefix,   c->discovery_prefix,
			       c->outlook_url,      c->outlook_contact,
			       c->notice_url};
	for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
		free(texts[i]);
	free(c);
	*config = NULL;
}
