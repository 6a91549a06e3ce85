// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"slices"
	"strings"

	"fillmark/chemistry"
)

// Intake is what was written down when a machine came in.
type Intake struct {
	Complaint string `json:"complaint"`         // in the owner's words
	Symptom   string `json:"symptom,omitempty"` // what the technician saw
	// RunningHours is the hour meter, where there is one.
	RunningHours *float64 `json:"running_hours,omitempty"`
	// Photos are those taken when it came in, by their hashes.
	Photos []string `json:"photos,omitempty"`
}

func (x *Intake) validate() error {
	var p problems
	if len(x.Photos) > MaxPhotos {
		p.add(invalid("photo", len(x.Photos), fmt.Sprintf("at most %d", MaxPhotos)))
	}
	seen := map[string]bool{}
	for _, hash := range x.Photos {
		p.add(checkPhoto(hash, seen))
	}
	p.add(checkText("complaint", x.Complaint, 2000, true))
	p.add(checkText("symptom", x.Symptom, 2000, true))
	optional(&p, "running hours", x.RunningHours, 0, 1e6, "h")
	return p.err()
}

// Inspection is a set of readings taken without opening the loop. Nil is "not
// read".
type Inspection struct {
	Die        *chemistry.Celsius `json:"die_c,omitempty"`         // hottest die or heat source
	CoolantIn  *chemistry.Celsius `json:"coolant_in_c,omitempty"`  // into the cold plate: what leaves a chiller
	CoolantOut *chemistry.Celsius `json:"coolant_out_c,omitempty"` // out of it: what comes back to a chiller
	SetPoint   *chemistry.Celsius `json:"set_point_c,omitempty"`   // of a chiller; it is proved by that
	Room       *chemistry.Celsius `json:"room_c,omitempty"`        // air into the radiator
	PowerW     *float64           `json:"power_w,omitempty"`       // heat at the cold plate
	PumpW      *float64           `json:"pump_w,omitempty"`        // electrical, all of it heats the loop
	Steady     bool               `json:"steady,omitempty"`        // coolant drifted less than 0.1 K/min
	// Mass is the glycol fraction read on a sample, with its k = 2 uncertainty.
	Mass            *chemistry.MassFraction `json:"mass_fraction,omitempty"`
	MassUncertainty chemistry.MassFraction  `json:"mass_fraction_uncertainty,omitempty"`
	MassKnown       Known                   `json:"mass_fraction_known,omitzero"`
	PH              *float64                `json:"ph,omitempty"`
	// Missing is how much liquid the loop lacks to its fill mark.
	Missing *chemistry.Litre `json:"missing_l,omitempty"`
	// Weight is the whole machine or cooler as weighed, to see loss without opening.
	Weight *chemistry.Kilogram `json:"weight_kg,omitempty"`
	// RunningHours is the hour meter, where there is one.
	RunningHours *float64 `json:"running_hours,omitempty"`
	// Verdict is the technician's judgement of the loop as a whole.
	Verdict Judgement `json:"verdict"`
	Noise   string    `json:"noise,omitempty"`
}

// Judgement is what a technician concludes from an inspection.
type Judgement string

// The judgements. Only Good with a comparable measurement makes a loop known good.
const (
	Good      Judgement = "good"
	Watch     Judgement = "watch"
	Failed    Judgement = "failed"
	NotJudged Judgement = "not judged"
)

// Comparable tells whether the readings can be compared with others of the
// same loop: a die temperature with the room's and the power known, or what a
// chiller's set point is judged by.
func (x *Inspection) Comparable() bool {
	return x.PowerW != nil && (x.Die != nil && x.Room != nil || x.OfChiller())
}

// OfChiller tells that a chiller was read by what it is proved by, whatever the
// heat.
func (x *Inspection) OfChiller() bool {
	return x.SetPoint != nil && x.CoolantIn != nil && x.CoolantOut != nil
}

