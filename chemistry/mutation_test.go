// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/chemistry/tables"
)

// TestSafetyTexts holds every statement, every substance's signal word and codes, and the figures and words of every task's caution
// against the second transcription in safety_texts.csv, whole words and whole numbers.
func TestSafetyTexts(t *testing.T) {
	t.Parallel()
	for _, wrong := range wrongSafetyTexts(checkRows(t, "safety_texts.csv"), tables.All()) {
		assert.Fail(t, wrong)
	}
	for _, r := range checkRows(t, "safety_texts.csv") {
		if r[0] != "task" {
			continue
		}
		var said strings.Builder
		for _, c := range chemistry.TaskCautions(chemistry.Task(r[1])) {
			said.WriteString(" " + c.Text)
		}
		for words := range strings.SplitSeq(r[2], "|") {
			assert.True(t, holdsWhole(said.String(), words), "%s: %q in %q", r[1], words, said.String())
		}
	}
}

// holdsWhole reports whether text holds the words not as a part of a longer word or number: "10.5 bar" does not hold "0.5 bar".
func holdsWhole(text, words string) bool {
	for at := 0; ; {
		i := strings.Index(text[at:], words)
		if i < 0 {
			return false
		}
		i += at
		before, after := byte(' '), byte(' ')
		if i > 0 {
			before = text[i-1]
		}
		if end := i + len(words); end < len(text) {
			after = text[end]
		}
		part := func(c byte) bool {
			return c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '-'
		}
		if !part(before) && before != '.' && !part(after) {
			return true
		}
		at = i + 1
	}
}

func wrongSafetyTexts(rows [][]string, set *tables.Set) []string {
	var wrong []string
	statements, substances := 0, 0
	for _, r := range rows {
		h := set.Hazards[r[1]]
		switch r[0] {
		case "statement":
			if statements++; set.Statements[r[1]] != r[2] {
				wrong = append(wrong, r[1])
			}
		case "h":
			if substances++; strings.TrimSpace(h.Signal+" "+strings.Join(h.H, " ")) != r[2] || h.Substance != r[1] {
				wrong = append(wrong, r[1])
			}
		case "p":
			if strings.Join(h.P, " ") != r[2] {
				wrong = append(wrong, r[1])
			}
		}
	}
	if statements != len(set.Statements) || substances != len(set.Hazards) {
		wrong = append(wrong, "a statement or substance without a second transcription")
	}
	return wrong
}

// mutants changes each row of a table in turn, in the column that decides something: a number by a twentieth, a verdict or a signal to
// the milder one, a coefficient by its sign, a
// statement by one word. alter returns the new cell, and false where the row has none to change.
var mutants = []struct {
	file   string
	column int
	alter  func(cell string, row []string) (string, bool)
	kills  func(t *testing.T) bool // whether the checks notice
	share  float64                 // least share of mutants that must be killed
}{
	{"statements.csv", 1, milderWord, safetyNoticed, 1},
	{"hazards.csv", 3, dropLast, safetyNoticed, 1},
	{"hazards.csv", 2, milderSignal, safetyNoticed, 1},
	{"ashrae_freeze_boil.csv", 3, number, ashraeNoticed, 0.95},
	{"ashrae_freeze_boil.csv", 4, number, ashraeNoticed, 0.95},
	{"melinder2010.csv", 4, sign, melinderNoticed, 0.95},
	{"water.csv", 1, sign, waterNoticed, 0.93},
	{"refraction.csv", 2, sign, indexNoticed, 0.86},
	{"icumsa1974.csv", 1, number, brixNoticed, 0.95},
	{"waterlimits.csv", 6, number, limitsNoticed, 1},
	{"waterlimits.csv", 5, number, limitsNoticed, 1},
	{"accuracy.csv", 3, half, accuracyNoticed, 0.43},
	{"compat.csv", 2, toGo, compatNoticed, 0.93},
}

