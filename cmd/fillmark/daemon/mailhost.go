// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"
	"strings"

	"fillmark/notify"
	"fillmark/notify/login"
	"fillmark/notify/mailbox"
)

// MailHost is how the relay or the mailbox is reached.
type MailHost struct {
	Address      string `mapstructure:"address"` // host:port
	TLS          string `mapstructure:"tls"`     // none, starttls or tls (implicit)
	User         string `mapstructure:"user"`
	Login        string `mapstructure:"login"` // password or oauth
	PasswordFile string `mapstructure:"password_file"`
	// CAFile has the certificates that alone are trusted, in PEM; empty: those of
	// the system. ClientCert and ClientKey are shown where the host asks for them.
	CAFile     string `mapstructure:"ca_file"`
	ClientCert string `mapstructure:"client_cert"`
	ClientKey  string `mapstructure:"client_key"`
}

// The ways to log in.
const (
	byPassword = "password"
	byOAuth    = "oauth"
)

// problems tells what cannot be; section is mail.smtp or mail.imap.
func (m MailHost) problems(section string, wrong func(key string, value any, right string)) {
	if m.Login != byPassword && m.Login != byOAuth {
		wrong(section+".login", m.Login, "password or oauth")
	}
	if m.Login == byOAuth && m.User == "" {
		wrong(section+".user", m.User, "the address that logs in")
	}
	if m.Login == byOAuth && m.PasswordFile != "" {
		wrong(section+".password_file", m.PasswordFile, "none where login is oauth")
	}
	if (m.ClientCert == "") != (m.ClientKey == "") {
		wrong(section+".client_key", m.ClientKey, "the PEM file of the key that belongs to client_cert; both or neither")
	}
}

// password reads the file with the password; empty where there is none.
func (m MailHost) password() (notify.Secret, error) {
	if m.PasswordFile == "" {
		return "", nil
	}
	text, err := readSecret(m.PasswordFile)
	return notify.Secret(text), err
}

// readSecret reads a file that nobody else may read, without its line end.
func readSecret(path string) (string, error) {
	content, err := os.ReadFile(path)
	if err == nil {
		err = keptSecret(path)
	}
	return strings.TrimRight(string(content), "\r\n"), err
}

// certificates are the TLS settings of the host; nil takes the system's.
func (m MailHost) certificates(section string) (*tls.Config, error) {
	if m.CAFile == "" && m.ClientCert == "" {
		return nil, nil
	}
	config := &tls.Config{MinVersion: tls.VersionTLS12}
	if m.CAFile != "" {
		content, err := os.ReadFile(m.CAFile)
		if err != nil {
			return nil, fmt.Errorf("%s.ca_file: %w", section, err)
		}
		config.RootCAs = x509.NewCertPool()
		if !config.RootCAs.AppendCertsFromPEM(content) {
			return nil, &SettingError{fmt.Errorf("%s.ca_file %q: it holds no certificate; certificates in PEM are right", section, m.CAFile)}
		}
	}
	if m.ClientCert != "" {
		if err := keptSecret(m.ClientKey); err != nil {
			return nil, fmt.Errorf("%s.client_key: %w", section, err)
		}
		pair, err := tls.LoadX509KeyPair(m.ClientCert, m.ClientKey)
		if err != nil {
			return nil, &SettingError{fmt.Errorf("%s.client_cert %q, client_key %q: %w; the PEM files of one certificate and its key are right", section, m.ClientCert, m.ClientKey, err)}
		}
		config.Certificates = []tls.Certificate{pair}
	}
	return config, nil
}

// tokens are what logs in by OAuth 2.0; nil where neither relay nor mailbox does.
// Both share them, since one refresh token may be good for one renewal only.
func (c Config) tokens() (*login.Tokens, error) {
	if c.Mail.SMTP.Login != byOAuth && c.Mail.IMAP.Login != byOAuth {
		return nil, nil
	}
	o := login.Options{TokenURL: c.Mail.OAuth.TokenURL, ClientID: c.Mail.OAuth.ClientID, Scopes: c.Mail.OAuth.Scopes, RefreshFile: c.Mail.OAuth.RefreshTokenFile}
	if err := keptSecret(o.RefreshFile); err != nil {
		return nil, fmt.Errorf("mail.oauth.refresh_token_file: %w", err)
	}
	if c.Mail.OAuth.ClientSecretFile != "" {
		var err error
		if o.ClientSecret, err = readSecret(c.Mail.OAuth.ClientSecretFile); err != nil {
			return nil, fmt.Errorf("mail.oauth.client_secret_file: %w", err)
		}
	}
	tokens, err := login.New(o)
	if err != nil {
		return nil, fmt.Errorf("mail.oauth: %w", err)
	}
	return tokens, nil
}

// mailboxName is the mailbox that is read, as people are told of it.
func (c Config) mailboxName() string { return c.Mail.IMAP.Folder + " at " + c.Mail.IMAP.Address }

// mailbox is the workshop's own; nil where none is read.
func (c Config) mailbox(tokens *login.Tokens) (*mailbox.Mailbox, error) {
	m := c.Mail.IMAP
	if m.Address == "" {
		return nil, nil
	}
	o := mailbox.Options{Address: m.Address, Security: notify.Security(m.TLS), Username: m.User, Folder: m.Folder}
	var err error
	if o.TLS, err = m.certificates("mail.imap"); err != nil {
		return nil, err
	}
	if m.Login == byOAuth {
		o.Tokens = tokens
	} else if o.Password, err = m.password(); err != nil {
		return nil, fmt.Errorf("mail.imap.password_file: %w", err)
	}
	box, err := mailbox.New(o)
	if err != nil {
		return nil, fmt.Errorf("mail.imap: %w", err)
	}
	return box, nil
}
