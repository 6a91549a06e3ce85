// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Loops is the record of how a loop is built. What happened to it is recorded
// by acts.
func Loops() Record[loops.Loop] {
	type l = loops.Loop
	return Record[l]{Name: "loop", all: fields[l]{
		one(Field{Name: "machine", Also: []string{"machine"}, Label: "machine", Help: "number of the machine it is in", Needed: true, Fixed: true}, number[loops.MachineID]("NUMBER"), func(r *l) *loops.MachineID { return &r.Machine }),
		one(Field{Name: "name", Also: []string{"loop name"}, Label: "name", Help: "tells the loops of one machine apart", None: true}, words(), func(r *l) *string { return &r.Name }),
		looked(either(Field{Name: "sealed", Label: "sealed", Help: "no fill port, so that nothing can get out when the liquid expands", Judges: true}, func(r *l) *bool { return &r.Sealed })),
		one(Field{Name: "built-known", Also: []string{"built known", "built known by", "built known on"}, Label: "its build is", Help: "how it is known how it is built (seen unless said); not known is taken for sealed", Example: `"label=the maker's sheet"`, Judges: true}, known(), func(r *l) *loops.Known { return &r.BuiltKnown }),
		one(Field{Name: "holds", Also: []string{"volume"}, Label: "holds", Help: "how much liquid the loop holds", Example: "480ml", Unknown: true, Judges: true}, volume(), func(r *l) *chemistry.Litre { return &r.Volume }),
		one(Field{Name: "holds-uncertainty", Also: []string{"volume uncertainty"}, Label: "±", Help: "how sure that is (k = 2)", Example: "20ml", Judges: true}, volume(), func(r *l) *chemistry.Litre { return &r.VolumeUncertainty }),
		one(Field{Name: "holds-known", Key: "volume_known", Also: []string{"volume known", "volume known by", "volume known on"}, Label: "which is", Help: "how the volume is known (measured unless said)", Example: `"label=the maker's sheet"`}, known(), func(r *l) *loops.Known { return &r.VolumeKnown }),
		many(Field{Name: "wetted", Also: []string{"wetted", "wetted part", "metal", "plating"}, Label: "wetted", Help: "a material the liquid touches, with its plating; repeat", Example: `"cold plate:copper/nickel"`, None: true, Judges: true}, wettedPart(), func(r *l) *[]loops.WettedPart { return &r.Wetted }),
		materials(Field{Label: "seals and plastics", Help: "a seal or plastic that the liquid wets, none where there are none; repeat", Unknown: true, Judges: true}, func(r *l) *[]chemistry.Material { return &r.Materials }),
		one(Field{Name: "tubing", Also: []string{"tubing"}, Label: "tubing", Help: "tubing material"}, words(), func(r *l) *string { return &r.Tubing.Material }),
		one(Field{Name: "bore", Also: []string{"bore"}, Label: "bore", Help: "inner diameter of the tubing", Example: "10mm"}, length(), func(r *l) *float64 { return &r.Tubing.BoreMM }),
		one(Field{Name: "outer", Also: []string{"outer diameter"}, Label: "outer", Help: "outer diameter of the tubing", Example: "13mm"}, length(), func(r *l) *float64 { return &r.Tubing.OuterMM }),
		one(Field{Name: "tube-length", Also: []string{"tube length"}, Label: "tube length", Help: "all the tubing together", Example: "700mm"}, length(), func(r *l) *float64 { return &r.Tubing.LengthMM }),
		one(Field{Name: "pump-place", Also: []string{"pump place"}, Label: "pump", Help: "where the pump sits"}, words(), func(r *l) *string { return &r.PumpPlace }),
		one(Field{Name: "mounting", Also: []string{"mounting"}, Label: "mounting", Help: "how the radiator is mounted"}, words(), func(r *l) *string { return &r.Mounting }),
		one(Field{Name: "radiator-size", Also: []string{"radiator size"}, Label: "radiator", Help: "size of the radiator", Example: "280mm"}, length(), func(r *l) *float64 { return &r.RadiatorSizeMM }),
		may(Field{Name: "wall", Key: "coldest_wall", Also: []string{"coldest wall"}, Label: "coldest wall", Help: "coldest wetted wall in use, storage or transport", Example: "-10C", Unknown: true, None: true, Judges: true}, temperature(), func(r *l) **chemistry.Celsius { return &r.ColdestWall }),
		one(Field{Name: "wall-known", Key: "coldest_wall_known", Also: []string{"coldest wall known", "coldest wall known by", "coldest wall known on"}, Label: "which is", Help: "how the coldest wall is known (measured unless said)", Example: `"owner says=a heated hall"`}, known(), func(r *l) *loops.Known { return &r.ColdestWallKnown }),
		may(Field{Name: "set-point", Also: []string{"set point"}, Label: "set point", Help: "a chiller's set point", Example: "18C", None: true, Judges: true}, temperature(), func(r *l) **chemistry.Celsius { return &r.SetPoint }),
		may(Field{Name: "evaporator-margin", Also: []string{"evaporator margin"}, Label: "evaporator margin", Help: "how far the maker lets the evaporator fall below the set point", Example: "6K", None: true, Judges: true}, difference(), func(r *l) **chemistry.CelsiusDelta { return &r.EvaporatorMargin }),
		may(Field{Name: "hottest", Also: []string{"hottest coolant"}, Label: "hottest coolant", Help: "highest coolant temperature (default 60C)", Example: "55C", None: true, Judges: true}, temperature(), func(r *l) **chemistry.Celsius { return &r.Hottest }),
		either(Field{Name: "no-frost", Key: "nothing_can_freeze", Label: "nothing can freeze", Help: "nothing in it can freeze, in use, storage or transport", Judges: true}, func(r *l) *bool { return &r.NoFrost }),
		may(Field{Name: "reach", Key: "animals_or_children_reach", Label: "within reach of animals or children", Help: "animals or children reach the loop; unknown unless said", Unknown: true, Judges: true}, truth(), func(r *l) **bool { return &r.Reach }),
	}}
}

