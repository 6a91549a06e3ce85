// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"fillmark/notify"
)

// dkimKey is one key file beside the register. Selectors count up: fillmark,
// fillmark2, fillmark3; the highest signs, and the older ones stay published
// until mail signed with them has arrived.
type dkimKey struct {
	Selector string       `json:"selector"`
	File     string       `json:"key_file"`
	State    dkimKeyState `json:"state"`
}

type dkimKeyState string

const (
	keyOld   dkimKeyState = "old"   // keep published for a week, then delete
	keySigns dkimKeyState = "signs" // in use
	keyNext  dkimKeyState = "next"  // to be published before it is used
)

const nextSuffix = ".next"

// dkimKeys lists the keys there are, the oldest first.
func (c config) dkimKeys() ([]dkimKey, error) {
	if c.Mail.DKIMKeyFile != "" {
		k := c.firstKey()
		if there, err := k.exists(); !there {
			return nil, err
		}
		return []dkimKey{k}, nil
	}
	var keys []dkimKey
	for n := 1; n <= maxDKIMKeys; n++ {
		selector := numbered(c.Mail.DKIMSelector, n)
		path := filepath.Join(c.keysDir(), selector+".pem")
		for _, k := range []dkimKey{{selector, path, keySigns}, {selector, path + nextSuffix, keyNext}} {
			there, err := k.exists()
			if err != nil {
				return nil, err
			}
			if !there {
				continue
			}
			if k.State == keySigns {
				for i := range keys {
					keys[i].State = keyOld
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

func numbered(selector string, n int) string {
	if n == 1 {
		return selector
	}
	return selector + strconv.Itoa(n)
}

// signingKey returns the key that signs; false where there is none.
func (c config) signingKey() (dkimKey, bool, error) {
	keys, err := c.dkimKeys()
	for _, k := range keys {
		if k.State == keySigns {
			return k, true, err
		}
	}
	return dkimKey{}, false, err
}

// firstKey is the key to begin with, not written yet.
func (c config) firstKey() dkimKey {
	file := c.Mail.DKIMKeyFile
	if file == "" {
		file = filepath.Join(c.keysDir(), c.Mail.DKIMSelector+".pem")
	}
	return dkimKey{c.Mail.DKIMSelector, file, keySigns}
}

// nextKey is the key after all others, not written yet.
func (c config) nextKey() (dkimKey, error) {
	keys, err := c.dkimKeys()
	if err != nil {
		return dkimKey{}, err
	}
	highest := 0
	for _, k := range keys {
		n, err := strconv.Atoi(strings.TrimPrefix(k.Selector, c.Mail.DKIMSelector))
		if err != nil {
			n = 1
		}
		highest = max(highest, n)
	}
	if highest >= maxDKIMKeys {
		return dkimKey{}, fmt.Errorf("dkim: %d keys are the most; set another mail.dkim_selector", maxDKIMKeys)
	}
	selector := numbered(c.Mail.DKIMSelector, highest+1)
	return dkimKey{selector, filepath.Join(c.keysDir(), selector+".pem"+nextSuffix), keyNext}, nil
}

// errNoDKIMKey says that nothing signs.
var errNoDKIMKey = fmt.Errorf("dkim: there is no key; fillmark dkim new makes one: %w", fs.ErrNotExist)

func (k dkimKey) exists() (bool, error) {
	_, err := os.Stat(k.File)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("dkim key: %w", err)
	}
	return true, nil
}

// write makes a new private key and keeps it in the key's file, mode 0600.
func (k dkimKey) write() error {
	if err := os.MkdirAll(filepath.Dir(k.File), 0o700); err != nil {
		return fmt.Errorf("dkim key: %w", err)
	}
	key, err := notify.GenerateKey()
	if err != nil {
		return fmt.Errorf("dkim key: %w", err)
	}
	return notify.WriteKey(k.File, key)
}

// record returns the TXT record that publishes the key.
func (k dkimKey) record(domain string) (notify.Record, error) {
	key, err := notify.ReadKey(k.File)
	if err != nil {
		return notify.Record{}, err
	}
	name, value, err := notify.DNSRecord(k.Selector, domain, &key.PublicKey)
	note := map[dkimKeyState]string{
		keyOld:   "an older key: keep it published for a week after the change, then delete record and " + k.File,
		keySigns: "signs now",
		keyNext:  "publish it, then run fillmark dkim rotate --now",
	}[k.State]
	return notify.Record{Kind: notify.RecordDKIM, Name: name, Value: value, Note: note}, err
}

// mailRecords are all records that providers look for.
func (c config) mailRecords() ([]notify.Record, error) {
	keys, err := c.dkimKeys()
	if err == nil && len(keys) == 0 {
		err = errNoDKIMKey
	}
	if err != nil {
		return nil, err
	}
	var records []notify.Record
	for _, k := range keys {
		r, err := k.record(c.mailDomain())
		if err != nil {
			return nil, err
		}
		records = append(records, r)
	}
	envelope := c.mailDomain()
	if c.Mail.BounceAddress != "" {
		envelope = c.Mail.BounceAddress[strings.LastIndexByte(c.Mail.BounceAddress, '@')+1:]
	}
	relay, _, err := net.SplitHostPort(c.Mail.SMTP.Address)
	if err != nil {
		return nil, fmt.Errorf("mail.smtp.address: %w", err)
	}
	return append(records, notify.SPFRecord(envelope, relay), notify.DMARCRecord(c.mailDomain(), c.Mail.From)), nil
}
