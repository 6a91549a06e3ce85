// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package signin_test

import (
	"bytes"
	"encoding/base64"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/argon2"

	"fillmark/cmd/fillmark/signin"
	"fillmark/loops"
	"fillmark/loops/store"
)

var noon = time.Date(2026, time.December, 3, 12, 0, 0, 0, time.UTC)

// by is somebody on the computer itself, a while after noon.
func by(after time.Duration) signin.Stamp {
	return signin.Stamp{At: noon.Add(after), By: "local:test"}
}

const (
	password = "copper plate wet felt"
	other    = "radiator on the shelf"
)

func open(t *testing.T) (*signin.Gate, *store.Store) {
	t.Helper()
	s, err := store.Open(filepath.Join(t.TempDir(), "register.db"), store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return signin.New(s, cheap), s
}

func TestOnlyNameAndPasswordTogetherSignIn(t *testing.T) {
	t.Parallel()
	g, _ := open(t)
	closed, err := g.Closed()
	require.NoError(t, err)
	assert.False(t, closed, "nobody is there")
	_, err = g.Add("Lea", "", by(0))
	require.NoError(t, err)
	closed, err = g.Closed()
	require.NoError(t, err)
	assert.False(t, closed, "nobody has a password")
	_, err = g.Add("Bo Alder", password, by(0))
	require.NoError(t, err)
	closed, err = g.Closed()
	require.NoError(t, err)
	assert.True(t, closed)

	for _, tt := range []struct{ name, who, password string }{
		{"wrong password", "Bo Alder", other},
		{"empty password", "Bo Alder", ""},
		{"unknown name", "Nobody", password},
		{"no name", "", password},
		{"a name that cannot be", "local:\x00", password},
		{"nobody's password", "Lea", ""},
		{"too long a password", "Bo Alder", password + strings.Repeat("x", 2000)},
	} {
		_, err := g.SignIn(tt.who, tt.password, false, noon)
		assert.ErrorIs(t, err, signin.ErrRefused, tt.name)
	}
	secret, err := g.SignIn("BO alder", password, false, noon)
	require.NoError(t, err)
	assert.Len(t, secret, 43, "256 bits in base64")
	who, err := g.Who(secret, noon)
	require.NoError(t, err)
	assert.Equal(t, "Bo Alder", who.Name)
	_, err = g.Who(secret[:42]+"x", noon)
	assert.ErrorIs(t, err, signin.ErrRefused)
	_, err = g.Who("", noon)
	assert.ErrorIs(t, err, signin.ErrRefused)
}

func TestSignInsEnd(t *testing.T) {
	t.Parallel()
	signedIn := func(t *testing.T) (*signin.Gate, string) {
		g, _ := open(t)
		_, err := g.Add("Bo", password, by(0))
		require.NoError(t, err)
		secret, err := g.SignIn("Bo", password, false, noon)
		require.NoError(t, err)
		return g, secret
	}
	for _, tt := range []struct {
		name string
		end  func(t *testing.T, g *signin.Gate, secret string) time.Duration
	}{
		{"unused", func(*testing.T, *signin.Gate, string) time.Duration { return 12*time.Hour + time.Second }},
		{"a week old", func(t *testing.T, g *signin.Gate, secret string) time.Duration {
			for after := time.Hour; after < 7*24*time.Hour; after += 11 * time.Hour {
				_, err := g.Who(secret, noon.Add(after))
				require.NoError(t, err, after)
			}
			return 7*24*time.Hour + time.Second
		}},
		{"signed out", func(t *testing.T, g *signin.Gate, secret string) time.Duration {
			require.NoError(t, g.SignOut(secret, by(0)))
			return 0
		}},
		{"signed out everywhere", func(t *testing.T, g *signin.Gate, secret string) time.Duration {
			require.NoError(t, g.SignOutEverywhere("Bo", by(0)))
			return 0
		}},
		{"new password", func(t *testing.T, g *signin.Gate, secret string) time.Duration {
			_, err := g.SetPassword("Bo", other, by(0))
			require.NoError(t, err)
			return 0
		}},
		{"removed", func(t *testing.T, g *signin.Gate, secret string) time.Duration {
			_, err := g.Add("Lea", other, by(0))
			require.NoError(t, err)
			require.NoError(t, g.Remove("Bo", by(0)))
			return 0
		}},
		{"removed and added again", func(t *testing.T, g *signin.Gate, secret string) time.Duration {
			_, err := g.Add("Lea", other, by(0))
			require.NoError(t, err)
			require.NoError(t, g.Remove("Bo", by(0)))
			_, err = g.Add("Bo", password, by(0))
			require.NoError(t, err)
			return 0
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			g, secret := signedIn(t)
			after := tt.end(t, g, secret)
			_, err := g.Who(secret, noon.Add(after))
			assert.ErrorIs(t, err, signin.ErrRefused)
		})
	}
}

// Signing out on one computer leaves the phone signed in; everywhere means
// everywhere, and only oneself.
func TestSignOutIsForOneBrowserOrForAll(t *testing.T) {
	t.Parallel()
	g, _ := open(t)
	in := func(name string) string {
		secret, err := g.SignIn(name, password, false, noon)
		require.NoError(t, err)
		return secret
	}
	for _, name := range []string{"Bo", "Lea"} {
		_, err := g.Add(name, password, by(0))
		require.NoError(t, err)
	}
	desk, phone, lea := in("Bo"), in("Bo"), in("Lea")
	require.NoError(t, g.SignOut(desk, by(0)))
	_, err := g.Who(phone, noon)
	require.NoError(t, err)
	require.NoError(t, g.SignOutEverywhere("bo", by(0)))
	_, err = g.Who(phone, noon)
	assert.ErrorIs(t, err, signin.ErrRefused)
	_, err = g.Who(lea, noon)
	assert.NoError(t, err)
}

func TestLinkSetsAPasswordOnce(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ name, whose, typed, want string }{
		{"first technician", "", "Bo", "Bo"},
		{"somebody on record", "lea", "Mallory", "Lea"},
		{"first, under a name on record", "", "LEA", "Lea"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			g, _ := open(t)
			_, err := g.Add("Lea", "", by(0))
			require.NoError(t, err)
			secret, err := g.Link(tt.whose, by(0))
			require.NoError(t, err)
			_, err = g.LinkFor(secret, noon.Add(time.Hour))
			require.ErrorIs(t, err, signin.ErrLink, "past its hour")
			_, err = g.LinkFor(secret+"A", noon)
			require.ErrorIs(t, err, signin.ErrLink, "forged")
			_, err = g.UseLink(secret, tt.typed, "too short", noon)
			require.ErrorAs(t, err, new(*loops.InvalidError))

			var set []string
			var mu sync.Mutex
			var all sync.WaitGroup
			for range 4 {
				all.Go(func() {
					who, err := g.UseLink(secret, tt.typed, password, noon)
					if err == nil {
						mu.Lock()
						set = append(set, who.Name)
						mu.Unlock()
					}
				})
			}
			all.Wait()
			assert.Equal(t, []string{tt.want}, set, "of several at once one gets through")
			_, err = g.SignIn(tt.want, password, false, noon)
			require.NoError(t, err)
			_, err = g.UseLink(secret, tt.typed, other, noon)
			assert.ErrorIs(t, err, signin.ErrLink)
		})
	}
}