func (x *Inspection) validate() error {
	var p problems
	p.add(oneOf("verdict", x.Verdict, Good, Watch, Failed, NotJudged))
	for field, c := range map[string]*chemistry.Celsius{
		"die": x.Die, "coolant in": x.CoolantIn, "coolant out": x.CoolantOut, "set point": x.SetPoint, "room": x.Room,
	} {
		if c != nil {
			p.add(inRange(field, *c, -60, 150, "°C"))
		}
	}
	optional(&p, "power", x.PowerW, 0.1, 1e6, "W")
	optional(&p, "pump power", x.PumpW, 0, 1e5, "W")
	optional(&p, "pH", x.PH, 0, 14, "")
	optional(&p, "running hours", x.RunningHours, 0, 1e6, "h")
	optional(&p, "strength", x.Mass, 0, 1, "as a mass fraction")
	optional(&p, "missing", x.Missing, 0, 1000, "litres")
	optional(&p, "weight", x.Weight, 0.01, 5000, "kg")
	p.add(inRange("strength uncertainty", x.MassUncertainty, 0, 1, "as a mass fraction"))
	p.add(checkText("noise", x.Noise, 200, false))
	p.add(x.MassKnown.validate("strength"))
	return p.err()
}

// Empty tells that nothing was read, heard or judged.
func (x *Inspection) Empty() bool {
	bare := *x
	bare.Steady, bare.MassUncertainty, bare.MassKnown = false, 0, Known{}
	if bare.Verdict == NotJudged {
		bare.Verdict = ""
	}
	return bare == Inspection{}
}

// Serves tells that the readings stand for a service check: the heat was
// measured, or the technician judged the loop.
func (x *Inspection) Serves() bool {
	return x.Comparable() || x.Verdict != NotJudged && x.Verdict != ""
}

// optional checks a figure that may be missing.
func optional[T ~float64](p *problems, field string, value *T, low, high T, unit string) {
	if value != nil {
		p.add(inRange(field, *value, low, high, unit))
	}
}

// Fill is a loop filled from empty: the start of a new charge.
type Fill struct {
	Charge Charge `json:"charge"`
	// Poured lists what the charge was made of, where it came from the shelf.
	Poured []Pour `json:"poured,omitempty"`
}

func (x *Fill) validate() error {
	var p problems
	p.add(x.Charge.validate())
	p.add(validatePours(x.Poured, 0))
	return p.err()
}

// TopUp is liquid added to a charge, after Drained was taken out.
type TopUp struct {
	Drained chemistry.Litre `json:"drained_l,omitempty"`
	// Hazard says what is in what was taken out, and Disposal where it went, as
	// with a [Drain].
	Hazard   string `json:"hazard,omitempty"`
	Disposal string `json:"disposal,omitempty"`
	Poured   []Pour `json:"poured"`
	// Missing is what still lacks to the fill mark afterwards.
	Missing chemistry.Litre `json:"missing_l,omitempty"`
}

// added is how much was poured in.
func (x *TopUp) added() (sum chemistry.Litre) {
	for _, p := range x.Poured {
		sum += p.Volume
	}
	return sum
}

// Pour is one liquid poured into a loop.
type Pour struct {
	Liquid string                 `json:"liquid"`
	Fluid  chemistry.Fluid        `json:"fluid"`
	Mass   chemistry.MassFraction `json:"mass_fraction"`
	// MassUncertainty is how far it may be off (k = 2); zero where nobody knows.
	MassUncertainty chemistry.MassFraction `json:"mass_fraction_uncertainty,omitempty"`
	Volume          chemistry.Litre        `json:"volume_l"`
	// Container is the one on the shelf; zero where it came from none.
	Container ContainerID `json:"container,omitzero"`
}

func (x *TopUp) validate() error {
	var p problems
	p.add(inRange("drained", x.Drained, 0, 1000, "litres"))
	p.add(inRange("missing", x.Missing, 0, 1000, "litres"))
	p.add(checkText("hazard", x.Hazard, 500, false))
	p.add(checkText("disposal", x.Disposal, 500, false))
	p.add(validatePours(x.Poured, 1))
	return p.err()
}

