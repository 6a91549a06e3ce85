// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/notify/words"
)

// A calendar is in its owner's language, names and reasons too; its entries keep
// their ids, so that a change of language doubles nothing.
func TestFeedInItsOwnersLanguage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	feed := func() ([]byte, string) {
		raw, err := b.OwnerCalendar(1)
		require.NoError(t, err)
		return raw, strings.Join(append(property(raw, "NAME"), append(property(raw, "SUMMARY"), property(raw, "DESCRIPTION")...)...), "\n")
	}
	before, english := feed()
	assert.Contains(t, english, ": your machines")
	assert.Contains(t, english, " We go by: ")
	named := map[loops.Language]string{
		loops.German: ": Ihre Geräte", loops.Spanish: ": sus equipos", loops.French: " : vos appareils", loops.Portuguese: ": os seus aparelhos",
	}
	for _, l := range loops.Languages()[1:] {
		owner, err := b.store.Owner(1)
		require.NoError(t, err)
		owner.Language = l
		require.NoError(t, b.store.Commit(loops.Change{At: at("2026-05-02 15").At, By: "test", Action: "language", Owners: []loops.Owner{owner}}))
		after, said := feed()
		ws := words.In(l)
		assert.Contains(t, said, named[l])
		for _, task := range loop.Plan.Tasks {
			about, _ := loops.AboutTask(task.Kind)
			title := strings.ReplaceAll(ws.Say("colon", ws.Recorded(about.OwnerTitle)), "\u202f", " ") // calendars have plain blanks
			assert.Contains(t, said, title+" ")
			assert.NotContains(t, said, about.OwnerTitle)
			assert.Contains(t, said, strings.ReplaceAll(ws.Day(task.Due), ",", "\\,"))
		}
		assert.NotContains(t, said, "We go by")
		assert.NotContains(t, said, "your machines")
		assert.Equal(t, property(before, "UID"), property(after, "UID"), l)
	}
}
