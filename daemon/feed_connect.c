/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * What a connection is made with.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "daemon/feed_inner.h"

#define SESSION_EXPIRY_S (7 * 24 * 3600)
/* A payload of 64 KiB with its topic and properties. */
#define PACKET_MAX (80 * 1024)

/* The files are looked at for each attempt: a mended one is taken without a restart. */
static bool read_secrets(struct wt_feed *feed, char *why, size_t why_size)
{
	const struct wt_config *config = feed->setup.config;
	char *said = NULL;
	size_t size = 0;
	FILE *errors = open_memstream(&said, &size);
	bool fine = errors && wt_config_secrets_check(config, errors);

	free(feed->password);
	feed->password = NULL;
	if (fine && config->broker_password_file) {
		feed->password = wt_config_secret_read(config->broker_password_file, errors);
		fine = feed->password != NULL;
	}
	if (errors)
		fclose(errors);
	if (!fine)
		snprintf(why, why_size, "%.*s", said ? (int)strcspn(said, "\n") : 0,
			 said ? said : "");
	free(said);
	return fine;
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
	if (!read_secrets(feed, why, why_size))
		return false;
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
