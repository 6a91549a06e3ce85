// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"crypto/tls"
	"errors"
	"fmt"
	"log"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"regexp"
	"time"

	"fillmark/cmd/fillmark/signin"
)

// SettingError is a setting that the daemon cannot serve with; it says which
// would be right.
type SettingError struct{ err error }

// Error is the setting, its value and what would be right.
func (e *SettingError) Error() string { return e.err.Error() }

// Unwrap returns what is wrong.
func (e *SettingError) Unwrap() error { return e.err }

// BindPages takes the address of the pages. It comes before anything that says
// where they are: what is printed is then ours and nobody else's.
func BindPages(address string) (net.Listener, error) {
	l, err := net.Listen("tcp", address)
	switch {
	case errors.Is(err, errAddressTaken):
		return nil, fmt.Errorf("listen: %q is taken by another program; another port is right, such as --listen 127.0.0.1:0 for any that is free", address)
	case err != nil:
		return nil, fmt.Errorf("listen: %w", err)
	}
	return l, nil
}

// On is the configuration with its pages on a listener: where base_url is not set
// they are there, and on nobody else's port.
func (c Config) On(pages net.Listener) Config {
	c.Listen = pages.Addr().String()
	return c
}

// Base is the pages' address: base_url or, where that is not set, the one on this
// computer.
func (c Config) Base() string {
	if c.BaseURL != "" {
		return c.BaseURL
	}
	scheme := "http://"
	if c.secure() {
		scheme = "https://"
	}
	host, port, err := net.SplitHostPort(c.Listen)
	if err != nil {
		return scheme + c.Listen // refused for itself
	}
	if at, err := netip.ParseAddr(host); host == "" || err == nil && at.IsUnspecified() {
		host = "127.0.0.1"
	}
	return scheme + net.JoinHostPort(host, port)
}

// guardPages returns the pages' listener, with TLS where it is configured, and
// their address as people type it. Beyond loopback it takes a technician with
// a password, and a certificate or a declared proxy.
func guardPages(c Config, l net.Listener, gate *signin.Gate, show certificateSource) (net.Listener, string, error) {
	if err := mayListen(c, l.Addr().String(), gate); err != nil {
		return nil, "", err
	}
	if show == nil {
		return l, "http://" + l.Addr().String(), nil
	}
	// The standard library's choice of versions and ciphers is the one kept up
	// to date.
	secure := tls.NewListener(l, &tls.Config{GetCertificate: show, NextProtos: []string{"http/1.1"}})
	return secure, "https://" + l.Addr().String(), nil
}

// mayListen refuses an address that others reach while nothing keeps them out
// or somebody could listen in.
func mayListen(c Config, address string, gate *signin.Gate) error {
	if isLoopback(address) {
		return nil
	}
	closed, err := gate.Closed()
	switch {
	case err != nil:
		return err
	case !closed:
		return &SettingError{fmt.Errorf("listen: %q is not a loopback address, and no technician has a password yet; fillmark technician add NAME comes first, or 127.0.0.1:8377 is right", c.Listen)}
	case !c.secure() && c.TrustedProxy == "":
		return &SettingError{fmt.Errorf("listen: %q is not a loopback address, and passwords would go over the network in the clear; set own_certificate, tls_cert and tls_key, or trusted_proxy", c.Listen)}
	}
	return nil
}

// inTheClear tells, of an address that is written as one, what [mayListen] says
// of where a name leads: others reach it, and could listen in.
func (c Config) inTheClear() bool {
	host, _, err := net.SplitHostPort(c.Listen)
	if err != nil || c.secure() || c.TrustedProxy != "" {
		return false
	}
	at, err := netip.ParseAddr(host)
	return host == "" || err == nil && !at.Unmap().IsLoopback()
}

// isLoopback tells whether only this computer reaches the address.
func isLoopback(address string) bool {
	at, err := netip.ParseAddrPort(address)
	return err == nil && at.Addr().Unmap().IsLoopback()
}

// proxy is the declared proxy as a prefix; the zero value where there is none.
func (c Config) proxy() (netip.Prefix, error) {
	if c.TrustedProxy == "" {
		return netip.Prefix{}, nil
	}
	if address, err := netip.ParseAddr(c.TrustedProxy); err == nil {
		return address.Unmap().Prefix(address.Unmap().BitLen())
	}
	return netip.ParsePrefix(c.TrustedProxy)
}

// MayOpenBench refuses an open bench where anybody beyond this computer could
// come to it.
func (c Config) MayOpenBench() error {
	if c.OpenBench && !c.onlyHere() {
		return &SettingError{fmt.Errorf("open-bench: listen %q, base_url %q; an open bench is for this computer alone, so 127.0.0.1:8377, no base_url and no trusted_proxy are right", c.Listen, c.BaseURL)}
	}
	return nil
}

// onlyHere tells that nothing in the configuration is for anybody beyond this
// computer.
func (c Config) onlyHere() bool {
	base, err := url.Parse(c.Base())
	if err != nil || c.TrustedProxy != "" {
		return false
	}
	host, _, err := net.SplitHostPort(c.Listen)
	return err == nil && isLoopbackName(host) && isLoopbackName(base.Hostname())
}

func isLoopbackName(host string) bool {
	address, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && address.Unmap().IsLoopback()
}

// newServer has a limit on everything that somebody slow could hold up.
func newServer(handler http.Handler, to *slog.Logger) *http.Server {
	return &http.Server{
		Handler: handler, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: time.Minute, WriteTimeout: time.Minute,
		IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 1 << 16, ErrorLog: log.New(serverLog{to}, "", 0),
	}
}

// serverLog takes what the server itself has to say, without the addresses of
// those it says it about.
type serverLog struct{ log *slog.Logger }

func (l serverLog) Write(line []byte) (int, error) {
	l.log.Warn("server", "error", string(withoutPeer(line)))
	return len(line), nil
}

func withoutPeer(line []byte) []byte {
	return regexp.MustCompile(`(from|serving) \S+:\d+`).ReplaceAll(line, []byte("$1 somebody"))
}
