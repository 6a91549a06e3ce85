// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"crypto/rand"
	"fmt"
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/store"
)

// leftStore is a register whose line is lost: before what is asked, or between a
// write and its answer.
type leftStore struct {
	*store.Store
	read, write error
}

func (s *leftStore) LoopWith(tag loops.Tag, shelf bool) (loops.Belongings, error) {
	if s.read != nil {
		return loops.Belongings{}, s.read
	}
	return s.Store.LoopWith(tag, shelf)
}

func (s *leftStore) Commit(c loops.Change) error {
	if s.write != nil {
		return s.write
	}
	return s.Store.Commit(c)
}

// Whoever sent something is told what became of it, and nobody else is.
func TestPagesWhileTheDatabaseIsAway(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	tag, link := file.Loop.Tag, b.ownerLink(file.Owner)
	left := &leftStore{Store: b.store}
	var err error
	b.deps.Workshop = workshop.New(left, b.settings(), rand.Reader, b.links)
	b.handler, err = web.New(b.deps)
	require.NoError(t, err)
	away, unsettled := fmt.Errorf("store: %w", loops.ErrAway), fmt.Errorf("store: %w", loops.ErrUnsettled)

	left.read = away
	w := b.get("/loops/" + string(tag))
	require.Equal(t, http.StatusServiceUnavailable, w.Code)
	b.says(w, "<h1>The register's database does not answer</h1>", "a page")
	b.says(w, "The page can be shown once it does.", "a page")
	assert.NotContains(t, w.Body.String(), "put down")
	assert.NotContains(t, w.Body.String(), "what was typed")
	w = b.act(tag, "note", url.Values{"text": {"it hums"}})
	require.Equal(t, http.StatusServiceUnavailable, w.Code)
	b.says(w, "Nothing was put down.", "a form")

	left.read, left.write = nil, unsettled
	w = b.post(link, url.Values{"answer": {"fine"}})
	require.Equal(t, http.StatusServiceUnavailable, w.Code)
	b.says(w, "<h1>We do not know whether that was kept</h1>", "an owner's answer")
	assert.NotContains(t, w.Body.String(), "That did not work")

	left.write = away
	w = b.post(link, url.Values{"answer": {"fine"}})
	require.Equal(t, http.StatusServiceUnavailable, w.Code)
	b.says(w, "<h1>That did not work</h1>", "an answer that was not taken")
	b.says(w, "nothing was changed", "an answer that was not taken")
}

// Whose sign-in has ended is not told to go back: most pages are not stored, and
// what was typed would be gone.
func TestWhoIsSignedOutKeepsWhatWasTyped(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.technician("Bo")
	w := b.post("/intake", url.Values{"who": {"Ona Rask"}})
	require.Equal(t, http.StatusUnauthorized, w.Code)
	b.says(w, "keep this page open and load it again, and the browser sends what was typed", "what to do")
}
