// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"errors"
	"fmt"

	"fillmark/loops"
	"fillmark/loops/inspection"
	"fillmark/loops/inspection/triage"
)

// Readings are what the temperatures read on a loop tell while it stays
// closed, and what they cannot tell.
type Readings struct {
	// Last is nil where no temperature was ever read.
	Last *LastReading `json:"last,omitempty"`
	// Proof is nil where no repair was to be proved.
	Proof  *RepairProof `json:"proof,omitempty"`
	Trends []TrendLine  `json:"trends"`
	// Cannot says what such readings never tell.
	Cannot []string `json:"cannot"`
}

// LastReading is the newest set of readings.
type LastReading struct {
	Day loops.Day `json:"day"`
	inspection.Figures
	// Seen is what the triage takes from them, Triage what it makes of them
	// alone; nil where it cannot.
	Seen   triage.Seen    `json:"seen"`
	Triage *triage.Answer `json:"triage,omitempty"`
}

// RepairProof is what the newest readings before and after a repair prove.
type RepairProof struct {
	Day loops.Day `json:"day"`
	// Compared holds neither proof where it is refused.
	inspection.Compared
	// Refused says why nothing is proved; nil where something is.
	Refused *inspection.Refusal `json:"refused,omitempty"`
}

// TrendLine is where one kind of resistance is heading since the fill.
type TrendLine struct {
	Name     string `json:"name"`
	Readings int    `json:"readings"` // that compare
	LeftOut  int    `json:"left_out"` // taken at too different a power
	// Text says when it may reach its limit; empty where that is refused.
	Text    string              `json:"text,omitempty"`
	Refused *inspection.Refusal `json:"refused,omitempty"`
}

// ReadingsOf tells what the readings in a loop's history say; nil where no
// temperature was ever read.
func ReadingsOf(loop loops.Loop, history []loops.Entry) *Readings {
	out := &Readings{Trends: []TrendLine{}, Cannot: []string{inspection.MountNote, inspection.PumpNote}}
	var rows Resistances
	if charge := loop.State.Charge; charge != nil {
		rows = ResistancesOf(*charge, history)
		for _, row := range rows.Watched() {
			if len(row.Values) > 0 {
				out.Trends = append(out.Trends, trendLine(*charge, row))
			}
		}
	}
	out.read(loop, history, rows)
	if out.Last == nil && out.Proof == nil && len(out.Trends) == 0 {
		return nil
	}
	return out
}

// ownFigures are what the loop's first readings since the fill showed: from die
// to room, of that from coolant to room, and the coolant's rise across the
// plate for each watt; nil where they are too few.
func ownFigures(rows Resistances) (total, radiator, rise *inspection.KelvinPerWatt) {
	base := func(row Resistance) *inspection.KelvinPerWatt {
		b, err := inspection.Baseline(inspection.Comparable(row.Values))
		if err != nil {
			return nil
		}
		return &b
	}
	total, radiator = base(rows.Total), base(rows.Radiator)
	if total == nil || radiator != nil && *radiator >= *total {
		radiator = nil
	}
	return total, radiator, base(rows.Rise)
}

// read takes the newest readings and the newest proof. Readings are worked out
// with the charge that was in the loop at the time.
func (r *Readings) read(loop loops.Loop, history []loops.Entry, rows Resistances) {
	var charge *loops.Charge
	var last *loops.Inspection
	var day loops.Day
	for e, after := range loops.States(history) {
		if after.Charge != nil {
			charge = after.Charge
		}
		switch e.Kind {
		case loops.KindFill, loops.KindSwap:
			last = nil
		case loops.KindInspection:
			if readsHeat(e.Inspection) {
				last, day = e.Inspection, e.Day
			}
		case loops.KindProof:
			r.Proof = proofOf(e.Day, *e.Proof, charge)
			if readsHeat(&e.Proof.After) {
				last, day = &e.Proof.After, e.Day
			}
		}
	}
	if last == nil {
		return
	}
	reading := InspectionReading(*last, charge)
	r.Last = newestReading(day, reading, loop.Sealed, rows, SignsFound(loop, history))
}

// SignsFound is what the steps of this visit found, as the triage asks it.
func SignsFound(loop loops.Loop, history []loops.Entry) map[triage.Sign]triage.Value {
	signs := map[triage.Sign]triage.Value{}
	found := loops.FoundNow(loop.Sealed, history)
	for look, sign := range map[loops.StepID]triage.Sign{loops.LookFan: triage.SignDirection, loops.LookDust: triage.SignFins, loops.LookMount: triage.SignScrews} {
		if found[look] != "" {
			signs[sign] = triage.Value(found[look])
		}
	}
	return signs
}

