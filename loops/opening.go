// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"strings"
)

// Opening is what was seen inside an opened loop. What the loop is made of and
// what was in it stand on its own record; this is only what the eye adds.
type Opening struct {
	Cause Cause `json:"cause"`
	// FailedOn is the day the loop failed in service, where that is known; zero
	// where it was only found failed.
	FailedOn Day     `json:"failed_on,omitzero"`
	Colour   Colour  `json:"colour,omitempty"`
	Clarity  Clarity `json:"clarity,omitempty"`
	Smell    Smell   `json:"smell,omitempty"`
	// Residues are what sat in the loop, and where.
	Residues []Residue `json:"residues,omitempty"`
	// Severity is nil where it was not judged.
	Severity *Severity `json:"severity,omitempty"`
	// Words are for what no fixed word fits.
	Words string `json:"words,omitempty"`
	// RunningHours is the hour meter, where there is one.
	RunningHours *float64       `json:"running_hours,omitempty"`
	Photos       []OpeningPhoto `json:"photos,omitempty"`
}

// Cause is why a loop failed, as confirmed by opening or measuring it.
type Cause string

// The causes.
const (
	CauseClog         Cause = "clog"
	CausePump         Cause = "pump"
	CauseLeak         Cause = "leak"
	CauseMount        Cause = "mount"
	CauseRadiatorDust Cause = "radiator dust"
	CauseFan          Cause = "fan"
	CauseNone         Cause = "none found"
	CauseOther        Cause = "other"
)

// Causes lists the causes in the order they are offered.
func Causes() []Cause {
	return []Cause{CauseClog, CausePump, CauseLeak, CauseMount, CauseRadiatorDust, CauseFan, CauseNone, CauseOther}
}

// InLoop tells whether the cause lies in the wetted loop: such a failure ends
// the life of its charge in the statistics. A dry mount, a dusty radiator and
// a dead fan do not.
func (c Cause) InLoop() bool {
	return c == CauseClog || c == CausePump || c == CauseLeak || c == CauseOther
}

// Colour is the colour of the liquid in one of the fixed words.
type Colour string

// Colours lists the colours in the order they are offered. The first three
// compare with the liquid as it was filled.
func Colours() []Colour {
	return []Colour{"as filled", "faded", "another hue", "colourless", "yellow", "green", "blue-green", "blue", "pink", "red", "orange", "brown", "dark as tea", "black", "milky"}
}

// Clarity is how clear the liquid is: what remains of print behind a glass of
// it.
type Clarity string

// Clarities lists the four steps, the clearest first (own definition, from
// memory of the trade's practice).
func Clarities() []Clarity { return []Clarity{"clear", "hazy", "cloudy", "opaque"} }

// Means says what the step looks like.
func (c Clarity) Means() string {
	return map[Clarity]string{
		"clear": "print behind the glass is sharp", "hazy": "print is blurred", "cloudy": "print is lost, light comes through", "opaque": "no light comes through",
	}[c]
}

// Smell is what the liquid smells of.
type Smell string

// Smells lists the smells in the order they are offered.
func Smells() []Smell { return []Smell{"none", "sweet", "burnt", "sulfur", "sour", "musty", "solvent"} }

// Residue is one kind of residue and where it sat.
type Residue struct {
	Kind  ResidueKind `json:"kind"`
	Place Place       `json:"place,omitempty"`
}

// String writes the kind and the place.
func (r Residue) String() string {
	if r.Place == "" {
		return string(r.Kind)
	}
	return string(r.Kind) + " at " + string(r.Place)
}

// ResidueKind is a kind of residue by its look, never by what it may be.
type ResidueKind string

// ResidueKinds lists the kinds in the order they are offered.
func ResidueKinds() []ResidueKind {
	return []ResidueKind{"red-brown film", "green crust", "white gel or powder", "brown slime", "black slime", "jelly or threads", "orange silt", "oil film", "bright flakes", "other"}
}

// Place is where in a loop something sat.
type Place string

// Places lists the places in the order they are offered.
func Places() []Place {
	return []Place{"cold plate fins", "cold plate inlet", "pump", "radiator", "tubing", "fittings", "reservoir", "filter", "evaporator", "everywhere"}
}

// ParseResidue reads KIND or KIND@PLACE: "white gel or powder@cold plate fins".
func ParseResidue(text string) (Residue, error) {
	kind, place, placed := strings.Cut(text, "@")
	r := Residue{ResidueKind(strings.TrimSpace(kind)), Place(strings.TrimSpace(place))}
	err := r.validate()
	if err == nil && placed && r.Place == "" {
		err = invalid("place", "", "a place behind the @, such as cold plate fins")
	}
	return r, err
}