// TestMutations: a change to a row of the tables is noticed by a check against a named source. Tables are altered in memory and loaded
// apart; nothing else runs meanwhile, for tests that do not call t.Parallel run before those that do.
func TestMutations(t *testing.T) {
	if testing.Short() {
		t.Skip("about a thousand altered tables: not in short runs")
	}
	own := *tables.All()
	defer func() { *tables.All() = own }()
	all := 0
	noticed := 0
	for _, m := range mutants {
		require.False(t, m.kills(t), "%s: the checks must pass on the tables as they are", m.file)
		killed, made := 0, 0
		var survivors []string
		for at, row := range tableRows(t, m.file) {
			if cell, ok := m.alter(row[m.column], row); ok {
				made++
				set, err := tables.Load(altered(t, m.file, at, m.column, cell))
				if err == nil {
					*tables.All() = *set
				}
				if err != nil || m.kills(t) {
					killed++
				} else {
					survivors = append(survivors, strings.Join(row, ","))
				}
				*tables.All() = own
			}
		}
		require.Positive(t, made, m.file)
		share := float64(killed) / float64(made)
		t.Logf("%s column %d: %d of %d noticed (%.0f %%)", m.file, m.column, killed, made, 100*share)
		assert.GreaterOrEqual(t, share, m.share, "%s column %d survive: %s", m.file, m.column, strings.Join(survivors[:min(8, len(survivors))], " | "))
		all, noticed = all+made, noticed+killed
	}
	t.Logf("%d of %d altered rows noticed (%.1f %%)", noticed, all, 100*float64(noticed)/float64(all))
}

func milderWord(cell string, _ []string) (string, bool) {
	for _, w := range [][2]string{{"Fatal", "Harmless"}, {"Toxic", "Harmless"}, {"Do NOT induce", "Induce"}, {"Keep away", "Keep"}, {"severe", "mild"}, {"Do not", "Do"}} {
		if strings.Contains(cell, w[0]) {
			return strings.Replace(cell, w[0], w[1], 1), true
		}
	}
	first, rest, _ := strings.Cut(cell, " ")
	return rest + " " + first, true
}

func dropLast(cell string, _ []string) (string, bool) {
	codes := strings.Fields(cell)
	if len(codes) == 0 {
		return "H336", true
	}
	return strings.Join(codes[:len(codes)-1], " "), true
}

func milderSignal(cell string, _ []string) (string, bool) {
	if cell == "Danger" {
		return "Warning", true
	}
	return "Danger", true
}

func number(cell string, row []string) (string, bool) {
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil || v == 0 {
		return "", false
	}
	return strconv.FormatFloat(v*1.05, 'g', -1, 64), true
}

func sign(cell string, _ []string) (string, bool) {
	v, err := strconv.ParseFloat(cell, 64)
	return strconv.FormatFloat(-1.2*v, 'g', -1, 64), err == nil && v != 0
}

func half(cell string, row []string) (string, bool) {
	v, err := strconv.ParseFloat(cell, 64)
	return strconv.FormatFloat(v/2, 'g', -1, 64), err == nil && row[0] != "water"
}

func toGo(cell string, _ []string) (string, bool) { return "go", cell != "go" }

// tableRows reads a table of the program.
func tableRows(t *testing.T, file string) [][]string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("tables", file))
	require.NoError(t, err)
	r := csv.NewReader(bytes.NewReader(data))
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	return rows[1:]
}

// altered is the tables' folder with one cell of one file changed.
func altered(t *testing.T, file string, at, column int, cell string) fstest.MapFS {
	t.Helper()
	folder := make(fstest.MapFS)
	names, err := filepath.Glob(filepath.Join("tables", "*.csv"))
	require.NoError(t, err)
	for _, name := range names {
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		folder[filepath.Base(name)] = &fstest.MapFile{Data: data}
	}
	rows := tableRows(t, file)
	rows[at][column] = cell
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	require.NoError(t, w.Write(make([]string, len(rows[at]))))
	require.NoError(t, w.WriteAll(rows))
	folder[file] = &fstest.MapFile{Data: out.Bytes()}
	return folder
}

func safetyNoticed(t *testing.T) bool {
	return len(wrongSafetyTexts(checkRows(t, "safety_texts.csv"), tables.All())) > 0
}

