// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package authority

import (
	"crypto/ecdsa"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fillmark/disk"
)

// file holds key and certificate together, so that a crash leaves both or none.
const file = "authority.pem"

// PEM's names of the two.
const (
	keyBlock         = "PRIVATE KEY"
	certificateBlock = "CERTIFICATE"
)

// Path is the file of the authority in a folder.
func Path(folder string) string { return filepath.Join(folder, file) }

// Open reads the authority in the folder, or makes one for the hosts where there
// is none. It returns an error where the one there has ended or cannot vouch for
// a host: phones trust that one, and nothing makes another behind their back.
func Open(folder, workshop string, hosts []string, now func() time.Time) (*Authority, error) {
	a, err := Read(folder, hosts, now)
	if !errors.Is(err, fs.ErrNotExist) {
		return a, err
	}
	if a, err = newAuthority(workshop, hosts, now); err != nil {
		return nil, err
	}
	return a, a.write(folder)
}

// Read is [Open] without making anything: it returns fs.ErrNotExist where there
// is no authority.
func Read(folder string, hosts []string, now func() time.Time) (*Authority, error) {
	content, err := os.ReadFile(Path(folder))
	if err != nil {
		return nil, err
	}
	a := &Authority{hosts: hosts, now: now}
	for block, rest := pem.Decode(content); block != nil; block, rest = pem.Decode(rest) {
		switch block.Type {
		case keyBlock:
			key, bad := x509.ParsePKCS8PrivateKey(block.Bytes)
			if err = bad; err == nil {
				a.key, _ = key.(*ecdsa.PrivateKey)
			}
		case certificateBlock:
			a.certificate, err = x509.ParseCertificate(block.Bytes)
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", Path(folder), err)
		}
	}
	if a.key == nil || a.certificate == nil || !a.key.PublicKey.Equal(a.certificate.PublicKey) {
		return nil, fmt.Errorf("%s: it does not hold a key and the certificate that belongs to it; move it away, and a new authority is made, which every phone is to trust", Path(folder))
	}
	return a, a.fits(folder)
}

// fits says why the authority cannot vouch for its hosts today.
func (a *Authority) fits(folder string) error {
	again := "move the file away, and a new authority is made, which every phone is to trust once"
	if !a.now().Before(a.certificate.NotAfter) {
		return fmt.Errorf("%s: it ended on %s; %s", Path(folder), a.certificate.NotAfter.Format(time.DateOnly), again)
	}
	names, addresses := parted(a.hosts)
	for _, name := range names {
		if !slices.Contains(a.certificate.PermittedDNSDomains, name) {
			return a.notFor(folder, name, again)
		}
	}
	for _, ip := range addresses {
		if !slices.ContainsFunc(a.certificate.PermittedIPRanges, func(n *net.IPNet) bool { return n.Contains(ip) }) {
			return a.notFor(folder, ip.String(), again)
		}
	}
	return nil
}

func (a *Authority) notFor(folder, host, again string) error {
	made := slices.Clone(a.certificate.PermittedDNSDomains)
	for _, n := range a.certificate.PermittedIPRanges {
		made = append(made, n.IP.String())
	}
	return fmt.Errorf("%s: it was made for %s and cannot vouch for %s; %s", Path(folder), strings.Join(made, ", "), host, again)
}

// write keeps the authority in the folder, for its user alone.
func (a *Authority) write(folder string) error {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	key, err := x509.MarshalPKCS8PrivateKey(a.key)
	if err != nil {
		return err
	}
	content := slices.Concat(
		pem.EncodeToMemory(&pem.Block{Type: keyBlock, Bytes: key}),
		pem.EncodeToMemory(&pem.Block{Type: certificateBlock, Bytes: a.certificate.Raw}),
	)
	return disk.Replace(Path(folder), content)
}
