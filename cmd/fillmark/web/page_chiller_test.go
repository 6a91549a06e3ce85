// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
)

func TestChillerIsProvedOnThePages(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	owner, err := b.shop.AddOwner(stamp(0), loops.Owner{Name: "Jo Hartwell", Email: "jo@owners.example"})
	require.NoError(t, err)
	kept, err := b.shop.AddMachine(stamp(0), loops.Machine{Owner: owner.ID, Kind: loops.BenchChiller, Name: "wash chiller"})
	require.NoError(t, err)
	loop, err := b.shop.AddLoop(stamp(0), loops.Loop{Machine: kept.ID, Construction: loops.Construction{
		Volume: 2, SetPoint: new(chemistry.Celsius(12)), EvaporatorMargin: new(chemistry.CelsiusDelta(5)),
		Wetted: []loops.WettedPart{{Part: "evaporator", Metal: chemistry.Copper}},
	}})
	require.NoError(t, err)
	path := "/loops/" + string(loop.Tag)
	b.says(b.get(path+"/refill"), "Set point", "the proof of a chiller asks for it")
	ana := b.ana()
	assert.NotContains(t, b.get("/loops/"+string(ana.Loop.Tag)+"/refill").Body.String(), "set-point", "and that of a tower does not")
	for _, act := range []struct {
		name string
		form url.Values
	}{
		{"intake", url.Values{"complaint": {"does not cool"}}},
		{"readings", url.Values{"coolant-in": {"17"}, "coolant-out": {"20"}, "power": {"400"}}},
		{"fill", url.Values{"fluid": {"pg"}, "poured": {"2000"}, "mass": {"35"}, "mass-known": {"measured"}, "mass-uncertainty": {"1"}}},
		{"leakcheck", url.Values{"hours": {"24"}, "dry": {"yes"}}},
		{"proof", url.Values{"coolant-in": {"12,2"}, "coolant-out": {"15"}, "power": {"400"}, "steady": {"yes"}, "verdict": {"good"}}},
		{"handover", url.Values{"mail-consent": {"yes"}}},
	} {
		w := b.post(path+"/acts/"+act.name, act.form)
		require.Equal(t, http.StatusSeeOther, w.Code, "%s: %s", act.name, problemsIn(w))
		if act.name == "fill" {
			b.now = b.now.AddDate(0, 0, 1)
		}
	}
	w := b.get(path + "/handover")
	b.says(w, "The repair is proved. Above its set point by 5.0 ± 1.0 K before, by 0.2 ± 1.0 K after.", "the sheet")
	b.says(b.get(path), "Above its set point by 5.0 ± 1.0 K before", "the loop's page")
	assert.NotContains(t, b.get(path).Body.String(), "−0.", "no negative resistance stands anywhere")
	letters := 0
	for m, err := range b.store.Messages("") {
		require.NoError(t, err)
		if m.Owner == owner.ID {
			whole, err := b.store.Message(m.Key)
			require.NoError(t, err)
			letters++
			text := strings.Join(strings.Fields(strings.ReplaceAll(string(whole.Raw), "=\r\n", "")), " ")
			assert.Contains(t, text, "it cools better than before, and holds the 12.0 =C2=B0C that it is set to", "the letter")
		}
	}
	assert.Equal(t, 1, letters)
}
