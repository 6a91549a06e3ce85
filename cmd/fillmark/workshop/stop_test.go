// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// Who stops the mail stops it for the address, whichever record has it: those
// that are there, and those that get it later.
func TestStopBindsTheAddress(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	s := at("2026-05-02 10")
	add := func(name, email string) loops.OwnerID {
		o, err := b.AddOwner(s, loops.Owner{Name: name, Email: email, Consent: loops.Consent{Mail: true}})
		require.NoError(t, err)
		return o.ID
	}
	may := func(id loops.OwnerID) bool {
		o, err := b.store.Owner(id)
		require.NoError(t, err)
		return o.MayMail()
	}
	ana, twin, other := add("Ana Fern", "ana@garden.example"), add("Fern Works", "ANA@garden.example"), add("Bo Lind", "bo@pond.example")
	_, err := b.SetMail(s, ana, true)
	require.NoError(t, err)
	assert.False(t, may(ana))
	assert.False(t, may(twin), "a second record with the address")
	assert.True(t, may(other))
	assert.False(t, may(add("Fern again", "Ana@Garden.example")), "a new record with the address")

	moved, err := b.store.Owner(other)
	require.NoError(t, err)
	moved.Email = "ana@garden.example"
	_, err = b.Edit(s, workshop.Edit{Owner: &moved})
	require.NoError(t, err)
	assert.False(t, may(other), "a record that gets the address")

	imported, err := b.ImportTable(s, workshop.OwnersTable, strings.NewReader("name,email,mail_consent\nFern's list,ana@garden.example,yes\nCy,cy@hill.example,yes\n"), false)
	require.NoError(t, err)
	require.Equal(t, 2, imported.Rows)
	assert.False(t, may(5), "a row of a table")
	assert.True(t, may(6))

	taken, err := b.Register(s, workshop.Registration{
		Owner:   loops.Owner{Name: "Ana F.", Email: "ana@Garden.example", Consent: loops.Consent{Mail: true}},
		Machine: loops.Machine{Kind: loops.Desktop, Name: "the grey tower"}, Loop: workshop.Unseen(),
	})
	require.NoError(t, err)
	file, err := b.File(taken.Tag)
	require.NoError(t, err)
	assert.False(t, may(file.Owner.ID), "the owner of a machine that is taken in")
	assert.Equal(t, "2026-05-02", file.Owner.MailStopped.String())

	_, err = b.SetMail(s, twin, false)
	require.NoError(t, err)
	for _, id := range []loops.OwnerID{ana, twin, other} {
		assert.True(t, may(id), "the reader of the address starts it again")
	}
}

// A record of before stops were bound that gets the consent is bound then.
func TestStopBindsWhoeverAgreesLater(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	s := at("2026-05-02 10")
	require.NoError(t, b.store.Commit(loops.Change{At: s.At, By: s.By, Action: "of before", Owners: []loops.Owner{
		{ID: 1, Name: "Ana Fern", Email: "ana@garden.example", MailStopped: loops.Day{Year: 2025, Month: 3, Dom: 4}},
		{ID: 2, Name: "Fern Works", Email: "ana@garden.example"},
	}}))
	works, err := b.store.Owner(2)
	require.NoError(t, err)
	works.Consent.Mail = true
	done, err := b.Edit(s, workshop.Edit{Owner: &works})
	require.NoError(t, err)
	assert.False(t, done.Owner.MayMail())
	assert.Equal(t, "2025-03-04", done.Owner.MailStopped.String())
}
