// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"crypto"
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// KeyRing is where the DKIM keys of a workshop are.
type KeyRing struct {
	Folder   string
	Selector string // of the first key
	// File is the one key where it was named; empty where keys are numbered in
	// the folder.
	File string
}

// DKIMKey is one key file. Selectors count up: fillmark,
// fillmark2, fillmark3; the highest signs, and the older ones stay published
// until mail signed with them has arrived.
type DKIMKey struct {
	Selector string       `json:"selector"`
	File     string       `json:"key_file"`
	State    DKIMKeyState `json:"state"`
}

// DKIMKeyState says what a key is for now.
type DKIMKeyState string

const (
	KeyOld   DKIMKeyState = "old"   // keep published for a week, then delete
	KeySigns DKIMKeyState = "signs" // in use
	KeyNext  DKIMKeyState = "next"  // to be published before it is used
	// KeySecond is the Ed25519 key whose signature stands below that of the other.
	KeySecond DKIMKeyState = "signs too"
)

// NextSuffix ends the file name of a key that does not sign yet.
const NextSuffix = ".next"

// Keys lists the keys there are, the oldest first and the second kind last; that
// one by itself is none.
func (r KeyRing) Keys() ([]DKIMKey, error) {
	keys, err := r.ofRSA()
	if err != nil || len(keys) == 0 {
		return nil, err
	}
	second := r.Second()
	there, err := second.exists()
	if there {
		keys = append(keys, second)
	}
	return keys, err
}

// ofRSA are the keys that are numbered, or the one that was named.
func (r KeyRing) ofRSA() ([]DKIMKey, error) {
	if r.File != "" {
		k := r.First()
		if there, err := k.exists(); !there {
			return nil, err
		}
		return []DKIMKey{k}, nil
	}
	var keys []DKIMKey
	for n := 1; n <= maxDKIMKeys; n++ {
		selector := numberedSelector(r.Selector, n)
		path := filepath.Join(r.Folder, selector+".pem")
		for _, k := range []DKIMKey{{selector, path, KeySigns}, {selector, path + NextSuffix, KeyNext}} {
			there, err := k.exists()
			if err != nil {
				return nil, err
			}
			if !there {
				continue
			}
			if k.State == KeySigns {
				for i := range keys {
					keys[i].State = KeyOld
				}
			}
			keys = append(keys, k)
		}
	}
	return keys, nil
}

// maxDKIMKeys bounds the numbers that are looked for: one rotation a month for
// eight years.
const maxDKIMKeys = 99

func numberedSelector(selector string, n int) string {
	if n == 1 {
		return selector
	}
	return selector + strconv.Itoa(n)
}

// Signing returns the key that signs; false where there is none.
func (r KeyRing) Signing() (DKIMKey, bool, error) {
	keys, err := r.Keys()
	for _, k := range keys {
		if k.State == KeySigns {
			return k, true, err
		}
	}
	return DKIMKey{}, false, err
}

// First is the key to begin with, not written yet.
func (r KeyRing) First() DKIMKey {
	file := r.File
	if file == "" {
		file = filepath.Join(r.Folder, r.Selector+".pem")
	}
	return DKIMKey{r.Selector, file, KeySigns}
}

// Second is the Ed25519 key (RFC 8463), whether it was written or not: where its
// file is, letters bear both signatures.
func (r KeyRing) Second() DKIMKey {
	selector := r.Selector + "-ed25519"
	return DKIMKey{selector, filepath.Join(r.Folder, selector+".pem"), KeySecond}
}

// Signer signs for the domain with all keys that sign. Without one it is
// [ErrNoDKIMKey].
func (r KeyRing) Signer(domain string) (*Signer, error) {
	key, there, err := r.Signing()
	if err == nil && !there {
		err = ErrNoDKIMKey
	}
	if err != nil {
		return nil, err
	}
	signer, err := LoadSigner(key.File, domain, key.Selector)
	if err != nil {
		return nil, err
	}
	second := r.Second()
	if there, err := second.exists(); !there {
		return signer, err
	}
	private, err := ReadKey(second.File)
	if err != nil {
		return nil, err
	}
	return signer.With(second.Selector, private)
}

// Next is the key after all others, not written yet.
func (r KeyRing) Next() (DKIMKey, error) {
	keys, err := r.ofRSA()
	if err != nil {
		return DKIMKey{}, err
	}
	highest := 0
	for _, k := range keys {
		n, err := strconv.Atoi(strings.TrimPrefix(k.Selector, r.Selector))
		if err != nil {
			n = 1
		}
		highest = max(highest, n)
	}
	if highest >= maxDKIMKeys {
		return DKIMKey{}, fmt.Errorf("dkim: %d keys are the most; set another mail.dkim_selector", maxDKIMKeys)
	}
	selector := numberedSelector(r.Selector, highest+1)
	return DKIMKey{selector, filepath.Join(r.Folder, selector+".pem"+NextSuffix), KeyNext}, nil
}

// ErrNoDKIMKey says that nothing signs.
var ErrNoDKIMKey = fmt.Errorf("dkim: there is no key; fillmark dkim new makes one: %w", fs.ErrNotExist)

func (k DKIMKey) exists() (bool, error) {
	_, err := os.Stat(k.File)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("dkim key: %w", err)
	}
	return true, nil
}

// Write makes a new private key and keeps it in the key's file, mode 0600.
func (k DKIMKey) Write() error {
	if err := os.MkdirAll(filepath.Dir(k.File), 0o700); err != nil {
		return fmt.Errorf("dkim key: %w", err)
	}
	var key crypto.Signer
	var err error
	if k.State == KeySecond {
		_, key, err = ed25519.GenerateKey(rand.Reader)
	} else {
		key, err = GenerateKey()
	}
	if err != nil {
		return fmt.Errorf("dkim key: %w", err)
	}
	return WriteKey(k.File, key)
}

// Record returns the TXT record that publishes the key.
func (k DKIMKey) Record(domain string) (Record, error) {
	key, err := ReadKey(k.File)
	if err != nil {
		return Record{}, err
	}
	name, value, err := DNSRecord(k.Selector, domain, key.Public())
	note := map[DKIMKeyState]string{
		KeyOld:    "an older key: keep it published for a week after the change, then delete record and " + k.File,
		KeySigns:  "signs now",
		KeySecond: "signs beside the other (RFC 8463)",
		KeyNext:   "publish it, then run fillmark dkim rotate --now",
	}[k.State]
	return Record{Kind: RecordDKIM, Name: name, Value: value, Note: note}, err
}

// Records are the TXT records of all keys. Without a key it is [ErrNoDKIMKey].
func (r KeyRing) Records(domain string) ([]Record, error) {
	keys, err := r.Keys()
	if err == nil && len(keys) == 0 {
		err = ErrNoDKIMKey
	}
	if err != nil {
		return nil, err
	}
	var records []Record
	for _, k := range keys {
		record, err := k.Record(domain)
		if err != nil {
			return nil, err
		}
		records = append(records, record)
	}
	return records, nil
}
