// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// ownersLinks are one link of each purpose, as a mail of this moment has them.
func (b *bench) ownersLinks(o loops.Owner) []string {
	return []string{b.ownerLink(o), b.stopLink(o), b.shop.CalendarPath(o, b.now)}
}

// areDead holds that links open nothing, say whom to call and store nothing.
func (b *bench) areDead(links []string) {
	b.Helper()
	before := b.bytesOnDisk()
	for _, link := range links {
		w := b.get(link)
		assert.Equal(b, http.StatusNotFound, w.Code, link)
		b.says(w, "+351 210 000 000", "whom to call")
		if strings.HasSuffix(link, ".ics") {
			continue // nothing is sent to a calendar
		}
		for _, form := range []url.Values{{"answer": {"call"}}, {"mail": {"stop"}}, {"links": {"end"}}, {"List-Unsubscribe": {"One-Click"}}} {
			assert.Equal(b, http.StatusNotFound, b.post(link, form).Code, "%s %v", link, form)
		}
	}
	assert.Equal(b, before, b.bytesOnDisk())
}

func TestLinksEnd(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		end  func(b *bench, file workshop.File)
	}{
		{"by the workshop", func(b *bench, file workshop.File) {
			w := b.post("/api/v1/owners/"+strconv.FormatUint(uint64(file.Owner.ID), 10)+"/end-links", nil)
			require.Equal(b, http.StatusOK, w.Code, w.Body)
		}},
		{"by a transfer", func(b *bench, file workshop.File) {
			to, err := b.shop.AddOwner(stamp(0), loops.Owner{Name: "Bea Moss", Email: "bea@moss.example"})
			require.NoError(b, err)
			theirs := b.ownersLinks(to)
			_, err = b.shop.Act(stamp(0), file.Loop.Tag, &acts.Transfer{Transfer: loops.Transfer{To: to.ID}})
			require.NoError(b, err)
			for _, link := range theirs {
				assert.Equal(b, http.StatusOK, b.get(link).Code, "the new owner's links open")
			}
		}},
		{"by erasing", func(b *bench, file workshop.File) {
			_, err := keeper{b.store}.EraseOwner(b.Context(), file.Owner.ID, "test", noon, false)
			require.NoError(b, err)
		}},
		{"by the owner", func(b *bench, file workshop.File) {
			require.Equal(b, http.StatusSeeOther, b.post(b.ownerLink(file.Owner), url.Values{"answer": {"fine"}}).Code)
			b.says(b.get(b.ownerLink(file.Owner)), "That was not me", "the way out")
			w := b.post(b.ownerLink(file.Owner), url.Values{"links": {"end"}})
			require.Equal(b, http.StatusOK, w.Code, w.Body)
			b.says(w, "Your links are closed", "what was done")
			history := b.file(file.Loop.Tag).History
			last := history[len(history)-1]
			require.Equal(b, loops.KindAnswer, last.Kind)
			assert.Equal(b, loops.CallMe, last.Answer.Answer, "the workshop is asked to call")
			assert.Contains(b, last.Answer.Words, "did not come from me")
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			file := b.ana()
			links := b.ownersLinks(file.Owner)
			other := b.register(machine{owner: loops.Owner{Name: "Cleo Fern"}, name: "hers", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200})
			for _, link := range links {
				require.Equal(t, http.StatusOK, b.get(link).Code, "alive before")
			}
			tt.end(b, file)
			b.areDead(links)
			assert.Equal(t, http.StatusOK, b.get(b.ownerLink(other.Owner)).Code, "another owner's links stay")
			now, err := b.store.Owner(file.Owner.ID)
			require.NoError(t, err)
			assert.Equal(t, uint32(1), now.LinkEpoch)
			assert.Equal(t, http.StatusOK, b.get(b.ownerLink(now)).Code, "a link written later opens")
		})
	}
}

// The receipt of "that was not me" brings links that open.
func TestNotMeMailsNewLinks(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.register(machine{
		owner: loops.Owner{Name: "Ana Fern", Email: "ana@garden.example", Consent: loops.Consent{Mail: true}},
		name:  "the grey tower", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200,
	})
	require.Equal(t, http.StatusOK, b.post(b.ownerLink(file.Owner), url.Values{"links": {"end"}}).Code)
	m, err := b.store.Message(loops.NewMessageKey(file.Owner.ID, loops.DayOf(noon, time.UTC), loops.PurposeReceipt, string(loops.CallMe)+"/"+string(file.Loop.Tag)))
	require.NoError(t, err)
	text := strings.ReplaceAll(string(m.Raw), "=\r\n", "")
	link := regexp.MustCompile(`/o/[\w-]+`).FindString(text)
	require.NotEmpty(t, link)
	assert.Equal(t, http.StatusOK, b.get(link).Code)
}

// Nobody sets the epoch back by writing the record.
func TestEditLeavesLinksEnded(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	_, err := b.shop.EndLinks(stamp(0), file.Owner.ID)
	require.NoError(t, err)
	owner, err := b.store.Owner(file.Owner.ID)
	require.NoError(t, err)
	owner.LinkEpoch = 0
	done, err := b.shop.Edit(stamp(0), workshop.Edit{Owner: &owner})
	require.NoError(t, err)
	assert.Equal(t, uint32(1), done.Owner.LinkEpoch)
	b.areDead(b.ownersLinks(file.Owner))
	_, err = b.shop.EndLinks(stamp(0), 999)
	require.ErrorIs(t, err, loops.ErrNotFound)
}