// validatePours checks what went into a loop, at least so many liquids.
func validatePours(pours []Pour, least int) error {
	var p problems
	if len(pours) < least || len(pours) > 20 {
		p.add(invalid("poured", len(pours), fmt.Sprintf("%d to 20 liquids", least)))
	}
	for _, pour := range pours {
		p.add(requireText("liquid", pour.Liquid, 200))
		p.add(oneOf("fluid", pour.Fluid, anyFluid()...))
		p.add(inRange("strength", pour.Mass, 0, 1, "as a mass fraction"))
		p.add(inRange("strength uncertainty", pour.MassUncertainty, 0, 1, "as a mass fraction"))
		p.add(inRange("volume", pour.Volume, 0.0001, 1000, "litres"))
	}
	return p.err()
}

// Dose is an additive given to a charge by its label.
type Dose struct {
	Role     AdditiveRole `json:"role"`
	Additive Additive     `json:"additive"`
	// Instead tells that it takes the place of another product of its family,
	// which is spent; without it both stand.
	Instead bool `json:"instead,omitempty"`
	// Volume is how much of the product went in; zero where it was not measured.
	Volume chemistry.Litre `json:"volume_l,omitempty"`
	// Container is the one on the shelf; zero where it came from none.
	Container ContainerID `json:"container,omitzero"`
}

func (x *Dose) validate() error {
	var p problems
	p.add(Dosed{x.Role, x.Additive}.validate())
	p.add(inRange("volume", x.Volume, 0, 1000, "litres"))
	if x.Container != 0 && x.Volume == 0 {
		p.add(invalid("volume", "none", "how much came out of the container, such as 2ml"))
	}
	return p.err()
}

// Drain is a loop emptied; Left is what stayed inside.
type Drain struct {
	Left chemistry.Litre `json:"left_l,omitempty"`
	// Out is how much came out; zero where it was not measured.
	Out chemistry.Litre `json:"out_l,omitempty"`
	// Hazard says what is in it, in the workshop's words, and Disposal where
	// it went: both go into the used-fluid log.
	Hazard   string `json:"hazard,omitempty"`
	Disposal string `json:"disposal,omitempty"`
}

func (x *Drain) validate() error {
	var p problems
	p.add(inRange("left", x.Left, 0, 1000, "litres"))
	p.add(inRange("out", x.Out, 0, 1000, "litres"))
	p.add(checkText("hazard", x.Hazard, 500, false))
	p.add(checkText("disposal", x.Disposal, 500, false))
	return p.err()
}

// Cleaning is what a loop was cleaned with.
type Cleaning struct {
	// Agents were used in this order; empty where only the note says.
	Agents []chemistry.Agent `json:"agents,omitempty"`
	// Rinsed tells that the loop was rinsed with water between two agents and
	// after the last.
	Rinsed bool `json:"rinsed,omitempty"`
	// Materials are the seals and plastics that the agents met; empty where that
	// is not known, and none for a bare part.
	Materials []chemistry.Material `json:"materials,omitempty"`
}

func (x *Cleaning) validate() error {
	var p problems
	if len(x.Agents) > 10 {
		p.add(invalid("agents", len(x.Agents), "at most 10"))
	}
	for _, a := range x.Agents {
		p.add(oneOf("agent", a, chemistry.Agents()...))
	}
	p.add(checkMaterials(x.Materials))
	return p.err()
}

// checkMaterials checks a list of seals and plastics: those that the table
// knows, each once, or none alone.
func checkMaterials(all []chemistry.Material) error {
	known := append(chemistry.Materials(), chemistry.NoMaterial)
	for i, m := range all {
		if err := oneOf("material", m, known...); err != nil {
			return err
		}
		if slices.Contains(all[:i], m) {
			return invalid("material", m, "each once")
		}
		if m == chemistry.NoMaterial && len(all) > 1 {
			return invalid("material", m, "either none or what the liquid wets, not both")
		}
	}
	return nil
}

