// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"fillmark/loops/findings"
)

// million draws n lives of two groups, right-censored, with ages as they come
// or in whole months.
func million(n int, months bool) []findings.Life {
	rng := rand.New(rand.NewPCG(1, 2))
	rows := make([]findings.Life, n)
	for i := range rows {
		group, scale := "a", 48.0
		if i%2 == 1 {
			group, scale = "b", 50
		}
		age, watched := scale*math.Sqrt(rng.ExpFloat64())+0.01, 5+115*rng.Float64()
		l := findings.Life{Lower: min(age, watched), Upper: math.Inf(1), Count: 1, Group: group}
		if months {
			l.Lower = math.Ceil(l.Lower)
		}
		if age < watched {
			l.Upper = l.Lower
		}
		rows[i] = l
	}
	return rows
}

// csvOf writes lives as a file.
func csvOf(rows []findings.Life) []byte {
	var out bytes.Buffer
	out.WriteString("lower,upper,count,group\n")
	for _, l := range rows {
		upper := ""
		if l.Failed() {
			upper = fmt.Sprint(l.Upper)
		}
		fmt.Fprintf(&out, "%v,%s,%d,%s\n", l.Lower, upper, l.Count, l.Group)
	}
	return out.Bytes()
}

// method is what is timed, from unmerged rows to the answer, and R's beside it.
type method struct {
	name, against string
	run           func([]findings.Life) error
}

func methods() []method {
	with := func(f func(findings.Lives) error) func([]findings.Life) error {
		return func(rows []findings.Life) error {
			l, err := findings.NewLives(rows)
			if err != nil {
				return err
			}
			return f(l)
		}
	}
	turnbull := with(func(l findings.Lives) error { _, err := findings.Turnbull(l); return err })
	return []method{
		{"Kaplan-Meier", "Kaplan-Meier", with(func(l findings.Lives) error { _, err := findings.KaplanMeier(l); return err })},
		{"log-rank", "log-rank", with(func(l findings.Lives) error { _, err := findings.LogRank(l); return err })},
		{"comparison", "log-rank", with(func(l findings.Lives) error { _, err := findings.CompareGroups([]findings.Lives{l}); return err })},
		{"Weibull", "Weibull", with(func(l findings.Lives) error { _, err := findings.FitWeibull(l); return err })},
		{"Turnbull", "Turnbull", func(rows []findings.Life) error { return turnbull(found(rows)) }},
	}
}

// found makes each failure one that was found at the look of its month.
func found(rows []findings.Life) []findings.Life {
	out := slices.Clone(rows)
	for i := range out {
		l := &out[i]
		l.Group = ""
		if l.Failed() {
			l.Upper = math.Ceil(l.Lower)
		}
		l.Lower = math.Max(0, math.Ceil(l.Lower)-1)
	}
	return out
}

func BenchmarkMillion(b *testing.B) {
	for _, months := range []bool{false, true} {
		rows := million(1_000_000, months)
		for _, m := range methods() {
			b.Run(fmt.Sprintf("%s/months=%v", m.name, months), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					require.NoError(b, m.run(rows))
				}
			})
		}
	}
}

// BenchmarkReadCSV reads as many lines as a file may have.
func BenchmarkReadCSV(b *testing.B) {
	text := csvOf(million(100_000, false))
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		_, err := findings.ReadCSV(bytes.NewReader(text))
		require.NoError(b, err)
	}
}

// BenchmarkRegister is a whole report on 100,000 lives whose ages in days, as
// the register has them, repeat.
func BenchmarkRegister(b *testing.B) {
	for _, kind := range []string{"known ages", "inspections", "joined late"} {
		rows := register(100_000, kind == "inspections")
		if kind == "joined late" {
			for i := range rows {
				rows[i].Entry = float64(i%4) * 0.2 * rows[i].Lower
			}
		}
		b.Run(kind, func(b *testing.B) {
			for b.Loop() {
				l, err := findings.NewLives(rows)
				require.NoError(b, err)
				require.NotEmpty(b, findings.Analyse(l, findings.FromRegister).Answers)
			}
		})
		merged, err := findings.NewLives(rows)
		require.NoError(b, err)
		b.Run(kind+", merged before", func(b *testing.B) {
			for b.Loop() {
				require.NotEmpty(b, findings.Analyse(merged, findings.FromRegister).Answers)
			}
		})
	}
}

// register draws lives as a workshop has them: looks in whole months, and
// failures in service in whole days or found at the next look.
func register(n int, inspections bool) []findings.Life {
	rng := rand.New(rand.NewPCG(3, 4))
	rows := make([]findings.Life, n)
	for i := range rows {
		age, watched := 60*math.Sqrt(rng.ExpFloat64()), float64(1+rng.IntN(60))
		l := findings.Life{Lower: watched, Upper: math.Inf(1), Count: 1}
		if age < watched {
			day := math.Ceil(age*30.4375) / 30.4375
			l.Lower, l.Upper = day, day
			if inspections {
				l.Lower, l.Upper = math.Floor(age), math.Floor(age)+1
			}
		}
		rows[i] = l
	}
	return rows
}
