// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"net/http"
	"time"

	"fillmark/loops"
)

// Erasure asks to erase an owner; Name must be the name on record, so that a
// mistyped number erases nobody. Prove asks for a certificate.
type Erasure struct {
	Name  string `json:"name"`
	Prove bool   `json:"prove,omitempty"`
}

// Erased is an owner after an erasure, with the certificate where one was asked
// for.
type Erased struct {
	loops.Owner
	Proof *ErasureProof `json:"proof,omitempty"`
}

// ErasureProof is the certificate of an erasure: what was looked for, where, and
// what is left. It holds no word of the owner's, so that it can be kept.
type ErasureProof struct {
	Number loops.OwnerID `json:"number"`
	At     time.Time     `json:"at"`
	// Clear tells that nothing is left in any place that Fillmark can look at, but
	// for backups.
	Clear bool `json:"clear"`
	// Texts counts the personal texts that were looked for, by field; Short those
	// that are too short to be told from other words, Shared those that stand in
	// another owner's record too.
	Texts    map[string]int   `json:"texts"`
	Short    int              `json:"too_short"`
	Shared   int              `json:"shared"`
	Searched []SearchedPlace  `json:"searched"`
	Left     []LeftPlace      `json:"left"`
	Backups  []ErasableBackup `json:"backups"`
	// Elsewhere names what Fillmark cannot look at.
	Elsewhere []string `json:"elsewhere"`
}

// SearchedPlace is where was looked, and at how many of what.
type SearchedPlace struct {
	Place string `json:"place"`
	Count int64  `json:"count"`
	Of    string `json:"of"` // "text", "byte", "file", "mail"
}

// LeftPlace is where a text is still, which field it was, and how it goes.
type LeftPlace struct {
	Place string `json:"place"`
	Field string `json:"field"`
	How   string `json:"how"`
}

// ErasableBackup is a backup from before the erasure, which holds the owner
// still.
type ErasableBackup struct {
	Folder string    `json:"folder"`
	Made   loops.Day `json:"made"`
	There  bool      `json:"there"`
	// Gone is the day on which it is rotated out; zero where nobody said how long
	// backups are kept.
	Gone loops.Day `json:"gone_by,omitzero"`
}

func (s *server) eraseOwner(r *http.Request, id loops.OwnerID, erasure Erasure) (Erased, error) {
	owner, err := s.Reader.Owner(id)
	if err != nil {
		return Erased{}, fmt.Errorf("owner %d: %w", id, err)
	}
	if owner.Name != erasure.Name {
		return Erased{}, &loops.InvalidError{Field: "name", Value: erasure.Name, Reason: fmt.Sprintf("the name of owner %d as it is on record", id)}
	}
	stamp := s.stamp(r)
	proof, err := s.Keeper.EraseOwner(r.Context(), id, stamp.By, stamp.At, erasure.Prove)
	if err != nil {
		return Erased{}, err
	}
	owner, err = s.Reader.Owner(id)
	return Erased{owner, proof}, err
}