func (r Residue) validate() error {
	var p problems
	p.add(oneOf("residue", r.Kind, ResidueKinds()...))
	p.add(oneOf("place", r.Place, append(Places(), "")...))
	return p.err()
}

// Severity is how badly the narrowest passage is affected, in five steps (own
// definition, no source).
type Severity int

// The steps of severity.
const (
	Clean    Severity = iota // bare surface; a white cloth stays white
	Film                     // colours the surface or the cloth, without thickness
	Deposits                 // has thickness; every passage is open along its length
	Narrowed                 // some passages are closed; liquid still goes through
	Blocked                  // liquid does not go through, or in drops
)

// Severities lists the steps, the mildest first.
func Severities() []Severity { return []Severity{Clean, Film, Deposits, Narrowed, Blocked} }

// String is the step's word.
func (s Severity) String() string {
	if s < Clean || s > Blocked {
		return fmt.Sprintf("severity %d", int(s))
	}
	return [...]string{"clean", "film", "deposits", "narrowed", "blocked"}[s]
}

// Means says how to tell the step.
func (s Severity) Means() string {
	if s < Clean || s > Blocked {
		return ""
	}
	return [...]string{
		"bare surface; a white cloth stays white",
		"colours the surface or a cloth, has no thickness",
		"has thickness; every passage is open",
		"some passages are closed; liquid still goes through",
		"liquid does not go through, or in drops",
	}[s]
}

// ParseSeverity reads a step by its word or its figure, 0 to 4.
func ParseSeverity(text string) (Severity, error) {
	for _, s := range Severities() {
		if text == s.String() || text == fmt.Sprint(int(s)) {
			return s, nil
		}
	}
	return 0, invalid("severity", text, "0 clean, 1 film, 2 deposits, 3 narrowed or 4 blocked")
}

// OpeningPhoto is a photo kept beside the register, named by its hash.
type OpeningPhoto struct {
	Hash string      `json:"hash"` // SHA-256, 64 hexadecimal digits
	When PhotoMoment `json:"when"`
	// White tells that something white stands in view, to judge colours by.
	White bool `json:"white_reference,omitempty"`
}

// PhotoMoment is when a photo was taken.
type PhotoMoment string

// The moments of a photo: as found, and after the work.
const (
	BeforeWork PhotoMoment = "before"
	AfterWork  PhotoMoment = "after"
)

// The most that one opening holds.
const (
	MaxResidues = 12
	MaxPhotos   = 12
)

func (x *Opening) validate() error {
	var p problems
	p.add(oneOf("cause", x.Cause, Causes()...))
	p.add(oneOf("colour", x.Colour, append(Colours(), "")...))
	p.add(oneOf("clarity", x.Clarity, append(Clarities(), "")...))
	p.add(oneOf("smell", x.Smell, append(Smells(), "")...))
	if len(x.Residues) > MaxResidues {
		p.add(invalid("residue", len(x.Residues), fmt.Sprintf("at most %d", MaxResidues)))
	}
	for _, r := range x.Residues {
		p.add(r.validate())
	}
	if x.Severity != nil {
		p.add(inRange("severity", float64(*x.Severity), 0, 4, "(0 clean, 4 blocked)"))
	}
	if x.Severity != nil && *x.Severity == Clean && (x.Cause == CauseClog || len(x.Residues) > 0) {
		p.add(invalid("severity", Clean, "another step: a clog or a residue was found, so the loop is not clean"))
	}
	if !x.FailedOn.IsZero() {
		p.add(x.FailedOn.validate("failed on"))
	}
	if !x.FailedOn.IsZero() && x.Cause == CauseNone {
		p.add(invalid("failed on", x.FailedOn, "no day where no cause was found"))
	}
	p.add(checkText("words", x.Words, 1000, true))
	optional(&p, "running hours", x.RunningHours, 0, 1e6, "h")
	p.add(validatePhotos(x.Photos))
	return p.err()
}

func validatePhotos(photos []OpeningPhoto) error {
	var p problems
	if len(photos) > MaxPhotos {
		p.add(invalid("photo", len(photos), fmt.Sprintf("at most %d", MaxPhotos)))
	}
	seen := map[string]bool{}
	for _, photo := range photos {
		p.add(oneOf("photo", photo.When, BeforeWork, AfterWork))
		p.add(checkPhoto(photo.Hash, seen))
	}
	return p.err()
}

// checkPhoto refuses what is no photo's hash, and a photo seen before.
func checkPhoto(hash string, seen map[string]bool) error {
	if len(hash) != 64 || strings.Trim(hash, "0123456789abcdef") != "" {
		return invalid("photo", hash, "the hash that the register gave it: 64 hexadecimal digits")
	}
	if seen[hash] {
		return invalid("photo", hash, "each photo once; this one is there twice")
	}
	seen[hash] = true
	return nil
}
