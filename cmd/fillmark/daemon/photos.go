// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"errors"
	"iter"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
	"fillmark/loops/photos"
	"fillmark/loops/store"
)

// Photos lists the photos that histories name, each once, compared with the
// files beside the register: of the loops that an owner has now, or of all
// where the owner is zero.
func (k keeper) Photos(ctx context.Context, of loops.OwnerID) ([]web.NamedPhoto, error) {
	if of == 0 {
		return namedPhotos(ctx, k.Store.Loops(), k.Store.History, k.photos())
	}
	return namedPhotos(ctx, loopsOf(k.Store, of), func(id loops.LoopID) ([]loops.Entry, error) {
		history, err := k.Store.History(id)
		return loops.ViewFor(of, of, history).Entries(), err
	}, k.photos())
}

// loopsOf yields the loops that an owner has now.
func loopsOf(register *store.Store, owner loops.OwnerID) iter.Seq2[loops.Loop, error] {
	return func(yield func(loops.Loop, error) bool) {
		machines, err := register.MachinesOf(owner)
		if err != nil {
			yield(loops.Loop{}, err)
			return
		}
		for _, m := range machines {
			of, err := register.LoopsOf(m.ID)
			if err != nil {
				yield(loops.Loop{}, err)
				return
			}
			for _, l := range of {
				if !yield(l, nil) {
					return
				}
			}
		}
	}
}

func (k keeper) photos() photos.Folder {
	return k.config.photos()
}

// namedPhotos compares the photos that a register's loops name with the files
// of a folder: each is there and is what it was. What only entries name that were
// struck out may be gone.
func namedPhotos(ctx context.Context, among iter.Seq2[loops.Loop, error], historyOf func(loops.LoopID) ([]loops.Entry, error), folder photos.Folder) ([]web.NamedPhoto, error) {
	named := []web.NamedPhoto{}
	seen := map[string]bool{}
	for l, err := range among {
		if err != nil {
			return nil, err
		}
		history, err := historyOf(l.ID)
		if err != nil {
			return nil, err
		}
		stands := map[loops.EntryID]bool{}
		for _, e := range loops.Standing(history) {
			stands[e.ID] = true
		}
		for _, e := range history {
			for _, hash := range e.PhotoHashes() {
				if err := ctx.Err(); err != nil {
					return nil, err
				}
				if seen[hash] {
					continue
				}
				fault, err := folder.Fault(hash)
				if err != nil {
					return nil, err
				}
				if fault == "" || stands[e.ID] {
					seen[hash] = true
					named = append(named, web.NamedPhoto{Hash: hash, Tag: l.Tag, Entry: e.ID, Fault: fault})
				}
			}
		}
	}
	return named, nil
}

// BroughtPhotos is what an import found of the photos that the register names.
type BroughtPhotos struct {
	There int
	Lost  []string // what is missing or damaged in the folder
}

// BringPhotos copies the photos that a new register names from one folder to
// the one beside it; a dry run only looks whether they are there.
func BringPhotos(ctx context.Context, path string, from, to photos.Folder, dryRun bool) (brought BroughtPhotos, err error) {
	brought.Lost = []string{}
	register, err := store.Open(path, store.Options{})
	if err != nil {
		return brought, err
	}
	defer func() { err = errors.Join(err, register.Close()) }()
	named, err := namedPhotos(ctx, register.Loops(), register.History, from)
	if err != nil {
		return brought, err
	}
	for _, p := range named {
		switch {
		case to.Has(p.Hash):
		case p.Fault != "":
			brought.Lost = append(brought.Lost, p.String())
			continue
		case !dryRun:
			if err := to.CopyFrom(from, p.Hash); err != nil {
				return brought, err
			}
		}
		brought.There++
	}
	return brought, nil
}
