// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import "fillmark/loops"

// Owners is the record of whom a machine goes back to. All of it is personal
// but the day on which the mail stopped.
func Owners() Record[loops.Owner] {
	type o = loops.Owner
	return Record[o]{Name: "owner", all: fields[o]{
		one(Field{Name: "name", Also: []string{"name"}, Label: "name", Help: "how the owner is addressed", Example: `"Ana Ruizado"`, Needed: true, Personal: true, Names: true}, words(), func(r *o) *string { return &r.Name }),
		one(Field{Name: "email", Also: []string{"email"}, Label: "mail", Help: "one mail address; none: letters or calls", None: true, Personal: true, Names: true}, words(), func(r *o) *string { return &r.Email }),
		one(Field{Name: "phone", Also: []string{"phone"}, Label: "telephone", Help: "telephone", None: true, Personal: true, Names: true}, words(), func(r *o) *string { return &r.Phone }),
		one(Field{Name: "zone", Also: []string{"zone"}, Label: "zone", Help: "IANA zone such as Europe/Lisbon; none: the workshop's", None: true, Personal: true}, words(), func(r *o) *string { return &r.Zone }),
		one(Field{Name: "units", Also: []string{"units"}, Label: "units", Help: "units in mail and on the owner's pages", Personal: true}, choice("UNITS", []loops.Units{loops.Metric, loops.USCustomary}), func(r *o) *loops.Units { return &r.Units }),
		one(Field{Name: "language", Also: []string{"language"}, Label: "language", Help: "language of letters and of the owner's pages; none: the workshop's", None: true, Personal: true}, choice("LANGUAGE", loops.Languages()), func(r *o) *loops.Language { return &r.Language }),
		one(Field{Name: "address", Also: []string{"address"}, Label: "address", Help: "where letters go", None: true, Personal: true, Names: true}, lines(), func(r *o) *string { return &r.Address }),
		either(Field{Name: "mail-consent", Label: "agreed to mail", Help: "the owner agreed to reminders by mail", Personal: true}, func(r *o) *bool { return &r.Consent.Mail }),
		either(Field{Name: "opening-consent", Label: "agreed to opening", Help: "the owner agreed to the loop being opened", Personal: true}, func(r *o) *bool { return &r.Consent.Opening }),
		either(Field{Name: "photo-consent", Label: "agreed to photos", Help: "the owner agreed to photos being shown", Personal: true}, func(r *o) *bool { return &r.Consent.Photos }),
		one(Field{Name: "mail-stopped", Also: []string{"mail stopped"}, Label: "mail stopped", Help: "the day the owner stopped the mail; only their own click starts it again"}, day(), func(r *o) *loops.Day { return &r.MailStopped }),
	}}
}
