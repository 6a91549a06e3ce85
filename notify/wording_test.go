// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/words"
)

// plain returns the subject and the text of a reminder about the loop of
// sealedItem with the given tasks, white space made one.
func plain(t *testing.T, items ...notify.ReminderItem) (subject, text string) {
	t.Helper()
	in := reminder()
	in.Items = items
	l, err := notify.ComposeReminder(in)
	require.NoError(t, err)
	_, parts := read(t, l.Raw)
	return l.Subject, strings.Join(strings.Fields(parts["text/plain"]), " ")
}

func item(task loops.TaskKind, due loops.Day, stage loops.Stage) notify.ReminderItem {
	i := sealedItem()
	i.Task, i.Due, i.Stage, i.Reason = task, due, stage, "It is time."
	return i
}

// Fresh liquid brings new additives: nobody is asked for the same work twice,
// but a renewal that is due earlier is not kept silent.
func TestFreshLiquidBringsItsRenewals(t *testing.T) {
	t.Parallel()
	early := loops.Day{Year: 2026, Month: time.November, Dom: 20}
	late := loops.Day{Year: 2026, Month: time.November, Dom: 28}
	for _, tt := range []struct {
		name     string
		renewal  loops.Day
		separate bool
	}{
		{"before the fresh liquid", early, true},
		{"on its day", late, false},
		{"after it", late.AddDays(1), false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			subject, text := plain(t,
				item(loops.BiocideRenewal, tt.renewal, loops.StageAhead),
				item(loops.InhibitorRenewal, late, loops.StageAhead),
				item(loops.CoolantChange, late, loops.StageAhead))
			assert.Equal(t, tt.separate, strings.Contains(text, ": New protection against algae and slime by"))
			assert.NotContains(t, text, ": New corrosion protection by")
			if tt.separate {
				assert.Contains(t, text, "It is time. Fresh liquid brings new protection against corrosion.")
				assert.Contains(t, subject, ", and 1 more")
				return
			}
			assert.Contains(t, text, "new protection against algae and slime in the liquid")
			assert.Equal(t, "The grey tower: fresh liquid by Sat 28 Nov 2026", subject)
		})
	}
}

func TestAnotherLoopsFreshLiquidBringsNothing(t *testing.T) {
	t.Parallel()
	day := loops.Day{Year: 2026, Month: time.November, Dom: 28}
	other := item(loops.BiocideRenewal, day, loops.StageAhead)
	other.Tag, other.Machine = "4XW8PD", "the other one"
	_, text := plain(t, item(loops.CoolantChange, day, loops.StageAhead), other)
	assert.Contains(t, text, "New protection against algae and slime by Sat 28 Nov 2026")
	assert.NotContains(t, text, "Fresh liquid brings")
}

func TestOverdueAndLastReminderSaySo(t *testing.T) {
	t.Parallel()
	due := loops.Day{Year: 2026, Month: time.November, Dom: 10}
	subject, text := plain(t, item(loops.Look, due, loops.StageLate))
	assert.Equal(t, "The grey tower: look-over was due Tue 10 Nov 2026", subject)
	assert.NotContains(t, text, "our last mail about it")
	subject, text = plain(t, item(loops.Look, due, loops.StageLast))
	assert.Equal(t, "Last reminder. The grey tower: look-over was due Tue 10 Nov 2026", subject)
	assert.Contains(t, text, "This is our last mail about it: if we hear nothing, we will get in touch another way.")
}

// Nobody counts a thousand days; the date stands beside it.
func TestFarDaysAreInMonthsAndYears(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		days int
		want string
	}{
		{90, "(in 90 days)"}, {91, "(in about 3 months)"}, {364, "(in about 12 months)"}, {1094, "(in about 3 years)"},
		{-90, "(90 days ago)"}, {-182, "(about 6 months ago)"},
	} {
		_, text := plain(t, item(loops.CoolantChange, today.AddDays(tt.days), loops.StageDue))
		assert.Contains(t, text, tt.want)
	}
}

// A charge in words tells all that was added, each family once.
func TestChargeInWordsTellsWhatWasAdded(t *testing.T) {
	t.Parallel()
	c := loops.Charge{Fluid: chemistry.TreatedWater, Additives: []loops.Dosed{
		{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone"}}, {Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole"}},
		{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone", Product: "Other"}}, {Role: loops.RoleBiocide, Additive: loops.Additive{Product: "Clear"}},
	}}
	assert.Equal(t, "water with additives, with azole, isothiazolinone, biocide of a family not known", notify.ChargeInWords(words.In(loops.English), c))
	c.Additives = []loops.Dosed{{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "none"}}}
	assert.Equal(t, "water with additives", notify.ChargeInWords(words.In(loops.English), c))
}
