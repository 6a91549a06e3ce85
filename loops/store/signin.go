// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

type technicianV1 struct {
	Name        string    `json:"name"`
	Revision    uint64    `json:"revision"`
	Password    string    `json:"password,omitempty"`
	Added       time.Time `json:"added"`
	PasswordSet time.Time `json:"password_set,omitzero"`
}

// technicianLineV1 is what an export says of a technician. Where it is imported
// they have no password until somebody sets one.
type technicianLineV1 struct {
	Name     string    `json:"name"`
	Revision uint64    `json:"revision"`
	Added    time.Time `json:"added"`
}

func technicianTable() table[loops.Technician] {
	return table[loops.Technician]{
		kind: "technician", bucket: bucketTechnicians, exported: true,
		encode: func(t loops.Technician) ([]byte, error) {
			t.Added, t.PasswordSet = t.Added.UTC(), t.PasswordSet.UTC()
			return encodeV1(technicianV1(t))
		},
		decode: func(stored []byte) (loops.Technician, error) {
			v, err := decodeV1[technicianV1](stored)
			return loops.Technician(v), err
		},
		decodeLine: func(stored []byte) (loops.Technician, error) {
			v, err := decodeV1[technicianLineV1](stored)
			return loops.Technician{Name: v.Name, Revision: v.Revision, Added: v.Added}, err
		},
		key:      func(t loops.Technician) ([]byte, error) { return keyOfText(t.Folded()) },
		revision: func(t *loops.Technician) *uint64 { return &t.Revision },
	}
}

func signInTable() table[loops.SignIn] {
	return table[loops.SignIn]{
		kind: "sign-in", bucket: bucketSignIns, decode: decodeV1[loops.SignIn],
		encode: func(x loops.SignIn) ([]byte, error) {
			x.Began, x.Seen = x.Began.UTC(), x.Seen.UTC()
			return encodeV1(x)
		},
		key: func(x loops.SignIn) ([]byte, error) { return keyOfText(x.Hash) },
	}
}

func tokenTable() table[loops.PasswordToken] {
	return table[loops.PasswordToken]{
		kind: "token", bucket: bucketTokens, decode: decodeV1[loops.PasswordToken],
		encode: func(t loops.PasswordToken) ([]byte, error) {
			t.Expires = t.Expires.UTC()
			return encodeV1(t)
		},
		key: func(t loops.PasswordToken) ([]byte, error) { return keyOfText(t.Hash) },
	}
}

// Technicians yields every technician by name.
func (s *Store) Technicians() iter.Seq2[loops.Technician, error] {
	return technicianTable().all(s)
}

// Technician returns the technician with the name, whatever its case, or
// loops.ErrNotFound.
func (s *Store) Technician(name string) (loops.Technician, error) {
	return technicianTable().readAs(s, strings.ToLower(name), "technician "+name)
}

// SignedIn returns the sign-in with the hash and whose it is, or loops.ErrNotFound.
func (s *Store) SignedIn(hash string) (is loops.SignIn, who loops.Technician, err error) {
	who, err = read(s, "store", func(tx engine.Reader) (who loops.Technician, err error) {
		tx.Ahead(bucketTechnicians, nil, engine.Span{}) // a few
		if is, err = get(tx, bucketSignIns, []byte(hash), "sign-in", signInTable().decode); err != nil {
			return who, err
		}
		return get(tx, bucketTechnicians, []byte(is.Technician), "technician "+is.Technician, technicianTable().decode)
	})
	return is, who, err
}

// PasswordToken returns the token with the hash, or loops.ErrNotFound.
func (s *Store) PasswordToken(hash string) (loops.PasswordToken, error) {
	return tokenTable().readAs(s, hash, "token")
}

// CommitAccess writes everything in the change or nothing of it. It gives
// loops.ErrConflict where a technician changed since they were read, also one whom
// the change only rests on, and
// loops.ErrNotFound where a technician to be removed or a token to be used is
// not there.
func (s *Store) CommitAccess(c loops.Access) error {
	return s.write("store: access", func(tx engine.Writer) error {
		if c.Action != "" {
			if err := audit(tx, loops.AuditLine{At: c.At, By: c.By, Action: c.Action, On: accessSubjects(c)}); err != nil {
				return err
			}
		}
		return writeAccess(tx, c)
	})
}