// readsHeat tells whether an inspection read any temperature.
func readsHeat(x *loops.Inspection) bool {
	return x.Die != nil || x.CoolantIn != nil || x.CoolantOut != nil
}

func newestReading(day loops.Day, reading inspection.Reading, sealed bool, rows Resistances, signs map[triage.Sign]triage.Value) *LastReading {
	last := &LastReading{Day: day, Seen: triage.Seen{Sealed: sealed, Die: reading.Die, Room: reading.Room, Power: reading.Power,
		CoolantIn: reading.CoolantIn, CoolantOut: reading.CoolantOut, Signs: signs}}
	last.Seen.Own, last.Seen.OwnRadiator, last.Seen.OwnRise = ownFigures(rows)
	refuse := func(what string, err error) {
		var refusal inspection.Refusal
		if !errors.As(err, &refusal) {
			refusal = inspection.Refusal{What: what, Why: err.Error()}
		}
		last.Refused = append(last.Refused, refusal)
	}
	figures, err := inspection.Read(reading)
	if err != nil {
		refuse("readings", err)
		return last
	}
	last.Figures = figures
	if err := reading.ForTrend(0); err != nil {
		refuse("trend", err)
	}
	answer, err := triage.Judge(last.Seen)
	if err != nil {
		refuse("triage", err)
		return last
	}
	last.Triage = &answer
	return last
}

func proofOf(day loops.Day, x loops.Proof, charge *loops.Charge) *RepairProof {
	out := &RepairProof{Day: day}
	compared, err := inspection.Compare(InspectionReading(x.Before, nil), InspectionReading(x.After, charge))
	if err == nil {
		out.Compared = compared
		return out
	}
	refusal := inspection.Refusal{What: "proof of the repair", Why: err.Error()}
	errors.As(err, &refusal)
	out.Refused = &refusal
	return out
}

func trendLine(charge loops.Charge, row Resistance) TrendLine {
	compared := inspection.Comparable(row.Values)
	line := TrendLine{Name: row.Name, Readings: len(compared), LeftOut: len(row.Values) - len(compared)}
	o, err := inspection.LookAhead(row.Values)
	if err != nil {
		refusal := inspection.Refusal{What: "trend", Why: err.Error()}
		errors.As(err, &refusal)
		line.Refused = &refusal
		return line
	}
	day := func(x float64) string { return CrossingDay(charge, x).Long() }
	line.Text = fmt.Sprintf("It rises by %.4f K/W a year (90 %% interval %.4f to %.4f, p %.2g) and reaches its limit %s, 1.3 times the baseline %s, on %s, between %s and %s.",
		o.Trend.Slope*daysPerYear, o.Trend.Low*daysPerYear, o.Trend.High*daysPerYear, o.Trend.P, o.Limit, o.Baseline,
		day(o.Crossing.At), day(o.Crossing.Earliest), day(o.Crossing.Latest))
	if o.Crossing.Far {
		line.Text += " That is further off than twice the time the readings cover: a guess."
	}
	return line
}

// daysPerYear is the mean year of the statistics' clock.
const daysPerYear = 365.25

// FigureLine is one figure of a reading, for people.
type FigureLine struct{ What, Value string }

// Lines are the figures that could be told, with their uncertainty (k = 2).
func (l LastReading) Lines() []FigureLine {
	var lines []FigureLine
	for _, x := range []struct {
		what string
		m    *inspection.Measured[inspection.KelvinPerWatt]
	}{{"total resistance", l.Total}, {"mount resistance", l.Mount}, {"radiator resistance", l.Radiator}} {
		if x.m != nil {
			lines = append(lines, FigureLine{x.what, fmt.Sprintf("%.3f ± %s", float64(x.m.Value), x.m.Uncertainty)})
		}
	}
	if l.Flow != nil {
		lines = append(lines, FigureLine{"flow", fmt.Sprintf("%.2f ± %s", float64(l.Flow.Value), l.Flow.Uncertainty)})
	}
	return lines
}

// Sentence says what is proved, or why nothing is.
func (p RepairProof) Sentence() string {
	if p.Refused != nil {
		return "Nothing is proved: " + p.Refused.Why + "."
	}
	return p.Compared.Sentence()
}

// Sentence says where the resistance is heading, or why that cannot be told.
func (t TrendLine) Sentence() string {
	text := t.Text
	if t.Refused != nil {
		text = "No day can be told: " + t.Refused.Why + "."
	}
	if t.LeftOut > 0 {
		text += fmt.Sprintf(" %s taken at too different a power left out.", loops.Count(t.LeftOut, "reading"))
	}
	return text
}
