// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package tables holds the published tables that package chemistry computes from: one CSV file a table, each with a
// header that names the source, the units, the range, the stated accuracy and who transcribed it.
//
// All tables are parsed once, at first use, and never change afterwards, so everything here is safe for concurrent use.
// The files are part of the program: a file that cannot be read is a programming mistake and panics. The tests read all
// of them.
package tables

import (
	"embed"
	"errors"
	"io/fs"
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
	MolarMass float64 // g/mol
	Density20 float64 // kg/m³ at 20 °C
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

// Permeability is what is known of a tube material.
type Permeability struct {
	Material, Source, Grade string
	Value                   float64 // g m/(m² s Pa)
}

// WaterLimit is one limit of one use. Min and Max are ±Inf where there is none.
type WaterLimit struct {
	Use, Kind, Title string   // Kind: water that goes in, or coolant in use
	Fluids           []string // for which the set is meant
	Parameter        string   // pH, conductivity µS/cm, hardness mg/l CaCO3, else mg/l
	Min, Max         float64
	Source           string
	Grade            string
}

// Hazard is what registers and data sheets say of a substance. H and P are codes.
type Hazard struct {
	Substance, Signal string
	H, P              []string
	Source, Grade     string
}

// Family is one kind of substance or material on an axis of the compatibility table.
type Family struct {
	Kind, ID string
	Name     string   // as the trade writes it
	Also     []string // other names for it
}

// Cell is what happens where two families meet.
type Cell struct {
	Verdict string // go, care, stop or unknown
	Text    string
	Sources []string // ids of [Source]
	Grade   string
}

// Pair names two families as "kind:id", the lesser text first.
type Pair [2]string

// PairOf returns the pair of two families, whichever way round.
func PairOf(a, b string) Pair {
	if b < a {
		a, b = b, a
	}
	return Pair{a, b}
}

// Accuracy is how far one property may be off, in % of it: k = 2, from 0 °C up and below.
type Accuracy struct {
	Fluid      string
	Inhibited  bool
	Property   string
	Warm, Cold float64
}

// Liquid is a further liquid, known by Melinder's coefficients.
type Liquid struct {
	ID        string
	Low, High float64 // mass fraction for which there is a freeze point
	Hazard    string  // substance of [Set.Hazards]
	Caution   string
	Melinder  Melinder
}

// Source is one line of the ledger: where a figure or a sentence comes from.
type Source struct {
	ID, Citation, Where, ReadBy string
	Standing                    string // independent, same, read, practice or recalled
}

// Curve is a printed table of one quantity over another, X rising.
type Curve struct{ X, Y []float64 }

// Set is all tables together.
type Set struct {
	Ethylene, Propylene *Glycol
	Water               *Water
	Brix                *[96]float64 // refractive index at 20 °C of 0, 1, ... 95 degrees Brix, ICUMSA 1974
	SucroseDNDT         *Curve       // temperature coefficient of the index in 1/K that an automatic Brix compensation assumes
	Permeabilities      []Permeability
	WaterLimits         []WaterLimit // those of one use together
	Hazards             map[string]Hazard
	Statements          map[string]string // hazard and precautionary statements by code
	Families            []Family
	Cells               map[Pair]Cell
	Sources             []Source
	Accuracies          []Accuracy
	Liquids             []Liquid
}

// Load reads a set of tables from files. It is for checks that hold altered copies against the sources; the program's own are
// [All].
func Load(files fs.FS) (set *Set, err error) {
	defer func() {
		switch bad := recover().(type) {
		case nil:
		case unreadable:
			err = errors.New("tables: " + string(bad))
		default:
			panic(bad)
		}
	}()
	d := reader{files}
	return &Set{
		Ethylene: d.glycol("eg"), Propylene: d.glycol("pg"), Water: d.water(), Brix: d.brix(), SucroseDNDT: d.sucrose(),
		Permeabilities: d.permeabilities(), WaterLimits: d.waterLimits(), Hazards: d.hazards(), Statements: d.statements(),
		Families: d.families(), Cells: d.cells(), Sources: d.sources(), Accuracies: d.accuracies(), Liquids: d.liquids(),
	}, nil
}

var all = sync.OnceValue(func() *Set {
	set, err := Load(files)
	if err != nil {
		panic(err)
	}
	return set
})

// All returns the tables the program computes from. They are shared: do not change them.
func All() *Set { return all() }

// Ethylene returns the tables of ethylene glycol in water.
func Ethylene() *Glycol { return all().Ethylene }

// Propylene returns the tables of propylene glycol in water.
func Propylene() *Glycol { return all().Propylene }

// LiquidWater returns the coefficients for water.
func LiquidWater() *Water { return all().Water }
