// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

var today = loops.Day{Year: 2026, Month: 11, Dom: 20}

// sample says something in a field that is none of its zero values.
func sample(f acts.Field) string {
	switch {
	case f.Word == "PHOTO":
		return strings.Repeat("ab", 32)
	case f.Word == "KIND@PLACE":
		return "white gel or powder@cold plate fins"
	case f.Word == "[LIQUID=]VOLUME":
		return "3=40ml"
	case strings.HasPrefix(f.Word, "ROLE:FAMILY"):
		return "biocide:bronopol:2ml/l:12:Clear B"
	case f.Word == "RULE=WHY":
		return "frost=a heated room"
	case f.Type == acts.Truth:
		return "yes"
	case f.Type == acts.Date:
		return "2026-11-02"
	case len(f.Choices) > 0:
		return f.Choices[0]
	case f.Type == acts.Number:
		return "7" + f.Unit
	case f.Name == "key":
		return "k-1"
	}
	return "words of " + f.Name
}

// everything says something in every field of an act, but for those of two that
// are two ways to say one thing.
func everything(d acts.Definition, without string) acts.Said {
	said := acts.Said{}
	for _, f := range d.Fields {
		if f.Name != without {
			said[f.Name] = []string{sample(f)}
		}
	}
	if d.Name == "open" {
		said["photo"] = []string{strings.Repeat("ab", 32) + "@after+white"}
	}
	if d.Name == "plan" {
		said["pause"] = []string{"yes"}
	}
	return said
}

// ways are the acts that between them say every field.
func ways(t *testing.T, d acts.Definition) []acts.Act {
	t.Helper()
	left := map[string][]string{"fill": {"volume", "mass"}, "leakcheck": {"wet", "dry"}, "dose": {""}}[d.Name]
	if left == nil {
		left = []string{""}
	}
	var all []acts.Act
	for _, without := range left {
		said := everything(d, without)
		if d.Name == "fill" {
			said["fluid"], said["inhibitor"], said["biocide"] = []string{"pg"}, []string{"azole"}, []string{"isothiazolinone"}
		}
		if d.Name == "dose" {
			said["family"], said["poured"] = []string{"azole"}, []string{"3=40ml"}
		}
		act, err := d.Read(said)
		require.NoError(t, err, "%s without %q", d.Name, without)
		assert.Equal(t, len(said), len(d.Say(act)), "%s says every field again: %v", d.Name, d.Say(act))
		all = append(all, act)
	}
	return all
}

func snapshot(history ...loops.Entry) acts.Snapshot {
	s := acts.Snapshot{
		Machine: loops.Machine{ID: 1, Owner: 1, Kind: loops.Desktop, Name: "tower"},
		Owner:   loops.Owner{ID: 1, Name: "Ana Ruizado", Consent: loops.Consent{Opening: true}},
		Containers: []loops.Container{{ID: 3, Kind: loops.PremixBottle, Product: "ready", Lot: "L-1", Fluid: chemistry.PropyleneGlycol,
			Mass: new(chemistry.MassFraction(0.4)), Left: 5}},
	}
	for i := range history {
		history[i].ID, history[i].Loop = loops.EntryID(i+1), 1
	}
	s.History = history
	s.Loop = loops.Loop{ID: 1, Machine: 1, Tag: "7K3QXA", LastEntry: loops.EntryID(len(history)), State: loops.Fold(history), Construction: loops.Construction{
		Volume: 0.5, ColdestWall: new(chemistry.Celsius(-10)), Reach: new(true),
		Wetted: []loops.WettedPart{{Part: "cold plate", Metal: chemistry.Copper}, {Part: "radiator", Metal: chemistry.Brass}},
	}}
	return s
}

// readJSON reads what WriteJSON wrote.
func readJSON(t require.TestingT, d acts.Definition, body []byte) acts.Said {
	var keys map[string]json.RawMessage
	require.NoError(t, json.Unmarshal(body, &keys), string(body))
	said, err := acts.ReadJSON(d.Fields, keys)
	require.NoError(t, err, string(body))
	return said
}