// LeakCheck is a run with the pump on a separate supply and the machine
// unpowered.
type LeakCheck struct {
	Hours float64 `json:"hours"`
	Dry   bool    `json:"dry"`
}

// LeakCheckHours is how long a leak check runs before it releases anything:
// "about 24 hours" (common practice, no source).
const LeakCheckHours = 24

// Full tells that the check ran its full length.
func (x *LeakCheck) Full() bool { return x.Hours >= LeakCheckHours }

// AsItIs is since when a loop has been as a leak check finds it, and what was
// done to it then; zero where nothing of that is in its history, or where others than
// the workshop filled it since. That it was wet a dry check of full length answers.
func AsItIs(history []Entry) (since Day, what string) {
	var wet Day
	for _, e := range Standing(history) {
		switch {
		case e.Kind == KindFill && e.Fill.Charge.Origin != WorkshopFill:
			since, what, wet = Day{}, "", Day{}
		case e.Kind == KindFill:
			since, what, wet = e.Day, "filled", Day{}
		case e.Kind == KindOpening:
			since, what, wet = e.Day, "opened", Day{}
		case e.Kind == KindSwap:
			since, what, wet = e.Day, "swapped for another", Day{}
		case e.Kind == KindLeakCheck && !e.LeakCheck.Dry:
			wet = e.Day
		case e.Kind == KindLeakCheck && e.LeakCheck.Full():
			wet = Day{}
		}
	}
	if !wet.IsZero() {
		return wet, "wet"
	}
	return since, what
}

func (x *LeakCheck) validate() error { return inRange("hours", x.Hours, 0, 1000, "h") }

// Handover is the machine going back to its owner.
type Handover struct {
	Consent Consent `json:"consent"`
	// Asked are the consents that the owner was asked for at this hand-over; of
	// the others what was on record stays. Nil in an entry of before they were told
	// apart: all of them, unless NotAsked.
	Asked    *Consent `json:"consent_asked,omitempty"`
	NotAsked bool     `json:"consent_not_asked,omitempty"`
	// Unproved is why the machine goes back without a proof; empty where it is
	// proved.
	Unproved string `json:"unproved,omitempty"`
	// WarrantyMonths is for how long the workshop stands for its work, from 0,
	// which says nothing, to 120.
	WarrantyMonths int `json:"own_warranty_months,omitempty"`
}

// AskedFor are the consents that the owner was asked for.
func (x Handover) AskedFor() Consent {
	if x.Asked != nil {
		return *x.Asked
	}
	return Consent{!x.NotAsked, !x.NotAsked, !x.NotAsked}
}

func (x *Handover) validate() error {
	var p problems
	p.add(checkText("unproved", x.Unproved, 500, false))
	p.add(inRange("own warranty", float64(x.WarrantyMonths), 0, 120, "months"))
	return p.err()
}

// Return is the machine going back as it is: unrepaired, leaking or unproved.
// Nothing is planned for it as for a good loop.
type Return struct {
	Why string `json:"why"`
}

func (x *Return) validate() error { return requireText("why", x.Why, 500) }

// Swap is another cooler fitted in the place of this one: the life of the old
// charge ends and another begins, of a loop that nobody has measured yet.
type Swap struct {
	// OldUnit is what became of the cooler that was taken out.
	OldUnit OldUnit `json:"old_unit"`
	// Sealed is nil where nobody said: the stricter of the two is then taken.
	Sealed *bool `json:"sealed,omitempty"`
	// Fluid of the new cooler; empty where nobody knows.
	Fluid chemistry.Fluid `json:"fluid,omitempty"`
	// Volume of the new loop; zero where it is not known.
	Volume chemistry.Litre `json:"volume_l,omitempty"`
	Why    string          `json:"why,omitempty"`
}

