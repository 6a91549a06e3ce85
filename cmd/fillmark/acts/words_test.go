// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"fmt"
	"reflect"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// texts lists the plain texts inside a value.
func texts(v reflect.Value) []string {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return nil
		}
		return texts(v.Elem())
	case reflect.Struct:
		var all []string
		for f, inside := range v.Fields() {
			if f.IsExported() && f.Name != "By" && f.Name != "Key" {
				all = append(all, texts(inside)...)
			}
		}
		return all
	case reflect.Slice:
		var all []string
		for i := range v.Len() {
			all = append(all, texts(v.Index(i))...)
		}
		return all
	case reflect.String:
		return []string{v.String()}
	}
	return nil
}

// Every text that erasing takes out of an entry is one of those that are looked
// for afterwards: the two follow the same descriptions.
func TestWhatErasingTakesIsLookedFor(t *testing.T) {
	t.Parallel()
	looked := 0
	one := func(name string, e loops.Entry) {
		var words []string
		for _, w := range acts.EntryWords(e) {
			words = append(words, w.Text)
		}
		left := map[string]int{}
		for _, text := range texts(reflect.ValueOf(e.Erased())) {
			left[text]++
		}
		for _, text := range texts(reflect.ValueOf(e)) {
			if left[text] > 0 {
				left[text]--
				continue
			}
			if text == "" {
				continue
			}
			looked++
			assert.Contains(t, words, text, "%s: %q goes and is not looked for", name, text)
		}
	}
	for _, d := range acts.All() {
		for _, act := range ways(t, d) {
			e := act.Apply(snapshot(filled(-10)), today).Entries[0]
			e.Judged = &loops.Judged{AlreadyDone: true, Overruled: []loops.Overrule{{Rule: "frost", Why: "a heated room"}}}
			one(d.Name, e)
		}
	}
	one("answer", loops.Entry{Kind: loops.KindAnswer, By: "owner", Note: "a note", Answer: &loops.Answer{
		Answer: loops.SomethingOff, Words: "it drips on the cat", Photo: fmt.Sprintf("%064d", 7),
	}})
	assert.Greater(t, looked, 30)
}

func TestNamingOfAnOwner(t *testing.T) {
	t.Parallel()
	words := acts.Owners().Words(loops.Owner{
		Name: "Dr Ana Fern", Email: "ana@garden.example", Phone: "+351 910", Zone: "Europe/Lisbon", Address: "Rua das Flores 3\n1200 Lisbon\nPortugal",
	})
	naming, parts := acts.Naming(words)
	assert.Equal(t, []string{"Dr Ana Fern", "ana@garden.example", "+351 910", "Rua das Flores 3\n1200 Lisbon\nPortugal", "Rua das Flores 3", "1200 Lisbon"}, naming)
	assert.Equal(t, []string{"Ana", "Fern"}, parts)
	naming, parts = acts.Naming(acts.Owners().Words(loops.Owner{Name: "Rose"}))
	assert.Empty(t, naming)
	assert.Equal(t, []string{"Rose"}, parts)

	distinct, short := acts.Distinct([]acts.Word{
		{Field: "note: note", Text: "ana  FERN"}, {Field: "owner: name", Text: "Ana Fern", Names: true}, {Field: "note: note", Text: "no"}, {Field: "owner: name", Text: "Bo", Names: true},
		{Field: "note: note", Text: ""}, {Field: "intake: the owner says", Text: "it ticks"}, {Field: "note: note", Text: "It ticks"},
	})
	require.Len(t, distinct, 2)
	assert.Equal(t, acts.Word{Field: "owner: name", Text: "Ana Fern", Names: true}, distinct[0])
	assert.Equal(t, "it ticks", distinct[1].Text)
	assert.Equal(t, 2, short)
}
