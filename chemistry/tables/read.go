// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package tables

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strconv"
	"strings"
)

// reader reads the tables of one folder.
type reader struct{ files fs.FS }

// unreadable says why a table cannot be read. Readers panic with it, and [Load] returns it as an error.
type unreadable string

func (d reader) glycol(fluid string) *Glycol {
	g := &Glycol{Melinder: d.melinder("melinder2010.csv", fluid)}
	d.ashrae(fluid, g)
	values := d.coefficients("refraction.csv", fluid)
	for i := range g.ND20 {
		g.ND20[i] = values["nd20_"+strconv.Itoa(i)] // a shorter polynomial has no high rows: zero
	}
	for i := range g.DNDT {
		g.DNDT[i] = need(values, "dndt_"+strconv.Itoa(i))
	}
	for _, r := range d.read("pure.csv") {
		if r[0] == fluid {
			g.Pure = Pure{number(r[1]), number(r[2])}
		}
	}
	return g
}

func (d reader) melinder(file, fluid string) Melinder {
	var m Melinder
	for _, r := range d.read(file) {
		if r[0] != fluid {
			continue
		}
		i, j, c := int(number(r[2])), int(number(r[3])), number(r[4])
		switch r[1] {
		case "base_temperature":
			m.BaseTemperature = c
		case "base_fraction":
			m.BaseFraction = c
		case "density":
			m.Density[i][j] = c
		case "specific_heat":
			m.SpecificHeat[i][j] = c
		case "conductivity":
			m.Conductivity[i][j] = c
		case "viscosity":
			m.LogViscosity[i][j] = c
		case "freeze_point":
			m.FreezePoint[j] = c
		default:
			panic(unreadable(file + ": unknown quantity " + r[1]))
		}
	}
	return m
}

// readASHRAE spreads the printed rows (every 5 mass % below 20, then every 1) over whole percents.
func (d reader) ashrae(fluid string, g *Glycol) {
	last := -1
	for _, r := range d.read("ashrae_freeze_boil.csv") {
		if r[0] != fluid {
			continue
		}
		at, volume, freeze, boil := int(number(r[1])), number(r[2]), number(r[3]), number(r[4])
		for i := last + 1; i < at; i++ {
			share := float64(i-last) / float64(at-last)
			g.FreezeC[i] = g.FreezeC[last] + share*(freeze-g.FreezeC[last])
			g.BoilC[i] = g.BoilC[last] + share*(boil-g.BoilC[last])
			g.PrintedVolume[i] = g.PrintedVolume[last] + share*(volume-g.PrintedVolume[last])
		}
		g.FreezeC[at], g.BoilC[at], g.PrintedVolume[at] = freeze, boil, volume
		last = at
	}
	if last != Percents-1 {
		panic(unreadable("ashrae_freeze_boil.csv: rows of " + fluid + " do not end at 60"))
	}
}

func (d reader) water() *Water {
	values := d.coefficients("water.csv", "")
	w := &Water{KellB: need(values, "kell_b")}
	for i := range w.Kell {
		w.Kell[i] = need(values, "kell_"+strconv.Itoa(i))
	}
	for t := range w.Viscosity {
		w.Viscosity[t] = 1e-6 * powers(values, "viscosity", t)
		w.Conductivity[t] = powers(values, "conductivity", t)
	}
	for t := range w.Index {
		w.Index[t] = index(values, w.Density(float64(t)), t)
	}
	for i := range w.SpecificHeat {
		w.SpecificHeat[i] = need(values, "specific_heat_"+strconv.Itoa(10*i))
	}
	return w
}

// Density returns the density in kg/m³ after Kell, t in °C from 0 to 100.
func (w *Water) Density(t float64) float64 {
	k := &w.Kell
	return (k[0] + t*(k[1]+t*(k[2]+t*(k[3]+t*(k[4]+t*k[5]))))) / (1 + w.KellB*t)
}

// index is nD relative to air after IAPWS 1997, t in °C.
func index(values map[string]float64, density float64, t int) float64 {
	var a [8]float64
	for i := range a {
		a[i] = need(values, "index_a"+strconv.Itoa(i))
	}
	uv, ir := need(values, "index_uv"), need(values, "index_ir")
	const l2 = (0.5893 / 0.589) * (0.5893 / 0.589) // the sodium line over the reference wavelength, squared
	d, h := density/1000, (float64(t)+273.15)/273.15
	r := d * (a[0] + a[1]*d + a[2]*h + a[3]*l2*h + a[4]/l2 + a[5]/(l2-uv*uv) + a[6]/(l2-ir*ir) + a[7]*d*d)
	return math.Sqrt((1+2*r)/(1-r)) / need(values, "index_air")
}

// powers is Σ a (T/300 K)^b, t in °C.
func powers(values map[string]float64, name string, t int) float64 {
	var sum float64
	for i := range 4 {
		n := strconv.Itoa(i)
		sum += need(values, name+"_a"+n) * math.Pow((float64(t)+273.15)/300, need(values, name+"_b"+n))
	}
	return sum
}

