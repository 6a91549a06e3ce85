// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bytes"
	"errors"
	"fmt"

	"github.com/emersion/go-msgauth/dkim"
)

// maxSignatures is how many signatures of one mail are looked at: ours, and what
// the hosts on its way put in front.
const maxSignatures = 8

// Verify tells whether a mail bears a signature of the domain that holds by one of
// these keys, and why not. The DNS is not asked: what is published there is
// another matter.
func (r KeyRing) Verify(raw []byte, domain string) error {
	records, err := r.Records(domain)
	if err != nil {
		return err
	}
	lookup := func(name string) ([]string, error) {
		for _, record := range records {
			if record.Name == name {
				return []string{record.Value}, nil
			}
		}
		return nil, errors.New("it is by no key of ours")
	}
	found, err := dkim.VerifyWithOptions(bytes.NewReader(raw), &dkim.VerifyOptions{LookupTXT: lookup, MaxVerifications: maxSignatures})
	if err != nil && !errors.Is(err, dkim.ErrTooManySignatures) {
		return fmt.Errorf("signature: %w", err)
	}
	err = errors.New("signature: there is none of " + domain)
	for _, v := range found {
		switch {
		case v.Domain != domain:
		case v.Err == nil:
			return nil
		default:
			err = fmt.Errorf("signature: %w", v.Err)
		}
	}
	return err
}
