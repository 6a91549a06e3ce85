// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fmt"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Handover gives a repaired machine back: it plans the loop and mails the owner.
type Handover struct {
	Doing
	// Mail, Opening and Photos are what the owner agreed to; nil where nobody
	// asked, which leaves what is on record.
	Mail, Opening, Photos *bool
	// Unproved is why it goes back without a proof.
	Unproved string
	// WarrantyMonths is for how long the workshop stands for its work; zero where
	// it says nothing.
	WarrantyMonths int
}

func handoverAct() Definition {
	return define(Definition{
		Name: "handover", Done: "Handed over", Kind: loops.KindHandover, Releases: true,
		Short: "Hand the machine back; plans the loop and mails the owner",
		Long: fmt.Sprintf(`A hand-over needs a leak check of %d hours that stayed dry, a charge that bears
its coldest wall, and a proof of the repair or the reason why there is none. An
owner can always have the machine back as it is: loop return.`, loops.LeakCheckHours),
		Examples: []string{
			"7K3QXW --mail-consent --opening-consent",
			`7K3QXW --mail-consent=no --unproved "the rig it cools is not here"`,
		},
	}, fields[Handover]{
		may(Field{Name: "mail-consent", Label: "agrees to mail", Help: "the owner agrees to reminders by mail"}, truth(), func(a *Handover) **bool { return &a.Mail }),
		may(Field{Name: "opening-consent", Label: "agrees to opening", Help: "the owner agrees to the loop being opened"}, truth(), func(a *Handover) **bool { return &a.Opening }),
		may(Field{Name: "photo-consent", Label: "agrees to photos", Help: "the owner agrees to photos being shown"}, truth(), func(a *Handover) **bool { return &a.Photos }),
		one(Field{Name: "unproved", Label: "not proven", Help: "why it goes back without a proof", Personal: true}, words(), func(a *Handover) *string { return &a.Unproved }),
		one(Field{Name: "own-warranty", Also: []string{"own warranty"}, Label: "our own warranty", Help: "months that our own warranty on this work runs"}, whole("MONTHS", "months"), func(a *Handover) *int { return &a.WarrantyMonths }),
	}, func(e loops.Entry) Handover {
		h := Handover{Unproved: e.Handover.Unproved, WarrantyMonths: e.Handover.WarrantyMonths}
		c, asked := e.Handover.Consent, e.Handover.AskedFor()
		if asked.Mail {
			h.Mail = &c.Mail
		}
		if asked.Opening {
			h.Opening = &c.Opening
		}
		if asked.Photos {
			h.Photos = &c.Photos
		}
		return h
	})
}

// Check refuses what left service, and a reason for no proof where one stands.
func (a *Handover) Check(s Snapshot, today loops.Day) error {
	on := a.on(today)
	if proved := s.On(on).Proved; a.Unproved != "" && !proved.IsZero() {
		return wrong("unproved", a.Unproved, "nothing: the proof of "+proved.Long()+" stands")
	}
	return s.returned(on, loops.KindHandover)
}

// Judge asks what a release wants: a dry leak check, a charge that bears its
// wall, a proof or a reason, and consent.
func (a *Handover) Judge(s Snapshot, today loops.Day) []Reason {
	state := s.On(a.on(today))
	reasons := slices.Concat(s.unfit(state, a.on(today)), s.beside(a.on(today)), s.gone(state))
	if state.Charge != nil && state.Contaminated == nil {
		reasons = append(reasons, s.tooCold(state)...)
	}
	reasons = append(reasons, s.builtAs()...)
	if state.Unproved() && a.Unproved == "" {
		reasons = append(reasons, byRecord("unproved", chemistry.Stop, "nothing proves that the repair holds.",
			"Record a proof, or say why there is none."))
	}
	if a.Mail == nil && s.Owner.ID != 0 && !s.Owner.Consent.Mail {
		reasons = append(reasons, Reason{
			Rule: "consent", Verdict: chemistry.Care, Text: "no consent to mail is on record, so no mail goes out.", Source: sourcePractice, Grade: chemistry.Practice,
			Way: "Ask whether reminders may be mailed.",
		})
	}
	return reasons
}

// Apply gives the machine back and records the consent that was given.
func (a *Handover) Apply(s Snapshot, today loops.Day) loops.Change {
	consent := s.Owner.Consent
	for _, c := range []struct{ said, kept *bool }{{a.Mail, &consent.Mail}, {a.Opening, &consent.Opening}, {a.Photos, &consent.Photos}} {
		if c.said != nil {
			*c.kept = *c.said
		}
	}
	change := a.writes(loops.Entry{Kind: loops.KindHandover, Handover: &loops.Handover{
		Consent: consent, Asked: &loops.Consent{Mail: a.Mail != nil, Opening: a.Opening != nil, Photos: a.Photos != nil}, Unproved: a.Unproved, WarrantyMonths: a.WarrantyMonths,
	}}, today)
	if s.Owner.ID != 0 && consent != s.Owner.Consent {
		owner := s.Owner
		owner.Consent = consent
		change.Owners = []loops.Owner{owner}
	}
	return change
}