// Several words stand in one cell whatever is in them.
func TestCellsOfSeveral(t *testing.T) {
	t.Parallel()
	f := acts.Field{Name: "overrule", Type: acts.Text, Many: true}
	for _, texts := range [][]string{{"frost=a; b", "wall=;c"}, {";", "x;"}, {"one"}} {
		back, err := f.FromCell(f.ToCell(texts))
		require.NoError(t, err)
		assert.Equal(t, texts, back)
	}
}

// Every field can be said as a flag, in JSON and in a list, and comes back the
// same; a history tells it.
func TestEveryFieldIsSaidEverywhere(t *testing.T) {
	t.Parallel()
	for _, d := range acts.All() {
		t.Run(d.Name, func(t *testing.T) {
			t.Parallel()
			for _, act := range ways(t, d) {
				said := d.Say(act)
				body, err := acts.WriteJSON(d.Fields, said)
				require.NoError(t, err)
				back := readJSON(t, d, body)
				again, err := d.Read(back)
				require.NoError(t, err, string(body))
				assert.Equal(t, act, again, "JSON %s", body)
				row := acts.Said{}
				for _, f := range d.Fields {
					texts, err := f.FromCell(f.ToCell(said[f.Name]))
					require.NoError(t, err, f.Name)
					if texts != nil {
						row[f.Name] = texts
					}
				}
				again, err = d.Read(row)
				require.NoError(t, err, "%v", row)
				assert.Equal(t, act, again, "the cells of %v", row)
				told := d.Words(act)
				for _, f := range d.Fields {
					if f.Hidden || said[f.Name] == nil || slices.Contains([]string{"day", "note", "already-done", "overrule"}, f.Name) {
						continue
					}
					_, err := d.Read(without(said, f.Name))
					if f.Needed {
						assert.ErrorContains(t, err, f.Name, "what is needed is asked for by name")
						continue
					}
					require.NoError(t, err)
					less, _ := d.Read(without(said, f.Name))
					assert.NotEqual(t, told, d.Words(less), "the history does not tell %s", f.Name)
				}
			}
		})
	}
}

func without(said acts.Said, name string) acts.Said {
	less := acts.Said{}
	for k, v := range said {
		if k != name {
			less[k] = v
		}
	}
	return less
}

// worked are the payload fields that nobody says, since they follow from what
// is said and from the register.
var worked = []string{
	"MassKnown.On", "MassKnown.PlusMinus", "MassKnown.By", "MassKnown.How", "Additive.Added",
	"Poured.MassUncertainty", // of a container, by its label or record
	"NotAsked", "From",       // of a hand-over and of a transfer
}

// elsewhere are the readings that no proof takes: a proof compares heat, and
// what else was read is written down as readings.
func elsewhere(act, field string) bool {
	_, field, _ = strings.Cut(field, ".")
	return act == "proof" && slices.Contains([]string{"Mass", "MassUncertainty", "PH", "Missing", "Weight", "RunningHours", "Noise"}, field)
}

// Every field of what an entry can carry is set by some field of its act.
func TestEveryPayloadFieldIsReachable(t *testing.T) {
	t.Parallel()
	for _, d := range acts.All() {
		set, all := map[string]bool{}, map[string]bool{}
		for _, act := range ways(t, d) {
			change := act.Apply(snapshot(filled(-10)), today)
			require.NotEmpty(t, change.Entries, d.Name)
			e := reflect.ValueOf(change.Entries[0])
			for i := range e.NumField() {
				f := e.Type().Field(i)
				if f.Type.Kind() == reflect.Pointer && f.Name != "Judged" && !e.Field(i).IsNil() {
					leaves(e.Field(i), "", set, all)
				}
			}
		}
		for name := range all {
			if elsewhere(d.Name, name) {
				continue
			}
			if !slices.ContainsFunc(worked, func(w string) bool { return name == w || strings.HasSuffix(name, "."+w) }) {
				assert.True(t, set[name], "%s: nothing says %s", d.Name, name)
			}
		}
	}
}

