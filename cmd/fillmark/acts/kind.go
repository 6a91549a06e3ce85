// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// kind is a kind of value: how it is typed, told and shown.
type kind[V any] struct {
	word    string
	unit    string
	typ     Type
	choices []string
	parse   func(string) (V, error)
	print   func(V) string // parse reads it back
	show    func(V) string
}

// describe completes a field with what follows from its kind.
func (k kind[V]) describe(f Field) Field {
	f.Word, f.Unit, f.Type, f.Choices = k.word, k.unit, k.typ, k.choices
	for _, text := range k.choices {
		if v, err := k.parse(text); err == nil {
			text = k.show(v)
		}
		f.Shown = append(f.Shown, text)
	}
	return f
}

// single reads a field that is said once.
func (k kind[V]) single(f Field, texts []string) (V, error) {
	var zero V
	switch {
	case f.blank(texts):
		return zero, nil
	case len(texts) > 1:
		return zero, wrong(f.Name, strings.Join(texts, ", "), "one value")
	}
	v, err := k.parse(texts[0])
	if err != nil {
		return zero, inField(err, f.Name, texts[0])
	}
	return v, nil
}

// yes and no are how a truth is said.
const (
	yes = "yes"
	no  = "no"
)

func truth() kind[bool] {
	print := func(v bool) string {
		if v {
			return yes
		}
		return no
	}
	return kind[bool]{typ: Truth, choices: []string{yes, no}, parse: ParseTruth, print: print, show: print}
}

// ParseTruth reads a yes or a no.
func ParseTruth(text string) (bool, error) {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case yes, "true", "1", "on":
		return true, nil
	case no, "false", "0":
		return false, nil
	}
	return false, wrong("", text, "yes or no")
}

func same(s string) string { return s }

func words() kind[string] {
	return kind[string]{word: "TEXT", typ: Text, parse: func(s string) (string, error) { return strings.TrimSpace(s), nil }, print: same, show: quoted}
}

func lines() kind[string] {
	k := words()
	k.typ = Lines
	return k
}

func quoted(s string) string { return "“" + s + "”" }

func day() kind[loops.Day] {
	return kind[loops.Day]{word: "DAY", typ: Date, parse: loops.ParseDay, print: loops.Day.String, show: loops.Day.Long}
}

// quantity is a kind of number with a unit: scale turns what is kept into what
// is typed, 1000 for litres kept and millilitres typed.
func quantity[V ~float64](word, unit string, scale float64, parse func(string) (V, error), show func(V) string) kind[V] {
	return kind[V]{
		word: word, unit: unit, typ: Number, parse: parse, show: show,
		print: func(v V) string {
			text := figure(float64(v)*scale) + unit
			// Scaling rounds, so that the number itself or its neighbour reads back.
			exact := float64(v) * scale
			for _, x := range []float64{exact, math.Nextafter(exact, 0), math.Nextafter(exact, 2*exact)} {
				if back, err := parse(text); err == nil && back == v {
					break
				}
				text = strconv.FormatFloat(x, 'g', -1, 64) + unit
			}
			return text
		},
	}
}

// figure writes a number with all the digits that a measurement can have.
func figure(v float64) string { return strconv.FormatFloat(v, 'g', 12, 64) }

func volume() kind[chemistry.Litre] {
	return quantity("VOLUME", "ml", 1000, chemistry.ParseLitre, chemistry.Litre.String)
}

func mass() kind[chemistry.Kilogram] {
	return quantity("MASS", "g", 1000, chemistry.ParseKilogram, chemistry.Kilogram.String)
}

func temperature() kind[chemistry.Celsius] {
	return quantity("TEMPERATURE", "C", 1, chemistry.ParseCelsius, chemistry.Celsius.String)
}

func difference() kind[chemistry.CelsiusDelta] {
	return quantity("DIFFERENCE", "K", 1, chemistry.ParseCelsiusDelta, chemistry.CelsiusDelta.String)
}

func massPercent() kind[chemistry.MassFraction] {
	return quantity("PERCENT", "%", 100, chemistry.ParseMassPercent, chemistry.MassFraction.String)
}

func volumePercent() kind[chemistry.VolumeFraction] {
	return quantity("PERCENT", "%", 100, chemistry.ParseVolumePercent, chemistry.VolumeFraction.String)
}

// plain is a number whose unit has no type of its own: watts, hours.
func plain(word, unit string) kind[float64] {
	return quantity(word, unit, 1, func(text string) (float64, error) { return ParseNumber(text, unit) },
		func(v float64) string { return strings.TrimSpace(figure(v) + "\u00a0" + unit) })
}