// OldUnit is what became of a cooler that was taken out.
type OldUnit string

// What becomes of an old unit.
const (
	OldUnitKept      OldUnit = "kept"
	OldUnitDiscarded OldUnit = "discarded"
	OldUnitReturned  OldUnit = "given to the owner"
)

// OldUnits lists what can become of one.
func OldUnits() []OldUnit { return []OldUnit{OldUnitKept, OldUnitDiscarded, OldUnitReturned} }

func (x *Swap) validate() error {
	var p problems
	p.add(oneOf("old unit", x.OldUnit, OldUnits()...))
	p.add(oneOf("fluid", x.Fluid, append(anyFluid(), "")...))
	p.add(inRange("volume", x.Volume, 0, 1000, "litres"))
	p.add(checkText("why", x.Why, 500, false))
	return p.err()
}

// Answer is what an owner replied to a reminder.
type Answer struct {
	Answer AnswerKind `json:"answer"`
	Tasks  []TaskKind `json:"tasks,omitempty"` // the tasks of the reminder it answers
	// On is the day that they propose, or until which they want no reminder; zero
	// with any other answer, and for a pause without an end.
	On Day `json:"on,omitzero"`
	// Noticed is what they ticked with "something is off"; nothing else. On
	// record is what shows on the loop of the entry.
	Noticed []Notice `json:"noticed,omitempty"`
	Words   string   `json:"words,omitempty"`
	// Photo is the hash of what they sent with "something is off"; else empty.
	Photo string `json:"photo,omitempty"`
	// Die and Room are what they read, and Ran what the machine did then; nil and
	// empty where they read nothing.
	Die  *chemistry.Celsius `json:"die_c,omitempty"`
	Room *chemistry.Celsius `json:"room_c,omitempty"`
	Ran  Ran                `json:"ran,omitempty"`
}

// Said is the answer in one phrase: its kind, with its day, and what was ticked.
func (x Answer) Said() string {
	switch {
	case x.Answer == Pause && !x.On.IsZero():
		return string(x.Answer) + " until " + x.On.Long()
	case !x.On.IsZero():
		return string(x.Answer) + " " + x.On.Long()
	case len(x.Noticed) == 0:
		return string(x.Answer)
	}
	noticed := make([]string, len(x.Noticed))
	for n, s := range x.Noticed {
		noticed[n] = string(s)
	}
	return string(x.Answer) + ": " + strings.Join(noticed, "; ")
}

// AnswerKind is one of the answers an owner can give.
type AnswerKind string

// The answers.
const (
	AllFine      AnswerKind = "all fine"
	SomethingOff AnswerKind = "something is off"
	CallMe       AnswerKind = "call me"
	Pause        AnswerKind = "pause"
	// Unclear is a mail of theirs that no rule could read: a person does. The entry's
	// note says why, and its words are the owner's.
	Unclear AnswerKind = "unclear reply"
	// ProposeDay names a day for the visit. The others tell what a person must
	// take up: none of them is a record of work.
	ProposeDay AnswerKind = "I can bring it on"
	Moved      AnswerKind = "I have moved"
	PassedOn   AnswerKind = "it is sold"
	Elsewhere  AnswerKind = "it was done elsewhere"
)

// AnswerKinds lists them.
func AnswerKinds() []AnswerKind {
	return []AnswerKind{AllFine, SomethingOff, CallMe, Pause, ProposeDay, Moved, PassedOn, Elsewhere}
}

// CheckDay refuses an answer whose day is missing, past or too far off, seen from
// the day on which it is given.
func (x Answer) CheckDay(today Day) error {
	switch {
	case x.Answer == ProposeDay && x.On.IsZero():
		return invalid("on", "", "the day on which you can bring it")
	case x.On.IsZero():
		return nil
	case x.Answer != ProposeDay && x.Answer != Pause:
		return invalid("on", x.On.String(), "no day with this answer")
	case !x.On.After(today) || x.On.Sub(today) > furthestAnswered:
		return invalid("on", x.On.String(), fmt.Sprintf("a day after today, within %d days", furthestAnswered))
	}
	return nil
}

