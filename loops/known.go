// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

// Known tells how a value is known. It stands beside the value: in JSON
// mass_fraction_known beside mass_fraction. The zero value says nothing about
// it, which is how records stand that were written before it was asked.
type Known struct {
	How How `json:"how,omitempty"`
	// By says with what it was measured, from what it was calculated or by
	// which rule it was assumed.
	By string `json:"by,omitempty"`
	// On is the day of the measurement or the statement; zero where the entry's
	// own day is meant.
	On Day `json:"on,omitzero"`
	// PlusMinus is the k = 2 uncertainty in the value's own unit; zero where
	// nobody said.
	PlusMinus float64 `json:"plus_minus,omitempty"`
}

// How is a way in which a value is known.
type How string

// The ways in which a value is known. Only a measured value and a label's
// stand on their own; an unknown one is neither zero nor "none".
const (
	Measured   How = "measured"
	OnLabel    How = "label"
	Calculated How = "calculated"
	Assumed    How = "assumed"
	OwnerSays  How = "owner says"
	NotKnown   How = "not known"
)

// Hows lists the ways, the firmest first.
func Hows() []How { return []How{Measured, OnLabel, Calculated, Assumed, OwnerSays, NotKnown} }

// Word says in one word how a value is known; empty where nobody said. Pages,
// letters and commands say no other.
func (h How) Word() string {
	switch h {
	case OwnerSays:
		return "told"
	case NotKnown:
		return "unknown"
	}
	return string(h)
}

// Mark stands behind a value and says how it is known; empty where nobody said.
func (k Known) Mark() string {
	if k.How == "" {
		return ""
	}
	return " (" + k.How.Word() + ")"
}

func (k Known) validate(field string) error {
	var p problems
	p.add(oneOf(field+" known", k.How, append(Hows(), "")...))
	p.add(checkText(field+" known by", k.By, 200, false))
	p.add(inRange(field+" plus minus", k.PlusMinus, 0, 1e6, ""))
	if !k.On.IsZero() {
		p.add(k.On.validate(field + " known on"))
	}
	return p.err()
}
