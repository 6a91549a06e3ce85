// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

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

// DKIMKey is one key file beside the register. Selectors count up: fillmark,
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
)

// NextSuffix ends the file name of a key that does not sign yet.
const NextSuffix = ".next"

// DKIMKeys lists the keys there are, the oldest first.
func (c Config) DKIMKeys() ([]DKIMKey, error) {
	if c.Mail.DKIMKeyFile != "" {
		k := c.FirstKey()
		if there, err := k.exists(); !there {
			return nil, err
		}
		return []DKIMKey{k}, nil
	}
	var keys []DKIMKey
	for n := 1; n <= maxDKIMKeys; n++ {
		selector := numbered(c.Mail.DKIMSelector, n)
		path := filepath.Join(c.keysDir(), selector+".pem")
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

func numbered(selector string, n int) string {
	if n == 1 {
		return selector
	}
	return selector + strconv.Itoa(n)
}

// SigningKey returns the key that signs; false where there is none.
func (c Config) SigningKey() (DKIMKey, bool, error) {
	keys, err := c.DKIMKeys()
	for _, k := range keys {
		if k.State == KeySigns {
			return k, true, err
		}
	}
	return DKIMKey{}, false, err
}

// FirstKey is the key to begin with, not written yet.
func (c Config) FirstKey() DKIMKey {
	file := c.Mail.DKIMKeyFile
	if file == "" {
		file = filepath.Join(c.keysDir(), c.Mail.DKIMSelector+".pem")
	}
	return DKIMKey{c.Mail.DKIMSelector, file, KeySigns}
}

// NextKey is the key after all others, not written yet.
func (c Config) NextKey() (DKIMKey, error) {
	keys, err := c.DKIMKeys()
	if err != nil {
		return DKIMKey{}, err
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
		return DKIMKey{}, fmt.Errorf("dkim: %d keys are the most; set another mail.dkim_selector", maxDKIMKeys)
	}
	selector := numbered(c.Mail.DKIMSelector, highest+1)
	return DKIMKey{selector, filepath.Join(c.keysDir(), selector+".pem"+NextSuffix), KeyNext}, nil
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
	key, err := notify.GenerateKey()
	if err != nil {
		return fmt.Errorf("dkim key: %w", err)
	}
	return notify.WriteKey(k.File, key)
}

// Record returns the TXT record that publishes the key.
func (k DKIMKey) Record(domain string) (notify.Record, error) {
	key, err := notify.ReadKey(k.File)
	if err != nil {
		return notify.Record{}, err
	}
	name, value, err := notify.DNSRecord(k.Selector, domain, &key.PublicKey)
	note := map[DKIMKeyState]string{
		KeyOld:   "an older key: keep it published for a week after the change, then delete record and " + k.File,
		KeySigns: "signs now",
		KeyNext:  "publish it, then run fillmark dkim rotate --now",
	}[k.State]
	return notify.Record{Kind: notify.RecordDKIM, Name: name, Value: value, Note: note}, err
}

// MailRecords are all records that providers look for.
func (c Config) MailRecords() ([]notify.Record, error) {
	keys, err := c.DKIMKeys()
	if err == nil && len(keys) == 0 {
		err = ErrNoDKIMKey
	}
	if err != nil {
		return nil, err
	}
	var records []notify.Record
	for _, k := range keys {
		r, err := k.Record(c.MailDomain())
		if err != nil {
			return nil, err
		}
		records = append(records, r)
	}
	envelope := c.MailDomain()
	if c.Mail.BounceAddress != "" {
		envelope = c.Mail.BounceAddress[strings.LastIndexByte(c.Mail.BounceAddress, '@')+1:]
	}
	relay, _, err := net.SplitHostPort(c.Mail.SMTP.Address)
	if err != nil {
		return nil, fmt.Errorf("mail.smtp.address: %w", err)
	}
	return append(records, notify.SPFRecord(envelope, relay), notify.DMARCRecord(c.MailDomain(), c.Mail.From)), nil
}
