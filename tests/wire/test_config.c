/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "daemon/config.h"
#include "lib/style_table.h"

/* Parses text as "t.conf"; *said is what was written to errors (caller frees). */
static int parse(const char *text, size_t length, struct wt_config **out, char **said)
{
	size_t size = 0;
	FILE *errors = open_memstream(said, &size);
	int result = wt_config_parse("t.conf", text, length, errors, out);

	(void)fclose(errors);
	return result;
}

static struct wt_config *good(const char *text)
{
	struct wt_config *config = NULL;
	char *said = NULL;

	if (parse(text, strlen(text), &config, &said))
		print_error("%s", said);
	assert_non_null(config);
	assert_string_equal(said, "");
	free(said);
	return config;
}

static void the_least_configuration_has_sensible_defaults(void **state)
{
	struct wt_config *c = good("[room loft]\n");

	(void)state;
	assert_string_equal(c->site_name, "workshop");
	assert_string_equal(c->timezone, "UTC");
	assert_true(c->altitude_m == 0 && isnan(c->latitude_deg) && isnan(c->longitude_deg));
	assert_string_equal(c->database, WT_CONFIG_DATABASE);
	assert_string_equal(c->socket, WT_CONFIG_SOCKET);
	assert_int_equal(c->forecast_every_s, 300);
	assert_int_equal(c->members, 1024);
	assert_null(c->broker_host);
	assert_null(c->publish_prefix);
	assert_null(c->record);
	assert_int_equal(c->n_rooms, 1);
	assert_int_equal(c->n_stations + c->n_scales, 0);
	assert_int_equal(c->n_styles, wt_style_table_count());
	assert_true(isnan(c->tray_area_m2));
	assert_int_equal(c->woks, 1);
	assert_true(c->wok_kg == 5);
	assert_true(c->minutes_by_season[WT_SEASON_SPRING] == 20);
	assert_true(c->minutes_by_season[WT_SEASON_SUMMER] == 25);
	assert_true(c->minutes_by_season[WT_SEASON_AUTUMN] == 28);
	assert_int_equal(c->last_start_min, 22 * 60);
	assert_int_equal(c->first_start_min, 5 * 60 + 30);
	assert_null(c->outlook_url);
	assert_null(c->notice_url);
	wt_config_free(&c);
	assert_null(c);
	wt_config_free(&c);
}

