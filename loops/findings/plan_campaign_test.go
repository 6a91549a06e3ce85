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
	simOldest = 130 // months
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

// shrunk is a rate for each cause and make, drawn towards that of all makes by as
// much as the makes are alike (empirical Bayes: the weight of all makes, in
// failures, is the one that explains the counts best).
type shrunk struct {
	failed [simMakes][3]int
	months [simMakes]float64
	known  [simMakes]int // next look, 0 not worked out
}

func (s *shrunk) saw(m, from, to, cause int) {
	s.months[m] += float64(to - from)
	if cause >= 0 {
		s.failed[m][cause]++
	}
	s.known = [simMakes]int{}
}

func (s *shrunk) next(m, _ int) int {
	if s.known[m] > 0 {
		return s.known[m]
	}
	var all [3]float64 // the rate of all makes, two failures of it the policy's
	watched := 0.0
	for _, months := range s.months {
		watched += months
	}
	for c := range all {
		n := 2.0 / 3
		for make := range s.failed {
			n += float64(s.failed[make][c])
		}
		all[c] = n / (2.0/3/0.0060 + watched) // with it twelve months cost least
	}
	weight, most := 0.0, math.Inf(-1)
	for _, w := range []float64{0.5, 1, 2, 4, 8, 16, 64} {
		loglik := 0.0
		for make, months := range s.months {
			for c, rate := range all {
				before, n := w/rate, float64(s.failed[make][c])
				up, _ := math.Lgamma(w + n)
				down, _ := math.Lgamma(w)
				loglik += up - down + w*math.Log(before/(before+months))
				if n > 0 {
					loglik += n * math.Log(months/(before+months))
				}
			}
		}
		if loglik > most {
			weight, most = w, loglik
		}
	}
	best, least := 12, math.Inf(1)
	costs := findings.DefaultCosts()
	for every := 2; every <= 24; every++ {
		missed := 0.0
		for c, x := range simCauses {
			rate := (weight + float64(s.failed[m][c])) / (weight/all[c] + s.months[m])
			missed += rate * (float64(every) + x.warning*math.Expm1(-float64(every)/x.warning))
		}
		if cost := (costs.Visit + costs.Waste + costs.Failure*missed) / float64(every); cost < least {
			best, least = every, cost
		}
	}
	s.known[m] = best
	return best
}

// fuller is a posterior over Weibull shape and scale of each cause, all makes
// together, and the look whose expected cost per month is least for a loop good
// at an age.
type fuller struct {
	loglik [3][]float64
	hazard [3][simOldest]float64 // mean over the posterior
	chosen [simOldest]int
	fresh  bool
}

var fullerShapes, fullerScales = []float64{0.7, 1, 1.4, 2, 2.8, 4}, []float64{10, 15, 22, 33, 50, 75, 110, 160, 240, 400, 700}

// passed is the cumulative hazard of each distribution of the grid by month.
var passed = func() (out [][simOldest + 1]float64) {
	for _, shape := range fullerShapes {
		for _, scale := range fullerScales {
			var h [simOldest + 1]float64
			for m := range h {
				h[m] = math.Pow(float64(m)/scale, shape)
			}
			out = append(out, h)
		}
	}
	return out
}()

func newFuller() *fuller {
	f := &fuller{}
	for c := range f.loglik {
		f.loglik[c] = make([]float64, len(passed))
		for g, h := range passed {
			// As weak as the simple rule's: two failures over the causes in the
			// time for which twelve months are right.
			f.loglik[c][g] = -math.Pow(math.Log(h[12]/0.045), 2) / (2 * 1.5 * 1.5)
		}
	}
	return f
}

func (f *fuller) saw(_, from, to, cause int) {
	f.fresh = false
	for c := range f.loglik {
		for g := range passed {
			h := &passed[g]
			f.loglik[c][g] -= h[to] - h[from]
			if c == cause {
				f.loglik[c][g] += math.Log(h[to] - h[max(0, to-1)])
			}
		}
	}
}

func (f *fuller) learn() {
	f.fresh, f.chosen = true, [simOldest]int{}
	for c := range f.loglik {
		most := math.Inf(-1)
		for _, l := range f.loglik[c] {
			most = max(most, l)
		}
		f.hazard[c] = [simOldest]float64{}
		total := 0.0
		for g, l := range f.loglik[c] {
			w := math.Exp(l - most)
			if w < 1e-4 {
				continue
			}
			total += w
			for m := range f.hazard[c] {
				f.hazard[c][m] += w * (passed[g][m+1] - passed[g][m])
			}
		}
		for m := range f.hazard[c] {
			f.hazard[c][m] /= total
		}
	}
}

// showsYet is the chance that a fault of a cause shows for so many months.
var showsYet = func() (out [3][25]float64) {
	for c, x := range simCauses {
		for m := range out[c] {
			out[c][m] = math.Exp(-(float64(m) + 0.5) / x.warning)
		}
	}
	return out
}()

func (f *fuller) next(_, age int) int {
	if !f.fresh {
		f.learn()
	}
	if f.chosen[age] > 0 {
		return f.chosen[age]
	}
	best, least := 12, math.Inf(1)
	costs := findings.DefaultCosts()
	for every := 2; every <= 24; every++ {
		missed := 0.0
		for c := range simCauses {
			for m := range every {
				missed += f.hazard[c][min(simOldest-1, age+m)] * (1 - showsYet[c][every-1-m])
			}
		}
		if cost := (costs.Visit + costs.Waste + costs.Failure*missed) / float64(every); cost < least {
			best, least = every, cost
		}
	}
	f.chosen[age] = best
	return best
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
			{"rate per cause and make, shrunk", func() chooser { return &shrunk{} }},
			{"posterior over shape and scale", func() chooser { return newFuller() }},
		} {
			looks, failures := run(spread, r.rule)
			saved := 1 - failures/atLooks(looks)
			t.Logf("  %s: %.1f looks, %.2f failures; fixed with as many looks %.2f; saves %.1f %%", r.name, looks, failures, atLooks(looks), 100*saved)
			assert.Greater(t, saved, -0.1, r.name)
		}
	}
}
