// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify/words"
)

// HandoverInput is all that the letter of a machine going back is written from.
type HandoverInput struct {
	Workshop  Workshop
	Owner     loops.Owner
	Day       loops.Day // the owner's day of the hand-over
	Date      time.Time // the instant, for the Date header
	MessageID string    // from [MessageIDFor]
	Machine   string    // as the owner calls it
	Kind      loops.MachineKind
	Loops     []HandoverLoop
	Cautions  []string // for what is in these loops, in owners' words
	Links     Links    // only Stop and OneClick are used
	Calendar  []byte   // text/calendar with METHOD:PUBLISH; empty for none
	// AsItIs is why the machine went back as it is; empty where it was handed
	// over. Such a letter calls nothing good and plans nothing.
	AsItIs string
	// Welcome tells that the machine came to the owner from another one, and not
	// from the bench.
	Welcome bool
	Instead Earlier // the letter that this one takes the place of
}

// HandoverLoop is one loop of the machine that went back.
type HandoverLoop struct {
	Name   string // tells the loops of one machine apart; empty where it has one
	Tag    loops.Tag
	Sealed bool
	Fluid  chemistry.Fluid
	Charge string // what is in it, with fraction and basis
	// Volume is how much of it; zero where nobody measured.
	Volume chemistry.Litre
	// Freeze is where the charge begins to freeze, with its k = 2 uncertainty;
	// nil where it is not known.
	Freeze            *chemistry.Celsius
	FreezeUncertainty chemistry.CelsiusDelta
	// Coldest is the coldest place that the loop gets to; nil where nobody said.
	Coldest *chemistry.Celsius
	// NoFrost tells that by what was said nothing in it can freeze.
	NoFrost bool
	// Proved is the day the repair was proved; zero where it was not. Holds is the
	// set point that a chiller was proved by, nil for all else. Unproved is why it
	// went back without a proof.
	Proved   loops.Day
	Holds    *chemistry.Celsius
	Unproved string
	// Unchecked tells that no leak check of full length has stayed dry since it was
	// filled here, opened or swapped, and that nobody set that aside.
	Unchecked bool
	// Conditions stand against the loop, the worst first.
	Conditions []loops.Condition
	// SetAside are the rules that were set aside for it.
	SetAside []loops.SetAside
	Next     []NextTask
}

// HandoverLoopOf says a loop as it stands after what its owner may see of its
// history, for the letter of
// its machine going back.
func HandoverLoopOf(ws words.Words, l loops.Loop, view loops.OwnersView) HandoverLoop {
	s := l.State
	out := HandoverLoop{
		Name: l.Name, Tag: l.Tag, Sealed: l.Sealed, NoFrost: l.NoFrost, Charge: ws.Say("charge.drained"),
		Proved: s.Proved, Conditions: s.Conditions(), SetAside: loops.SetAsideSinceFill(view.Entries()),
	}
	if s.Charge != nil {
		out.Fluid, out.Charge, out.Volume = s.Charge.Fluid, ChargeInWords(ws, *s.Charge), s.Held()
	}
	if wall, ok := l.Wall(); ok {
		out.Coldest = &wall
	}
	if p := l.Protection(); p != nil {
		out.Freeze, out.FreezeUncertainty = &p.FreezePoint, p.Uncertainty
	}
	for _, e := range loops.Standing(view.Entries()) {
		switch e.Kind {
		case loops.KindHandover:
			out.Unproved = e.Handover.Unproved
		case loops.KindIntake, loops.KindReturn, loops.KindFill, loops.KindSwap:
			out.Unproved = ""
		case loops.KindProof:
			if e.Day == s.Proved {
				out.Holds = e.Proof.After.SetPoint
			}
		}
	}
	_, worked := loops.AsItIs(view.Entries())
	out.Unchecked = s.Charge != nil && worked != "" && s.Leaking.IsZero() && s.LastLeakCheck.IsZero() &&
		!slices.ContainsFunc(out.SetAside, func(o loops.SetAside) bool { return o.Rule == "leak-check" })
	return out
}

// NextTask is a task that will come due.
type NextTask struct {
	Task loops.TaskKind
	Due  loops.Day
	Why  string // in owners' words, a full sentence; may be empty
}

// because appends why the day is what it is.
func (n NextTask) because(ws words.Words, text string) string {
	if n.Why == "" {
		return text
	}
	return text + ". " + strings.TrimRight(ws.Recorded(n.Why), ".") + "."
}

// ComposeHandover writes the letter an owner gets when a machine goes back:
// what stands against it, what is in it, how cold it may get, what comes next.
// All that is wrong with the input is returned joined, as
// [loops.InvalidError]s.
func ComposeHandover(in HandoverInput) (Letter, error) {
	if err := errors.Join(validateFrame(in.Workshop, in.Owner, in.Day, in.Date, in.MessageID, in.Links), in.validate()); err != nil {
		return Letter{}, err
	}
	ws := in.Workshop.Words(in.Owner)
	d := in.document(ws, in.Workshop.ReachUs(ws))
	return d.letter(envelope{in.Workshop, in.Owner, in.Date, in.MessageID, in.Links.OneClick, in.Instead, nil}, in.Calendar)
}