static void every_key_reaches_its_field(void **state)
{
	struct wt_config *c =
		good("[site]\nname=Upper "
		     "Terrace\ntimezone=UTC\naltitude_m=1350\nlatitude=-25.1\nlongitude=101.2\n"
		     "[daemon]\ndatabase=/d/db\nsocket=/d/"
		     "s\nsocket_group=tea\nforecast_every_s=60\nmembers=256\n"
		     "seed=7\nrecord=/d/j\nkeep_raw_days=30\n"
		     "[broker]\nhost=broker.example\nversion=3\nclient_id=c\nuser=u\npassword_file="
		     "/p\ntls=yes\n"
		     "ca_file=/ca\ncert_file=/ce\nkey_file=/k\npublish_prefix=tea/out\n"
		     "[room loft]\n[room \"south room\"]\n"
		     "[station s]\nroom = south "
		     "room\ntemp_topic=a/+/t\nrh_topic=a/#\ntemp_pointer=/t\nrh_pointer=\n"
		     "temp_unit=K\ntime_pointer=/z\nbattery_pointer=/b\nmatch_pointer=/"
		     "i\nmatch_value=4 2\n"
		     "expected_every_s=30\ntemp_offset_c=-0.5\nrh_offset_pct=2\n"
		     "[scale w]\nroom=loft\ntopic=w\npointer=/kg\nunit=g\ntare_kg=1.5\n"
		     "[tray]\narea_m2=0.8\nperforated=no\n"
		     "[hearth]\nwoks=3\nwok_kg=4.5\nminutes_spring=18\nminutes_summer=22\nminutes_"
		     "autumn=26\n"
		     "last_start=01:15\nfirst_start=06:00\n"
		     "[outlook]\nurl=https://w.example/"
		     "x?a=1&b=2\nformat=timeseries\ncontact=me@w.example\n"
		     "refresh_s=7200\n"
		     "[notice]\nurl=http://127.0.0.1:80/n\nwhen=station-silent\n");
	const struct wt_config_station *s = &c->stations[0];

	(void)state;
	assert_string_equal(c->site_name, "Upper Terrace");
	assert_true(c->altitude_m == 1350 && c->latitude_deg == -25.1 && c->longitude_deg == 101.2);
	assert_string_equal(c->database, "/d/db");
	assert_string_equal(c->socket, "/d/s");
	assert_string_equal(c->socket_group, "tea");
	assert_string_equal(c->record, "/d/j");
	assert_true(c->forecast_every_s == 60 && c->members == 256 && c->seed == 7 &&
		    c->keep_raw_days == 30);
	assert_string_equal(c->broker_host, "broker.example");
	assert_int_equal(c->broker_port, 8883); /* for tls, when not given */
	assert_int_equal(c->broker_version, 3);
	assert_true(c->broker_tls);
	assert_string_equal(c->broker_password_file, "/p");
	assert_string_equal(c->broker_key_file, "/k");
	assert_string_equal(c->publish_prefix, "tea/out");
	assert_int_equal(s->room, 1);
	assert_string_equal(s->rule.temp_topic, "a/+/t");
	assert_string_equal(s->rule.rh_topic, "a/#");
	assert_string_equal(s->rule.rh_pointer, ""); /* the whole document, not unset */
	assert_int_equal(s->rule.temp_unit, WT_TEMP_UNIT_K);
	assert_string_equal(s->rule.match_value, "4 2");
	assert_true(s->expected_every_s == 30 && s->temp_offset_c == -0.5 && s->rh_offset_pct == 2);
	assert_true(c->scales[0].kg_per_unit == 1e-3 && c->scales[0].tare_kg == 1.5);
	assert_true(c->tray_area_m2 == 0.8 && !c->tray_perforated);
	assert_true(c->woks == 3 && c->wok_kg == 4.5 && c->last_start_min == 75);
	assert_true(c->outlook_timeseries && c->outlook_refresh_s == 7200);
	assert_string_equal(c->outlook_url, "https://w.example/x?a=1&b=2");
	assert_true(!c->notice_call_changes && c->notice_station_silent && !c->notice_past_soon);
	wt_config_free(&c);
}

static void one_topic_serves_both_and_one_room_needs_no_name(void **state)
{
	struct wt_config *c =
		good("[station s]\ntopic=a/b\ntemp_pointer=/t\nrh_pointer=/h\n[room r]\n");

	(void)state;
	assert_int_equal(c->stations[0].room, 0);
	assert_string_equal(c->stations[0].rule.temp_topic, "a/b");
	assert_string_equal(c->stations[0].rule.rh_topic, "a/b");
	assert_true(c->stations[0].expected_every_s == 300);
	wt_config_free(&c);
}

static void styles_are_changed_or_added(void **state)
{
	struct wt_config *c =
		good("[room r]\n[style own]\nready_from_loss_pct=30\nlatest_loss_pct=40\n"
		     "[style green]\nlatest_loss_pct=24\nprefer=morning\n");
	const struct wt_style *green = wt_style_table_find("green");
	const struct wt_config_style *own = &c->styles[c->n_styles - 1];

	(void)state;
	assert_int_equal(c->n_styles, wt_style_table_count() + 1);
	assert_string_equal(own->name, "own");
	assert_true(own->aim_loss_pct == 35 && own->least_hours == 0 && isinf(own->most_hours));
	for (size_t i = 0; i < c->n_styles; i++) {
		if (strcmp(c->styles[i].name, "green") != 0)
			continue;
		assert_true(c->styles[i].ready_from_loss_pct == green->ready_from_loss_pct);
		assert_true(c->styles[i].latest_loss_pct == 24);
		assert_int_equal(c->styles[i].prefer, WT_PREFER_MORNING);
	}
	wt_config_free(&c);
}

