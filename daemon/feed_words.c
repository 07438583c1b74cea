/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * The state of the connection in words: what a broker's refusal means, why there
 * is no connection, and how often that is said.
 */
#include <curl/curl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/feed_inner.h"
#include "daemon/log.h"

/* For a look at why there is no connection (our choice). */
#define LOOK_S 5L
/* Lines about the broker: so many at once, then one in so many seconds; at most 18 in any hour (our
 * choice). */
#define LINES_AT_ONCE 8.0
#define LINE_EVERY_S 360.0

/* CONNACK return codes of MQTT 3.1.1, table 3.1; reason codes of MQTT 5.0, section 3.2.2.2 and, for
 * 0x8e, which comes with a DISCONNECT, 3.14.2.1. */
static const char *refusal_word(int code, bool version5)
{
	if (!version5) {
		static const char *const words[] = {
			NULL,
			WT_SAYS_WORD("it does not speak MQTT 3.1.1"),
			WT_SAYS_WORD("it does not accept the client id"),
			WT_SAYS_WORD("it is not available"),
			WT_SAYS_WORD("user or password is wrong"),
			WT_SAYS_WORD("not authorised: set user and password_file, or let this "
				     "client in")};
		return code >= 1 && code <= 5 ? words[code] : NULL;
	}
	switch (code) {
	case 0x84:
		return WT_SAYS_WORD("it does not speak MQTT 5; try version = 3");
	case 0x85:
		return WT_SAYS_WORD("it does not accept the client id");
	case 0x86:
		return WT_SAYS_WORD("user or password is wrong");
	case 0x87:
		return WT_SAYS_WORD(
			"not authorised: set user and password_file, or let this client in");
	case 0x88:
	case 0x89:
		return WT_SAYS_WORD("it is not available");
	case 0x8a:
		return WT_SAYS_WORD("it has banned this client");
	case 0x8e:
		return WT_SAYS_WORD("another client uses the same client id: set client_id");
	default:
		return NULL;
	}
}

void wt_feed_refusal_says(const struct wt_feed *feed, int code, bool version5,
			  char says[static WT_SAYS_SIZE])
{
	const char *word = refusal_word(code, version5);
	if (word)
		wt_says_make(says, "the broker at %s refuses us: %s", feed->uri, word);
	else
		wt_says_make(says, "the broker at %s refuses us (code 0x%02x)", feed->uri,
			     (unsigned)code);
}

/* --- why there is no connection ------------------------------------------------------------ */

static int stop_asked(void *context, curl_off_t a, curl_off_t b, curl_off_t c, curl_off_t d)
{
	struct wt_feed *feed = context;
	(void)a, (void)b, (void)c, (void)d;
	pthread_mutex_lock(&feed->lock);
	bool stop = feed->stop;
	pthread_mutex_unlock(&feed->lock);
	return stop;
}

static void set_look(CURL *look, struct wt_feed *feed, char *fault)
{
	const struct wt_config *config = feed->setup.config;
	curl_easy_setopt(look, CURLOPT_ERRORBUFFER, fault);
	curl_easy_setopt(look, CURLOPT_CONNECT_ONLY, 1L);
	curl_easy_setopt(look, CURLOPT_NOSIGNAL, 1L);
	curl_easy_setopt(look, CURLOPT_PROXY, "");
	curl_easy_setopt(look, CURLOPT_CONNECTTIMEOUT, LOOK_S);
	curl_easy_setopt(look, CURLOPT_NOPROGRESS, 0L);
	curl_easy_setopt(look, CURLOPT_XFERINFOFUNCTION, stop_asked);
	curl_easy_setopt(look, CURLOPT_XFERINFODATA, feed);
	curl_easy_setopt(look, CURLOPT_QUICK_EXIT, 1L);
	curl_easy_setopt(look, CURLOPT_SSLVERSION, (long)CURL_SSLVERSION_TLSv1_2);
	curl_easy_setopt(look, CURLOPT_SSL_ENABLE_ALPN, 0L);
	/* As wt_feed_connect_options() sets them for the library. */
	curl_easy_setopt(look, CURLOPT_CAINFO, config->broker_ca_file);
	curl_easy_setopt(look, CURLOPT_CAPATH, config->broker_ca_file ? NULL : "/etc/ssl/certs");
	if (config->broker_cert_file)
		curl_easy_setopt(look, CURLOPT_SSLCERT, config->broker_cert_file);
	if (config->broker_key_file)
		curl_easy_setopt(look, CURLOPT_SSLKEY, config->broker_key_file);
}