// ashraeNoticed: the second copy of the printed rows.
func ashraeNoticed(t *testing.T) bool {
	for _, r := range checkRows(t, "ashrae_freeze_boil.csv") {
		if p := float(t, r[1]); p <= 60 && r[3] != "" && p == math.Trunc(p) {
			g := table(fluidOf[r[0]])
			if math.Abs(g.FreezeC[int(p)]-float(t, r[3])) > 1e-9 || math.Abs(g.BoilC[int(p)]-float(t, r[4])) > 1e-9 {
				return true
			}
		}
	}
	return false
}

// melinderNoticed: the printed rows of the second set of coefficients, to their digits, and the freeze points printed by its tests.
func melinderNoticed(t *testing.T) bool {
	for _, r := range checkRows(t, "props.csv") {
		f, x, at := fluidOf[r[0]], chemistry.MassFraction(float(t, r[2])), chemistry.Celsius(float(t, r[3]))
		if r[7] != "melinder2010" || x > chemistry.MaxMassFraction {
			continue
		}
		p, err := chemistry.Props(f, x, at)
		if err != nil {
			continue // below the stated freeze point
		}
		got := map[string]float64{"density": p.Density.KilogramsPerCubicMetre(), "cp": float64(p.SpecificHeat), "conductivity": float64(p.Conductivity), "viscosity": float64(p.Viscosity) / 1000}[r[4]]
		if math.Abs(got/float(t, r[5])-1) > 6e-5 {
			return true
		}
	}
	return knownNoticed(t, "t_freeze")
}

func knownNoticed(t *testing.T, quantities ...string) bool {
	for _, r := range checkRows(t, "known_answers.csv") {
		if !slices.Contains(quantities, r[1]) {
			continue
		}
		var x, at float64
		if r[4] != "" {
			x = float(t, r[4])
		}
		if r[5] != "" {
			at = float(t, r[5])
		}
		if math.Abs(knownAnswer(t, r[1], r[3], fluidOf[r[2]], chemistry.MassFraction(x), chemistry.Celsius(at))-float(t, r[6])) > float(t, r[8]) {
			return true
		}
	}
	return false
}

// waterNoticed: EnergyPlus for conductivity, viscosity and specific heat, Kell written down apart, and IAPWS written down apart.
func waterNoticed(t *testing.T) bool {
	for _, r := range checkRows(t, "props.csv") {
		if r[7] != "water_eplus" && r[7] != "kell1975" {
			continue
		}
		p, err := chemistry.Props(chemistry.DeionisedWater, 0, chemistry.Celsius(float(t, r[3])))
		if err != nil {
			return true
		}
		got := map[string]float64{"density": p.Density.KilogramsPerCubicMetre(), "cp": float64(p.SpecificHeat), "conductivity": float64(p.Conductivity), "viscosity": float64(p.Viscosity) / 1000}[r[4]]
		if allowed := map[string]float64{"density": 1e-5, "cp": 1e-3, "conductivity": 1e-3, "viscosity": 2e-3}[r[4]]; math.Abs(got/float(t, r[5])-1) > allowed {
			return true
		}
	}
	for at := 0.0; at <= 40; at += 10 {
		n, err := chemistry.IndexAt(chemistry.DeionisedWater, 0, chemistry.Celsius(at))
		if err != nil || math.Abs(iapwsIndex(kell(at), at+273.15, 0.5893)/1.000271-float64(n)) > 1.5e-5 {
			return true
		}
	}
	return false
}

// indexNoticed: the printed rows of CRC, MacBeth and Thompson, and Gerke.
func indexNoticed(t *testing.T) bool {
	for _, r := range checkRows(t, "refractive.csv") {
		x := chemistry.MassFraction(float(t, r[1]) / 100)
		if !fluidOf[r[0]].IsGlycol() || r[5] == "correlation" || x > chemistry.MaxMassFraction {
			continue
		}
		n, err := chemistry.IndexAt(fluidOf[r[0]], x, chemistry.Celsius(float(t, r[2])))
		allowed := 0.0002 // the print of the CRC table and the fit
		if r[0] == "PG" {
			allowed = 0.0004 // Abbe data
		}
		if err != nil || math.Abs(float64(n)-float(t, r[3])) > allowed {
			return true
		}
	}
	return false
}