static void shapes_that_are_fine(void **state)
{
	static const char *const cases[] = {
		"\357\273\277[room r]\n",             /* byte order mark */
		"[room r]\r\n[site]\r\nname = x\r\n", /* line ends of another system */
		"# one\n; two\n\n   \t\n[room r]",    /* comments, blanks, no last line end */
		"  [room r]\n  [site]\n  name = x\n    timezone = UTC\n", /* no line continues
									     another */
		"[ room   r ]\n[site]\nname=a = b # c\n",
		"[room \350\214\266\346\210\277]\n",
		"[room r]\n[notice]\nurl=https://n.example/\nwhen=past-soon,call-changes , \n",
		"[room r]\n[hearth]\nwoks=0\n",
	};

	(void)state;
	for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
		struct wt_config *c = good(cases[i]);
		wt_config_free(&c);
	}
}

#define R "[room r]\n" /* line 1 of each case that needs a room */
#define S "[room r]\n[station s]\ntopic=a\ntemp_pointer=/t\nrh_pointer=/h\n" /* lines 1 to 5 */
#define X20 "xxxxxxxxxxxxxxxxxxxx"

/* Text, and what must be told: the line and a part of the sentence. */
static const struct {
	const char *text, *says;
} bad[] = {
	/* lines */
	{R "[site]\nnonsense\n",
	 "t.conf:3: a line is 'key = value', [section] or '# comment', not 'nonsense'"},
	{R "[site]\nname = a ; b\n", "t.conf:3: a comment needs a line of its own"},
	{"name = x\n" R, "t.conf:1: 'name' stands before the first [section]"},
	{R "[site]\nname = " X20 X20 X20 X20 X20 X20 X20 X20 X20 X20 "\n",
	 "t.conf:3: the line is 207 bytes long, at most 198"},
	{R "[site]\nname = a\033[2Jb\n",
	 "t.conf:3: name must be text without control characters, not 'a?[2Jb'"},
	{R "[site]\nname = \377\n",
	 "t.conf:3: name must be text without control characters, not '?'"},
	{R "[site]\nname =\n", "t.conf:3: name must be text"},
	/* sections */
	{"", "t.conf:1: at least one [room NAME] section is needed"},
	{R "[sites]\n",
	 "t.conf:2: no section is called 'sites', did you mean 'site'?; accepted: site, daemon"},
	{R "[xyzzy]\n", "t.conf:2: no section is called 'xyzzy'; accepted: site, daemon"},
	{R "[site\n", "t.conf:2: a section line is [section] or [section NAME], not '[site'"},
	{R "[]\n", "t.conf:2: no section is called ''"},
	{R "[site main]\n", "t.conf:2: section [site] takes no name, not 'main'"},
	{"[room]\n", "t.conf:1: [room NAME] needs a name of 1 to 48 bytes"},
	{"[room \"\"]\n", "t.conf:1: [room NAME] needs a name"},
	{"[room " X20 X20 X20 "]\n", "t.conf:1: [room NAME] needs a name of 1 to 48 bytes"},
	{R "[room r]\n", "t.conf:2: section [room r] was already begun on line 1"},
	{R "[site]\n[daemon]\n[site]\n", "t.conf:4: section [site] was already begun on line 2"},
	{R "[room \"r\"]\n", "t.conf:2: section [room r] was already begun on line 1"},
	/* keys */
	{R "[site]\naltitude = 5\n", "t.conf:3: [site] has no key 'altitude', did you mean "
				     "'altitude_m'?; accepted: name, timezone, altitude_m"},
	{R "[site]\naltitud_m = 5\n",
	 "t.conf:3: [site] has no key 'altitud_m', did you mean 'altitude_m'?"},
	{R "[broker]\nhost=h\npasword_file=/x\n",
	 "t.conf:4: [broker] has no key 'pasword_file', did you mean 'password_file'?"},
	{R "[site]\nname=a\n# x\nname=b\n", "t.conf:5: name was already given on line 3"},
	{R "colour = red\n", "t.conf:2: [room] has no key 'colour'; accepted: none"},
	/* values */
	{R "[site]\ntimezone=Mars/Base\n", "t.conf:3: timezone must be a time zone"},
	{R "[site]\ntimezone=../../etc/passwd\n", "t.conf:3: timezone must be"},
	{R "[site]\ntimezone=/etc/passwd\n", "t.conf:3: timezone must be"},
	{R "[site]\naltitude_m=5001\n", "t.conf:3: altitude_m must be -500 to 5000, not '5001'"},
	{R "[site]\naltitude_m=1350m\n", "t.conf:3: altitude_m must be -500 to 5000, not '1350m'"},
	{R "[site]\naltitude_m=nan\n", "not 'nan'"},
	{R "[site]\nlatitude=91\nlongitude=0\n", "t.conf:3: latitude must be -90 to 90, not '91'"},
	{R "[site]\nlatitude=9\n",
	 "t.conf:2: [site] needs both latitude and longitude, or neither"},
	{R "[daemon]\ndatabase=wither.db\n",
	 "t.conf:3: database must be an absolute path, not 'wither.db'"},
	{R "[daemon]\nsocket=/" X20 X20 X20 X20 X20 X20 "\n",
	 "t.conf:3: socket must be an absolute path of at most 107 bytes"},
	{R "[daemon]\nmembers=10\n",
	 "t.conf:3: members must be a whole number from 64 to 16384, not '10'"},
	{R "[daemon]\nmembers=100.5\n", "not '100.5'"},
	{R "[daemon]\nseed=-1\n", "t.conf:3: seed must be a whole number from 0"},
	{R "[daemon]\nforecast_every_s=0x40\n", "not '0x40'"},
	{R "[broker]\nport=1883\n", "t.conf:2: [broker] needs 'host ='"},
	{R "[broker]\nhost=h\nport=0\n",
	 "t.conf:4: port must be a whole number from 1 to 65535, not '0'"},
	{R "[broker]\nhost=h\nversion=4\n", "t.conf:4: version must be 5 or 3, not '4'"},
	{R "[broker]\nhost=h\ntls=true\n", "t.conf:4: tls must be yes or no, not 'true'"},
	{R "[broker]\nhost=h\npassword_file=/p\n",
	 "t.conf:2: [broker] needs 'user =' beside password_file"},
	{R "[broker]\nhost=h\nca_file=/p\n", "t.conf:2: [broker] needs 'tls = yes'"},
	{R "[broker]\nhost=h\ntls=yes\nkey_file=/p\n",
	 "t.conf:2: [broker] needs both cert_file and key_file"},
	{R "[broker]\nhost=h\npublish_prefix=a/#\n",
	 "t.conf:4: publish_prefix must be a topic without wildcards"},
	{R "[station s]\nroom=r\n", "t.conf:2: [station s] needs 'topic =' or 'temp_topic ='"},
	{R "[station s]\nroom=q\ntopic=a\ntemp_pointer=/t\n",
	 "t.conf:3: there is no [room q]; rooms: r"},
	{"[station s]\nroom=q\ntopic=a\ntemp_pointer=/t\n",
	 "t.conf:2: there is no [room q]; rooms: none yet, add a [room NAME] section"},
	{R "[room q]\n[station s]\ntopic=a\ntemp_pointer=/t\n",
	 "t.conf:3: [station s] needs 'room ='; rooms: r, q"},
	{R "[station s]\ntopic=a\n", "t.conf:2: [station s] needs temp_pointer and rh_pointer"},
	{R "[station s]\ntopic=a\nrh_pointer=/h\n",
	 "t.conf:2: [station s] needs temp_pointer and rh_pointer"},
	{R "[station s]\ntopic=a/b#\ntemp_pointer=/t\n",
	 "t.conf:3: topic must be an MQTT topic or filter"},
	{S "temp_topic=b\n",
	 "t.conf:6: 'topic' serves both values; give either topic or temp_topic"},
	{S "time_pointer=time\n",
	 "t.conf:6: time_pointer must be a JSON Pointer: empty or starting with '/', not 'time'"},
	{S "battery_pointer=/a~2\n", "t.conf:6: battery_pointer must be a JSON Pointer"},
	{S "match_value=42\n", "t.conf:2: [station s] needs both match_pointer and match_value"},
	{S "temp_unit=c\n", "t.conf:6: temp_unit must be C, F or K, not 'c'"},
	{S "expected_every_s=0\n", "t.conf:6: expected_every_s must be 1 to 86400, not '0'"},
	{S "rh_offset_pct=30\n", "t.conf:6: rh_offset_pct must be -20 to 20, not '30'"},
	{R "[scale w]\nunit=kg\n", "t.conf:2: [scale w] needs 'topic ='"},
	{R "[scale w]\ntopic=a\nunit=lb\n", "t.conf:4: unit must be kg or g, not 'lb'"},
	{R "[style own]\nprefer=evening\n",
	 "t.conf:2: [style own] needs ready_from_loss_pct and latest_loss_pct"},
	{R "[style own]\nready_from_loss_pct=40\nlatest_loss_pct=30\n",
	 "t.conf:4: latest_loss_pct must be more than ready_from_loss_pct (40), not '30'"},
	{R "[style green]\naim_loss_pct=80\n", "t.conf:3: aim_loss_pct must be"},
	{R "[style green]\nleast_hours=30\n", "t.conf:3: least_hours must be less than most_hours"},
	{R "[style green]\nprefer=noon\n",
	 "t.conf:3: prefer must be evening, morning or none, not 'noon'"},
	{R "[tray]\narea_m2=0\n", "t.conf:3: area_m2 must be more than 0 and at most 100, not '0'"},
	{R "[hearth]\nwoks=1.5\n", "t.conf:3: woks must be a whole number from 0 to 20, not '1.5'"},
	{R "[hearth]\nlast_start=24:00\n",
	 "t.conf:3: last_start must be a time of day HH:MM, not '24:00'"},
	{R "[hearth]\nlast_start=9:30\n", "not '9:30'"},
	{R "[hearth]\nlast_start=05:30\n", "t.conf:3: last_start and first_start must differ"},
	{R "[outlook]\nformat=columns\n", "t.conf:2: [outlook] needs 'url ='"},
	{R "[outlook]\nurl=https://w.example/\n", "t.conf:2: [outlook] needs 'contact ='"},
	{R "[outlook]\nurl=http://w.example/\ncontact=c\n",
	 "t.conf:3: url must be an https:// address"},
	{R "[outlook]\nurl=http://127.0.0.1.w.example/\ncontact=c\n",
	 "t.conf:3: url must be an https:// address"},
	{R "[outlook]\nurl=file:///etc/passwd\ncontact=c\n", "t.conf:3: url must be"},
	{R "[outlook]\nurl=https://w.example/\ncontact=c\nformat=xml\n",
	 "t.conf:5: format must be columns or timeseries, not 'xml'"},
	{R "[notice]\nurl=https://n.example/\nwhen=always\n",
	 "t.conf:4: when must be any of call-changes, station-silent, past-soon, not 'always'"},
};

