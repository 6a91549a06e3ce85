// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"iter"
	"slices"

	"fillmark/chemistry"
)

// State is what a loop's history says about it now. It is always folded
// again from the whole history by [Fold]; nobody enters it.
type State struct {
	// Charge is the liquid in the loop; nil where it is drained or was never
	// filled.
	Charge *Charge `json:"charge,omitempty"`
	// Missing is how much liquid lacks to the fill mark, as last seen.
	Missing chemistry.Litre `json:"missing_l,omitempty"`
	// MissingSeen is the day Missing was last seen; zero if never since the fill.
	MissingSeen Day `json:"missing_seen,omitzero"`
	// Concern is the day the owner answered "something is off"; zero once a
	// technician has measured the heat or judged the loop since.
	Concern Day `json:"concern,omitzero"`
	// LastKnownGood is the last day on which a technician's comparable
	// measurement found the loop good with this charge; zero if never.
	LastKnownGood Day `json:"last_known_good,omitzero"`
	// LastLook is the last day on which anybody looked the loop over: an
	// inspection, a hand-over, or an owner's "all fine".
	LastLook Day `json:"last_look,omitzero"`
	// LastService is the last day a technician measured the heat or judged the
	// loop; a strength or a level read by itself is no service.
	LastService Day `json:"last_service,omitzero"`
	// LastTopUp is the day of the last one since the fill.
	LastTopUp Day `json:"last_top_up,omitzero"`
	// LastLeakCheck is the day of the last leak check of full length that stayed
	// dry since the loop was last filled, opened or found wet.
	LastLeakCheck Day `json:"last_leak_check,omitzero"`
	// Empty is the day the loop was drained; zero where it holds something or
	// nobody knows what.
	Empty Day `json:"empty,omitzero"`
	// Remains is what a drain left behind; nil once the loop was filled.
	Remains *Remains `json:"remains,omitempty"`
	// Agents were used to clean the loop and not rinsed out since.
	Agents []chemistry.Agent `json:"agents,omitempty"`
	// Contaminated says what got into the charge that must not be in it, until
	// the loop is drained, rinsed and filled.
	Contaminated *Contamination `json:"contaminated,omitempty"`
	// Leaking is the day a leak check ended wet; zero once one of full length
	// stayed dry.
	Leaking Day `json:"leaking,omitzero"`
	// Arrived is the day the machine last came in.
	Arrived Day `json:"arrived,omitzero"`
	// Proved is the day a valid proof was recorded for this charge; zero while
	// it is unproved.
	Proved Day `json:"proved,omitzero"`
	// ReturnedAsIs is the day the machine went back as it was; zero after a
	// hand-over or while it is in the workshop.
	ReturnedAsIs Day `json:"returned_as_is,omitzero"`
	// HandedOver is the day the machine last went back to its owner; zero
	// while it is in the workshop.
	HandedOver Day `json:"handed_over,omitzero"`
	// Failed is the day this charge was found failed, and Cause why; zero and
	// empty while it is in service.
	Failed Day   `json:"failed,omitzero"`
	Cause  Cause `json:"cause,omitempty"`
	// Retired is the day the loop left service; zero while it is in service.
	Retired Day `json:"retired,omitzero"`
	// RunningHours is the hour meter as last read; zero if it never was.
	RunningHours float64 `json:"running_hours,omitempty"`
	// Settings holds the last setting of each task that has one.
	Settings []Setting `json:"settings,omitempty"`
	// Answered holds the last answer to each task that the owner answered
	// since the fill.
	Answered []Answered `json:"answered,omitempty"`
	// Asked is the day the owner asked for a person, with "call me",
	// "something is off" or "pause"; zero once a technician recorded anything.
	Asked Day `json:"asked,omitzero"`
	// AskedFor is that answer.
	AskedFor AnswerKind `json:"asked_for,omitempty"`
	// AskedNoticed is what they ticked with it.
	AskedNoticed []Notice `json:"asked_noticed,omitempty"`
	// PassedOn is the day the owner said that it is theirs no more; zero once
	// somebody took that up: by a new owner, a call that reached them, or because it
	// came in, went back or left service.
	PassedOn Day `json:"passed_on,omitzero"`
	// QuietUntil is the day until which the owner wants no reminder; zero where
	// they did not say so, or somebody saw to the loop since.
	QuietUntil Day `json:"quiet_until,omitzero"`
	// Agreed is the day agreed with the owner for seeing to the loop; zero where
	// none was, or once somebody saw to it.
	Agreed Day `json:"agreed,omitzero"`
	// Reached is the day the owner was last reached by telephone; zero if never
	// since somebody saw to the loop.
	Reached Day `json:"reached,omitzero"`
	// TriedInVain is the day of the last call that reached nobody, and Tries how
	// many in a row did; zero once one reached the owner.
	TriedInVain Day `json:"tried_in_vain,omitzero"`
	Tries       int `json:"tries,omitempty"`
}

