// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"slices"
	"strings"

	"fillmark/loops"
)

// Definition is an act as the adapters know it: commands, the API, pages,
// tables and the reference are made from it.
type Definition struct {
	// Name is the command and the last part of the route: words with hyphens.
	Name string
	// Done is how a history begins to tell it: "Filled".
	Done string
	Kind loops.EntryKind
	// Short is one line of help, Long what else to know.
	Short    string
	Long     string
	Examples []string
	// Releases tells that the act lets a machine or a letter go: what speaks
	// against it stops it even where it has happened already.
	Releases bool
	Fields   []Field

	read  func(Said) (Act, error)
	say   func(Act) Said
	words func(Act) []string
	texts func(Act) []Word // what is personal in it
	named func(error) error
	of    func(loops.Entry) Act
}

// Read makes the act of what was said, or returns all that is wrong with it.
func (d Definition) Read(said Said) (Act, error) { return d.read(said) }

// Say tells an act of this kind exactly, as Read takes it.
func (d Definition) Say(a Act) Said { return d.say(a) }

// Words tells an act of this kind as a history does.
func (d Definition) Words(a Act) string {
	words := d.words(a)
	if len(words) == 0 {
		return d.Done + "."
	}
	return d.Done + ": " + strings.Join(words, "; ") + "."
}

// Named gives the errors of an act the names of the fields they are about.
func (d Definition) Named(err error) error { return d.named(err) }

// Field finds a field by its name.
func (d Definition) Field(name string) (Field, bool) {
	i := slices.IndexFunc(d.Fields, func(f Field) bool { return f.Name == name })
	if i < 0 {
		return Field{}, false
	}
	return d.Fields[i], true
}

// acting is a pointer to an act's struct.
type acting[A any] interface {
	*A
	Act
}

// define completes a definition with the act's fields and those that every act
// has. From reads an entry back into the act.
func define[A any, P acting[A]](d Definition, own fields[A], from func(loops.Entry) A) Definition {
	all := slices.Concat(own, doingFields(func(a *A) *Doing { return P(a).doing() }))
	d.Fields = all.described()
	d.read = func(said Said) (Act, error) {
		a := new(A)
		if err := all.read(a, said); err != nil {
			return nil, err
		}
		return P(a), nil
	}
	of := func(act Act) *A { return (*A)(act.(P)) }
	d.say = func(act Act) Said { return all.say(of(act)) }
	d.words = func(act Act) []string { return own.words(of(act)) }
	d.texts = func(act Act) []Word { return all.personal(d.Name, of(act)) }
	d.named = all.named
	d.of = func(e loops.Entry) Act {
		a := from(e)
		doing := P(&a).doing()
		doing.Day, doing.Note, doing.Key = e.Day, e.Note, e.Key
		if e.Judged != nil {
			doing.Already, doing.Overrule = e.Judged.AlreadyDone, e.Judged.Overruled
		}
		return P(&a)
	}
	return d
}

// doingFields are those of [Doing].
func doingFields[A any](at func(*A) *Doing) fields[A] {
	return fields[A]{
		one(Field{Name: "day", Label: "on", Help: "the day it happened (today unless said)", Example: "2026-03-14"}, day(), func(a *A) *loops.Day { return &at(a).Day }),
		one(Field{Name: "note", Label: "note", Help: "anything worth remembering", Personal: true}, lines(), func(a *A) *string { return &at(a).Note }),
		one(Field{Name: "already-done", Label: "already done", Help: "it has happened: record it with its verdict, whatever speaks against it"}, truth(), func(a *A) *bool { return &at(a).Already }),
		many(Field{Name: "overrule", Label: "set aside", Help: "set a rule aside by name and reason; repeat", Example: `"leak-check=the owner waits, 6 h dry"`, Personal: true}, overruled(), func(a *A) *[]loops.Overrule { return &at(a).Overrule }),
		one(Field{Name: "key", Label: "key", Help: "made once for this act, so that sending it again records it once", Hidden: true}, words(), func(a *A) *string { return &at(a).Key }),
	}
}

