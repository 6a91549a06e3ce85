// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package tables holds the published tables that package chemistry computes from: one CSV file a table, each with a
// header that names the source, the units, the range, the stated accuracy and who transcribed it.
//
// A table is parsed once, at first use, and never changes afterwards, so everything here is safe for concurrent use.
// The files are part of the program: a file that cannot be read is a programming mistake and panics. The tests read all
// of them.
package tables

import (
	"cmp"
	"embed"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
)

//go:embed *.csv
var files embed.FS

// Percents is the number of rows of a table that gives one value for each whole mass percent from 0 to 60.
const Percents = 61

// Glycol holds the tables of one glycol in water.
type Glycol struct {
	Melinder Melinder
	// FreezeC and BoilC are ASHRAE's freeze and boiling points in °C at 0, 1, ... 60 mass %. Rows that ASHRAE does not
	// print lie on the straight line between printed ones.
	FreezeC, BoilC [Percents]float64
	// PrintedVolume is the volume percent that ASHRAE prints beside each mass percent. It is not the volume before mixing;
	// it serves to compare with that table.
	PrintedVolume [Percents]float64
	// ND20 are the coefficients of the refractive index at 20 °C in powers of the mass fraction.
	ND20 [5]float64
	// DNDT are the coefficients of dn/dT in 1/K in powers of the mass fraction.
	DNDT [3]float64
	Pure Pure
}

// Melinder holds the coefficients of Melinder 2010: c[i][j] belongs to (T − t0)^i (x − x0)^j, T in °C, x mass fraction.
type Melinder struct {
	BaseTemperature, BaseFraction float64
	// Density is in kg/m³, SpecificHeat in J/(kg K), Conductivity in W/(m K), LogViscosity the logarithm of Pa s.
	Density, SpecificHeat, Conductivity, LogViscosity [4][6]float64
	// FreezePoint is in kelvin and has no temperature terms.
	FreezePoint [6]float64
}

// Pure holds what is known of the undiluted glycol.
type Pure struct {
	CAS       string
	MolarMass float64 // g/mol
	Density20 float64 // kg/m³ at 20 °C
	ND20      float64 // refractive index at 20 °C
	BoilC     float64 // boiling point, °C
	FlashC    float64 // flash point, °C
}

// Water holds the coefficients for liquid water at atmospheric pressure.
type Water struct {
	Kell  [6]float64 // density kg/m³, numerator in powers of t in °C
	KellB float64    // density, slope of the denominator
	// Viscosity in Pa s and Conductivity in W/(m K) at 0, 1, ... 100 °C, worked out once from the IAPWS equations: the straight
	// line between two degrees is off by less than 0.03 %.
	Viscosity, Conductivity [101]float64
	// Index is the refractive index nD relative to air at 0, 1, ... 40 °C.
	Index        [41]float64
	SpecificHeat [11]float64 // J/(kg K) at 0, 10, ... 100 °C
}

// Ethylene returns the tables of ethylene glycol in water.
func Ethylene() *Glycol { return ethylene() }

// Propylene returns the tables of propylene glycol in water.
func Propylene() *Glycol { return propylene() }

// LiquidWater returns the coefficients for water.
func LiquidWater() *Water { return water() }

// Brix returns the refractive index at 20 °C of 0, 1, ... 95 degrees Brix after ICUMSA 1974.
func Brix() *[96]float64 { return brix() }

// SucroseDNDT returns the temperature coefficient of the index in 1/K that an automatic Brix compensation assumes.
func SucroseDNDT() *Curve { return sucrose() }

// Permeability is what is known of a tube material.
type Permeability struct {
	Material, Source, Grade string
	Value                   float64 // g m/(m² s Pa)
}

// Permeabilities returns the tube materials, the tightest first. The slice is shared: do not change it.
func Permeabilities() []Permeability { return permeabilities() }

// WaterLimit is one limit of one use. Min and Max are ±Inf where there is none.
type WaterLimit struct {
	Use, Kind, Title string   // Kind: water that goes in, or coolant in use
	Fluids           []string // for which the set is meant
	Parameter        string   // pH, conductivity µS/cm, hardness mg/l CaCO3, else mg/l
	Min, Max         float64
	Source           string
	Grade            string
}

// WaterLimits returns all limits, those of one use together. The slice is shared: do not change it.
func WaterLimits() []WaterLimit { return waterLimits() }

// Hazard is what registers and data sheets say of a substance. H and P are codes.
type Hazard struct {
	Substance, CAS, Signal string
	H, P                   []string
	Source, Grade          string
}

// Hazards returns the hazards by substance. The map is shared: do not change it.
func Hazards() map[string]Hazard { return hazards() }

