// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	_ "embed"
	"path/filepath"
	"time"

	"fillmark/loops"
)

// configExample is the commented file that `config example` prints. A test
// holds it to the defaults.
//
//go:embed config.example.yaml
var configExample string

// config is everything a workshop can set: one YAML file, overridden by
// FILLMARK_… variables. Every default works. Secrets are in files named here,
// never here.
type config struct {
	Store string `mapstructure:"store"` // path of the register

	Workshop struct {
		Name  string `mapstructure:"name"`
		Phone string `mapstructure:"phone"`
		Zone  string `mapstructure:"zone"` // IANA name
	} `mapstructure:"workshop"`

	Listen  string `mapstructure:"listen"`   // host:port of the pages
	BaseURL string `mapstructure:"base_url"` // where owners' links lead
	// TLSCert and TLSKey are PEM files; both empty: no TLS of our own.
	TLSCert string `mapstructure:"tls_cert"`
	TLSKey  string `mapstructure:"tls_key"`
	// TrustedProxy is the address or prefix of a proxy that has the
	// certificate and tells who asks; empty: none.
	TrustedProxy string `mapstructure:"trusted_proxy"`

	Mail struct {
		Transport    string `mapstructure:"transport"` // maildir or smtp
		Maildir      string `mapstructure:"maildir"`   // empty: "mail" beside the register
		From         string `mapstructure:"from"`
		SendHour     int    `mapstructure:"send_hour"` // owner-local, 0 to 23
		DKIMSelector string `mapstructure:"dkim_selector"`
		DKIMKeyFile  string `mapstructure:"dkim_key_file"` // empty: not signed unless a key lies beside the register
		SMTP         struct {
			Address      string `mapstructure:"address"` // host:port
			HelloName    string `mapstructure:"hello_name"`
			TLS          string `mapstructure:"tls"` // none, starttls or tls (implicit)
			User         string `mapstructure:"user"`
			PasswordFile string `mapstructure:"password_file"`
		} `mapstructure:"smtp"`
	} `mapstructure:"mail"`

	Sweep struct {
		Cron         string `mapstructure:"cron"`
		EveryMinutes int    `mapstructure:"every_minutes"`
	} `mapstructure:"sweep"`
}

// defaultConfig is what a workshop without a file gets.
func defaultConfig(env map[string]string) config {
	var c config
	c.Store = filepath.Join(dataHome(env), "fillmark", "register.db")
	c.Workshop.Name = "The workshop"
	c.Workshop.Zone = "UTC"
	c.Listen = "127.0.0.1:8377"
	c.BaseURL = "http://127.0.0.1:8377"
	c.Mail.Transport = "maildir"
	c.Mail.From = "workshop@fillmark.example"
	c.Mail.SendHour = 8
	c.Mail.DKIMSelector = "fillmark"
	c.Mail.SMTP.Address = "127.0.0.1:25"
	c.Mail.SMTP.TLS = "starttls"
	c.Sweep.Cron = "5 * * * *"
	c.Sweep.EveryMinutes = 10
	return c
}

// dataHome follows the XDG base directory specification.
func dataHome(env map[string]string) string {
	if dir := env["XDG_DATA_HOME"]; filepath.IsAbs(dir) {
		return dir
	}
	return filepath.Join(env["HOME"], ".local", "share")
}

// zone returns the workshop's zone; the name was checked when loaded.
func (c config) zone() *time.Location {
	zone, err := loops.LoadZone(c.Workshop.Zone)
	if err != nil {
		return time.UTC
	}
	return zone
}

// maildir is where mail goes when no relay is set, and socket where the
// daemon listens: both beside the register.
func (c config) maildir() string {
	if c.Mail.Maildir != "" {
		return c.Mail.Maildir
	}
	return filepath.Join(filepath.Dir(c.Store), "mail")
}

func (c config) socket() string { return filepath.Join(filepath.Dir(c.Store), "fillmark.sock") }

func (c config) linkKeyFile() string {
	return filepath.Join(filepath.Dir(c.Store), "keys", "links.key")
}

func (c config) dkimKeyFile() string {
	if c.Mail.DKIMKeyFile != "" {
		return c.Mail.DKIMKeyFile
	}
	return filepath.Join(filepath.Dir(c.Store), "keys", c.Mail.DKIMSelector+".pem")
}
