// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"net/mail"
	"strings"
	"time"
	"unicode"

	"golang.org/x/net/idna"
)

// Owner is the person a machine goes back to.
type Owner struct {
	ID       OwnerID `json:"id"`
	Revision uint64  `json:"revision"` // raised by the store at every write
	Name     string  `json:"name"`
	// Email is empty for an owner without mail, who gets a letter or a call.
	Email string `json:"email,omitempty"`
	Phone string `json:"phone,omitempty"`
	// Zone is an IANA zone name; empty means the workshop's zone.
	Zone string `json:"zone,omitempty"`
	// Units chooses how quantities are written to this owner.
	Units Units `json:"units,omitempty"`
	// Language is that of letters and of the owner's pages; empty means the
	// workshop's.
	Language Language `json:"language,omitempty"`
	Consent  Consent  `json:"consent"`
	// MailStopped is the day the owner stopped the mail; zero while it runs.
	MailStopped Day `json:"mail_stopped,omitzero"`
	// Address is where a printed letter goes, with line breaks; may be empty.
	Address string `json:"address,omitempty"`
	// LinkEpoch counts how often the links of this owner were ended; a link opens
	// only in the epoch that it was written in.
	LinkEpoch uint32 `json:"link_epoch,omitempty"`
}

// LinksEnded returns the owner as they are once every link handed out so far
// opens nothing any more.
func (o Owner) LinksEnded() Owner {
	o.LinkEpoch++
	return o
}

// Units is a choice of units in mail and on the owner's pages.
type Units string

// The units an owner may prefer. The zero value reads as metric.
const (
	Metric      Units = "metric"       // °C and ml
	USCustomary Units = "us customary" // °F and fl oz
)

// Language is a language that owners can be written to in, as BCP 47 has its tag.
type Language string

// The languages.
const (
	English    Language = "en"
	German     Language = "de"
	Spanish    Language = "es"
	French     Language = "fr"
	Portuguese Language = "pt-PT" // of Portugal; pt alone is taken for that of Brazil
)

// Languages lists them, the complete one first.
func Languages() []Language { return []Language{English, German, Spanish, French, Portuguese} }

// Consent is what the owner agreed to, recorded at hand-over.
type Consent struct {
	Mail    bool `json:"mail"`    // reminders by mail
	Opening bool `json:"opening"` // opening the loop
	Photos  bool `json:"photos"`  // use of photos outside the workshop
}

// Validate returns all that is wrong with the owner's fields, joined.
func (o Owner) Validate() error {
	var p problems
	p.add(requireText("name", o.Name, 200))
	if o.Email != "" {
		if err := CheckEmail("email", o.Email); err != nil {
			p.add(err)
		} else if !Mailable(o.Email) {
			p.add(invalid("email", o.Email, "plain letters before the @, since few mail systems take others: ask whether the mailbox has such a name too; where it has not, leave it empty and print letters"))
		}
	}
	p.add(checkText("phone", o.Phone, 60, false))
	p.add(checkText("address", o.Address, 500, true))
	if o.Zone != "" {
		_, err := LoadZone(o.Zone)
		p.add(err)
	}
	if !o.MailStopped.IsZero() {
		p.add(o.MailStopped.validate("mail stopped"))
	}
	p.add(oneOf("units", o.Units, "", Metric, USCustomary))
	p.add(oneOf("language", o.Language, append(Languages(), "")...))
	return p.err()
}

// MayMail tells whether reminders may be mailed to the owner at all.
func (o Owner) MayMail() bool {
	return o.Email != "" && o.Consent.Mail && o.MailStopped.IsZero()
}

// Mailable tells whether every mail system takes the address: its part before the
// @ is ASCII. Others need SMTPUTF8 (RFC 6531) on the whole way.
func Mailable(address string) bool {
	local := address[:max(0, strings.LastIndexByte(address, '@'))]
	return !strings.ContainsFunc(local, func(r rune) bool { return r > unicode.MaxASCII })
}

// CheckEmail refuses an address that is not one bare mailbox within the
// limits of RFC 5321 4.5.3.1 (64 octets before the @, 255 after it) or whose
// domain IDNA does not know.
func CheckEmail(field, address string) error {
	const right = "one address such as anna@garden.example"
	if err := requireText(field, address, 254); err != nil {
		return err
	}
	parsed, err := mail.ParseAddress(address)
	if err != nil || parsed.Address != address || parsed.Name != "" {
		return invalid(field, address, right)
	}
	at := strings.LastIndexByte(address, '@')
	local, domain := address[:at], address[at+1:]
	if len(local) > 64 || len(domain) > 255 || strings.ContainsAny(local, `"<> `) {
		return invalid(field, address, right+", at most 64 bytes before the @ and 255 after it")
	}
	if _, err := idna.Lookup.ToASCII(domain); err != nil || !strings.Contains(domain, ".") {
		return invalid(field, address, right+"; its part after the @ is no domain name")
	}
	return nil
}

// LoadZone finds the zone of an IANA name, refusing the two names that mean
// "whatever this computer has".
func LoadZone(name string) (*time.Location, error) {
	zone, err := time.LoadLocation(name)
	if err != nil || name == "" || name == "Local" {
		return nil, invalid("zone", name, "an IANA zone name such as Europe/Lisbon")
	}
	return zone, nil
}