// brixNoticed: the scale is a smooth curve, so one wrong row bends it; and the index of 5.8 Brix is known.
func brixNoticed(t *testing.T) bool {
	nd := tables.All().Brix
	for i := 2; i < len(nd); i++ {
		if math.Abs(nd[i]-2*nd[i-1]+nd[i-2]) > 1.5e-4 {
			return true
		}
	}
	return knownNoticed(t, "brix")
}

// limitsNoticed: the second transcription of the water limits.
func limitsNoticed(t *testing.T) bool {
	end := func(s string, open float64) float64 {
		if s == "" {
			return open
		}
		return float(t, s)
	}
	for _, r := range checkRows(t, "water_limits.csv") {
		if !slices.ContainsFunc(tables.All().WaterLimits, func(l tables.WaterLimit) bool {
			return l.Use == r[0] && l.Parameter == r[1] && l.Min == end(r[2], math.Inf(-1)) && l.Max == end(r[3], math.Inf(1))
		}) {
			return true
		}
	}
	return false
}

// accuracyNoticed: what was measured must fit into what is stated.
func accuracyNoticed(t *testing.T) bool {
	for _, r := range checkRows(t, "products.csv") {
		x, err := chemistry.MassFractionOf(chemistry.Fluid(r[1]), chemistry.VolumeFraction(float(t, r[2])/100))
		if r[4] == "" || err != nil || x > chemistry.MaxMassFraction {
			continue
		}
		d, err := chemistry.Density(chemistry.Fluid(r[1]), x, 20)
		if err != nil || math.Abs(float(t, r[4])/d.KilogramsPerCubicMetre()-1) > statedAccuracy(t, chemistry.Fluid(r[1]), true, 20)["density"] {
			return true
		}
	}
	for _, r := range slices.Concat(checkRows(t, "props.csv"), other(t)) {
		f, x, at := fluidOf[r[0]], chemistry.MassFraction(float(t, r[2])), chemistry.Celsius(float(t, r[3]))
		if r[7] == "melinder2010" || !f.IsGlycol() {
			continue
		}
		if r[1] == "volume" {
			x, _ = chemistry.MassFractionOf(f, chemistry.VolumeFraction(x))
		}
		p, err := chemistry.Props(f, min(x, chemistry.MaxMassFraction), at)
		if err != nil || x > chemistry.MaxMassFraction {
			continue
		}
		got := map[string]float64{"density": p.Density.KilogramsPerCubicMetre(), "cp": float64(p.SpecificHeat), "conductivity": float64(p.Conductivity), "viscosity": float64(p.Viscosity) / 1000}[r[4]]
		if math.Abs(float(t, r[5])/got-1) > statedAccuracy(t, f, strings.HasPrefix(r[7], "ashrae"), at)[r[4]] {
			return true
		}
	}
	return false
}

// other are the rows of melinder_other.csv in the columns of props.csv.
func other(t *testing.T) [][]string {
	var out [][]string
	for _, r := range checkRows(t, "melinder_other.csv") {
		out = append(out, []string{r[0], "mass", r[2], r[3], r[1], r[4], "", "other"})
	}
	return out
}

// compatNoticed: no verdict is milder than the worst that a passage read gives for the pair, and a go has a source that was read.
func compatNoticed(t *testing.T) bool {
	rank := []string{"go", "care", "stop"}
	for _, r := range checkRows(t, "compat_verdicts.csv") {
		verdict := tables.All().Cells[tables.PairOf(r[0], r[1])].Verdict
		if verdict == "unknown" {
			verdict = "care"
		}
		if slices.Index(rank, verdict) < slices.Index(rank, r[2]) {
			return true
		}
	}
	read := make(map[string]bool)
	for _, s := range tables.All().Sources {
		read[s.ID] = s.Standing == "read" || s.Standing == "independent"
	}
	for pair, c := range tables.All().Cells {
		agents := strings.HasPrefix(pair[0], "agent:") && strings.HasPrefix(pair[1], "agent:")
		if c.Verdict == "go" && (agents || c.Grade == "" || c.Grade == "Z" || !slices.ContainsFunc(c.Sources, func(id string) bool { return read[id] })) {
			return true
		}
	}
	return false
}
