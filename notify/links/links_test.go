// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package links_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/notify/links"
)

var noon = time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)

func keys(t require.TestingT, seed byte) links.Keys {
	l, err := links.New(bytes.Repeat([]byte{seed}, 32))
	require.NoError(t, err)
	return l
}

func TestLinkOpensOnlyWhatItIsFor(t *testing.T) {
	t.Parallel()
	l := keys(t, 1)
	owner := loops.Owner{ID: 42, LinkEpoch: 3}
	token := l.Sign(links.Owner, owner, noon)
	id, epoch, err := l.Open(links.Owner, token, noon)
	require.NoError(t, err)
	assert.Equal(t, owner, loops.Owner{ID: id, LinkEpoch: epoch})

	all := []links.Purpose{links.Owner, links.Stop, links.Calendar}
	for _, signed := range all {
		for _, asked := range all {
			_, _, err := l.Open(asked, l.Sign(signed, owner, noon), noon)
			if signed == asked {
				require.NoError(t, err)
				continue
			}
			require.ErrorIs(t, err, links.ErrInvalid, "a link of purpose %c opens %c", signed, asked)
		}
	}
	_, _, err = l.Open(links.Owner, token, noon.Add(time.Second))
	require.ErrorIs(t, err, links.ErrInvalid, "expired")
	_, _, err = keys(t, 2).Open(links.Owner, token, noon)
	require.ErrorIs(t, err, links.ErrInvalid, "another key")
	_, _, err = links.Keys{}.Open(links.Owner, token, noon)
	require.ErrorIs(t, err, links.ErrInvalid, "no key")
	_, err = links.New([]byte("short"))
	require.Error(t, err)
}

// Whatever a stranger changes in a token, it opens nothing.
func TestChangedTokenOpensNothing(t *testing.T) {
	t.Parallel()
	l := keys(t, 1)
	rapid.Check(t, func(t *rapid.T) {
		token := []byte(l.Sign(links.Owner, loops.Owner{ID: loops.OwnerID(rapid.Uint64().Draw(t, "owner")), LinkEpoch: rapid.Uint32().Draw(t, "epoch")}, noon.Add(time.Hour)))
		at := rapid.IntRange(0, len(token)-1).Draw(t, "at")
		with := rapid.Byte().Draw(t, "with")
		if token[at] == with {
			return
		}
		token[at] = with
		_, _, err := l.Open(links.Owner, string(token), noon)
		assert.ErrorIs(t, err, links.ErrInvalid)
	})
}

// After a change of the secret new links are signed with the new one and the
// old ones still open, until the old secret is taken away.
func TestSecretsRotate(t *testing.T) {
	t.Parallel()
	was := bytes.Repeat([]byte{1}, 32)
	is := bytes.Repeat([]byte{2}, 32)
	both, err := links.New(append(bytes.Clone(is), was...))
	require.NoError(t, err)
	old := keys(t, 1).Sign(links.Stop, loops.Owner{ID: 7}, noon)
	id, _, err := both.Open(links.Stop, old, noon)
	require.NoError(t, err)
	assert.Equal(t, loops.OwnerID(7), id)
	_, _, err = keys(t, 2).Open(links.Stop, both.Sign(links.Stop, loops.Owner{ID: 7}, noon), noon)
	require.NoError(t, err)
	_, _, err = keys(t, 2).Open(links.Stop, old, noon)
	require.ErrorIs(t, err, links.ErrInvalid)
	assert.NotEqual(t, links.DerivedKey(was, "link o"), links.DerivedKey(was, "link s"))
}

// Whatever a stranger makes up opens nothing.
func FuzzLinkOpensNothing(f *testing.F) {
	l := keys(f, 1)
	f.Add("")
	f.Add("AnVvAAAAAAAAAAMAAAAAa6PF5V_savOlPfIwyqPlSBmQSVk")
	f.Add(strings.Repeat("A", 47))
	f.Fuzz(func(t *testing.T, token string) {
		for _, p := range []links.Purpose{links.Owner, links.Stop, links.Calendar} {
			_, _, err := l.Open(p, token, noon)
			require.ErrorIs(t, err, links.ErrInvalid)
		}
	})
}
