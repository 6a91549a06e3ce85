// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/findings"
)

// The simulated workshop: loops of four makes, whose quality differs, fail by
// three causes, one of wear, one nearly and one wholly by chance. Faults show for
// a while before they stop the loop; a look finds them, and a new life begins.
const (
	simMonths = 60
	simLoops  = 40
	simMakes  = 4
)

var simCauses = []struct{ shape, scale, warning float64 }{{2.5, 40, 6}, {1.2, 80, 2}, {1, 120, 3}}

// chooser tells how many months after the last look, at an age, the next one is.
type chooser interface {
	// saw adds a life: good from an age on until another, and the cause that
	// ended it, or -1.
	saw(make int, from, to, cause int)
	next(make, age int) int
}

// fixed looks every so many months.
type fixed int

func (fixed) saw(int, int, int, int) {}
func (f fixed) next(int, int) int    { return int(f) }

// simple is what is shipped: a constant rate for each cause, by make or for all.
type simple struct {
	t      testing.TB
	byMake bool
	failed [simMakes][3]int
	months [simMakes]float64
	known  [simMakes]int // next look, 0 not worked out
}

func (s *simple) saw(m, from, to, cause int) {
	if !s.byMake {
		m = 0
	}
	s.months[m] += float64(to - from)
	if cause >= 0 {
		s.failed[m][cause]++
	}
	s.known = [simMakes]int{}
}

func (s *simple) next(m, _ int) int {
	if !s.byMake {
		m = 0
	}
	if s.known[m] == 0 {
		var seen []findings.Seen
		for c, x := range simCauses {
			seen = append(seen, findings.Seen{Failures: s.failed[m][c], Warning: x.warning})
		}
		plan, err := findings.PlanLooks(seen, s.months[m], s.months[m], 12, 2, findings.DefaultCosts())
		require.NoError(s.t, err)
		s.known[m] = max(1, int(math.Round(plan.Age)))
	}
	return s.known[m]
}

// fault is one life as nature has it.
type fault struct {
	shows, fails float64 // ages
	cause        int
}

func drawFault(rng *rand.Rand, quality float64) fault {
	out := fault{fails: math.Inf(1)}
	for c, x := range simCauses {
		// The fault begins by the cause's distribution and shows for a while.
		begins := quality * x.scale * math.Pow(rng.ExpFloat64(), 1/x.shape)
		if fails := begins + x.warning*rng.ExpFloat64(); fails < out.fails {
			out = fault{begins, fails, c}
		}
	}
	return out
}

// simulate runs a workshop for five years and counts looks and failures in use.
func simulate(rng *rand.Rand, rule chooser, spread float64) (looks, failures int) {
	var quality [simMakes]float64
	for m := range quality {
		quality[m] = math.Exp(spread * rng.NormFloat64())
	}
	type loop struct {
		fault
		age, seenAt, make int
	}
	var loops [simLoops]loop
	for i := range loops {
		loops[i].make = i % simMakes
		loops[i].fault = drawFault(rng, quality[i%simMakes])
	}
	for month := range simMonths {
		for i := range loops {
			l := &loops[i]
			if month < i { // they come in one a month
				continue
			}
			l.age++
			again := false
			switch {
			case l.fails <= float64(l.age): // stopped in use
				failures++
				rule.saw(l.make, l.seenAt, l.age, l.cause)
				again = true
			case l.age-l.seenAt >= rule.next(l.make, l.seenAt):
				looks++
				cause := -1
				if again = l.shows <= float64(l.age); again {
					cause = l.cause
				}
				rule.saw(l.make, l.seenAt, l.age, cause)
				l.seenAt = l.age
			}
			if again {
				*l = loop{fault: drawFault(rng, quality[l.make]), make: l.make}
			}
		}
	}
	return looks, failures
}

// TestCampaignPlans compares plans in simulated workshops, by the failures in use
// against those of a fixed interval with as many looks.
func TestCampaignPlans(t *testing.T) {
	t.Parallel()
	runs := campaign(20, 1000)
	run := func(spread float64, rule func() chooser) (looks, failures float64) {
		for seed := range runs {
			l, f := simulate(rand.New(rand.NewPCG(uint64(seed), 9)), rule(), spread)
			looks, failures = looks+float64(l)/float64(runs), failures+float64(f)/float64(runs)
		}
		return looks, failures
	}
	for _, spread := range []float64{0, 0.5} {
		var every [25][2]float64
		for months := 2; months <= 24; months++ {
			every[months][0], every[months][1] = run(spread, func() chooser { return fixed(months) })
		}
		// atLooks is what a fixed interval lets through with as many looks.
		atLooks := func(looks float64) float64 {
			for m := 2; m < 24; m++ {
				if a, b := every[m], every[m+1]; looks <= a[0] && looks >= b[0] {
					return a[1] + (b[1]-a[1])*(a[0]-looks)/(a[0]-b[0])
				}
			}
			return math.NaN()
		}
		t.Logf("makes differ by e^%.1f: fixed 12 months: %.1f looks, %.2f failures in use", spread, every[12][0], every[12][1])
		for _, r := range []struct {
			name string
			rule func() chooser
		}{
			{"rate per cause, all makes", func() chooser { return &simple{t: t} }},
			{"rate per cause and make", func() chooser { return &simple{t: t, byMake: true} }},
		} {
			looks, failures := run(spread, r.rule)
			saved := 1 - failures/atLooks(looks)
			t.Logf("  %s: %.1f looks, %.2f failures; fixed with as many looks %.2f; saves %.1f %%", r.name, looks, failures, atLooks(looks), 100*saved)
			assert.Greater(t, saved, -0.1, r.name)
		}
	}
}