// accessSubjects names the technicians of a change for its audit line.
func accessSubjects(c loops.Access) string {
	var on []string
	for _, t := range c.Technicians {
		on = append(on, "technician "+t.Name)
	}
	for _, name := range c.Removed {
		on = append(on, "technician "+name)
	}
	for _, name := range c.SignedOutAll {
		on = append(on, "sign-ins of "+name)
	}
	for _, t := range c.Tokens {
		if t.Technician != "" {
			on = append(on, "a link for "+t.Technician)
		} else {
			on = append(on, "a link for the first technician")
		}
	}
	if len(on) == 0 {
		return "a sign-in"
	}
	return strings.Join(on, ", ")
}

func writeAccess(tx engine.Writer, c loops.Access) error {
	for _, hash := range c.Used {
		if tx.Get(bucketTokens, []byte(hash)) == nil {
			return fmt.Errorf("token: %w", loops.ErrNotFound)
		}
		if err := tx.Delete(bucketTokens, []byte(hash)); err != nil {
			return err
		}
	}
	for _, t := range c.Unchanged {
		is, err := technicianTable().get(tx, []byte(t.Folded()))
		if err != nil {
			return err
		}
		if is.Revision != t.Revision {
			return fmt.Errorf("technician %s: %w", t.Name, loops.ErrConflict)
		}
	}
	technicians, err := technicianTable().prepare(c.Technicians)
	if err == nil {
		err = technicianTable().add(tx, technicians, nil)
	}
	if err != nil {
		return err
	}
	for _, name := range c.Removed {
		if err := removeTechnician(tx, name); err != nil {
			return err
		}
	}
	if err := endSignIns(tx, c); err != nil {
		return err
	}
	seen := slices.DeleteFunc(slices.Clone(c.Seen), func(x loops.SignIn) bool { return tx.Get(bucketSignIns, []byte(x.Hash)) == nil })
	for _, x := range slices.Concat(c.SignIns, seen) {
		if err := signInTable().replace(tx, nil, x); err != nil {
			return fmt.Errorf("sign-in: %w", err)
		}
	}
	for _, t := range c.Tokens {
		if err := tokenTable().replace(tx, nil, t); err != nil {
			return fmt.Errorf("token: %w", err)
		}
	}
	return nil
}

func removeTechnician(tx engine.Writer, name string) error {
	if tx.Get(bucketTechnicians, []byte(name)) == nil {
		return fmt.Errorf("technician %s: %w", name, loops.ErrNotFound)
	}
	return tx.Delete(bucketTechnicians, []byte(name))
}

// endSignIns deletes what the change ends and what is past its time.
func endSignIns(tx engine.Writer, c loops.Access) error {
	ends := map[string]bool{}
	for _, name := range slices.Concat(c.Removed, c.SignedOutAll) {
		ends[name] = true
	}
	for _, hash := range c.SignedOut {
		if err := tx.Delete(bucketSignIns, []byte(hash)); err != nil {
			return err
		}
	}
	if len(ends) == 0 && c.Forget == (loops.SignInLimits{}) {
		return nil
	}
	err := deleteWhere(tx, signInTable(), func(x loops.SignIn) bool { return ends[x.Technician] || c.Forget.Over(x) })
	if err != nil {
		return err
	}
	return deleteWhere(tx, tokenTable(), func(t loops.PasswordToken) bool {
		return t.Technician != "" && ends[t.Technician] || t.Expires.Before(c.Forget.Expires)
	})
}

// deleteWhere collects the keys before it deletes: a range that is written to
// can leave some out.
func deleteWhere[T any](tx engine.Writer, t table[T], is func(T) bool) error {
	var keys [][]byte
	for k, v := range tx.Ascend(t.bucket, engine.Span{}) {
		r, err := t.decode(v)
		if err != nil {
			return err
		}
		if is(r) {
			keys = append(keys, bytes.Clone(k))
		}
	}
	for _, k := range keys {
		if err := tx.Delete(t.bucket, k); err != nil {
			return err
		}
	}
	return nil
}
