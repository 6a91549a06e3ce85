// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"fmt"
	"net"
	"strings"

	"fillmark/notify"
)

// Keys are the DKIM keys beside the register.
func (c Config) Keys() notify.KeyRing {
	return notify.KeyRing{Folder: c.keysDir(), Selector: c.Mail.DKIMSelector, File: c.Mail.DKIMKeyFile}
}

// MailRecords are all records that providers look for.
func (c Config) MailRecords() ([]notify.Record, error) {
	records, err := c.Keys().Records(c.MailDomain())
	if err != nil {
		return nil, err
	}
	sender, err := c.senderRecords()
	return append(records, sender...), err
}

// senderRecords are those that say who may send, and what is done with the rest.
func (c Config) senderRecords() ([]notify.Record, error) {
	envelope := c.MailDomain()
	if c.Mail.BounceAddress != "" {
		envelope = c.Mail.BounceAddress[strings.LastIndexByte(c.Mail.BounceAddress, '@')+1:]
	}
	relay, _, err := net.SplitHostPort(c.Mail.SMTP.Address)
	if err != nil {
		return nil, fmt.Errorf("mail.smtp.address: %w", err)
	}
	return []notify.Record{notify.SPFRecord(envelope, relay), notify.DMARCRecord(c.MailDomain(), c.Mail.From)}, nil
}
