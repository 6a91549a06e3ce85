// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

var noon = time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)

func links(t require.TestingT, seed byte) workshop.Links {
	l, err := workshop.NewLinks(bytes.Repeat([]byte{seed}, 32))
	require.NoError(t, err)
	return l
}

func TestLinkOpensOnlyWhatItIsFor(t *testing.T) {
	t.Parallel()
	l := links(t, 1)
	owner := loops.Owner{ID: 42, LinkEpoch: 3}
	token := l.Sign(workshop.LinkOwner, owner, noon)
	id, epoch, err := l.Open(workshop.LinkOwner, token, noon)
	require.NoError(t, err)
	assert.Equal(t, owner, loops.Owner{ID: id, LinkEpoch: epoch})

	all := []workshop.LinkPurpose{workshop.LinkOwner, workshop.LinkStop, workshop.LinkCalendar}
	for _, signed := range all {
		for _, asked := range all {
			_, _, err := l.Open(asked, l.Sign(signed, owner, noon), noon)
			if signed == asked {
				require.NoError(t, err)
				continue
			}
			require.ErrorIs(t, err, workshop.ErrLink, "a link of purpose %c opens %c", signed, asked)
		}
	}
	_, _, err = l.Open(workshop.LinkOwner, token, noon.Add(time.Second))
	require.ErrorIs(t, err, workshop.ErrLink, "expired")
	_, _, err = links(t, 2).Open(workshop.LinkOwner, token, noon)
	require.ErrorIs(t, err, workshop.ErrLink, "another key")
	_, _, err = workshop.Links{}.Open(workshop.LinkOwner, token, noon)
	require.ErrorIs(t, err, workshop.ErrLink, "no key")
	_, err = workshop.NewLinks([]byte("short"))
	require.Error(t, err)
}

// Whatever a stranger changes in a token, it opens nothing.
func TestChangedTokenOpensNothing(t *testing.T) {
	t.Parallel()
	l := links(t, 1)
	rapid.Check(t, func(t *rapid.T) {
		token := []byte(l.Sign(workshop.LinkOwner, loops.Owner{ID: loops.OwnerID(rapid.Uint64().Draw(t, "owner")), LinkEpoch: rapid.Uint32().Draw(t, "epoch")}, noon.Add(time.Hour)))
		at := rapid.IntRange(0, len(token)-1).Draw(t, "at")
		with := rapid.Byte().Draw(t, "with")
		if token[at] == with {
			return
		}
		token[at] = with
		_, _, err := l.Open(workshop.LinkOwner, string(token), noon)
		assert.ErrorIs(t, err, workshop.ErrLink)
	})
}

// After a change of the secret new links are signed with the new one and the
// old ones still open, until the old secret is taken away.
func TestSecretsRotate(t *testing.T) {
	t.Parallel()
	was := bytes.Repeat([]byte{1}, 32)
	is := bytes.Repeat([]byte{2}, 32)
	both, err := workshop.NewLinks(append(bytes.Clone(is), was...))
	require.NoError(t, err)
	old := links(t, 1).Sign(workshop.LinkStop, loops.Owner{ID: 7}, noon)
	id, _, err := both.Open(workshop.LinkStop, old, noon)
	require.NoError(t, err)
	assert.Equal(t, loops.OwnerID(7), id)
	_, _, err = links(t, 2).Open(workshop.LinkStop, both.Sign(workshop.LinkStop, loops.Owner{ID: 7}, noon), noon)
	require.NoError(t, err)
	_, _, err = links(t, 2).Open(workshop.LinkStop, old, noon)
	require.ErrorIs(t, err, workshop.ErrLink)
	assert.NotEqual(t, workshop.DerivedKey(was, "link o"), workshop.DerivedKey(was, "link s"))
}

// Whatever a stranger makes up opens nothing.
func FuzzLinkOpensNothing(f *testing.F) {
	l := links(f, 1)
	f.Add("")
	f.Add("AnVvAAAAAAAAAAMAAAAAa6PF5V_savOlPfIwyqPlSBmQSVk")
	f.Add(strings.Repeat("A", 47))
	f.Fuzz(func(t *testing.T, token string) {
		for _, p := range []workshop.LinkPurpose{workshop.LinkOwner, workshop.LinkStop, workshop.LinkCalendar} {
			_, _, err := l.Open(p, token, noon)
			require.ErrorIs(t, err, workshop.ErrLink)
		}
	})
}
