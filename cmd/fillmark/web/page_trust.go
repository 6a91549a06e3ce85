// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"strings"

	"fillmark/cmd/fillmark/authority"
	"fillmark/drawing"
	"fillmark/loops"
)

// trustPage tells how a phone comes to trust the bench, and how it stops to. It
// is open to anybody: a phone that trusts nothing yet has no sign-in either, and
// a certificate is no secret.
type trustPage struct {
	frame
	At          string // where the bench is
	Hosts       string // that the authority vouches for
	Fingerprint string
	QR          *drawing.QR
}

func (s *server) pageTrust(w http.ResponseWriter, r *http.Request) error {
	own, err := s.authorityOf()
	if err != nil {
		return err
	}
	p := trustPage{frame: s.newFrame(r, "Phones"), At: s.BenchAt, Hosts: strings.Join(own.Hosts, ", "), Fingerprint: own.Fingerprint}
	p.Here = "more"
	p.Door = p.SignedIn == ""
	if p.QR, err = s.benchQR("/trust"); err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "trust", p)
}

// trusted sends the authority's certificate as phones take it in.
func (s *server) trusted(w http.ResponseWriter, _ *http.Request) error {
	own, err := s.authorityOf()
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/x-x509-ca-cert")
	w.Header().Set("Content-Disposition", `attachment; filename="fillmark-bench.crt"`)
	_, err = w.Write(own.DER)
	return err
}

// authorityOf is the workshop's own authority; it returns loops.ErrNotFound where
// there is none.
func (s *server) authorityOf() (*authority.Public, error) {
	if s.Authority == nil {
		return nil, loops.ErrNotFound
	}
	if public := s.Authority(); public != nil {
		return public, nil
	}
	return nil, loops.ErrNotFound
}
