// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package mailbox reads the workshop's mailbox at its mail host over IMAP (RFC
// 9051 and 3501). It changes nothing there: no flag, no folder, no mail.
package mailbox

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"slices"
	"strconv"
	"time"

	"github.com/emersion/go-imap/v2"
	"github.com/emersion/go-imap/v2/imapclient"
	"github.com/emersion/go-sasl"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/login"
)

// Options say where the mailbox is and who reads it.
type Options struct {
	Address  string          // host:port, such as imap.workshop.example:993
	Security notify.Security // starttls or tls: a login never crosses the line in the clear
	Username string
	Password notify.Secret // empty where Tokens log in
	Tokens   *login.Tokens // nil for a password
	Folder   string        // empty: INBOX
	TLS      *tls.Config   // a base, for roots of one's own; nil takes the system's
	// Timeout bounds one reading as a whole; zero takes five minutes.
	Timeout time.Duration
}

// Mailbox is one folder of one mailbox.
type Mailbox struct {
	o    Options
	host string
	port int
}

// New checks the options.
func New(o Options) (*Mailbox, error) {
	host, port, err := net.SplitHostPort(o.Address)
	number, portErr := strconv.Atoi(port)
	if err != nil || portErr != nil || host == "" {
		return nil, &loops.InvalidError{Field: "imap address", Value: o.Address, Reason: "host:port, such as imap.workshop.example:993"}
	}
	if o.Security != notify.StartTLS && o.Security != notify.ImplicitTLS {
		return nil, &loops.InvalidError{Field: "imap tls", Value: string(o.Security), Reason: "starttls or tls: a login never goes in the clear"}
	}
	if o.Username == "" || (o.Password == "") == (o.Tokens == nil) {
		return nil, &loops.InvalidError{Field: "imap login", Value: o.Username, Reason: "a user name, and either a password or OAuth 2.0"}
	}
	o.Folder = cmp.Or(o.Folder, "INBOX")
	if o.Timeout <= 0 {
		o.Timeout = 5 * time.Minute
	}
	return &Mailbox{o, host, number}, nil
}

// Name tells this mailbox and folder from others on record.
func (m *Mailbox) Name() string { return m.o.Username + " " + m.o.Address + " " + m.o.Folder }

// Mail is one mail of the mailbox.
type Mail struct {
	Place loops.MailPlace
	Raw   []byte
	// Size is that of the whole mail in bytes. One over [notify.MaxIncoming] is not
	// fetched: Raw is its header.
	Size int64
}

// Whole tells that all of the mail is there.
func (m Mail) Whole() bool { return m.Size <= notify.MaxIncoming }

// Reader takes what a mailbox has.
type Reader interface {
	// Wanted tells by its header whether a mail is to be fetched.
	Wanted(head []byte) bool
	// Read takes a mail that was wanted. An error ends the reading there.
	Read(Mail) error
	// Passed says that the mails up to the place were not wanted.
	Passed(loops.MailPlace) error
}

const (
	headBatch = 50        // headers fetched at once
	maxHead   = 256 << 10 // bytes of a header
)

// Read gives what has come after the place, oldest first; where the mailbox has
// numbered its mails again, or nothing was read yet, all that has come since the
// day.
func (m *Mailbox) Read(ctx context.Context, last loops.MailPlace, since time.Time, r Reader) error {
	ctx, cancel := context.WithTimeout(ctx, m.o.Timeout)
	defer cancel()
	client, err := m.open(ctx)
	if err != nil {
		return fmt.Errorf("mailbox: %w", err)
	}
	stop := context.AfterFunc(ctx, func() { _ = client.Close() })
	defer stop()
	err = m.read(client, last, since, r)
	if err == nil {
		err = client.Logout().Wait()
	}
	if err = errors.Join(err, ctx.Err()); err != nil {
		_ = client.Close()
		return fmt.Errorf("mailbox: %w", err)
	}
	return nil
}

// Check logs in and opens the folder.
func (m *Mailbox) Check(ctx context.Context) error {
	return m.Read(ctx, loops.MailPlace{}, time.Date(9000, time.January, 1, 0, 0, 0, 0, time.UTC), nil)
}

