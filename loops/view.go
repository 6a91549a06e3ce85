// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

// OwnersView is a history as one owner may see it: their own time as it is, of
// others' time what was measured, seen and done without a word that anybody
// said. What is written for an owner takes this type and no history; only
// [ViewFor] makes one.
type OwnersView struct {
	entries []Entry
	own     []bool
}

// ViewFor returns what the owner may see of a loop's whole history, given who
// has the machine now. A transfer's note is of two owners, so it is of neither.
func ViewFor(owner, now OwnerID, history []Entry) OwnersView {
	v := OwnersView{entries: make([]Entry, len(history)), own: HeldBy(owner, now, history)}
	for i, e := range history {
		if !v.own[i] || e.Kind == KindTransfer {
			e = e.Erased()
		}
		v.entries[i] = e
	}
	return v
}

// Entries are the whole history, without the words of others.
func (v OwnersView) Entries() []Entry { return v.entries }

// Own are the entries of the owner's own time, the transfers at its ends among
// them.
func (v OwnersView) Own() []Entry {
	var own []Entry
	for i, e := range v.entries {
		if v.own[i] {
			own = append(own, e)
		}
	}
	return own
}