// looked is the field that says whether a loop is sealed: whoever says so has
// looked at it.
func looked(f field[loops.Loop]) field[loops.Loop] {
	set := f.set
	f.set = func(l *loops.Loop, texts []string) error {
		if !f.blank(texts) && l.BuiltKnown.How == loops.NotKnown {
			l.BuiltKnown = loops.Known{}
		}
		return set(l, texts)
	}
	return f
}

// ByHand says of the figures that somebody typed that they are measured, unless
// how they are known was said with them. Was is the loop before; zero for a new
// one.
func ByHand(was, is loops.Loop, today loops.Day) loops.Loop {
	known := func(same, there bool, was loops.Known, is *loops.Known) {
		switch {
		case !there:
			*is = loops.Known{}
		case !same && *is == was:
			*is = loops.Known{How: loops.Measured, On: today}
		}
	}
	known(was.Volume == is.Volume, is.Volume != 0, was.VolumeKnown, &is.VolumeKnown)
	same := was.Sealed == is.Sealed && slices.Equal(was.Wetted, is.Wetted)
	if !same && was.ID != 0 && is.BuiltKnown == was.BuiltKnown {
		is.BuiltKnown = loops.Known{} // seen, where it was taken for something before
	}
	wall := was.ColdestWall != nil && is.ColdestWall != nil && *was.ColdestWall == *is.ColdestWall
	known(wall, is.ColdestWall != nil, was.ColdestWallKnown, &is.ColdestWallKnown)
	return is
}

// Again is what a form says that was sent before: where the loop on record holds
// its figures, and the first time made them known by hand as [ByHand] does, the
// form does not take that back.
func Again(now, says loops.Loop, today loops.Day) loops.Loop {
	var before loops.Loop // of which the form said nothing but how they were known
	before.VolumeKnown, before.ColdestWallKnown = says.VolumeKnown, says.ColdestWallKnown
	made := ByHand(before, says, today)
	if now.Volume == says.Volume && now.VolumeKnown == made.VolumeKnown {
		says.VolumeKnown = now.VolumeKnown
	}
	wall := now.ColdestWall != nil && says.ColdestWall != nil && *now.ColdestWall == *says.ColdestWall
	if wall && now.ColdestWallKnown == made.ColdestWallKnown {
		says.ColdestWallKnown = now.ColdestWallKnown
	}
	return says
}

// BuiltLike is the construction of a loop that is said to be built like another:
// assumed, and where it stands unsaid, as [loops.Construction.AsIn] has it.
func BuiltLike(other loops.Loop) loops.Construction {
	built := other.AsIn(other.Tag)
	by := "as in " + string(other.Tag) // which need not be the last of its model
	built.BuiltKnown.By = by
	if built.VolumeKnown.How != "" {
		built.VolumeKnown.By = by
	}
	if other.BuiltKnown.How == loops.NotKnown {
		built.BuiltKnown = other.BuiltKnown
	}
	return built
}