/* Results of a chain's check, RFC 5280 section 6 in the numbers of OpenSSL's x509_vfy.h. */
static const char *certificate_word(long verdict)
{
	switch (verdict) {
	case 9:
		return WT_SAYS_WORD(
			"its certificate is not valid yet; is the clock of this machine right?");
	case 10:
		return WT_SAYS_WORD(
			"its certificate has expired; renew it (or the clock of this machine is "
			"wrong)");
	case 18:
	case 19:
	case 20:
	case 21:
		return WT_SAYS_WORD("its certificate is not from an authority of ca_file");
	default:
		return NULL;
	}
}

static void describe(struct wt_feed *feed, CURL *look, CURLcode code, const char *fault,
		     struct wt_feed_reason *out)
{
	const struct wt_config *config = feed->setup.config;
	const char *word = fault[0] ? fault : curl_easy_strerror(code);
	long number = 0;
	switch (code) {
	case CURLE_OK:
		word = config->broker_tls ? WT_SAYS_WORD("it hangs up after TLS; does it want "
							 "cert_file and key_file?")
					  : WT_SAYS_WORD("it hangs up; does it want 'tls = yes'?");
		break;
	case CURLE_COULDNT_RESOLVE_HOST:
		word = WT_SAYS_WORD("no address is known for its name");
		break;
	case CURLE_COULDNT_CONNECT:
		curl_easy_getinfo(look, CURLINFO_OS_ERRNO, &number);
		word = number ? strerror((int)number) : word;
		break;
	case CURLE_OPERATION_TIMEDOUT:
		word = WT_SAYS_WORD("it does not answer");
		break;
	case CURLE_SSL_CONNECT_ERROR:
		word = WT_SAYS_WORD("it does not speak TLS at this port");
		break;
	case CURLE_PEER_FAILED_VERIFICATION:
		curl_easy_getinfo(look, CURLINFO_SSL_VERIFYRESULT, &number);
		/* The name is looked at after the chain, and has no number. */
		if (strstr(word, "subject name"))
			word = WT_SAYS_WORD("its certificate is for another host name");
		else if (certificate_word(number))
			word = certificate_word(number);
		out->needs_a_person = true;
		break;
	case CURLE_SSL_CACERT_BADFILE:
		word = WT_SAYS_WORD("ca_file cannot be used");
		out->needs_a_person = true;
		break;
	case CURLE_SSL_CERTPROBLEM:
		word = WT_SAYS_WORD("cert_file and key_file cannot be used");
		out->needs_a_person = true;
		break;
	default:
		break;
	}
	if (out->needs_a_person)
		wt_says_make(out->says, "no trust in the broker at %s: %.150s", feed->uri, word);
	else
		wt_says_make(out->says, "no connection to the broker at %s: %.150s", feed->uri,
			     word);
}

bool wt_feed_look(struct wt_feed *feed, struct wt_feed_reason *out)
{
	char fault[CURL_ERROR_SIZE] = "", *url = NULL;
	CURL *look = curl_easy_init();
	bool fine = false;
	*out = (struct wt_feed_reason){0};
	if (look && asprintf(&url, "%s%s", feed->setup.config->broker_tls ? "https" : "http",
			     strchr(feed->uri, ':')) >= 0) {
		set_look(look, feed, fault);
		curl_easy_setopt(look, CURLOPT_URL, url);
		CURLcode code = curl_easy_perform(look);
		/* The configuration may be gone once a stop is asked for. */
		fine = !stop_asked(feed, 0, 0, 0, 0);
		if (fine)
			describe(feed, look, code, fault, out);
		free(url);
	}
	curl_easy_cleanup(look);
	return fine;
}

/* --- how often it is said ------------------------------------------------------------------ */

bool wt_feed_may_say(struct wt_feed_voice *voice, double now_monotonic_s, unsigned *unsaid)
{
	if (!voice->begun) {
		voice->begun = true;
		voice->lines = LINES_AT_ONCE;
	} else {
		voice->lines += (now_monotonic_s - voice->at_s) / LINE_EVERY_S;
	}
	voice->at_s = now_monotonic_s;
	if (voice->lines > LINES_AT_ONCE)
		voice->lines = LINES_AT_ONCE;
	if (voice->lines < 1.0) {
		voice->unsaid++;
		return false;
	}
	voice->lines -= 1.0;
	*unsaid = voice->unsaid;
	voice->unsaid = 0;
	return true;
}

void wt_feed_say(struct wt_feed *feed, int level, const char *text)
{
	unsigned unsaid = 0;
	pthread_mutex_lock(&feed->lock);
	bool may = wt_feed_may_say(&feed->voice, wt_monotonic_s(), &unsaid);
	pthread_mutex_unlock(&feed->lock);
	if (may && unsaid)
		wt_log((enum wt_log_level)level, "%s (%u lines like this were left out before)",
		       text, unsaid);
	else if (may)
		wt_log((enum wt_log_level)level, "%s", text);
}