static void every_fault_is_told_with_its_line(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
		struct wt_config mark, *config = &mark;
		char *said = NULL;
		assert_int_equal(parse(bad[i].text, strlen(bad[i].text), &config, &said), -1);
		assert_ptr_equal(config, &mark);
		if (!strstr(said, bad[i].says))
			print_error("case %zu expected: %s\ntold: %s", i, bad[i].says, said);
		assert_non_null(strstr(said, bad[i].says));
		for (const char *c = said; *c; c++)
			assert_true((unsigned char)*c >= 0x20 || *c == '\n');
		free(said);
	}
}

static void all_faults_are_told_at_once(void **state)
{
	static const char text[] =
		"[site]\nnmae = x\naltitude_m = high\n[romo a]\nkey = lost\n[tray]\n"
		"area_m2 = -1\n";
	struct wt_config *config = NULL;
	char *said = NULL;
	size_t lines = 0;

	(void)state;
	assert_int_equal(parse(text, sizeof text - 1, &config, &said), -1);
	for (const char *c = said; *c; c++)
		lines += *c == '\n';
	assert_int_equal(lines,
			 5); /* 2, 3, 4, 7 and no room; the key of a refused section is not one */
	free(said);
}

static void a_byte_zero_and_a_flood_are_refused(void **state)
{
	static const char zero[] = "[room r]\n[site]\nname = a\0b\n";
	struct wt_config *config = NULL;
	char *said = NULL, *flood = NULL;
	size_t length = 0;
	FILE *out = open_memstream(&flood, &length);

	(void)state;
	assert_int_equal(parse(zero, sizeof zero - 1, &config, &said), -1);
	assert_non_null(strstr(said, "t.conf:3: the line holds a byte 0"));
	free(said);
	for (int i = 0; i < 2000; i++)
		(void)fprintf(out, "[room r%d]\nx\n", i);
	(void)fclose(out);
	assert_int_equal(parse(flood, length, &config, &said), -1);
	assert_true(strlen(said) < 20000);
	free(said);
	free(flood);
}

