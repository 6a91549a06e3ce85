// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"strings"
	"unicode/utf8"

	"fillmark/loops"
)

// Word is something that a person said or is, with the field that it stands in.
type Word struct {
	Field string // "owner: mail"
	Text  string
	// Names tells that it says who the person is, so that any text in which it
	// stands is about them.
	Names bool
}

// Words lists what is personal in a record. Choices, days and truths are left
// out: nobody is found by them.
func (r Record[T]) Words(is T) []Word { return r.all.personal(r.Name, &is) }

// EntryWords lists what is personal in an entry.
func EntryWords(e loops.Entry) []Word {
	if e.Kind == loops.KindAnswer {
		return answers().Words(e)
	}
	d, ok := OfKind(e.Kind)
	if !ok {
		return nil
	}
	return d.texts(d.of(e))
}

// answers is what is personal in the entry of an owner's answer, which no act
// writes.
func answers() Record[loops.Entry] {
	type e = loops.Entry
	return Record[e]{Name: "answer", all: fields[e]{
		one(Field{Name: "words", Label: "words", Personal: true}, lines(), func(r *e) *string { return &r.Answer.Words }),
		one(Field{Name: "photo", Label: "photo", Personal: true}, photo(), func(r *e) *string { return &r.Answer.Photo }),
		one(Field{Name: "note", Label: "note", Personal: true}, lines(), func(r *e) *string { return &r.Note }),
	}}
}

// personal lists what is personal in a struct of the name.
func (all fields[A]) personal(name string, a *A) []Word {
	var words []Word
	for _, f := range all {
		if !f.Personal || len(f.Choices) > 0 || f.Type != Text && f.Type != Lines {
			continue
		}
		label := f.Label
		if label == "" {
			label = f.Name
		}
		for _, text := range f.say(a) {
			if f.Word == ruleWhy {
				_, text, _ = strings.Cut(text, "=")
			}
			words = append(words, Word{name + ": " + label, text, f.Names})
			if f.Names && f.Type == Lines {
				words = append(words, lineWords(name+": "+label, text)...)
			}
		}
	}
	return words
}

// lineWords are the lines of an address that tell somebody by themselves: of
// two words or more.
func lineWords(field, text string) []Word {
	var words []Word
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line != strings.TrimSpace(text) && len(strings.Fields(line)) > 1 {
			words = append(words, Word{field, line, true})
		}
	}
	return words
}

// The shortest texts, in characters, that are looked for: a shorter one stands
// in other people's texts too.
const (
	leastName = 3
	leastText = 6
)

// Distinct returns the words with each text once, and how many were too short
// to be told from others.
func Distinct(words []Word) (distinct []Word, short int) {
	at := map[string]int{}
	for _, w := range words {
		key := strings.ToLower(strings.Join(strings.Fields(w.Text), " "))
		least := leastText
		if w.Names {
			least = leastName
		}
		i, had := at[key]
		switch {
		case key == "" || had && (!w.Names || distinct[i].Names):
		case had:
			distinct[i] = w
		case utf8.RuneCountInString(key) < least:
			short++
		default:
			at[key] = len(distinct)
			distinct = append(distinct, w)
		}
	}
	return distinct, short
}

// Naming returns the texts that say who somebody is, and the parts of their name
// that do so where it is plain whom a text is about. What is too short to be
// told from other words is in neither; a name of one word is a part.
func Naming(words []Word) (naming, parts []string) {
	for _, w := range words {
		pieces := strings.Fields(w.Text)
		switch {
		case !w.Names:
		case len(pieces) == 1 && !strings.ContainsAny(w.Text, "@0123456789"):
			parts = append(parts, w.Text)
		default:
			naming = append(naming, w.Text)
		}
		if !w.Names || w.Field != ownerName {
			continue
		}
		for _, piece := range pieces {
			if piece = strings.Trim(piece, ".,;:'’"); len(pieces) > 1 && utf8.RuneCountInString(piece) >= leastName {
				parts = append(parts, piece)
			}
		}
	}
	return naming, parts
}

// ownerName is the field of a name, whose parts name somebody too.
const ownerName = "owner: name"
