// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// EraseOwner erases who an owner is: in the register, the photos that only their
// words named, and the mail to them and morning lists in our own Maildir. What was
// begun is done to its end, whether or not who asked still waits. The proof looks
// afterwards for everything that was theirs.
func (k keeper) EraseOwner(ctx context.Context, id loops.OwnerID, by string, at time.Time, prove bool) (*web.ErasureProof, error) {
	// A backup meanwhile would be on no certificate, and lack photos that it names.
	k.making.Lock()
	defer k.making.Unlock()
	words, err := k.personal(id)
	if err != nil {
		return nil, err
	}
	mail, err := k.mailAbout(id)
	if err != nil {
		return nil, err
	}
	before, err := workshop.PhotosNamed(k.Store)
	if err != nil {
		return nil, err
	}
	erasing := acts.Erasing()
	naming, parts := acts.Naming(words)
	erasing.Naming, erasing.Parts = loops.NewPhrases(naming), loops.NewPhrases(parts)
	if err := k.Store.EraseOwner(id, by, at, erasing); err != nil {
		return nil, err
	}
	after, err := workshop.PhotosNamed(k.Store)
	if err != nil {
		return nil, err
	}
	var all []error
	for hash := range before {
		if !after[hash] {
			all = append(all, k.photos().Remove(hash))
		}
	}
	_, err = k.mailbox().Remove(mail)
	all = append(all, err)
	if !k.config.InDatabase() { // which frees its own pages
		_, _, err = k.Store.Compact(context.WithoutCancel(ctx))
		all = append(all, err)
	}
	if err := errors.Join(all...); err != nil || !prove {
		return nil, err
	}
	return k.prove(ctx, id, at, words)
}

// mailbox is the Maildir that mail goes to where no relay is set, and went to
// before one was.
func (k keeper) mailbox() notify.Maildir { return notify.Maildir{Dir: k.config.maildir()} }

// personal collects everything personal that the register holds of an owner: of
// their record, of their machines, of every entry of their time in any loop, and
// the addresses that mail went to.
func (k keeper) personal(id loops.OwnerID) ([]acts.Word, error) {
	owner, err := k.Owner(id)
	if err != nil {
		return nil, err
	}
	erasing := acts.Erasing()
	words := gone(acts.Owners().Words(owner), acts.Owners().Words(erasing.Owner(owner, owner.MailStopped)))
	machines, err := k.MachinesOf(id)
	if err != nil {
		return nil, err
	}
	for _, m := range machines {
		words = append(words, gone(acts.Machines().Words(m), acts.Machines().Words(erasing.Machine(m)))...)
	}
	for l, err := range k.Loops() {
		if err != nil {
			return nil, err
		}
		said, err := k.saidOf(l, id)
		if err != nil {
			return nil, err
		}
		words = append(words, said...)
	}
	for m, err := range k.Messages("") {
		if err != nil {
			return nil, err
		}
		if m.Owner == id {
			words = append(words, acts.Owners().Words(loops.Owner{Email: m.To})...)
		}
	}
	return words, nil
}

// gone are the words that erasing takes away: what it leaves in their place is
// nobody's, also where somebody is erased again.
func gone(words, left []acts.Word) []acts.Word {
	return slices.DeleteFunc(words, func(w acts.Word) bool { return slices.Contains(left, w) })
}

// saidOf is what is personal in the owner's time in a loop.
func (k keeper) saidOf(l loops.Loop, id loops.OwnerID) ([]acts.Word, error) {
	m, err := k.Machine(l.Machine)
	if err != nil {
		return nil, err
	}
	history, err := k.History(l.ID)
	if err != nil {
		return nil, err
	}
	var words []acts.Word
	for i, held := range loops.HeldBy(id, m.Owner, history) {
		if held {
			words = append(words, gone(acts.EntryWords(history[i]), acts.EntryWords(history[i].Erased()))...)
		}
	}
	return words, nil
}

// mailAbout lists the Message-IDs of the mail to an owner and of the morning
// lists, which name whoever was due.
func (k keeper) mailAbout(id loops.OwnerID) (map[string]bool, error) {
	ids := map[string]bool{}
	for m, err := range k.Messages("") {
		if err != nil {
			return nil, err
		}
		if m.Owner == id || m.Purpose == loops.PurposeMorning {
			ids[notify.MessageIDOf(m, k.config.MailDomain())] = true
		}
	}
	return ids, nil
}

// sought is what the proof looks for.
type sought struct {
	words  []acts.Word
	shared int
	short  int
}

// phrases are the texts of what is sought.
func (s sought) phrases() []string {
	texts := make([]string, len(s.words))
	for i, w := range s.words {
		texts[i] = w.Text
	}
	return texts
}

// seek leaves out what would find others: texts that are too short, and those
// that another owner's record, another's machine or a technician's name holds as
// well. It is asked after the erasure.
func (k keeper) seek(id loops.OwnerID, words []acts.Word) (s sought, err error) {
	_, parts := acts.Naming(words)
	for _, part := range parts {
		words = append(words, acts.Word{Field: "owner: a part of the name", Text: part, Names: true})
	}
	words, s.short = acts.Distinct(words)
	others, err := k.textsOfOthers(id)
	if err != nil {
		return s, err
	}
	for _, w := range words {
		if others[strings.ToLower(w.Text)] {
			s.shared++
			continue
		}
		s.words = append(s.words, w)
	}
	return s, nil
}

// textsOfOthers are the texts in the records of other owners, of machines and of
// technicians, in small letters.
func (k keeper) textsOfOthers(id loops.OwnerID) (map[string]bool, error) {
	var words []acts.Word
	for o, err := range k.Owners() {
		if err != nil {
			return nil, err
		}
		if o.ID != id {
			words = append(words, acts.Owners().Words(o)...)
		}
	}
	for m, err := range k.Machines() {
		if err != nil {
			return nil, err
		}
		if m.Owner != id {
			words = append(words, acts.Machines().Words(m)...)
		}
	}
	for t, err := range k.Technicians() {
		if err != nil {
			return nil, err
		}
		words = append(words, acts.Owners().Words(loops.Owner{Name: t.Name})...)
	}
	_, parts := acts.Naming(words)
	for _, w := range words {
		parts = append(parts, w.Text)
	}
	others := map[string]bool{}
	for _, text := range slices.Compact(parts) {
		others[strings.ToLower(text)] = true
	}
	return others, nil
}
