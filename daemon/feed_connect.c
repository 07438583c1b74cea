/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a connection is made with, and what a broker's refusal means.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/feed_inner.h"

#define SESSION_EXPIRY_S (7 * 24 * 3600)
/* A payload of 64 KiB with its topic and properties. */
#define PACKET_MAX (80 * 1024)

static char *read_secret(const char *path, char *why, size_t why_size)
{
	FILE *errors = fmemopen(why, why_size, "w");
	char *secret = errors ? wt_config_secret_read(path, errors) : NULL;

	if (errors)
		fclose(errors);
	why[strcspn(why, "\n")] = '\0';
	return secret;
}

static void tls_options(const struct wt_config *config, MQTTAsync_SSLOptions *ssl)
{
	*ssl = (MQTTAsync_SSLOptions)MQTTAsync_SSLOptions_initializer;
	/* The library's default checks the chain and not the name. */
	ssl->verify = 1;
	ssl->enableServerCertAuth = 1;
	ssl->sslVersion = MQTT_SSL_VERSION_TLS_1_2;
	if (config->broker_ca_file) {
		ssl->trustStore = config->broker_ca_file;
		ssl->disableDefaultTrustStore = 1;
	} else {
		ssl->CApath = "/etc/ssl/certs";
	}
	ssl->keyStore = config->broker_cert_file;
	ssl->privateKey = config->broker_key_file;
}

bool wt_feed_connect_options(struct wt_feed *feed, MQTTAsync_connectOptions *options,
			     MQTTAsync_SSLOptions *ssl, MQTTProperties *properties, char *why,
			     size_t why_size)
{
	const struct wt_config *config = feed->setup.config;
	MQTTProperty property;
	free(feed->password);
	feed->password = NULL;
	if (config->broker_password_file) {
		feed->password = read_secret(config->broker_password_file, why, why_size);
		if (!feed->password)
			return false;
	}
	if (config->broker_version == 5) {
		*options = (MQTTAsync_connectOptions)MQTTAsync_connectOptions_initializer5;
		options->cleanstart = feed->setup.passing;
		property.identifier = MQTTPROPERTY_CODE_SESSION_EXPIRY_INTERVAL;
		property.value.integer4 = feed->setup.passing ? 0 : SESSION_EXPIRY_S;
		MQTTProperties_add(properties, &property);
		property.identifier = MQTTPROPERTY_CODE_MAXIMUM_PACKET_SIZE;
		property.value.integer4 = PACKET_MAX;
		MQTTProperties_add(properties, &property);
		options->connectProperties = properties;
	} else {
		*options = (MQTTAsync_connectOptions)MQTTAsync_connectOptions_initializer;
		options->MQTTVersion = MQTTVERSION_3_1_1;
		options->cleansession = feed->setup.passing;
	}
	options->keepAliveInterval = WT_FEED_KEEPALIVE_S;
	options->connectTimeout = 10;
	/* Attempts are ours: each one's reason is heard, which the library's own would not tell. */
	options->automaticReconnect = 0;
	options->username = config->broker_user;
	options->password = feed->password;
	options->context = feed;
	if (config->broker_tls) {
		tls_options(config, ssl);
		options->ssl = ssl;
	}
	return true;
}

/* CONNACK return codes of MQTT 3.1.1, table 3.1; reason codes of MQTT 5.0, section 3.2.2.2. */
static const char *refusal_word(int code, bool version5)
{
	if (!version5) {
		static const char *const words[] = {
			NULL,
			"it does not speak MQTT 3.1.1",
			"it does not accept the client id",
			"it is not available",
			"user or password is wrong",
			"not authorised: set user and password_file, or let this client in"};
		return code >= 1 && code <= 5 ? words[code] : NULL;
	}
	switch (code) {
	case 0x84:
		return "it does not speak MQTT 5; try version = 3";
	case 0x85:
		return "it does not accept the client id";
	case 0x86:
		return "user or password is wrong";
	case 0x87:
		return "not authorised: set user and password_file, or let this client in";
	case 0x88:
	case 0x89:
		return "it is not available";
	case 0x8a:
		return "it has banned this client";
	case 0x8e:
		return "another client uses the same client id: set client_id";
	default:
		return NULL;
	}
}

void wt_feed_refusal_text(const struct wt_feed *feed, int code, bool version5, char *out,
			  size_t size)
{
	const char *word = refusal_word(code, version5);
	if (word)
		snprintf(out, size, "the broker at %s refuses us: %s", feed->uri, word);
	else
		snprintf(out, size, "the broker at %s refuses us (code 0x%02x)", feed->uri,
			 (unsigned)code);
}
