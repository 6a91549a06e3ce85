// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"crypto/tls"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/netip"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"golang.org/x/net/publicsuffix"

	"fillmark/cmd/fillmark/authority"
)

// certificateSource is what the pages show a browser, as [tls.Config.GetCertificate].
type certificateSource func(*tls.ClientHelloInfo) (*tls.Certificate, error)

// shown is what the pages show, and the workshop's own authority, which phones
// are told to trust; nil each where there is none.
type shown struct {
	certificate certificateSource
	authority   *authority.Public
}

// secure tells that the pages have a certificate.
func (c Config) secure() bool { return c.TLSCert != "" || len(c.OwnCertificate) > 0 }

// certificate reads the configured certificate; nil where there is none, or where
// the workshop's own authority makes it.
func (c Config) certificate() (*tls.Certificate, error) {
	if c.TLSCert == "" {
		return nil, nil
	}
	pair, err := tls.LoadX509KeyPair(c.TLSCert, c.TLSKey)
	if err != nil {
		return nil, &SettingError{fmt.Errorf("tls_cert %q, tls_key %q: %w; the PEM files of one certificate and its key are right", c.TLSCert, c.TLSKey, err)}
	}
	return &pair, nil
}

// shown is what the pages show from now on: the configured certificate as it is
// now, or one of the workshop's own authority, which is made at the first start.
func (c Config) shown(now func() time.Time) (shown, error) {
	if len(c.OwnCertificate) > 0 {
		err := keptSecret(authority.Path(c.authorityDir()))
		if errors.Is(err, fs.ErrNotExist) {
			err = nil // made now
		}
		var a *authority.Authority
		if err == nil {
			a, err = authority.Open(c.authorityDir(), c.Workshop.Name, c.OwnCertificate, now)
		}
		if err != nil {
			return shown{}, &SettingError{fmt.Errorf("own_certificate: %w", err)}
		}
		public := a.Public()
		return shown{a.Certificate, &public}, nil
	}
	pair, err := c.certificate()
	if pair == nil {
		return shown{}, err
	}
	return shown{certificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return pair, nil }}, nil
}

// authorityDir is where the workshop's own authority lies. No backup and no
// export reads it.
func (c Config) authorityDir() string { return filepath.Join(c.Beside(), "authority") }

// certificateEnds is when what the pages show ends; the zero time where they show
// none, or where the authority will be made at the start.
func (c Config) certificateEnds(now time.Time) (time.Time, error) {
	if len(c.OwnCertificate) > 0 {
		a, err := authority.Read(c.authorityDir(), c.OwnCertificate, func() time.Time { return now })
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return time.Time{}, nil
		case err != nil:
			return time.Time{}, &SettingError{fmt.Errorf("own_certificate: %w", err)}
		}
		return a.Ends(), nil
	}
	pair, err := c.certificate()
	if pair == nil {
		return time.Time{}, err
	}
	return pair.Leaf.NotAfter, nil
}

// certificateServed is when the certificate ends that the daemon shows; the zero
// time where it shows none.
func (h *Service) certificateServed() time.Time {
	show := h.shown.Load()
	if show == nil || show.certificate == nil {
		return time.Time{}
	}
	served, err := show.certificate(nil)
	if err != nil {
		return time.Time{}
	}
	return served.Leaf.NotAfter
}

// authority is what phones are told to trust; nil where there is none.
func (h *Service) authority() *authority.Public {
	if show := h.shown.Load(); show != nil {
		return show.authority
	}
	return nil
}

// isHost tells a name or an address that phones can reach this computer by. It is
// the full name of one computer: what many share, such as com or home.arpa, would
// let the authority vouch for all of them.
func isHost(host string) bool {
	if at, err := netip.ParseAddr(host); err == nil {
		return !at.IsUnspecified() && !at.IsMulticast() && at.Zone() == ""
	}
	if suffix, _ := publicsuffix.PublicSuffix(strings.ToLower(host)); suffix == strings.ToLower(host) {
		return false
	}
	return len(host) <= 253 && regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?(\.[A-Za-z0-9]([A-Za-z0-9-]*[A-Za-z0-9])?)*$`).MatchString(host)
}

// benchAt is where phones in the workshop's network open the bench; empty where
// the workshop has no authority of its own.
func (c Config) benchAt() string {
	_, port, err := net.SplitHostPort(c.Listen)
	if err != nil || len(c.OwnCertificate) == 0 {
		return ""
	}
	return "https://" + net.JoinHostPort(c.OwnCertificate[0], port)
}
