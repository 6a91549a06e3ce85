// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	_ "embed"
	"errors"
	"fmt"
	"maps"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/go-viper/mapstructure/v2"
	"github.com/spf13/viper"
	"go.yaml.in/yaml/v3"

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

// configError is a configuration that stops the start: file, key, value and
// what would be right, one line a problem.
type configError struct {
	file     string
	problems []error
}

func (e *configError) Error() string {
	lines := make([]string, len(e.problems))
	for i, p := range e.problems {
		lines[i] = e.file + ": " + p.Error()
	}
	return strings.Join(lines, "\n")
}

func (e *configError) Unwrap() []error { return e.problems }

// loadConfig reads the file (none where the name is empty) and the FILLMARK_…
// variables over the defaults, strictly: a key that does not exist, a value of
// the wrong type or an impossible one is an error.
func loadConfig(file string, env map[string]string) (config, error) {
	c := defaultConfig(env)
	v := viper.NewWithOptions(viper.KeyDelimiter("."))
	defaults := map[string]any{}
	if err := mapstructure.Decode(c, &defaults); err != nil {
		return c, fmt.Errorf("config: defaults: %w", err)
	}
	if err := v.MergeConfigMap(defaults); err != nil {
		return c, fmt.Errorf("config: defaults: %w", err)
	}
	known := v.AllKeys()
	name := "environment"
	if file != "" {
		name = file
		if err := checkFileKeys(file, known); err != nil {
			return c, err
		}
		v.SetConfigFile(file)
		v.SetConfigType("yaml")
		if err := v.MergeInConfig(); err != nil {
			return c, &configError{file, []error{fmt.Errorf("is no YAML that can be read: %w", err)}}
		}
	}
	if err := mergeEnvironment(v, env, known); err != nil {
		return c, err
	}
	if err := v.UnmarshalExact(&c, strictTypes); err != nil {
		return c, &configError{name, typeProblems(err)}
	}
	if problems := c.problems(); len(problems) > 0 {
		return c, &configError{name, problems}
	}
	return c, nil
}

func strictTypes(d *mapstructure.DecoderConfig) {
	d.WeaklyTypedInput = false
	d.ErrorUnused = true
}

// checkFileKeys refuses keys that do not exist, and keys that differ only in
// case, before viper folds them: viper would ignore the first of such a pair.
func checkFileKeys(file string, known []string) error {
	raw, err := os.ReadFile(file)
	if err != nil {
		return &configError{file, []error{fmt.Errorf("cannot be read: %w", err)}}
	}
	var tree map[string]any
	if err := yaml.Unmarshal(raw, &tree); err != nil {
		return &configError{file, []error{fmt.Errorf("is no YAML that can be read: %w", err)}}
	}
	var problems []error
	walkKeys(tree, "", func(key string) {
		if !slices.Contains(known, key) {
			problems = append(problems, fmt.Errorf("%s: there is no such key; config example lists them all", key))
		}
	})
	if len(problems) > 0 {
		return &configError{file, problems}
	}
	return nil
}

// walkKeys calls visit with the dotted name of every leaf, in order.
func walkKeys(tree map[string]any, prefix string, visit func(string)) {
	for _, name := range slices.Sorted(maps.Keys(tree)) {
		if branch, ok := tree[name].(map[string]any); ok {
			walkKeys(branch, prefix+name+".", visit)
			continue
		}
		visit(prefix + name)
	}
}

// mergeEnvironment lays FILLMARK_MAIL_FROM over mail.from and so on, and
// refuses a FILLMARK_ variable that means no key: a misspelt one would
// otherwise be ignored in silence.
func mergeEnvironment(v *viper.Viper, env map[string]string, known []string) error {
	names := map[string]string{}
	for _, key := range known {
		names["FILLMARK_"+strings.ToUpper(strings.ReplaceAll(key, ".", "_"))] = key
	}
	var problems []error
	for name, value := range env {
		if !strings.HasPrefix(name, "FILLMARK_") || slices.Contains(foreignVariables, name) {
			continue
		}
		key, ok := names[name]
		if !ok {
			problems = append(problems, fmt.Errorf("%s: no key has this name; config example lists them all", name))
			continue
		}
		var typed any = value
		if reflect.TypeOf(v.Get(key)).Kind() == reflect.Int {
			if err := yaml.Unmarshal([]byte(value), &typed); err != nil {
				typed = value
			}
		}
		v.Set(key, typed)
	}
	if len(problems) > 0 {
		return &configError{"environment", problems}
	}
	return nil
}

// foreignVariables begin with FILLMARK_ but belong to tests and campaigns.
var foreignVariables = []string{"FILLMARK_CAMPAIGN", "FILLMARK_CAMPAIGN_SEED"}

// typeProblems makes mapstructure's joined message into one error a problem.
func typeProblems(err error) []error {
	var joined interface{ Unwrap() []error }
	if errors.As(err, &joined) {
		return joined.Unwrap()
	}
	return []error{err}
}

// problems returns everything about the values that cannot be.
func (c config) problems() []error {
	var found []error
	wrong := func(key string, value any, right string) {
		found = append(found, &loops.InvalidError{Field: key, Value: fmt.Sprint(value), Reason: right})
	}
	if c.Store == "" {
		wrong("store", c.Store, "the path of the register")
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
	if u, err := url.Parse(c.BaseURL); err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") || strings.HasSuffix(c.BaseURL, "/") {
		wrong("base_url", c.BaseURL, "an address such as https://loops.workshop.example, without a slash at its end")
	}
	if !slices.Contains([]string{"maildir", "smtp"}, c.Mail.Transport) {
		wrong("mail.transport", c.Mail.Transport, "maildir or smtp")
	}
	if err := loops.CheckEmail("mail.from", c.Mail.From); err != nil {
		wrong("mail.from", c.Mail.From, "one address such as workshop@loops.example")
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
	if err := checkCron(c.Sweep.Cron); err != nil {
		wrong("sweep.cron", c.Sweep.Cron, "five fields such as \"5 * * * *\": "+err.Error())
	}
	if c.Sweep.EveryMinutes < 1 || c.Sweep.EveryMinutes > 1440 {
		wrong("sweep.every_minutes", c.Sweep.EveryMinutes, "1 to 1440 minutes")
	}
	return found
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
