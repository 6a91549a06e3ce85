// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"strings"
)

// Words says how a loop is built, one phrase for each thing that is on
// record: what makes it known again years later.
func (c Construction) Words() []string {
	holds := "holds " + c.Volume.String()
	if c.VolumeUncertainty > 0 {
		holds += " ± " + c.VolumeUncertainty.String()
	}
	holds += c.VolumeKnown.Mark()
	if c.Volume == 0 {
		holds = "what it holds is not known"
	}
	words := []string{map[bool]string{true: "sealed", false: "open"}[c.Sealed], holds}
	for _, w := range c.Wetted {
		part := w.Part + " " + string(w.Metal)
		if w.Plating != "" {
			part += " plated with " + string(w.Plating)
		}
		words = append(words, part)
	}
	add := func(prefix, text string) {
		if text != "" {
			words = append(words, prefix+text)
		}
	}
	add("radiator size ", millimetres(c.RadiatorSizeMM))
	add("tubing ", tubingWords(c.Tubing))
	add("pump ", c.PumpPlace)
	add("mounted: ", c.Mounting)
	switch {
	case c.NoFrost:
		words = append(words, "nothing in it can freeze")
	case c.ColdestWall != nil:
		add("coldest wall ", c.ColdestWall.String()+c.ColdestWallKnown.Mark())
	default:
		words = append(words, "coldest wall not known")
	}
	if c.SetPoint != nil {
		add("set point ", c.SetPoint.String())
	}
	if c.EvaporatorMargin != nil {
		add("evaporator margin ", c.EvaporatorMargin.String())
	}
	if c.Hottest != nil {
		add("coolant up to ", c.Hottest.String())
	}
	if c.Reach != nil && *c.Reach {
		words = append(words, "animals or children reach it")
	}
	return words
}

func tubingWords(t Tubing) string {
	var words []string
	for _, w := range []struct{ before, text, after string }{
		{"", t.Material, ""}, {"bore ", millimetres(t.BoreMM), ""}, {"outside ", millimetres(t.OuterMM), ""}, {"", millimetres(t.LengthMM), " long"},
	} {
		if w.text != "" {
			words = append(words, w.before+w.text+w.after)
		}
	}
	return strings.Join(words, ", ")
}

func millimetres(v float64) string {
	if v == 0 {
		return ""
	}
	return fmt.Sprintf("%g mm", v)
}