func (d reader) brix() *[96]float64 {
	var nd [96]float64
	for i, r := range d.read("icumsa1974.csv") {
		nd[i] = number(r[1])
	}
	return &nd
}

func (d reader) sucrose() *Curve {
	c := new(Curve)
	for _, r := range d.read("sucrose_dndt.csv") {
		c.X, c.Y = append(c.X, number(r[0])), append(c.Y, number(r[1]))
	}
	return c
}

func (d reader) permeabilities() []Permeability {
	out := each(d, "permeability.csv", func(r []string) Permeability {
		return Permeability{Material: r[0], Value: number(r[1]), Source: r[2], Grade: r[3]}
	})
	slices.SortFunc(out, func(a, b Permeability) int { return cmp.Compare(a.Value, b.Value) })
	return out
}

func (d reader) waterLimits() []WaterLimit {
	end := func(s string, open float64) float64 {
		if s == "" {
			return open
		}
		return number(s)
	}
	return each(d, "waterlimits.csv", func(r []string) WaterLimit {
		return WaterLimit{
			Use: r[0], Kind: r[1], Title: r[2], Fluids: strings.Fields(r[3]), Parameter: r[4],
			Min: end(r[5], math.Inf(-1)), Max: end(r[6], math.Inf(1)), Source: r[7], Grade: r[8],
		}
	})
}

func (d reader) hazards() map[string]Hazard {
	out := make(map[string]Hazard)
	for _, r := range d.read("hazards.csv") {
		out[r[0]] = Hazard{r[0], r[2], strings.Fields(r[3]), strings.Fields(r[4]), r[5], r[6]}
	}
	return out
}

func (d reader) statements() map[string]string {
	out := make(map[string]string)
	for _, r := range d.read("statements.csv") {
		out[r[0]] = r[1]
	}
	return out
}

// readCoefficients reads a file of name, value rows; with a fluid, of fluid, name, value rows.
func (d reader) coefficients(file, fluid string) map[string]float64 {
	values := make(map[string]float64)
	for _, r := range d.read(file) {
		if fluid != "" {
			if r[0] != fluid {
				continue
			}
			r = r[1:]
		}
		values[r[0]] = number(r[1])
	}
	return values
}

// each makes something of every row of a table.
func each[T any](d reader, file string, of func(row []string) T) []T {
	var out []T
	for _, r := range d.read(file) {
		out = append(out, of(r))
	}
	return out
}

// read returns the rows of a table without comments and heading.
func (d reader) read(file string) [][]string {
	f, err := d.files.Open(file)
	if err != nil {
		panic(unreadable(fmt.Sprintf("%v", err)))
	}
	defer f.Close()
	c := csv.NewReader(f)
	c.Comment = '#'
	rows, err := c.ReadAll()
	if err != nil || len(rows) < 2 {
		panic(unreadable(fmt.Sprintf("%s: %d rows, error %v", file, len(rows), err)))
	}
	return rows[1:]
}

func number(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic(unreadable(err.Error()))
	}
	return v
}

func need(values map[string]float64, name string) float64 {
	v, ok := values[name]
	if !ok {
		panic(unreadable("no row " + name))
	}
	return v
}

func (d reader) families() []Family {
	return each(d, "families.csv", func(r []string) Family {
		return Family{Kind: r[0], ID: r[1], Name: r[2], Also: split(r[3], ",")}
	})
}

// cells spreads the rows of compat.csv, which name several families on either side, over pairs.
func (d reader) cells() map[Pair]Cell {
	out := make(map[Pair]Cell)
	for _, r := range d.read("compat.csv") {
		for _, a := range names(r[0]) {
			for _, b := range names(r[1]) {
				pair := PairOf(a, b)
				if _, twice := out[pair]; twice {
					panic(unreadable("compat.csv: two cells for " + a + " and " + b))
				}
				out[pair] = Cell{r[2], r[3], strings.Fields(r[4]), r[5]}
			}
		}
	}
	return out
}

// names reads "kind:id id id".
func names(s string) []string {
	kind, ids, _ := strings.Cut(s, ":")
	var out []string
	for id := range strings.FieldsSeq(ids) {
		out = append(out, kind+":"+id)
	}
	return out
}

func (d reader) sources() []Source {
	return each(d, "sources.csv", func(r []string) Source { return Source{r[0], r[1], r[2], r[3], r[4]} })
}

// split is strings.Split without an empty part.
func split(s, by string) []string {
	return slices.DeleteFunc(strings.Split(s, by), func(part string) bool { return part == "" })
}

func (d reader) accuracies() []Accuracy {
	return each(d, "accuracy.csv", func(r []string) Accuracy {
		return Accuracy{r[0], r[1] == "yes", r[2], number(r[3]), number(r[4])}
	})
}

func (d reader) liquids() []Liquid {
	return each(d, "liquids.csv", func(r []string) Liquid {
		return Liquid{r[0], number(r[1]) / 100, number(r[2]) / 100, r[3], r[4], d.melinder("melinder_more.csv", r[0])}
	})
}