func TestFirstLinkIsWorthNothingLater(t *testing.T) {
	t.Parallel()
	g, _ := open(t)
	secret, err := g.Link("", by(0))
	require.NoError(t, err)
	_, err = g.Add("Bo", password, by(0))
	require.NoError(t, err)
	_, err = g.LinkFor(secret, noon)
	assert.ErrorIs(t, err, signin.ErrLink)
	_, err = g.UseLink(secret, "Mallory", password, noon)
	assert.ErrorIs(t, err, signin.ErrLink)
}

func TestTechniciansChangeTheirOwnPassword(t *testing.T) {
	t.Parallel()
	g, _ := open(t)
	_, err := g.Add("Bo", password, by(0))
	require.NoError(t, err)
	assert.ErrorIs(t, g.ChangePassword("Bo", other, other, by(0)), signin.ErrRefused)
	assert.ErrorAs(t, g.ChangePassword("Bo", password, "short", by(0)), new(*loops.InvalidError))
	require.NoError(t, g.ChangePassword("Bo", password, other, by(0)))
	_, err = g.SignIn("Bo", password, false, noon)
	assert.ErrorIs(t, err, signin.ErrRefused)
	_, err = g.SignIn("Bo", other, false, noon)
	assert.NoError(t, err)
}

// What is closed never opens again.
func TestTheLastTechnicianStays(t *testing.T) {
	t.Parallel()
	g, _ := open(t)
	_, err := g.Add("Bo", password, by(0))
	require.NoError(t, err)
	_, err = g.Add("Lea", "", by(0)) // sets her password by a link, some time
	require.NoError(t, err)
	var invalid *loops.InvalidError
	require.ErrorAs(t, g.Remove("Bo", by(0)), &invalid)
	assert.Equal(t, "Bo", invalid.Value)
	closed, err := g.Closed()
	require.NoError(t, err)
	assert.True(t, closed)
	_, err = g.SetPassword("Lea", other, by(0))
	require.NoError(t, err)
	require.NoError(t, g.Remove("Bo", by(0)))
	require.Error(t, g.Remove("Lea", by(0)))
}