// Statements returns the texts of hazard and precautionary statements by code. The map is shared: do not change it.
func Statements() map[string]string { return statements() }

// Curve is a printed table of one quantity over another, X rising.
type Curve struct{ X, Y []float64 }

var (
	ethylene  = sync.OnceValue(func() *Glycol { return readGlycol("eg") })
	propylene = sync.OnceValue(func() *Glycol { return readGlycol("pg") })
	water     = sync.OnceValue(readWater)
	brix      = sync.OnceValue(readBrix)
	sucrose   = sync.OnceValue(readSucrose)

	permeabilities = sync.OnceValue(readPermeabilities)
	waterLimits    = sync.OnceValue(readWaterLimits)
	hazards        = sync.OnceValue(readHazards)
	statements     = sync.OnceValue(readStatements)
)

func readGlycol(fluid string) *Glycol {
	g := &Glycol{Melinder: readMelinder(fluid)}
	readASHRAE(fluid, g)
	values := readCoefficients("refraction.csv", fluid)
	for i := range g.ND20 {
		g.ND20[i] = values["nd20_"+strconv.Itoa(i)] // a shorter polynomial has no high rows: zero
	}
	for i := range g.DNDT {
		g.DNDT[i] = need(values, "dndt_"+strconv.Itoa(i))
	}
	for _, r := range read("pure.csv") {
		if r[0] == fluid {
			g.Pure = Pure{r[1], number(r[2]), number(r[3]), number(r[4]), number(r[5]), number(r[6])}
		}
	}
	return g
}

func readMelinder(fluid string) Melinder {
	var m Melinder
	for _, r := range read("melinder2010.csv") {
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
			panic("tables: melinder2010.csv: unknown quantity " + r[1])
		}
	}
	return m
}

// readASHRAE spreads the printed rows (every 5 mass % below 20, then every 1) over whole percents.
func readASHRAE(fluid string, g *Glycol) {
	last := -1
	for _, r := range read("ashrae_freeze_boil.csv") {
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
		panic("tables: ashrae_freeze_boil.csv: rows of " + fluid + " do not end at 60")
	}
}

func readWater() *Water {
	values := readCoefficients("water.csv", "")
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

func readBrix() *[96]float64 {
	var nd [96]float64
	for i, r := range read("icumsa1974.csv") {
		nd[i] = number(r[1])
	}
	return &nd
}

func readSucrose() *Curve {
	c := new(Curve)
	for _, r := range read("sucrose_dndt.csv") {
		c.X, c.Y = append(c.X, number(r[0])), append(c.Y, number(r[1]))
	}
	return c
}

func readPermeabilities() []Permeability {
	var out []Permeability
	for _, r := range read("permeability.csv") {
		out = append(out, Permeability{Material: r[0], Value: number(r[1]), Source: r[2], Grade: r[3]})
	}
	slices.SortFunc(out, func(a, b Permeability) int { return cmp.Compare(a.Value, b.Value) })
	return out
}

func readWaterLimits() []WaterLimit {
	end := func(s string, open float64) float64 {
		if s == "" {
			return open
		}
		return number(s)
	}
	var out []WaterLimit
	for _, r := range read("waterlimits.csv") {
		out = append(out, WaterLimit{
			Use: r[0], Kind: r[1], Title: r[2], Fluids: strings.Fields(r[3]), Parameter: r[4],
			Min: end(r[5], math.Inf(-1)), Max: end(r[6], math.Inf(1)), Source: r[7], Grade: r[8],
		})
	}
	return out
}

func readHazards() map[string]Hazard {
	out := make(map[string]Hazard)
	for _, r := range read("hazards.csv") {
		out[r[0]] = Hazard{r[0], r[1], r[2], strings.Fields(r[3]), strings.Fields(r[4]), r[5], r[6]}
	}
	return out
}

func readStatements() map[string]string {
	out := make(map[string]string)
	for _, r := range read("statements.csv") {
		out[r[0]] = r[1]
	}
	return out
}

// readCoefficients reads a file of name, value rows; with a fluid, of fluid, name, value rows.
func readCoefficients(file, fluid string) map[string]float64 {
	values := make(map[string]float64)
	for _, r := range read(file) {
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

// read returns the rows of a table without comments and heading.
func read(file string) [][]string {
	f, err := files.Open(file)
	if err != nil {
		panic(fmt.Sprintf("tables: %v", err))
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		panic(fmt.Sprintf("tables: %s: %d rows, error %v", file, len(rows), err))
	}
	return rows[1:]
}

func number(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic("tables: " + err.Error())
	}
	return v
}

func need(values map[string]float64, name string) float64 {
	v, ok := values[name]
	if !ok {
		panic("tables: no row " + name)
	}
	return v
}