// PrintHandover writes the same on paper. Date, Message-ID, links, calendar and
// the owner's mail address are not used.
func PrintHandover(in HandoverInput) (Printed, error) {
	if err := errors.Join(in.validate(), validatePaper(in.Workshop, in.Owner, in.Day)); err != nil {
		return Printed{}, err
	}
	ws := in.Workshop.Words(in.Owner)
	return in.document(ws, in.Workshop.ReachOnPaper(ws)).printed(in.Workshop, in.Owner, in.Day)
}

func (in HandoverInput) document(ws words.Words, reachUs string) document {
	kind, day := machineWord(ws, in.Kind), ws.Day(in.Day)
	about := "handover"
	if in.Welcome {
		about = "welcome"
	}
	name := loops.Capital(shortened(in.Machine, 40))
	d := document{
		Lang:     ws.Language(),
		Subject:  ws.Say("subject."+about, name),
		Greeting: ws.Say("greeting", in.Owner.Name),
		Intro:    ws.Say("intro."+about, kind, in.Machine, day),
		Closing:  in.Workshop.closing(ws),
		Reason:   ws.Say("reason.mail", in.Workshop.Name),
		Stop:     button{ws.Say("button.stop"), in.Links.Stop},
	}
	worst := in.Loops[0].Fluid
	for _, l := range in.Loops {
		d.Blocks = append(d.Blocks, l.block(ws, in, reachUs))
		if poisonous(l.Fluid) {
			worst = l.Fluid
		}
	}
	if in.AsItIs != "" {
		d.Subject, d.Intro = ws.Say("subject.as-it-is", name), in.asItIs(ws)
	}
	d.addCare(ws, ifWet(ws, worst, reachUs), in.Cautions)
	return d
}

// asItIs opens the letter of a machine that went back as it was: what stands
// against it, with its cautions, comes before anything else.
func (in HandoverInput) asItIs(ws words.Words) string {
	var said []string
	for _, l := range in.Loops {
		for _, c := range l.Conditions {
			if text := ws.Recorded(c.OwnerText); c.Kind != loops.IsReturned && !slices.Contains(said, text) {
				said = append(said, text)
			}
		}
	}
	said = append(said, ws.Say("intro.as-it-is", machineWord(ws, in.Kind), in.Machine, ws.Day(in.Day), strings.TrimRight(in.AsItIs, ".")),
		in.Cautions[0], ws.Say("intro.no-plans"))
	return strings.Join(said, " ")
}

func (l HandoverLoop) block(ws words.Words, in HandoverInput, reachUs string) block {
	name := in.Machine
	if l.Name != "" {
		name += ", " + l.Name
	}
	charge := l.Charge
	if l.Volume > 0 {
		charge = ws.Say("charge.volume", charge, fmt.Sprintf("%.0f", l.Volume.Millilitres()))
	}
	b := block{Heading: loops.Capital(name), Paragraphs: l.HowItStands(ws)}
	for _, o := range l.SetAside {
		b.Paragraphs = append(b.Paragraphs, ws.Say("set-aside", ws.Day(o.Day), RuleForOwner(ws, o), strings.TrimRight(o.Why, ".")))
	}
	b.Paragraphs = append(b.Paragraphs, inIt(ws, charge, l.Sealed, l.Tag), l.Cold(ws, in.Owner.Units))
	if len(l.Next) > 0 && in.AsItIs == "" {
		var days []string
		for _, n := range l.Next {
			about, _ := loops.AboutTask(n.Task)
			days = append(days, n.because(ws, ws.Say("colon", ws.Recorded(about.OwnerTitle))+" "+when(ws, n.Due, in.Day)))
		}
		b.Lists = append(b.Lists, list{ws.Say("heading.next"), false, days})
	}
	g := GuideFor(ws, loops.Look, in.Kind, l.Sealed, l.Fluid, reachUs)
	steps := ws.Say("heading.look")
	if loops.KeptOff(l.Conditions) {
		g, steps = g.KeepOff(ws, reachUs), ws.Say("heading.do")
	}
	b.Lists = append(b.Lists, list{steps, true, g.Steps}, list{ws.Say("heading.leave"), false, g.Leave})
	return b
}

// HowItStands says what stands against the loop, the worst first, and what is
// proved: letter, sheet and card of one hand-over say the same.
func (l HandoverLoop) HowItStands(ws words.Words) []string {
	said := ConditionsForOwner(ws, l.Conditions)
	if l.Unchecked {
		said = append(said, ws.Say("unchecked"))
	}
	switch {
	case l.Proved.IsZero():
	case l.Holds != nil:
		said = append(said, ws.Say("proved.holds", ws.Day(l.Proved), ws.Figures(l.Holds.String())))
	default:
		said = append(said, ws.Say("proved", ws.Day(l.Proved)))
	}
	if l.Unproved != "" && l.Proved.IsZero() {
		said = append(said, ws.Say("unproved", strings.TrimRight(l.Unproved, ".")))
	}
	return said
}

