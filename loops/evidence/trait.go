// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Trait is something that a loop and its charge have and others have not, from
// the fill on. What only an opening can show is none: healthy loops are not
// opened. Nor is what comes with age, such as a top-up: what failed early never
// had the time for it. Small and capital letters are one.
type Trait struct {
	Key   string `json:"key"`
	Value string `json:"value"`
}

// String writes key=value, as [ParseTrait] reads it.
func (t Trait) String() string { return t.Key + "=" + t.Value }

// Same reports whether both are one trait.
func (t Trait) Same(o Trait) bool { return t.Key == o.Key && strings.EqualFold(t.Value, o.Value) }

// traitKeys are the keys in the order they are offered, with what people read
// before the value. Those marked several can hold for one loop more than once.
func traitKeys() []struct {
	key, words string
	several    bool
} {
	return []struct {
		key, words string
		several    bool
	}{
		{"metals", "wetted metals", false},
		{"metal", "wetted", true},
		{"fluid", "fluid", false},
		{"strength", "strength", false},
		{"inhibitor", "inhibitor", false},
		{"biocide", "biocide", false},
		{"product", "coolant", false},
		{"lot", "lot", true},
		{"model", "maker and model", false},
		{"maker", "maker", false},
		{"machine", "kind of machine", false},
		{"pump", "pump", false},
		{"mounting", "mounting", false},
		{"tubing", "tubing", false},
	}
}

// TraitKeys lists the keys that traits can have.
func TraitKeys() []string {
	var keys []string
	for _, k := range traitKeys() {
		keys = append(keys, k.key)
	}
	return keys
}

// Words writes the trait for people.
func (t Trait) Words() string {
	for _, k := range traitKeys() {
		if k.key == t.Key {
			return k.words + " " + t.Value
		}
	}
	return t.String()
}

// ParseTrait reads key=value.
func ParseTrait(text string) (Trait, error) {
	key, value, ok := strings.Cut(text, "=")
	t := Trait{strings.TrimSpace(key), strings.TrimSpace(value)}
	if !ok || t.Value == "" || !slices.Contains(TraitKeys(), t.Key) {
		return Trait{}, wrong("trait", text, "KEY=VALUE such as metal=aluminium, with a key of: "+strings.Join(TraitKeys(), ", "))
	}
	return t, nil
}

// parseTraitKey reads a key whose values part the loops, each in one group.
func parseTraitKey(text string) (string, error) {
	if slices.Contains(GroupKeys(), text) {
		return text, nil
	}
	return "", wrong("by", text, "one of "+strings.Join(GroupKeys(), ", ")+", or KEY=VALUE such as metal=aluminium")
}

// GroupKeys lists the keys of which a loop has one value, so that they part
// loops into groups.
func GroupKeys() []string {
	var keys []string
	for _, k := range traitKeys() {
		if !k.several {
			keys = append(keys, k.key)
		}
	}
	return keys
}

// has tells whether the case has the trait; known is false where nothing is on
// record about its key.
func (c Case) has(t Trait) (has, known bool) {
	for _, own := range c.Traits {
		if own.Key == t.Key {
			known = true
			has = has || own.Same(t)
		}
	}
	return has, known
}

// value returns the case's value of a key; empty where it has none.
func (c Case) value(key string) string {
	for _, own := range c.Traits {
		if own.Key == key {
			return own.Value
		}
	}
	return ""
}

// traits lists what is on record about the loop and one charge of it. What the
// loop is made of is told as it is on record today, of every charge it had.
func (k Kept) traits(life chargeLife) []Trait {
	m, l, traits := k.Machine, k.Loop, []Trait{}
	add := func(key, value string) {
		if value != "" {
			traits = append(traits, Trait{key, value})
		}
	}
	charge := life.charge
	if charge.Fluid != "" {
		add("fluid", charge.Fluid.Name())
	}
	add("strength", strengthBand(charge))
	for _, a := range charge.Additives {
		add(string(a.Role), a.Family)
	}
	add("product", charge.Product)
	for _, lot := range k.lotsOf(life) {
		add("lot", lot)
	}
	add("machine", string(m.Kind))
	add("maker", m.Maker)
	if m.Maker != "" {
		add("model", strings.TrimSpace(m.Maker+" "+m.Model))
	}
	metals := []string{}
	for _, metal := range l.Metals() {
		add("metal", string(metal))
		metals = append(metals, string(metal))
	}
	slices.Sort(metals)
	add("metals", strings.Join(metals, " and "))
	add("pump", l.PumpPlace)
	add("mounting", l.Mounting)
	add("tubing", l.Tubing.Material)
	return traits
}

// strengthBand sorts a glycol by whether it keeps microbes down: from 25
// volume % on it does (guidance of two fluid makers).
func strengthBand(c loops.Charge) string {
	if !c.Fluid.IsGlycol() || c.Mass == nil {
		return ""
	}
	volume, err := chemistry.VolumeFractionOf(c.Fluid, *c.Mass)
	switch {
	case err != nil:
		return ""
	case volume.Feeds():
		return "below 25 volume %"
	}
	return "25 volume % or more"
}

// lotsOf lists the lots that went into a charge: its own and those of the
// containers it was poured from.
func (k Kept) lotsOf(life chargeLife) []string {
	lots := []string{}
	add := func(lot string) {
		if lot != "" && !slices.Contains(lots, lot) {
			lots = append(lots, lot)
		}
	}
	add(life.charge.Lot)
	for _, pour := range life.poured {
		add(k.Lots[pour.Container])
	}
	return lots
}
