// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bytes"
	"crypto"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"errors"
	"fmt"
	"os"
	"runtime"
	"strings"

	"golang.org/x/net/idna"

	"fillmark/disk"
)

// keyBits is the size of new keys: RFC 8301 3.2 demands 1024 and advises 2048,
// which every receiver verifies.
const keyBits = 2048

const pemType = "PRIVATE KEY"

// GenerateKey makes a new RSA key of 2048 bits.
func GenerateKey() (*rsa.PrivateKey, error) {
	return rsa.GenerateKey(rand.Reader, keyBits)
}

// WriteKey writes the key to a new file that only its owner may read (PKCS #8
// in PEM). It refuses to overwrite: a lost key spoils all mail on its way.
func WriteKey(path string, key crypto.Signer) error {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return fmt.Errorf("dkim key: %w", err)
	}
	if err := disk.WriteNew(path, bytes.NewReader(pem.EncodeToMemory(&pem.Block{Type: pemType, Bytes: der}))); err != nil {
		return fmt.Errorf("dkim key: %w", err)
	}
	return nil
}

// ReadKey reads a key that [WriteKey] wrote. A file that others may read is
// refused, and no error shows what is in it.
func ReadKey(path string) (crypto.Signer, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("dkim key: %w", err)
	}
	// Windows has no such modes: there the folder's rights say who may read.
	if mode := info.Mode().Perm(); runtime.GOOS != "windows" && mode&0o077 != 0 {
		return nil, invalid("dkim key file "+path, fmt.Sprintf("mode %04o", mode), "mode 0600: nobody else may read it")
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("dkim key: %w", err)
	}
	block, rest := pem.Decode(data)
	if block == nil || block.Type != pemType || strings.TrimSpace(string(rest)) != "" {
		return nil, invalid("dkim key file", path, "one PEM block of type "+pemType)
	}
	parsed, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if key, ok := parsed.(crypto.Signer); err == nil && ok {
		return key, nil
	}
	return nil, invalid("dkim key file", path, "a key in PKCS #8")
}

// LoadSigner reads the key file and makes a [Signer] of it.
func LoadSigner(path, domain, selector string) (*Signer, error) {
	key, err := ReadKey(path)
	if err != nil {
		return nil, err
	}
	return NewSigner(domain, selector, key)
}

// DNSRecord returns the name and the text of the TXT record that publishes the
// key (RFC 6376 3.6, RFC 8463 4).
func DNSRecord(selector, domain string, pub crypto.PublicKey) (name, value string, err error) {
	if err := checkDKIMNames(domain, selector); err != nil {
		return "", "", err
	}
	name = selector + "._domainkey." + domain
	if short, ok := pub.(ed25519.PublicKey); ok {
		return name, "v=DKIM1; k=ed25519; p=" + base64.StdEncoding.EncodeToString(short), nil
	}
	long, ok := pub.(*rsa.PublicKey)
	if !ok {
		return "", "", invalid("dkim key", fmt.Sprintf("%T", pub), "an RSA or an Ed25519 key (RFC 6376, RFC 8463): no other is a signature of mail")
	}
	der, err := x509.MarshalPKIXPublicKey(long)
	if err != nil {
		return "", "", fmt.Errorf("dkim key: %w", err)
	}
	return name, "v=DKIM1; k=rsa; p=" + base64.StdEncoding.EncodeToString(der), nil
}

// ZoneRecord writes a TXT record for a zone file, its text cut into strings of
// at most 255 octets (RFC 1035 3.3.14).
func ZoneRecord(name, value string) string {
	const most = 255
	var b strings.Builder
	b.WriteString(name + ". IN TXT (")
	for len(value) > 0 {
		n := min(most, len(value))
		b.WriteString("\n  \"" + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(value[:n]) + `"`)
		value = value[n:]
	}
	b.WriteString("\n)\n")
	return b.String()
}

func checkDKIMNames(domain, selector string) error {
	var p problems
	if ascii, err := idna.Lookup.ToASCII(domain); err != nil || ascii != domain || !strings.Contains(domain, ".") {
		p.add(invalid("dkim domain", domain, "a domain name in lower-case ASCII, such as workshop.example"))
	}
	if ascii, err := idna.Lookup.ToASCII(selector); err != nil || ascii != selector || selector == "" {
		p.add(invalid("dkim selector", selector, "a name of letters, digits and hyphens, such as fm2026"))
	}
	return errors.Join(p...)
}