// Answered is an owner's answer about one task.
type Answered struct {
	Task   TaskKind   `json:"task"`
	Day    Day        `json:"day"`
	Answer AnswerKind `json:"answer"`
}

// AnsweredOn returns the day the owner last answered about a task; zero if
// never since the fill.
func (s State) AnsweredOn(task TaskKind) Day {
	for _, a := range s.Answered {
		if a.Task == task {
			return a.Day
		}
	}
	return Day{}
}

// Wanted tells that the owner said what a person must take up, and nobody has.
func (s State) Wanted() bool { return !s.Asked.IsZero() || !s.PassedOn.IsZero() }

// Setting returns the loop's own setting for a task; the zero value where it
// has none.
func (s State) Setting(task TaskKind) Setting {
	for _, x := range s.Settings {
		if x.Task == task {
			return x
		}
	}
	return Setting{Task: task}
}

// InService tells whether the loop has a charge, was handed over and has
// neither failed nor been retired. What went back as it is is not in service:
// nothing is planned for it as for a good loop.
func (s State) InService() bool {
	return s.Charge != nil && !s.HandedOver.IsZero() && s.Failed.IsZero() && s.Retired.IsZero()
}

// Remains is what stayed in a loop after it was drained.
type Remains struct {
	Fluid chemistry.Fluid `json:"fluid,omitempty"` // empty where it was not known
	// Additives were in it: they stay with what is left, until it is rinsed.
	Additives []Dosed `json:"additives,omitempty"`
	// Left is how much; zero where nobody said.
	Left   chemistry.Litre `json:"left_l,omitempty"`
	Rinsed bool            `json:"rinsed,omitempty"`
}

// Contamination is a liquid in a charge that must not be in it.
type Contamination struct {
	Day Day `json:"day"`
	// Charge is what was in the loop, With what came into it; empty where one of
	// them is not known.
	Charge chemistry.Fluid `json:"charge,omitempty"`
	With   chemistry.Fluid `json:"with,omitempty"`
}

// String says what got into what.
func (c Contamination) String() string {
	name := func(f chemistry.Fluid) string {
		if f == "" {
			return "an unknown liquid"
		}
		return f.Name()
	}
	return name(c.With) + " in " + name(c.Charge)
}

// Unproved tells that the workshop filled the loop and no valid proof stands
// since.
func (s State) Unproved() bool {
	return s.Charge != nil && s.Charge.Origin == WorkshopFill && s.Proved.IsZero()
}

// Held is how much is in the loop; zero where that is not known. Of a loop with
// room left at its fill it is too little by that room once a level was read: see
// [Charge].
func (s State) Held() chemistry.Litre {
	if s.Charge == nil {
		return 0
	}
	return max(0, s.Charge.Volume-s.Missing)
}