func TestImpossibleTechniciansAreRefused(t *testing.T) {
	t.Parallel()
	g, _ := open(t)
	_, err := g.Add("Bo", password, by(0))
	require.NoError(t, err)
	for _, name := range []string{"", " ", "Bo ", "local:root", "owner", "Page", "schedule", "a\nb", "bo", strings.Repeat("x", 61), "a/b"} {
		_, err := g.Add(name, password, by(0))
		var invalid *loops.InvalidError
		require.ErrorAs(t, err, &invalid, "%q", name)
		assert.Equal(t, "name", invalid.Field)
	}
	_, err = g.Add("Lea", "fourteen chars", by(0))
	var invalid *loops.InvalidError
	require.ErrorAs(t, err, &invalid)
	assert.NotContains(t, err.Error(), "fourteen chars", "a password is never repeated")
	all, err := g.Technicians()
	require.NoError(t, err)
	assert.Len(t, all, 1)
	assert.ErrorIs(t, g.Remove("Lea", by(0)), loops.ErrNotFound)
	_, err = g.SetPassword("Lea", password, by(0))
	assert.ErrorIs(t, err, loops.ErrNotFound)
}

// The file holds neither password nor secret, and names who did what.
func TestTheFileHoldsNoSecret(t *testing.T) {
	t.Parallel()
	g, s, secret := signedIn(t)
	link, err := g.Link("Bo", by(0))
	require.NoError(t, err)
	raw, err := os.ReadFile(s.Path())
	require.NoError(t, err)
	for _, hidden := range []string{password, secret, link} {
		assert.False(t, bytes.Contains(raw, []byte(hidden)))
	}
	assert.True(t, bytes.Contains(raw, []byte("$argon2id$v=19$m=64,t=1,p=1$")))
	var actions []string
	for line, err := range s.Audit() {
		require.NoError(t, err)
		actions = append(actions, line.Action+" by "+line.By)
	}
	assert.Equal(t, []string{"password link by local:test", "sign-in by Bo", "technician add by local:test"}, actions)
	report, err := s.Check(t.Context())
	require.NoError(t, err)
	assert.Empty(t, report.Problems)
}