// RuleForOwner says a rule that was set aside as its owner reads it, without the
// orders that it gives the bench and without a full stop.
func RuleForOwner(ws words.Words, o loops.SetAside) string {
	text := cmp.Or(o.Text, o.Rule)
	rules := chemistry.Rules()
	if i := slices.IndexFunc(rules, func(r chemistry.Rule) bool { return r.ID == o.Rule }); i >= 0 {
		text = cmp.Or(rules[i].OwnerText, text)
	} else if o.Rule == "opening-consent" {
		text = "you had not agreed to the loop being opened."
	} else if pair, ok := chemistry.ParsePair(o.Rule); ok && pair.OwnerText != "" {
		text, _, _ = strings.Cut(pair.OwnerText, ". ") // what follows is for a machine that nobody let go
		text += "."
	}
	return strings.TrimRight(ws.Recorded(text), ".")
}

// warmEnd is the temperature from which on the charge may freeze, down to which
// nobody can say that it does not.
func (l HandoverLoop) warmEnd() chemistry.Celsius { return l.Freeze.Add(l.FreezeUncertainty) }

// Cold says how much cold the charge bears. Only the warm end of its freeze
// point counts: a letter never permits a cold at which the charge may freeze,
// and what nobody knows bears none.
func (l HandoverLoop) Cold(ws words.Words, units loops.Units) string {
	said := ws.Say("cold.unknown")
	if l.Freeze != nil {
		said = ws.Say("cold.freezes", ws.Figures(notColder(l.warmEnd(), units)))
	}
	switch {
	case l.NoFrost:
		return said + " " + ws.Say("cold.no-frost")
	case l.Coldest == nil:
		return said + " " + ws.Say("cold.place-unknown")
	case l.Freeze == nil:
		return said
	case *l.Coldest > l.warmEnd():
		return ws.Say("cold.filled-for", ws.Figures(notColder(*l.Coldest, units)), ws.Figures(notColder(l.warmEnd(), units)))
	}
	return said + " " + ws.Say("cold.breaks", ws.Figures(temperature(*l.Coldest, units)))
}

// notColder prints a temperature rounded to the warm side, in the owner's units,
// so that the figure never stands for more cold than is meant.
func notColder(c chemistry.Celsius, units loops.Units) string {
	value, unit := float64(c), "°C"
	if units == loops.USCustomary {
		value, unit = value*9/5+32, "°F"
	}
	// A hair less, so that 0.1 worked out as 0.1000…1 stays what it is.
	return fmt.Sprintf("%s %s", oneDecimal(math.Ceil(value*10-1e-9)/10+0), unit)
}

func (in HandoverInput) validate() error {
	var p problems
	p.add(checkText("as it is", in.AsItIs, maxSentence))
	p.add(requireText("machine", in.Machine, maxName))
	if len(in.Loops) == 0 || len(in.Loops) > maxItems {
		p.add(invalid("loops", fmt.Sprint(len(in.Loops)), fmt.Sprintf("1 to %d loops", maxItems)))
	}
	for n, l := range in.Loops {
		field := fmt.Sprintf("loop %d ", n+1)
		p.add(validateLoop(field, in.Machine, l.Tag, l.Fluid, l.Charge))
		p.add(checkText(field+"name", l.Name, maxName))
		p.add(validateTemperatures(field, l))
		p.add(checkText(field+"unproved", l.Unproved, maxSentence))
		for _, o := range l.SetAside {
			p.add(checkText(field+"rule", o.Text, 2000))
			p.add(checkText(field+"reason", o.Why, maxSentence))
		}
		for _, next := range l.Next {
			if _, ok := loops.AboutTask(next.Task); !ok || next.Due.IsZero() {
				p.add(invalid(field+"next task", string(next.Task)+" "+next.Due.String(), "a kind of task and its day"))
			}
			p.add(checkText(field+"reason", next.Why, maxSentence))
		}
	}
	p.add(validateCautions(in.Cautions))
	if len(in.Calendar) > 0 {
		p.add(checkCalendar(in.Calendar))
	}
	return errors.Join(p...)
}

func validateTemperatures(field string, l HandoverLoop) error {
	var p problems
	for _, c := range []*chemistry.Celsius{l.Freeze, l.Coldest} {
		// Written so that NaN is refused.
		if c != nil && !(*c >= -100 && *c <= 100) {
			p.add(invalid(field+"temperature", c.String(), "-100 to 100 °C"))
		}
	}
	if v := l.Volume; !(v >= 0 && v <= 10_000) {
		p.add(invalid(field+"volume", v.String(), "0 to 10000 l"))
	}
	if u := l.FreezeUncertainty; !(u >= 0 && u <= 50) {
		p.add(invalid(field+"freeze point uncertainty", u.String(), "0 to 50 K"))
	}
	return errors.Join(p...)
}