// MayBeGood tells that a measurement can stand for the charge: it is there, and
// neither unproved, contaminated or leaking, nor retired or given back as it is.
func (s State) MayBeGood() bool {
	return s.Charge != nil && !s.Unproved() && s.Contaminated == nil && s.Leaking.IsZero() && s.Retired.IsZero() && s.ReturnedAsIs.IsZero()
}

// Standing returns the entries that count, in the order they happened: those
// that no standing correction strikes out, by day and, within a day, in
// recorded order. Corrections themselves are left out.
func Standing(history []Entry) []Entry {
	struck := map[EntryID]bool{}
	corrections := slices.DeleteFunc(slices.Clone(history), func(e Entry) bool { return e.Kind != KindCorrection })
	// A later correction may strike an earlier one, never the reverse, so the
	// newest decides first.
	slices.SortFunc(corrections, func(a, b Entry) int { return int(b.ID) - int(a.ID) })
	for _, c := range corrections {
		if !struck[c.ID] {
			struck[c.Correction.Strikes] = true
		}
	}
	standing := slices.DeleteFunc(slices.Clone(history), func(e Entry) bool {
		return struck[e.ID] || e.Kind == KindCorrection
	})
	slices.SortStableFunc(standing, func(a, b Entry) int {
		if c := a.Day.Compare(b.Day); c != 0 {
			return c
		}
		return int(a.ID) - int(b.ID)
	})
	return standing
}

// Fold computes the state of a loop from its whole history. It is a pure
// function: the same entries on different days give the same state in
// whatever order they were recorded.
func Fold(history []Entry) State {
	var last State
	for _, s := range States(history) {
		last = s
	}
	return last
}

// States yields the standing entries in the order they happened, each with the
// state of the loop after it.
func States(history []Entry) iter.Seq2[Entry, State] {
	return func(yield func(Entry, State) bool) {
		var s State
		sold, confirmed := lastTransfer(history), false // by an opening, why the charge failed
		for _, e := range Standing(history) {
			if e.Kind == KindSetting && e.ID < sold {
				e = e.Erased() // what a former owner had said why
			}
			s.apply(e, confirmed)
			confirmed = !e.BeginsCharge() && (confirmed || e.Kind == KindOpening && e.Opening.Cause.InLoop())
			if !yield(e, s) {
				return
			}
		}
	}
}

// lastTransfer is the entry with which the machine last went to another owner,
// struck out or not; zero where it never did.
func lastTransfer(history []Entry) EntryID {
	for _, e := range slices.Backward(history) {
		if e.Kind == KindTransfer {
			return e.ID
		}
	}
	return 0
}

