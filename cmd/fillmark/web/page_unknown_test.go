// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Of a factory charge nobody may know what it is. Every page says so, and none
// takes it for harmless.
func TestPagesOfAnUnknownCharge(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	tag, day := file.Loop.Tag, loops.Day{Year: 2026, Month: 8, Dom: 1}
	b.record(stamp(20), tag, loops.Entry{Kind: loops.KindDrain, Day: day, Drain: &loops.Drain{Disposal: "collection point"}})
	b.record(stamp(20), tag, loops.Entry{Kind: loops.KindFill, Day: day, Fill: &loops.Fill{Charge: loops.Charge{Origin: loops.Factory, FilledTo: day}}})
	recorded := b.record(stamp(19), tag, loops.Entry{Kind: loops.KindReturn, Day: day.AddDays(1), Return: &loops.Return{Why: "nobody knows what is in it"}})
	assert.Empty(t, recorded.Loop.Plan.Tasks, "nothing is planned that calls it good")

	file = b.file(tag)
	assert.Nil(t, file.Protection)
	fixed := "<ul><li>" + strings.Join(chemistry.UnknownLiquid(), "</li><li>")
	for _, tt := range []struct{ name, path, says string }{
		{"loop", "/loops/" + string(tag), "fluid not known"},
		{"label", "/loops/" + string(tag) + "/label", "Treat it as poisonous and as burnable."},
		{"hand-over sheet", "/loops/" + string(tag) + "/handover", "luid not known"},
		{"refill", "/loops/" + string(tag) + "/refill", string(tag)},
		{"owner", b.ownerLink(file.Owner), "the liquid is poisonous if swallowed"},
		{"loop, its five lines", "/loops/" + string(tag), fixed},
		{"refill, its five lines", "/loops/" + string(tag) + "/refill", fixed},
		{"top-up, its five lines", "/topup?tag=" + string(tag) + "&room=20&liquid1=water", fixed},
		{"loops", "/loops", string(tag)},
		{"top-up", "/topup?tag=" + string(tag) + "&room=20&liquid1=water", "verdict big stop"},
		{"top-up with a concentrate", "/topup?tag=" + string(tag) + "&room=20&liquid1=pg&strength1=95", "verdict big stop"},
		{"top-up, measured on some scale", "/topup?tag=" + string(tag) + "&room=20&liquid1=water&kind=brix&reading=24", "drain, rinse and refill"},
		{"top-up, a label found", "/topup?tag=" + string(tag) + "&fluid=pg&room=30&liquid1=pg&strength1=35&kind=brix&reading=24", "<h2>Steps</h2>"},
	} {
		w := b.get(tt.path)
		require.Equal(t, http.StatusOK, w.Code, "%s: %s", tt.name, w.Body.String())
		b.says(w, tt.says, tt.name)
	}
	topUp := loops.TopUp{Poured: []loops.Pour{{Liquid: "water", Fluid: chemistry.TreatedWater, Volume: 0.02}}}
	b.record(stamp(0), tag, loops.Entry{Kind: loops.KindTopUp, Day: day.AddDays(30), TopUp: &topUp})
	assert.Nil(t, b.file(tag).Loop.State.Charge.Mass)
}