// ruleWhy is how a rule that is set aside is typed.
const ruleWhy = "RULE=WHY"

// overruled reads RULE=WHY.
func overruled() kind[loops.Overrule] {
	print := func(o loops.Overrule) string { return o.Rule + "=" + o.Why }
	return kind[loops.Overrule]{
		word: ruleWhy, typ: Text, print: print, show: print,
		parse: func(text string) (loops.Overrule, error) {
			rule, why, ok := strings.Cut(text, "=")
			o := loops.Overrule{Rule: strings.TrimSpace(rule), Why: strings.TrimSpace(why)}
			if !ok || o.Rule == "" || o.Why == "" {
				return o, wrong("", text, "the rule's name and why, such as leak-check=the owner waits")
			}
			return o, nil
		},
	}
}

// writer makes the definition of the act that writes entries of a kind.
type writer struct {
	kind loops.EntryKind
	make func() Definition
	of   func(Act) bool // whether an act is of this definition
}

func writes[A any, P acting[A]](kind loops.EntryKind, make func() Definition) writer {
	return writer{kind, make, func(a Act) bool {
		_, ok := a.(P)
		return ok
	}}
}

// writers lists every act in the order of the work. A history is told entry by
// entry, so that one act is found without making the others.
func writers() []writer {
	return []writer{
		writes[Intake](loops.KindIntake, intakeAct), writes[Readings](loops.KindInspection, readingsAct),
		writes[Opening](loops.KindOpening, openingAct), writes[Drain](loops.KindDrain, drainAct),
		writes[Clean](loops.KindClean, cleanAct), writes[Flush](loops.KindFlush, flushAct),
		writes[Step](loops.KindStep, stepAct), writes[Weigh](loops.KindWeighing, weighAct),
		writes[Fill](loops.KindFill, fillAct), writes[Dose](loops.KindDose, doseAct),
		writes[TopUp](loops.KindTopUp, topUpAct), writes[LeakCheck](loops.KindLeakCheck, leakCheckAct),
		writes[Proof](loops.KindProof, proofAct), writes[Work](loops.KindWork, workAct),
		writes[Handover](loops.KindHandover, handoverAct), writes[Return](loops.KindReturn, returnAct),
		writes[Transfer](loops.KindTransfer, transferAct), writes[Swap](loops.KindSwap, swapAct),
		writes[Retire](loops.KindRetirement, retireAct), writes[Plan](loops.KindSetting, planAct),
		writes[Call](loops.KindCall, callAct), writes[Strike](loops.KindCorrection, strikeAct),
		writes[Note](loops.KindNote, noteAct),
	}
}

// All lists every act in the order of the work.
func All() []Definition {
	var all []Definition
	for _, w := range writers() {
		all = append(all, w.make())
	}
	return all
}

// Find finds an act by its name.
func Find(name string) (Definition, bool) {
	for _, d := range All() {
		if d.Name == name {
			return d, true
		}
	}
	return Definition{}, false
}

// OfKind finds the act that writes entries of a kind.
func OfKind(kind loops.EntryKind) (Definition, bool) {
	for _, w := range writers() {
		if w.kind == kind {
			return w.make(), true
		}
	}
	return Definition{}, false
}

// Of is the definition of an act.
func Of(a Act) Definition {
	for _, w := range writers() {
		if w.of(a) {
			return w.make()
		}
	}
	return Definition{}
}

// KindOf is the kind of entry that an act writes.
func KindOf(a Act) loops.EntryKind {
	for _, w := range writers() {
		if w.of(a) {
			return w.kind
		}
	}
	return ""
}

// Entered is the act that wrote an entry; ok is false for kinds that no act
// writes, such as an owner's answer.
func Entered(e loops.Entry) (a Act, ok bool) {
	d, ok := OfKind(e.Kind)
	if !ok {
		return nil, false
	}
	return d.of(e), true
}

// Words tells an entry as a history does; empty for kinds that no act writes.
func Words(e loops.Entry) string {
	d, ok := OfKind(e.Kind)
	if !ok {
		return ""
	}
	return d.Words(d.of(e))
}