// apply folds one entry into the state. Confirmed tells that an opening said
// before why the charge failed.
func (s *State) apply(e Entry, confirmed bool) {
	if e.Kind != KindAnswer && e.Kind != KindWork && (e.Kind != KindCall || e.Call.Outcome == Reached) {
		s.Asked, s.AskedFor, s.AskedNoticed = Day{}, "", nil
	}
	switch e.Kind {
	case KindTransfer, KindIntake, KindHandover, KindReturn, KindRetirement:
		s.PassedOn = Day{}
	case KindCall:
		if e.Call.Outcome == Reached {
			s.PassedOn = Day{}
		}
	}
	switch e.Kind {
	case KindIntake, KindFill, KindTopUp, KindDose, KindInspection, KindLeakCheck, KindProof, KindOpening, KindHandover, KindReturn, KindTransfer,
		KindSwap, KindRetirement:
		s.seenTo()
	}
	switch e.Kind {
	case KindIntake:
		// A retired loop that comes in again is in the workshop like any other.
		s.HandedOver, s.ReturnedAsIs, s.Retired, s.Arrived = Day{}, Day{}, Day{}, e.Day
		s.hours(e.Intake.RunningHours)
	case KindFill:
		s.filled(e.Fill.Charge)
	case KindDrain:
		s.drained(e)
	case KindFlush:
		s.rinsed()
	case KindClean:
		s.cleaned(e.Clean)
	case KindTopUp:
		s.toppedUp(e.Day, e.TopUp)
	case KindDose:
		s.dose(e)
	case KindInspection:
		s.inspected(e.Day, e.Inspection, e.Inspection.Verdict == Good && e.Inspection.Comparable())
	case KindProof:
		valid := e.Proof.Valid()
		if valid && s.Retired.IsZero() && s.Charge != nil {
			s.Proved = e.Day
		}
		s.inspected(e.Day, &e.Proof.After, valid)
	case KindOpening:
		s.hours(e.Opening.RunningHours)
		s.Proved, s.LastLeakCheck = Day{}, Day{}
		s.opened(e.Day, e.Opening.Cause, confirmed)
	case KindLeakCheck:
		s.leakChecked(e.Day, e.LeakCheck)
	case KindHandover:
		s.HandedOver, s.LastLook, s.ReturnedAsIs = e.Day, e.Day, Day{}
	case KindReturn:
		s.HandedOver, s.ReturnedAsIs = Day{}, e.Day
	case KindSwap:
		s.swapped(e.Day, e.Swap)
	case KindAnswer:
		s.answered(e.Day, e.Answer)
	case KindRetirement:
		s.Retired = e.Day
	case KindCall:
		s.called(e.Day, e.Call)
	case KindSetting:
		s.Settings = slices.DeleteFunc(slices.Clone(s.Settings), func(x Setting) bool { return x.Task == e.Setting.Task })
		s.Settings = append(s.Settings, *e.Setting)
		slices.SortFunc(s.Settings, func(a, b Setting) int { return taskOrder(a.Task) - taskOrder(b.Task) })
	}
}

// answered folds an owner's answer. "All fine" answers the reminder and
// nothing else: it is no measurement. "Something is off" also answers the
// service check it brings about, since the owner knows of it.
func (s *State) answered(day Day, x *Answer) {
	tasks := x.Tasks
	switch x.Answer {
	case AllFine:
		s.LastLook = day
	case SomethingOff:
		s.Concern = day
		tasks = append(slices.Clone(tasks), ServiceCheck)
	}
	if x.Answer == Pause && !x.On.IsZero() {
		s.QuietUntil = x.On // nobody is asked for, and nothing is settled
		return
	}
	if x.Answer != AllFine {
		s.Asked, s.AskedFor, s.AskedNoticed = day, x.Answer, x.Noticed
	}
	switch x.Answer {
	case ProposeDay:
		s.Agreed = x.On
	case PassedOn:
		s.PassedOn = day
	}
	for _, task := range tasks {
		s.Answered = slices.DeleteFunc(slices.Clone(s.Answered), func(a Answered) bool { return a.Task == task })
		s.Answered = append(s.Answered, Answered{task, day, x.Answer})
	}
	slices.SortFunc(s.Answered, func(a, b Answered) int { return taskOrder(a.Task) - taskOrder(b.Task) })
}

// inspected folds a technician's readings: a measured strength and level
// replace what was worked out. Known says that they find the loop good by a
// comparable measurement. A charge that the workshop filled is known good only
// once a proof stands: until then nobody knows that the repair held.
func (s *State) inspected(day Day, x *Inspection, known bool) {
	s.hours(x.RunningHours)
	if !s.Retired.IsZero() {
		return
	}
	if !x.Empty() {
		s.LastLook = day
	}
	if x.Serves() {
		s.LastService, s.Concern = day, Day{}
	}
	if x.Missing != nil {
		s.Missing, s.MissingSeen = *x.Missing, day
	}
	if x.Mass != nil && s.Charge != nil && s.Charge.Fluid != "" { // of an unknown fluid a reading says no strength
		charge, mass := *s.Charge, *x.Mass
		charge.Mass, charge.MassUncertainty, charge.MassKnown = &mass, x.MassUncertainty, x.MassKnown
		if charge.MassKnown.How == "" {
			charge.MassKnown.How = Measured
		}
		charge.MassKnown.On = day
		charge = charge.Sure()
		s.Charge = &charge
	}
	switch {
	case known && s.MayBeGood() && s.Failed.IsZero():
		s.LastKnownGood = day
	case x.Verdict == Failed && s.Charge != nil && s.Failed.IsZero():
		s.Failed, s.Cause = day, CauseOther
	}
}

