// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"errors"
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

type signInV1 struct {
	Hash       string    `json:"hash"`
	Technician string    `json:"technician"`
	Began      time.Time `json:"began"`
	Seen       time.Time `json:"seen"`
}

type tokenV1 struct {
	Hash       string    `json:"hash"`
	Technician string    `json:"technician,omitempty"`
	Expires    time.Time `json:"expires"`
}

func encodeTechnician(t loops.Technician) ([]byte, error) {
	t.Added, t.PasswordSet = t.Added.UTC(), t.PasswordSet.UTC()
	return encode(recordV1, technicianV1(t))
}

func encodeSignIn(x loops.SignIn) ([]byte, error) {
	x.Began, x.Seen = x.Began.UTC(), x.Seen.UTC()
	return encode(recordV1, signInV1(x))
}

func encodeToken(t loops.PasswordToken) ([]byte, error) {
	t.Expires = t.Expires.UTC()
	return encode(recordV1, tokenV1(t))
}

func decodeTechnician(stored []byte) (loops.Technician, error) {
	v, err := decode[technicianV1](recordV1, stored)
	return loops.Technician(v), err
}

// decodeTechnicianLine decodes the value that a line of an export makes.
func decodeTechnicianLine(stored []byte) (loops.Technician, error) {
	v, err := decode[technicianLineV1](recordV1, stored)
	return loops.Technician{Name: v.Name, Revision: v.Revision, Added: v.Added}, err
}

func decodeSignIn(stored []byte) (loops.SignIn, error) {
	v, err := decode[signInV1](recordV1, stored)
	return loops.SignIn(v), err
}

func decodeToken(stored []byte) (loops.PasswordToken, error) {
	v, err := decode[tokenV1](recordV1, stored)
	return loops.PasswordToken(v), err
}

// Technicians yields every technician by name.
func (s *Store) Technicians() iter.Seq2[loops.Technician, error] {
	return scan(s, bucketTechnicians, false, func(_ engine.Reader, _, v []byte) (loops.Technician, error) { return decodeTechnician(v) })
}

// Technician returns the technician with the name, whatever its case, or
// loops.ErrNotFound.
func (s *Store) Technician(name string) (loops.Technician, error) {
	return lookUp(s, bucketTechnicians, strings.ToLower(name), "technician "+name, decodeTechnician)
}

// SignedIn returns the sign-in with the hash and whose it is, or loops.ErrNotFound.
func (s *Store) SignedIn(hash string) (is loops.SignIn, who loops.Technician, err error) {
	err = s.view(func(tx engine.Reader) (err error) {
		tx.Ahead(bucketTechnicians, nil, engine.Span{}) // a few
		if is, err = get(tx, bucketSignIns, []byte(hash), "sign-in", decodeSignIn); err != nil {
			return err
		}
		who, err = get(tx, bucketTechnicians, []byte(is.Technician), "technician "+is.Technician, decodeTechnician)
		return err
	})
	if err != nil {
		return loops.SignIn{}, loops.Technician{}, fmt.Errorf("store: %w", err)
	}
	return is, who, nil
}

// PasswordToken returns the token with the hash, or loops.ErrNotFound.
func (s *Store) PasswordToken(hash string) (loops.PasswordToken, error) {
	return lookUp(s, bucketTokens, hash, "token", decodeToken)
}

// lookUp reads one record under a text key.
func lookUp[T any](s *Store, name, key, what string, decode func([]byte) (T, error)) (T, error) {
	var record T
	err := s.view(func(tx engine.Reader) (err error) {
		record, err = get(tx, name, []byte(key), what, decode)
		return err
	})
	if err != nil {
		var none T
		return none, fmt.Errorf("store: %w", err)
	}
	return record, nil
}

// CommitAccess writes everything in the change or nothing of it. It gives
// loops.ErrConflict where a technician changed since it was read, and
// loops.ErrNotFound where a technician to be removed or a token to be used is
// not there.
func (s *Store) CommitAccess(c loops.Access) error {
	var line []byte
	var err error
	if c.Action != "" {
		line, err = encodeAudit(loops.AuditLine{At: c.At, By: c.By, Action: c.Action, On: accessSubjects(c)})
	}
	if err == nil {
		err = s.update(func(tx engine.Writer) error {
			if line != nil {
				if err := appendAudit(tx, line); err != nil {
					return err
				}
			}
			return writeAccess(tx, c)
		})
	}
	if err != nil {
		return fmt.Errorf("store: access: %w", err)
	}
	return nil
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
	for _, t := range c.Technicians {
		if err := putTechnician(tx, t); err != nil {
			return err
		}
	}
	for _, name := range c.Removed {
		if err := removeTechnician(tx, name); err != nil {
			return err
		}
	}
	if err := endSignIns(tx, c); err != nil {
		return err
	}
	for _, x := range c.SignIns {
		v, err := encodeSignIn(x)
		if err := errors.Join(err, putText(tx, bucketSignIns, x.Hash, v)); err != nil {
			return fmt.Errorf("sign-in: %w", err)
		}
	}
	for _, t := range c.Tokens {
		v, err := encodeToken(t)
		if err := errors.Join(err, putText(tx, bucketTokens, t.Hash, v)); err != nil {
			return fmt.Errorf("token: %w", err)
		}
	}
	return nil
}

func putText(tx engine.Writer, name, text string, value []byte) error {
	key, err := appendText(nil, text)
	if err != nil {
		return err
	}
	return tx.Put(name, key, value)
}

func putTechnician(tx engine.Writer, t loops.Technician) error {
	old, err := get(tx, bucketTechnicians, []byte(t.Folded()), "technician "+t.Name, decodeTechnician)
	if err != nil && !errors.Is(err, loops.ErrNotFound) {
		return err
	}
	if old.Revision != t.Revision {
		return fmt.Errorf("technician %s: read at revision %d, now %d: %w", t.Name, t.Revision, old.Revision, loops.ErrConflict)
	}
	t.Revision++
	v, err := encodeTechnician(t)
	if err := errors.Join(err, putText(tx, bucketTechnicians, t.Folded(), v)); err != nil {
		return fmt.Errorf("technician %s: %w", t.Name, err)
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
	err := deleteWhere(tx, bucketSignIns, func(v []byte) (bool, error) {
		x, err := decodeSignIn(v)
		return ends[x.Technician] || c.Forget.Over(x), err
	})
	if err != nil {
		return err
	}
	return deleteWhere(tx, bucketTokens, func(v []byte) (bool, error) {
		t, err := decodeToken(v)
		return t.Technician != "" && ends[t.Technician] || t.Expires.Before(c.Forget.Expires), err
	})
}

// deleteWhere collects the keys before it deletes: a range that is written to
// can leave some out.
func deleteWhere(tx engine.Writer, name string, is func(v []byte) (bool, error)) error {
	var keys [][]byte
	for k, v := range tx.Ascend(name, engine.Span{}) {
		yes, err := is(v)
		if err != nil {
			return err
		}
		if yes {
			keys = append(keys, bytes.Clone(k))
		}
	}
	for _, k := range keys {
		if err := tx.Delete(name, k); err != nil {
			return err
		}
	}
	return nil
}