/* Writes a file in the test's folder. */
static void put(const char *path, const char *text, mode_t mode)
{
	FILE *out = fopen(path, "w");

	assert_non_null(out);
	(void)fputs(text, out);
	(void)fclose(out);
	assert_int_equal(chmod(path, mode), 0);
}

static char *secret(const char *path, char **said)
{
	size_t size = 0;
	FILE *errors = open_memstream(said, &size);
	char *out = wt_config_secret_read(path, errors);

	(void)fclose(errors);
	return out;
}

static void secrets_need_a_private_file(void **state)
{
	char folder[] = "/tmp/wither-config-XXXXXX", path[128], *said = NULL, *text;

	(void)state;
	assert_non_null(mkdtemp(folder));
	(void)snprintf(path, sizeof path, "%s/password", folder);
	put(path, "open sesame \r\nsecond line\n", 0600);
	text = secret(path, &said);
	assert_string_equal(text, "open sesame ");
	assert_string_equal(said, "");
	free(text);
	free(said);
	assert_int_equal(chmod(path, 0640), 0);
	text = secret(path, &said);
	assert_string_equal(text, "open sesame ");
	free(text);
	free(said);
	for (mode_t mode = 1; mode <= 020; mode <<= 1) {
		if (mode == 010)
			continue; /* to run it tells nothing */
		put(path, "open sesame", 0600);
		assert_int_equal(chmod(path, 0600 | mode), 0);
		assert_null(secret(path, &said));
		assert_non_null(strstr(said, "0600 or 0640"));
		assert_null(strstr(said, "sesame"));
		free(said);
	}
	put(path, "", 0600);
	assert_null(secret(path, &said));
	assert_non_null(strstr(said, "holds no secret"));
	free(said);
	unlink(path);
	assert_null(secret(path, &said));
	assert_non_null(strstr(said, "No such file"));
	free(said);
	assert_int_equal(mkfifo(path, 0600), 0);
	assert_null(secret(path, &said)); /* does not wait for a writer */
	assert_non_null(strstr(said, "not a plain file"));
	free(said);
	unlink(path);
	rmdir(folder);
}