// leaves notes all fields below a value, and those that are set.
func leaves(v reflect.Value, path string, set, all map[string]bool) {
	switch {
	case v.Kind() == reflect.Pointer && v.Type().Elem().Kind() == reflect.Struct && !v.IsNil():
		leaves(v.Elem(), path, set, all)
		return
	case v.Kind() == reflect.Struct && v.Type() != reflect.TypeFor[loops.Day]():
		for i := range v.NumField() {
			f := v.Type().Field(i)
			name := f.Name
			if path != "" {
				name = path + "." + name
			}
			leaves(v.Field(i), name, set, all)
		}
		return
	case v.Kind() == reflect.Slice && v.Len() > 0 && v.Index(0).Kind() == reflect.Struct:
		leaves(v.Index(0), path, set, all)
		return
	}
	all[path] = true
	set[path] = set[path] || !v.IsZero()
}

// Erasing an owner empties what is classed personal, and leaves the rest.
func TestErasingEmptiesWhatIsPersonal(t *testing.T) {
	t.Parallel()
	for _, d := range acts.All() {
		for _, act := range ways(t, d) {
			change := act.Apply(snapshot(filled(-10)), today)
			e := change.Entries[0]
			e.Judged = &loops.Judged{AlreadyDone: true, Overruled: []loops.Overrule{{Rule: "frost", Why: "a heated room"}}}
			before, _ := acts.Entered(e)
			after, _ := acts.Entered(e.Erased())
			was, is := d.Say(before), d.Say(after)
			for _, f := range d.Fields {
				if was[f.Name] == nil {
					continue
				}
				if f.Personal {
					assert.NotContains(t, fmt.Sprint(is[f.Name]), "words of", "%s: %s is left", d.Name, f.Name)
					assert.NotContains(t, fmt.Sprint(is[f.Name]), "heated room", "%s: %s is left", d.Name, f.Name)
					assert.NotEqual(t, was[f.Name], is[f.Name], "%s: %s is left", d.Name, f.Name)
				} else {
					assert.Equal(t, was[f.Name], is[f.Name], "%s: %s went", d.Name, f.Name)
				}
			}
		}
	}
}

// Names, help and units are such that every adapter can use them.
func TestDefinitionsAreWhole(t *testing.T) {
	t.Parallel()
	kinds := map[loops.EntryKind]bool{}
	for _, d := range acts.All() {
		assert.False(t, kinds[d.Kind], "two acts write %s", d.Kind)
		kinds[d.Kind] = true
		writes, _ := acts.OfKind(d.Kind)
		assert.Equal(t, d.Name, writes.Name, "%s is found by its kind", d.Kind)
		names, keys := map[string]bool{}, map[string]bool{}
		for _, f := range d.Fields {
			assert.Regexp(t, `^[a-z]+(-[a-z]+)*$`, f.Name)
			assert.Regexp(t, `^[a-z]+(_[a-z]+)*$`, f.JSONKey(), "%s: %s has a unit without a key", d.Name, f.Name)
			assert.False(t, names[f.Name] || keys[f.JSONKey()], "%s: two fields %s", d.Name, f.Name)
			names[f.Name], keys[f.JSONKey()] = true, true
			assert.NotEmpty(t, f.Help, "%s: %s", d.Name, f.Name)
			assert.False(t, strings.HasSuffix(f.Help, "."), "%s: %s", d.Name, f.Name)
		}
	}
	for _, kind := range loops.EntryKinds() {
		assert.True(t, kinds[kind] || kind == loops.KindAnswer || kind == loops.KindLog, "no act writes %s", kind)
	}
}
