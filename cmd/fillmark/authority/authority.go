// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package authority is the workshop's own certificate authority. Phones of the
// bench that were told to trust it open the pages as secure ones, with camera
// and offline storage, without a public name.
//
// The authority can vouch for the workshop's hosts, names below them, and for
// nothing else: its
// name constraints (RFC 5280, section 4.2.1.10) say so to every browser. Its key
// stays in its folder, mode 0600, and goes into no export and no backup. The
// certificate of the pages is made at each start, lives a year and is renewed
// by itself; its key is never written down.
package authority

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"fmt"
	"math/big"
	"net"
	"strings"
	"sync"
	"time"
)

const (
	// life is how long phones trust an authority; then they are told of a new one.
	life = 10 * 365 * 24 * time.Hour
	// leafLife is how long a certificate of the pages is good, and renewBefore
	// how long before its end another takes its place.
	leafLife    = 365 * 24 * time.Hour
	renewBefore = 30 * 24 * time.Hour
	// early is how far a phone's clock may be behind.
	early = 24 * time.Hour
)

// Authority signs the certificates of the pages. It is safe for concurrent use.
type Authority struct {
	hosts       []string
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
	now         func() time.Time

	mutex sync.Mutex
	leaf  *tls.Certificate
}

// newAuthority makes one for the hosts, names or addresses.
func newAuthority(workshop string, hosts []string, now func() time.Time) (*Authority, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	template := &x509.Certificate{
		Subject:   pkix.Name{CommonName: workshop + ", Fillmark bench"},
		NotBefore: now().Add(-early), NotAfter: now().Add(life),
		IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true,
		KeyUsage: x509.KeyUsageCertSign, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	constrain(template, hosts)
	certificate, err := sign(template, template, key, key)
	if err != nil {
		return nil, err
	}
	return &Authority{hosts: hosts, certificate: certificate, key: key, now: now}, nil
}

// constrain leaves the authority the hosts. A kind of name that is not
// constrained is allowed whole, so a kind that no host is of gets a name that
// cannot exist (RFC 6761, section 6.4), or loses all addresses.
func constrain(template *x509.Certificate, hosts []string) {
	template.PermittedDNSDomainsCritical = true
	names, addresses := parted(hosts)
	template.PermittedDNSDomains = append([]string{"localhost"}, names...)
	template.PermittedEmailAddresses = []string{"invalid"}
	template.PermittedURIDomains = []string{"invalid"}
	for _, ip := range append(loopback(), addresses...) {
		bits := 8 * len(ip)
		template.PermittedIPRanges = append(template.PermittedIPRanges, &net.IPNet{IP: ip, Mask: net.CIDRMask(bits, bits)})
	}
}

// loopback are this computer's own addresses, which the certificate is good for
// too.
func loopback() []net.IP { return []net.IP{net.IPv4(127, 0, 0, 1).To4(), net.IPv6loopback} }

// parted parts hosts into names and addresses.
func parted(hosts []string) (names []string, addresses []net.IP) {
	for _, h := range hosts {
		ip := net.ParseIP(h)
		switch four := ip.To4(); {
		case ip == nil:
			names = append(names, strings.ToLower(h))
		case four != nil:
			addresses = append(addresses, four)
		default:
			addresses = append(addresses, ip)
		}
	}
	return names, addresses
}

// Certificate is the one that the pages show; it is made where there is none, and
// again before its year is over. It fits [tls.Config.GetCertificate].
func (a *Authority) Certificate(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	a.mutex.Lock()
	defer a.mutex.Unlock()
	now := a.now()
	if a.leaf != nil && (now.Before(a.leaf.Leaf.NotAfter.Add(-renewBefore)) || a.leaf.Leaf.NotAfter.Equal(a.certificate.NotAfter)) {
		return a.leaf, nil
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	ends := now.Add(leafLife)
	if ends.After(a.certificate.NotAfter) {
		ends = a.certificate.NotAfter
	}
	names, addresses := parted(a.hosts)
	leaf, err := sign(&x509.Certificate{
		Subject:   pkix.Name{CommonName: a.hosts[0]},
		NotBefore: now.Add(-early), NotAfter: ends, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		DNSNames: append([]string{"localhost"}, names...), IPAddresses: append(loopback(), addresses...),
	}, a.certificate, key, a.key)
	if err != nil {
		return nil, err
	}
	a.leaf = &tls.Certificate{Certificate: [][]byte{leaf.Raw}, PrivateKey: key, Leaf: leaf}
	return a.leaf, nil
}

// Ends is when phones stop to trust the authority.
func (a *Authority) Ends() time.Time { return a.certificate.NotAfter }

// Public is what phones are told of an authority.
type Public struct {
	DER         []byte   // its certificate, which they install
	Fingerprint string   // SHA-256 of the certificate, as phones show it
	Hosts       []string // that it vouches for, besides this computer itself
}

// Public is what phones are told of the authority.
func (a *Authority) Public() Public {
	sum := sha256.Sum256(a.certificate.Raw)
	return Public{DER: a.certificate.Raw, Fingerprint: strings.ReplaceAll(fmt.Sprintf("% X", sum[:]), " ", ":"), Hosts: a.hosts}
}

// sign makes a certificate of the template's, for the key, by a signer.
func sign(template, by *x509.Certificate, key, signer *ecdsa.PrivateKey) (*x509.Certificate, error) {
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127)) // positive, with 64 random bits at least
	if err != nil {
		return nil, err
	}
	template.SerialNumber = serial.Add(serial, big.NewInt(1))
	der, err := x509.CreateCertificate(rand.Reader, template, by, &key.PublicKey, signer)
	if err != nil {
		return nil, err
	}
	return x509.ParseCertificate(der)
}