// furthestAnswered is how many days ahead an owner can put a visit or a pause:
// past half a year they had better talk to us (common practice, no source).
const furthestAnswered = 183

func (x *Answer) validate() error {
	var p problems
	p.add(oneOf("answer", x.Answer, append(AnswerKinds(), Unclear)...))
	if !x.On.IsZero() {
		p.add(x.On.validate("on"))
	}
	for _, t := range x.Tasks {
		p.add(oneOf("task", t, TaskKinds()...))
	}
	for _, s := range x.Noticed {
		p.add(oneOf("noticed", s, Notices(false)...))
	}
	if len(x.Noticed) > 0 && x.Answer != SomethingOff {
		p.add(invalid("noticed", string(x.Noticed[0]), "none, except with "+string(SomethingOff)))
	}
	p.add(checkText("words", x.Words, 2000, true))
	p.add(x.validateReadings())
	if x.Photo != "" {
		p.add(checkPhoto(x.Photo, map[string]bool{}))
		if x.Answer != SomethingOff {
			p.add(invalid("photo", x.Photo, "none, except with "+string(SomethingOff)))
		}
	}
	return p.err()
}

// Correction strikes out an earlier entry of the same loop and says why. A
// struck correction strikes nothing.
type Correction struct {
	Strikes EntryID `json:"strikes"`
	Why     string  `json:"why"`
}

func (x *Correction) validate() error {
	if x.Strikes == 0 {
		return invalid("strikes", 0, "the number of the entry that is wrong")
	}
	return requireText("why", x.Why, 500)
}

// Transfer is a machine going from one owner to another. From is who had it,
// which the action that records the transfer knows.
type Transfer struct {
	From OwnerID `json:"from,omitzero"`
	To   OwnerID `json:"to"`
}

func (x *Transfer) validate() error {
	if x.To == 0 {
		return invalid("to", 0, "the new owner")
	}
	return nil
}

// Retirement ends a loop's plan; openings may still be recorded after it.
type Retirement struct {
	Reason RetirementReason `json:"reason"`
	// StatedRatingW is what a replacement cooler claims: noted, not judged.
	StatedRatingW *float64 `json:"stated_rating_w,omitempty"`
}

// RetirementReason is why a loop left service.
type RetirementReason string

// The reasons.
const (
	ReplacedByAir RetirementReason = "replaced by an air cooler"
	Scrapped      RetirementReason = "scrapped"
	LostSightOf   RetirementReason = "lost sight of"
	Sold          RetirementReason = "sold"
)

// RetirementReasons lists the reasons in the order they are offered.
func RetirementReasons() []RetirementReason {
	return []RetirementReason{ReplacedByAir, Scrapped, LostSightOf, Sold}
}

func (x *Retirement) validate() error {
	var p problems
	p.add(oneOf("reason", x.Reason, RetirementReasons()...))
	optional(&p, "stated rating", x.StatedRatingW, 1, 1e6, "W")
	return p.err()
}

// Setting changes how one loop is planned from its day on: a task paused,
// resumed, or given an interval of its own.
type Setting struct {
	Task TaskKind `json:"task"`
	// Paused stops the task's reminders until a later setting resumes it.
	Paused bool `json:"paused,omitempty"`
	// IntervalMonths replaces the policy's interval; zero keeps it.
	IntervalMonths int    `json:"interval_months,omitempty"`
	Why            string `json:"why,omitempty"`
}

func (x *Setting) validate() error {
	var p problems
	p.add(oneOf("task", x.Task, TaskKinds()...))
	p.add(inRange("interval", float64(x.IntervalMonths), 0, 240, "months"))
	p.add(checkText("why", x.Why, 500, false))
	return p.err()
}