// JudgeCharge returns what chemistry says of the charge in a loop as it is
// built. It is asked when a record is put right: what is true is written
// whatever follows from it. An empty loop has no reasons.
func JudgeCharge(s Snapshot) []Reason {
	charge := s.Loop.State.Charge
	if charge == nil {
		return nil
	}
	inside := *charge
	inside.Volume = s.Loop.State.Held()
	found, err := chemistry.CheckFill(chemistry.FillRequest{
		Contents: charge.Contents(), Metals: s.Loop.Metals(), Materials: s.Loop.Materials, WithinReach: s.Loop.WithinReach(), Loop: s.filled(inside),
	})
	if err != nil {
		return []Reason{byRecord("charge-unknown", chemistry.Care,
			"what is in the loop is not known well enough to say whether it suits it: "+err.Error(),
			"Measure it, or drain and fill the loop.")}
	}
	return chemistry.WorstFirst(found)
}

// materials is the field for seals and plastics.
func materials[A any](f Field, at func(*A) *[]chemistry.Material) field[A] {
	f.Name, f.Also = "material", []string{"materials"}
	return many(f, spelt("MATERIAL", append(chemistry.Materials(), chemistry.NoMaterial), chemistry.ParseMaterial), at)
}

func length() kind[float64] {
	k := plain("LENGTH", "mm")
	k.parse = ParseMillimetres
	return k
}

// ParseMillimetres reads a length as a ruler or a shop gives it, 13mm, 1.3cm or
// 2.4m, and returns it in mm.
func ParseMillimetres(text string) (float64, error) {
	for _, u := range []struct {
		name string
		mm   float64
	}{{"mm", 1}, {"cm", 10}, {"m", 1000}} {
		bare, said := strings.CutSuffix(strings.TrimSpace(text), u.name)
		if !said {
			continue
		}
		if v, err := ParseNumber(bare, ""); err == nil {
			return v * u.mm, nil
		}
		break
	}
	return 0, wrong("", text, "a length with its unit, such as 13mm, 1.3cm or 2.4m")
}

// how is a way in which a value is known, shown in the one word for it.
func how() kind[loops.How] {
	k := choice("HOW", loops.Hows())
	k.show = loops.How.Word
	return k
}

// known reads HOW, HOW=BY and, behind an @, the day: "measured=jug@2026-03-14".
func known() kind[loops.Known] {
	ways := how()
	say := func(k loops.Known, text string) string {
		if k.By != "" {
			text += "=" + k.By
		}
		if !k.On.IsZero() {
			text += "@" + k.On.String()
		}
		return text
	}
	return kind[loops.Known]{
		word: "HOW[=BY][@DAY]", typ: Text, choices: ways.choices,
		print: func(k loops.Known) string { return say(k, string(k.How)) },
		show:  func(k loops.Known) string { return say(k, k.How.Word()) },
		parse: func(text string) (k loops.Known, err error) {
			if at := strings.LastIndexByte(text, '@'); at > 0 {
				if k.On, err = loops.ParseDay(text[at+1:]); err != nil {
					return k, err
				}
				text = text[:at]
			}
			word, by, _ := strings.Cut(text, "=")
			k.By = strings.TrimSpace(by)
			k.How, err = ways.parse(word)
			return k, err
		},
	}
}

// wettedPart reads "cold plate:copper" or "cold plate:copper/nickel", the
// plating behind the slash.
func wettedPart() kind[loops.WettedPart] {
	print := func(w loops.WettedPart) string {
		text := w.Part + ":" + string(w.Metal)
		if w.Plating != "" {
			text += "/" + string(w.Plating)
		}
		return text
	}
	return kind[loops.WettedPart]{word: "PART:METAL[/PLATING]", typ: Text, parse: parseWettedPart, print: print, show: print}
}

func parseWettedPart(text string) (loops.WettedPart, error) {
	part, metals, ok := strings.Cut(text, ":")
	if !ok {
		return loops.WettedPart{}, wrong("", text, `part:metal or part:metal/plating, such as "cold plate:copper/nickel"`)
	}
	base, plating, plated := strings.Cut(metals, "/")
	wetted := loops.WettedPart{Part: strings.TrimSpace(part)}
	var err error
	if wetted.Metal, err = chemistry.ParseMetal(base); err != nil {
		return wetted, err
	}
	if plated {
		wetted.Plating, err = chemistry.ParseMetal(plating)
	}
	return wetted, err
}