// opened folds the cause that an opening found, which tells what a measurement
// only saw. One outside the wetted loop, such as a dry mount, clears the charge
// of it, and not of what an opening confirmed before.
func (s *State) opened(day Day, cause Cause, confirmed bool) {
	switch {
	case s.Charge == nil, cause == CauseNone:
	case !cause.InLoop():
		if !confirmed {
			s.Failed, s.Cause = Day{}, ""
		}
	default:
		if s.Failed.IsZero() {
			s.Failed = day
		}
		s.Cause = cause
	}
}

// filled starts a new charge. What is told about the machine stays; what was
// told about the old charge goes. Filled, by whomever, on top of another fluid
// or without a rinse after it, or without having been emptied while
// contaminated, the loop is contaminated from its first day.
func (s *State) filled(charge Charge) {
	tainted := s.taint(charge)
	charge = charge.Sure()
	*s = State{
		Charge: &charge, HandedOver: s.HandedOver, ReturnedAsIs: s.ReturnedAsIs, Arrived: s.Arrived, LastLook: s.LastLook,
		RunningHours: s.RunningHours, Settings: s.Settings, Leaking: s.Leaking, Retired: s.Retired, Agents: s.Agents,
	}
	if tainted != nil {
		s.contaminate(*tainted)
	}
}

// taint says what of the old charge spoils a new one; nil where nothing does.
func (s *State) taint(charge Charge) *Contamination {
	rinsed := s.Remains != nil && s.Remains.Rinsed
	switch {
	case rinsed:
		return nil
	case s.Charge != nil && s.Charge.Fluid != charge.Fluid && (s.Charge.Fluid != "" || charge.Origin == WorkshopFill):
		return &Contamination{charge.FilledTo, charge.Fluid, s.Charge.Fluid}
	case s.Contaminated != nil:
		c := *s.Contaminated
		c.Day = charge.FilledTo
		return &c
	case s.Remains != nil && mustNotMeet(s.Remains.Fluid, charge.Fluid):
		return &Contamination{charge.FilledTo, charge.Fluid, s.Remains.Fluid}
	case s.Charge != nil && mustNotMeet(s.Charge.Fluid, charge.Fluid): // filled on top of it, or nobody wrote the drain down
		return &Contamination{charge.FilledTo, charge.Fluid, s.Charge.Fluid}
	}
	return nil
}

// mustNotMeet tells that one of two different fluids makes the other unfit: two
// glycols, poison in what is taken for harmless, or anything in deionised water.
func mustNotMeet(in, with chemistry.Fluid) bool {
	if in == with || in == "" {
		return false
	}
	return in.Further() || with.Further() || in.IsGlycol() && with.IsGlycol() || in == chemistry.EthyleneGlycol ||
		in == chemistry.DeionisedWater || with == chemistry.DeionisedWater
}

// contaminate folds a foreign liquid into the charge. Nobody can say any more
// what it is or how strong: no scale reads a mixture.
func (s *State) contaminate(c Contamination) {
	s.Contaminated = &c
	charge := *s.Charge
	charge.Fluid, charge.Mass, charge.MassUncertainty, charge.MassKnown = "", nil, 0, Known{How: NotKnown}
	s.Charge = &charge
}

// drained empties the loop; what stays behind taints the next charge until it
// is rinsed out.
func (s *State) drained(e Entry) {
	remains := Remains{}
	switch {
	case s.Charge != nil:
		remains.Fluid, remains.Additives = s.Charge.Fluid, s.Charge.Additives
	case s.Remains != nil:
		remains = *s.Remains // drained again, it still holds what was left
	}
	remains.Left = e.Drain.Left
	s.Charge, s.Missing, s.MissingSeen = nil, 0, Day{}
	s.Empty, s.Remains = e.Day, &remains
	s.Proved, s.LastLeakCheck = Day{}, Day{}
}