static void files_that_cannot_be_read(void **state)
{
	struct wt_config *config = NULL;
	char *said = NULL;
	size_t size = 0;
	FILE *errors = open_memstream(&said, &size);

	(void)state;
	assert_int_equal(wt_config_read("/nonexistent/witherd.conf", errors, &config), -1);
	assert_int_equal(wt_config_read("/tmp", errors, &config), -1);
	assert_int_equal(wt_config_read("/dev/zero", errors, &config), -1);
	(void)fclose(errors);
	assert_non_null(strstr(said, "/nonexistent/witherd.conf: cannot be read: No such file"));
	assert_non_null(strstr(said, "/tmp: cannot be read: Is a directory"));
	assert_non_null(strstr(said, "/dev/zero: cannot be read: File too large"));
	assert_null(config);
	free(said);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_least_configuration_has_sensible_defaults),
		cmocka_unit_test(every_key_reaches_its_field),
		cmocka_unit_test(one_topic_serves_both_and_one_room_needs_no_name),
		cmocka_unit_test(styles_are_changed_or_added),
		cmocka_unit_test(shapes_that_are_fine),
		cmocka_unit_test(every_fault_is_told_with_its_line),
		cmocka_unit_test(all_faults_are_told_at_once),
		cmocka_unit_test(a_byte_zero_and_a_flood_are_refused),
		cmocka_unit_test(secrets_need_a_private_file),
		cmocka_unit_test(files_that_cannot_be_read),
	};
	return cmocka_run_group_tests(tests, NULL, NULL);
}