// open is a line to the host, with TLS and logged in.
func (m *Mailbox) open(ctx context.Context) (_ *imapclient.Client, err error) {
	dialer := net.Dialer{Timeout: 30 * time.Second}
	conn, err := dialer.DialContext(ctx, "tcp", m.o.Address)
	if err != nil {
		return nil, err
	}
	defer context.AfterFunc(ctx, func() { _ = conn.Close() })()
	config := &tls.Config{}
	if m.o.TLS != nil {
		config = m.o.TLS.Clone()
	}
	config.ServerName = cmp.Or(config.ServerName, m.host)
	config.MinVersion = max(config.MinVersion, tls.VersionTLS12)
	var client *imapclient.Client
	if m.o.Security == notify.ImplicitTLS {
		line := tls.Client(conn, config)
		if err := line.HandshakeContext(ctx); err != nil {
			return nil, errors.Join(err, conn.Close())
		}
		client = imapclient.New(line, nil)
	} else if client, err = imapclient.NewStartTLS(conn, &imapclient.Options{TLSConfig: config}); err != nil {
		return nil, err
	}
	if err := client.WaitGreeting(); err != nil {
		return nil, errors.Join(err, client.Close())
	}
	if err := m.logIn(ctx, client); err != nil {
		return nil, errors.Join(fmt.Errorf("login: %w", err), client.Close())
	}
	return client, nil
}

func (m *Mailbox) logIn(ctx context.Context, client *imapclient.Client) error {
	offers := func(mechanism string) bool { return client.Caps().Has(imap.AuthCap(mechanism)) }
	switch {
	case m.o.Tokens != nil:
		token, err := m.o.Tokens.Token(ctx)
		if err != nil {
			return err
		}
		with, err := login.Client(offers, m.o.Username, token, m.host, m.port)
		if err != nil {
			return err
		}
		if err := client.Authenticate(with); err != nil {
			m.o.Tokens.Refused()
			return err
		}
		return nil
	case offers(sasl.Plain):
		return client.Authenticate(sasl.NewPlainClient("", m.o.Username, string(m.o.Password)))
	}
	return client.Login(m.o.Username, string(m.o.Password)).Wait()
}

func (m *Mailbox) read(client *imapclient.Client, last loops.MailPlace, since time.Time, r Reader) error {
	folder, err := client.Select(m.o.Folder, &imap.SelectOptions{ReadOnly: true}).Wait()
	if err != nil || r == nil {
		return err
	}
	at := loops.MailPlace{Mailbox: m.Name(), Validity: folder.UIDValidity}
	wanted := &imap.SearchCriteria{Since: since}
	if last.Validity == at.Validity && last.UID > 0 {
		at.UID = last.UID
		wanted = &imap.SearchCriteria{UID: []imap.UIDSet{{imap.UIDRange{Start: imap.UID(last.UID) + 1}}}} // to the end
	}
	found, err := client.UIDSearch(wanted, nil).Wait()
	if err != nil {
		return err
	}
	// A range that begins behind the last mail names that one all the same.
	uids := slices.DeleteFunc(found.AllUIDs(), func(u imap.UID) bool { return uint32(u) <= at.UID })
	slices.Sort(uids)
	for batch := range slices.Chunk(uids, headBatch) {
		if err := m.readBatch(client, batch, at, r); err != nil {
			return err
		}
	}
	return nil
}

// readBatch looks at the headers of so many mails and fetches those wanted.
func (m *Mailbox) readBatch(client *imapclient.Client, uids []imap.UID, at loops.MailPlace, r Reader) error {
	section := &imap.FetchItemBodySection{Specifier: imap.PartSpecifierHeader, Peek: true, Partial: &imap.SectionPartial{Size: maxHead}}
	heads, err := client.Fetch(imap.UIDSetNum(uids...), &imap.FetchOptions{UID: true, RFC822Size: true, BodySection: []*imap.FetchItemBodySection{section}}).Collect()
	if err != nil {
		return err
	}
	slices.SortFunc(heads, func(a, b *imapclient.FetchMessageBuffer) int { return cmp.Compare(a.UID, b.UID) })
	passed := at
	for _, head := range heads {
		at.UID = uint32(head.UID)
		if at.UID == 0 || !slices.Contains(uids, head.UID) {
			continue // news about another mail
		}
		mail := Mail{Place: at, Raw: head.FindBodySection(section), Size: head.RFC822Size}
		if !r.Wanted(mail.Raw) {
			passed = at
			continue
		}
		if mail.Whole() {
			if mail.Raw, err = whole(client, head.UID); err != nil {
				return err
			}
			if mail.Raw == nil {
				continue // somebody deleted it meanwhile
			}
		}
		if err := r.Read(mail); err != nil {
			return err
		}
	}
	if passed.UID == 0 || passed.UID < at.UID {
		return nil // what was read last stands behind them
	}
	return r.Passed(passed)
}

func whole(client *imapclient.Client, uid imap.UID) ([]byte, error) {
	section := &imap.FetchItemBodySection{Peek: true}
	found, err := client.Fetch(imap.UIDSetNum(uid), &imap.FetchOptions{UID: true, BodySection: []*imap.FetchItemBodySection{section}}).Collect()
	if err != nil || len(found) == 0 {
		return nil, err
	}
	return found[0].FindBodySection(section), nil
}