// The hash is argon2id as RFC 9106 has it: recomputed here from its text form.
// The library's authors test it by the RFC's own vectors.
func TestDefaultCostIsThatOfTheRFC(t *testing.T) {
	t.Parallel()
	_, s := open(t)
	who, err := signin.New(s, signin.Cost{}).Add("Bo", password, by(0))
	require.NoError(t, err)
	parts := strings.Split(who.Password, "$")
	require.Len(t, parts, 6)
	salt, err := base64.RawStdEncoding.DecodeString(parts[4])
	require.NoError(t, err)
	assert.Len(t, salt, 16)
	want := argon2.IDKey([]byte(password), salt, 3, 64*1024, 4, 32)
	assert.Equal(t, "$argon2id$v=19$m=65536,t=3,p=4$"+rawStd(salt)+"$"+rawStd(want), who.Password)
	_, err = signin.New(s, signin.Cost{Passes: 1, MemoryKB: 64, Lanes: 1}).SignIn("Bo", password, false, noon)
	assert.NoError(t, err, "a hash of another cost still opens")
}

// between is a register to which something happens between what the gate reads and
// what it writes.
type between struct {
	*store.Store
	then func() error
}

func (b between) CommitAccess(c loops.Access) error {
	if err := b.then(); err != nil {
		return err
	}
	return b.Store.CommitAccess(c)
}

var cheap = signin.Cost{Passes: 1, MemoryKB: 64, Lanes: 1}

// signedIn is a gate in front of a register, and the secret of Bo, who is signed in.
func signedIn(t *testing.T) (g *signin.Gate, s *store.Store, secret string) {
	t.Helper()
	g, s = open(t)
	_, err := g.Add("Bo", password, by(0))
	require.NoError(t, err)
	secret, err = g.SignIn("Bo", password, false, noon)
	require.NoError(t, err)
	return g, s, secret
}

// A sign-in that was ended while its use was noted stays ended.
func TestEndedSignInStaysEnded(t *testing.T) {
	t.Parallel()
	g, s, secret := signedIn(t)
	late := signin.New(between{s, func() error { return g.SignOutEverywhere("Bo", by(time.Hour)) }}, cheap)
	_, err := late.Who(secret, noon.Add(time.Hour))
	require.NoError(t, err, "they were signed in when it was asked")
	_, err = g.Who(secret, noon.Add(time.Hour))
	assert.ErrorIs(t, err, signin.ErrRefused)
}

// A password that was changed, or whose technician went, while it was compared signs
// nobody in.
func TestOldPasswordSignsNobodyIn(t *testing.T) {
	t.Parallel()
	for name, then := range map[string]func(g *signin.Gate) error{
		"changed": func(g *signin.Gate) error { _, err := g.SetPassword("Bo", other, by(0)); return err },
		"gone":    func(g *signin.Gate) error { return g.Remove("Bo", by(0)) },
	} {
		g, s := open(t)
		for _, who := range []string{"Bo", "Lea"} {
			_, err := g.Add(who, password, by(0))
			require.NoError(t, err)
		}
		secret, err := signin.New(between{s, func() error { return then(g) }}, cheap).SignIn("Bo", password, false, noon)
		require.ErrorIs(t, err, signin.ErrRefused, name)
		assert.Empty(t, secret)
	}
}

// Where nothing can be written, who is signed in reads on.
func TestNoRoomForTheNoteOfUseShutsNobodyOut(t *testing.T) {
	t.Parallel()
	_, s, secret := signedIn(t)
	for _, fault := range []error{loops.ErrFull, loops.ErrReadOnly} {
		who, err := signin.New(between{s, func() error { return fault }}, cheap).Who(secret, noon.Add(time.Hour))
		require.NoError(t, err)
		assert.Equal(t, "Bo", who.Name)
	}
	_, err := signin.New(between{s, func() error { return loops.ErrDamaged }}, cheap).Who(secret, noon.Add(time.Hour))
	require.ErrorIs(t, err, loops.ErrDamaged)
}