// cleaned folds a cleaning: what it was done with stays inside until it is
// rinsed out. Where it was not written down with what, nothing can be told.
func (s *State) cleaned(x *Cleaning) {
	switch {
	case x == nil:
	case x.Rinsed:
		s.rinsed()
	default:
		for _, agent := range x.Agents {
			if !slices.Contains(s.Agents, agent) {
				s.Agents = append(slices.Clone(s.Agents), agent)
			}
		}
	}
}

// rinsed folds a flush: in a drained loop it takes away what was left.
func (s *State) rinsed() {
	if s.Charge == nil {
		s.Agents = nil
		remains := Remains{}
		if s.Remains != nil {
			remains = *s.Remains
		}
		remains.Rinsed = true
		s.Remains = &remains
	}
}

// toppedUp folds liquid added to the charge. A foreign one contaminates it.
func (s *State) toppedUp(day Day, t *TopUp) {
	held := s.Held()
	s.LastTopUp, s.Missing, s.MissingSeen = day, t.Missing, day
	if s.Charge == nil {
		return
	}
	was := *s.Charge
	charge := was.toppedUp(t, held)
	s.Charge = &charge
	for _, pour := range t.Poured {
		if s.Contaminated == nil && foreign(was.Fluid, pour) {
			s.contaminate(Contamination{day, was.Fluid, pour.Fluid})
		}
	}
}

// foreign tells that a liquid must not be poured into a loop with the fluid.
func foreign(in chemistry.Fluid, pour Pour) bool {
	switch {
	case pour.Fluid == "", pour.Fluid.Further():
		return true
	case pour.Mass > 0 && pour.Fluid.IsGlycol():
		return pour.Fluid != in && (in != "" || pour.Fluid == chemistry.EthyleneGlycol)
	}
	return in == chemistry.DeionisedWater && pour.Fluid != chemistry.DeionisedWater
}

// leakChecked folds a leak check: wet makes the loop leaking however short it
// was, and only a dry one of full length clears that.
func (s *State) leakChecked(day Day, x *LeakCheck) {
	switch {
	case !x.Dry:
		s.Leaking, s.LastLeakCheck = day, Day{}
	case x.Full():
		s.Leaking, s.LastLeakCheck = Day{}, day
	}
}

// swapped ends the life of the charge and begins that of another cooler's,
// which nobody has measured.
func (s *State) swapped(day Day, x *Swap) {
	charge := Charge{Fluid: x.Fluid, Volume: x.Volume, Origin: Factory, FilledTo: day}
	if x.Fluid.Valid() && !x.Fluid.IsGlycol() {
		charge.Mass = new(chemistry.MassFraction(0))
	}
	*s = State{
		Charge: &charge, HandedOver: s.HandedOver, Arrived: s.Arrived, LastLook: s.LastLook, Settings: s.Settings,
		RunningHours: s.RunningHours, // of the machine, whatever cools it
	}
}

// hours folds a reading of the hour meter.
func (s *State) hours(read *float64) {
	if read != nil {
		s.RunningHours = *read
	}
}

// dose folds an additive into the charge.
func (s *State) dose(e Entry) {
	if s.Charge == nil {
		return
	}
	charge, dosed := *s.Charge, Dosed{e.Dose.Role, e.Dose.Additive}
	dosed.Added = e.Day
	if e.Dose.Instead {
		rivals := charge.Rivals(dosed)
		charge.Additives = slices.DeleteFunc(slices.Clone(charge.Additives), func(x Dosed) bool { return slices.Contains(rivals, x) })
	}
	charge.Additives = renewed(charge.Additives, dosed)
	s.Charge = &charge
}
