// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bytes"
	"crypto"
	"crypto/ed25519"
	"crypto/rsa"
	"errors"
	"fmt"
	"net/textproto"
	"slices"
	"strings"

	"github.com/emersion/go-msgauth/dkim"
)

// signedHeaders are the fields a signature covers. Each is listed once more
// than it stands in the letter, so that nobody can add another one on the way
// (RFC 6376 8.15); RFC 8058 section 4 demands both List-Unsubscribe fields.
var signedHeaders = []string{
	"From", "To", "Cc", "Subject", "Date", "Message-ID", "Reply-To", "Sender", "In-Reply-To", "References",
	"Auto-Submitted", "List-Unsubscribe", "List-Unsubscribe-Post",
	"MIME-Version", "Content-Type", "Content-Transfer-Encoding",
}

// Signer signs letters for one domain, relaxed/relaxed: with RSA-SHA256 and, after
// [Signer.With], with Ed25519-SHA256 too. It may be used by several goroutines.
type Signer struct {
	options []dkim.SignOptions // one a signature, the topmost first
}

// NewSigner makes a signer. The key must be RSA of at least 2048 bits: every
// receiver verifies that kind, and not every one verifies Ed25519.
func NewSigner(domain, selector string, key crypto.Signer) (*Signer, error) {
	if err := checkDKIMNames(domain, selector); err != nil {
		return nil, err
	}
	pub, ok := key.Public().(*rsa.PublicKey)
	if !ok || pub.N.BitLen() < keyBits {
		return nil, invalid("dkim key", fmt.Sprintf("%T", key.Public()), "an RSA key of at least 2048 bits")
	}
	return &Signer{[]dkim.SignOptions{signOptions(domain, selector, key)}}, nil
}

func signOptions(domain, selector string, key crypto.Signer) dkim.SignOptions {
	return dkim.SignOptions{
		Domain:                 domain,
		Selector:               selector,
		Signer:                 key,
		HeaderCanonicalization: dkim.CanonicalizationRelaxed,
		BodyCanonicalization:   dkim.CanonicalizationRelaxed,
	}
}

// With is the signer with an Ed25519 signature below its own (RFC 8463), under a
// selector of its own. A receiver that does not know that kind goes by the other.
func (s *Signer) With(selector string, key crypto.Signer) (*Signer, error) {
	domain := s.options[0].Domain
	if err := checkDKIMNames(domain, selector); err != nil {
		return nil, err
	}
	if _, ok := key.Public().(ed25519.PublicKey); !ok {
		return nil, invalid("second dkim key", fmt.Sprintf("%T", key.Public()), "an Ed25519 key")
	}
	return &Signer{append(slices.Clone(s.options), signOptions(domain, selector, key))}, nil
}

// Sign returns the message with its DKIM-Signatures in front. The bytes must be
// what the wire will carry: lines that end with CRLF, the last one too, and no
// bare CR or LF, over which verifiers differ. The time of the signature is the
// present.
func (s *Signer) Sign(raw []byte) ([]byte, error) {
	if err := checkWire(raw); err != nil {
		return nil, fmt.Errorf("sign: %w", err)
	}
	var signed []byte
	for _, options := range s.options {
		options.HeaderKeys = oversigned(raw)
		signer, err := dkim.NewSigner(&options)
		if err != nil {
			return nil, fmt.Errorf("sign: %w", err)
		}
		_, err = signer.Write(raw)
		// Closing ends the signer's goroutine, whatever was written.
		if err = errors.Join(err, signer.Close()); err != nil {
			return nil, fmt.Errorf("sign: %w", err)
		}
		signed = append(signed, signer.Signature()...)
	}
	return append(signed, raw...), nil
}

// checkWire refuses bytes that a transport would have to change.
func checkWire(raw []byte) error {
	if !bytes.HasSuffix(raw, []byte("\r\n")) {
		return errors.New("the message does not end with CRLF")
	}
	crlf := bytes.Count(raw, []byte("\r\n"))
	if bytes.Count(raw, []byte("\r")) != crlf || bytes.Count(raw, []byte("\n")) != crlf {
		return errors.New("the message has a bare CR or LF")
	}
	if bytes.IndexByte(raw, 0) >= 0 {
		return errors.New("the message has a NUL byte")
	}
	return nil
}

// oversigned lists each of the signed headers once more than it stands in raw.
func oversigned(raw []byte) []string {
	head, _, _ := bytes.Cut(raw, []byte("\r\n\r\n"))
	present := map[string]int{}
	for line := range strings.SplitSeq(string(head), "\r\n") {
		if name, _, ok := strings.Cut(line, ":"); ok && name != "" && name[0] != ' ' && name[0] != '\t' {
			present[textproto.CanonicalMIMEHeaderKey(strings.TrimSpace(name))]++
		}
	}
	var names []string
	for _, name := range signedHeaders {
		names = append(names, slices.Repeat([]string{name}, 1+present[textproto.CanonicalMIMEHeaderKey(name)])...)
	}
	return names
}