// dose is a kind of value: what a label asks for, in ml of product per litre of
// coolant.
func dose() kind[float64] {
	k := plain("DOSE", "ml/l")
	k.parse = parseDose
	return k
}

// parseDose reads 2ml/l or 0.2vol%.
func parseDose(text string) (float64, error) {
	said := strings.ToLower(text)
	switch {
	case strings.Contains(said, "vol"):
		v, err := chemistry.ParseVolumePercent(said)
		return 1000 * float64(v), err
	case strings.ContainsAny(said, "%–") || strings.Contains(said, "ppm") || strings.Contains(said, "-") && !strings.Contains(said, "e-"):
		return 0, wrong("", text, "one figure by volume, such as 2ml/l or 0.2vol%: of a range the one that is dosed, and % or ppm may count by mass")
	}
	return ParseNumber(text, "ml/l")
}

// ParseNumber reads a number as [chemistry.ParseNumber] does, with its unit or
// without. Watts, hours, millimetres and percent need theirs: a bare figure could
// be meant in another.
func ParseNumber(text, unit string) (float64, error) {
	text = strings.TrimSpace(strings.ReplaceAll(text, "\u00a0", ""))
	bare, said := strings.CutSuffix(text, unit)
	if !said && slices.Contains([]string{"W", "h", "mm", "%"}, unit) {
		return 0, wrong("", text, "a number with its unit, such as 40"+unit)
	}
	v, err := chemistry.ParseNumber(bare)
	if err != nil {
		return 0, wrong("", text, "a number, such as 40"+unit+", with nothing between thousands")
	}
	return v, nil
}

// whole is a whole number with a unit.
func whole(word, unit string) kind[int] {
	return kind[int]{
		word: word, unit: unit, typ: Number, print: func(v int) string { return strconv.Itoa(v) + unit },
		show: func(v int) string { return strconv.Itoa(v) + "\u00a0" + unit },
		parse: func(text string) (int, error) {
			v, err := strconv.Atoi(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(text), unit)))
			if err != nil {
				return 0, wrong("", text, "a whole number, such as 12")
			}
			return v, nil
		},
	}
}

// number is a record's number.
func number[V ~uint64](word string) kind[V] {
	print := func(v V) string { return strconv.FormatUint(uint64(v), 10) }
	return kind[V]{
		word: word, typ: Number, print: print, show: print,
		parse: func(text string) (V, error) {
			v, err := strconv.ParseUint(strings.TrimSpace(text), 10, 64)
			if err != nil || v == 0 {
				return 0, wrong("", text, "a number as the register gave it, such as 3")
			}
			return V(v), nil
		},
	}
}

// choice is one of a list of words.
func choice[V ~string](word string, allowed []V) kind[V] {
	k := kind[V]{word: word, typ: Text, print: func(v V) string { return string(v) }, show: func(v V) string { return string(v) }}
	for _, v := range allowed {
		if v != "" {
			k.choices = append(k.choices, string(v))
		}
	}
	k.parse = func(text string) (V, error) {
		for _, v := range allowed {
			if strings.EqualFold(string(v), strings.TrimSpace(text)) {
				return v, nil
			}
		}
		return "", wrong("", text, "one of: "+strings.Join(k.choices, ", "))
	}
	return k
}

// Texts are the words of a fixed vocabulary.
func Texts[V ~string](all []V) []string {
	words := make([]string, len(all))
	for i, v := range all {
		words[i] = string(v)
	}
	return words
}

// Listed writes them in a line.
func Listed[V ~string](all []V) string { return strings.Join(Texts(all), ", ") }

// named is a string that has a name as the trade writes it.
type named interface {
	~string
	Name() string
}

// spelt is a choice that chemistry reads in the spellings people use, and writes as
// the trade does.
func spelt[V named](word string, all []V, parse func(string) (V, error)) kind[V] {
	k := choice(word, all)
	k.parse, k.show = parse, V.Name
	return k
}

// fluid is a fluid that is put into loops.
func fluid() kind[chemistry.Fluid] { return fluidOf(chemistry.Fluids(), chemistry.ParseFluid) }

// anyFluid is also one that turns up in loops and should not.
func anyFluid() kind[chemistry.Fluid] {
	return fluidOf(append(chemistry.Fluids(), chemistry.OtherLiquids()...), chemistry.ParseAnyFluid)
}

func fluidOf(all []chemistry.Fluid, parse func(string) (chemistry.Fluid, error)) kind[chemistry.Fluid] {
	return spelt("FLUID", all, parse)
}
