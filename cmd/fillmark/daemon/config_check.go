// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"fmt"
	"net"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"fillmark/loops"
)

// mostCost is beyond what any unit needs.
const mostCost = 1e6

// Problems returns everything about the values that cannot be.
func (c Config) Problems() []error {
	var found []error
	wrong := func(key string, value any, right string) {
		found = append(found, &loops.InvalidError{Field: key, Value: fmt.Sprint(value), Reason: right})
	}
	found = append(found, c.storeProblems()...)
	for _, text := range []struct{ key, value string }{
		{"workshop.name", c.Workshop.Name}, {"workshop.phone", c.Workshop.Phone}, {"base_url", c.BaseURL}, {"mail.smtp.hello_name", c.Mail.SMTP.HelloName},
		{"mail.smtp.user", c.Mail.SMTP.User}, {"mail.smtp.address", c.Mail.SMTP.Address}, {"listen", c.Listen},
		{"mail.imap.user", c.Mail.IMAP.User}, {"mail.imap.address", c.Mail.IMAP.Address}, {"mail.imap.folder", c.Mail.IMAP.Folder},
	} {
		if strings.ContainsFunc(text.value, unicode.IsControl) {
			wrong(text.key, text.value, "one line without control characters")
		}
	}
	if !regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?$`).MatchString(c.Mail.DKIMSelector) {
		wrong("mail.dkim_selector", c.Mail.DKIMSelector, "letters, digits and hyphens such as fillmark, at most 63 (RFC 6376, section 3.1): it is a part of names in the DNS and of files")
	}
	if strings.TrimSpace(c.Workshop.Name) == "" {
		wrong("workshop.name", c.Workshop.Name, "the workshop's name")
	}
	if _, err := loops.LoadZone(c.Workshop.Zone); err != nil {
		wrong("workshop.zone", c.Workshop.Zone, "an IANA zone name such as Europe/Lisbon")
	}
	if _, _, err := net.SplitHostPort(c.Listen); err != nil {
		wrong("listen", c.Listen, "host:port, such as 127.0.0.1:8377")
	}
	if c.inTheClear() {
		wrong("listen", c.Listen, "a loopback address such as 127.0.0.1:8377: beyond it passwords would go over the network in the clear; or set own_certificate, tls_cert and tls_key, or trusted_proxy")
	}
	if u, err := url.Parse(c.Base()); c.BaseURL != "" && (err != nil || u.Host == "" || !slices.Contains([]string{"http", "https"}, u.Scheme) || strings.HasSuffix(c.BaseURL, "/")) {
		wrong("base_url", c.BaseURL, "an address such as https://loops.workshop.example, without a slash at its end, or none")
	}
	if (c.TLSCert == "") != (c.TLSKey == "") {
		wrong("tls_key", c.TLSKey, "the PEM file of the key that belongs to tls_cert; both or neither")
	}
	if c.TLSCert != "" && len(c.OwnCertificate) > 0 {
		wrong("own_certificate", strings.Join(c.OwnCertificate, ", "), "none beside tls_cert: the pages show one certificate")
	}
	for _, host := range c.OwnCertificate {
		if !isHost(host) {
			wrong("own_certificate", host, "names or addresses of this computer as phones in the workshop's network reach it, such as bench.home.arpa or 192.168.1.20")
		}
	}
	if _, err := c.proxy(); err != nil {
		wrong("trusted_proxy", c.TrustedProxy, "one address such as 127.0.0.1, or a prefix such as 10.1.0.0/24")
	}
	if !slices.Contains([]string{"maildir", "smtp"}, c.Mail.Transport) {
		wrong("mail.transport", c.Mail.Transport, "maildir or smtp")
	}
	if err := loops.CheckEmail("mail.from", c.Mail.From); err != nil {
		wrong("mail.from", c.Mail.From, "one address such as workshop@loops.example")
	}
	for _, a := range []struct{ key, address string }{{"mail.technician", c.Mail.Technician}, {"mail.bounce_address", c.Mail.BounceAddress}} {
		if a.address != "" && loops.CheckEmail(a.key, a.address) != nil {
			wrong(a.key, a.address, "one address such as workshop@loops.example, or none")
		}
	}
	if c.Mail.BounceMaildir != "" && c.Mail.BounceAddress == "" {
		wrong("mail.bounce_address", "", "the address whose mail arrives in mail.bounce_maildir")
	}
	if _, err := c.retryPlan(); err != nil {
		wrong("mail.retry", c.Mail.Retry, "waits of 1m to 168h such as [30m, 2h, 3h]; the list's end gives a message up")
	}
	if _, _, err := net.SplitHostPort(c.Mail.Resolver); c.Mail.Resolver != "" && err != nil {
		wrong("mail.resolver", c.Mail.Resolver, "host:port, such as 192.0.2.53:53, or none")
	}
	if c.Mail.SMTP.PerMinute < 0 || c.Mail.SMTP.PerMinute > 60_000 {
		wrong("mail.smtp.per_minute", c.Mail.SMTP.PerMinute, "0 to 60000, 0 for no bound")
	}
	if !slices.Contains(loops.Languages(), loops.Language(c.Mail.Language)) {
		wrong("mail.language", c.Mail.Language, "one of: "+strings.Trim(fmt.Sprint(loops.Languages()), "[]"))
	}
	if c.Mail.SendHour < 0 || c.Mail.SendHour > 23 {
		wrong("mail.send_hour", c.Mail.SendHour, "an hour from 0 to 23")
	}
	if _, _, err := net.SplitHostPort(c.Mail.SMTP.Address); err != nil {
		wrong("mail.smtp.address", c.Mail.SMTP.Address, "host:port, such as relay.workshop.example:587")
	}
	if !slices.Contains([]string{"none", "starttls", "tls"}, c.Mail.SMTP.TLS) {
		wrong("mail.smtp.tls", c.Mail.SMTP.TLS, "none, starttls or tls")
	}
	if c.Mail.SMTP.User != "" && c.Mail.SMTP.TLS == "none" {
		wrong("mail.smtp.tls", c.Mail.SMTP.TLS, "starttls or tls where a login is set: a password never goes in the clear")
	}
	c.Mail.SMTP.problems("mail.smtp", wrong)
	c.Mail.IMAP.problems("mail.imap", wrong)
	if c.Mail.IMAP.Address != "" {
		if _, _, err := net.SplitHostPort(c.Mail.IMAP.Address); err != nil {
			wrong("mail.imap.address", c.Mail.IMAP.Address, "host:port, such as imap.workshop.example:993, or none")
		}
		if c.Mail.IMAP.User == "" {
			wrong("mail.imap.user", c.Mail.IMAP.User, "who reads the mailbox at mail.imap.address")
		}
		if c.Mail.IMAP.Login == byPassword && c.Mail.IMAP.PasswordFile == "" {
			wrong("mail.imap.password_file", "", "a file with the password of mail.imap.user alone, or login: oauth")
		}
	}
	if !slices.Contains([]string{"starttls", "tls"}, c.Mail.IMAP.TLS) {
		wrong("mail.imap.tls", c.Mail.IMAP.TLS, "starttls or tls: a password never goes in the clear")
	}
	if c.Mail.SMTP.Login == byOAuth || c.Mail.IMAP.Login == byOAuth {
		for _, o := range []struct{ key, value, right string }{
			{"mail.oauth.token_url", c.Mail.OAuth.TokenURL, "the https address of your mail host's token server"},
			{"mail.oauth.client_id", c.Mail.OAuth.ClientID, "the id under which your mail host knows this program"},
			{"mail.oauth.refresh_token_file", c.Mail.OAuth.RefreshTokenFile, "a file with the refresh token alone"},
		} {
			if o.value == "" {
				wrong(o.key, o.value, o.right)
			}
		}
	}
	found = append(found, c.alarmProblems()...)
	if err := checkCron(c.Sweep.Cron); err != nil {
		wrong("sweep.cron", c.Sweep.Cron, "five fields such as \"5 * * * *\": "+err.Error())
	}
	if c.Sweep.EveryMinutes < 1 || c.Sweep.EveryMinutes > 1440 {
		wrong("sweep.every_minutes", c.Sweep.EveryMinutes, "1 to 1440 minutes")
	}
	for _, cost := range []struct {
		key          string
		value, least float64
	}{
		{"policy.costs.visit", c.Policy.Costs.Visit, 0.01}, {"policy.costs.wasted_service", c.Policy.Costs.WastedService, 0},
		{"policy.costs.failure", c.Policy.Costs.Failure, 0.01},
	} {
		if !(cost.value >= cost.least && cost.value <= mostCost) {
			wrong(cost.key, cost.value, fmt.Sprintf("a cost of %g to %g, all three in one unit", cost.least, mostCost))
		}
	}
	found = append(found, c.backupProblems()...)
	if _, err := c.policy(); err != nil {
		found = append(found, err)
	}
	return found
}

// alarmProblems are what cannot be about alarms.
func (c Config) alarmProblems() []error {
	var found []error
	wrong := func(key string, value any, right string) {
		found = append(found, &loops.InvalidError{Field: key, Value: fmt.Sprint(value), Reason: right})
	}
	if c.Alarm.AgainHours < 1 || c.Alarm.AgainHours > 24*30 {
		wrong("alarm.again_hours", c.Alarm.AgainHours, "1 to 720 hours")
	}
	if c.Alarm.CanaryHours < 0 || c.Alarm.CanaryHours > 24*30 {
		wrong("alarm.canary_hours", c.Alarm.CanaryHours, "1 to 720 hours, or 0 to send none")
	}
	for _, a := range []struct{ key, address string }{{"alarm.webhook.url", c.Alarm.Webhook.URL}, {"alarm.post.url", c.Alarm.Post.URL}} {
		u, err := url.Parse(a.address)
		if a.address != "" && (err != nil || u.Host == "" || !slices.Contains([]string{"http", "https"}, u.Scheme)) {
			wrong(a.key, "(hidden)", "an address such as https://alarms.workshop.example/topic, or none") // it may be a secret
		}
	}
	if (c.Alarm.Webhook.URL == "") != (c.Alarm.Webhook.SecretFile == "") {
		wrong("alarm.webhook.secret_file", c.Alarm.Webhook.SecretFile, "the file with the secret that the webhook is signed with; url and secret_file, or neither")
	}
	if c.Alarm.Post.TokenFile != "" && c.Alarm.Post.URL == "" {
		wrong("alarm.post.url", "", "where the token of alarm.post.token_file is for; both or neither")
	}
	if len(c.Alarm.Command) > 0 && !filepath.IsAbs(c.Alarm.Command[0]) {
		wrong("alarm.command", c.Alarm.Command[0], "the whole path of a program, and its arguments, as in [/usr/local/bin/pager, --loud]")
	}
	return found
}
