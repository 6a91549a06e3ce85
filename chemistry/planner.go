// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"cmp"
	"math"
	"slices"
)

// strengthTolerance is how near to the strength of the last fill a top-up without a wanted protection comes to count as
// reaching it: about what a refractometer can tell.
const strengthTolerance MassFraction = 0.01

// planner works out what to drain and to add. Amounts are masses, so that glycol and mass balance exactly; the volume to fill
// to is met through the density of the final mixture.
type planner struct {
	r         TopUpRequest
	liquids   []sized // by rising strength
	strength  MassFraction
	mass      float64 // kg in the loop now
	expansion Litre
	full      Litre        // volume to fill to
	target    Celsius      // freeze point wanted; 0 where nothing is to be protected
	low, high MassFraction // strengths that count as reached
	nominal   MassFraction // strength to come near to
}

// sized is a liquid with its density and the mass there is of it.
type sized struct {
	Liquid
	density KilogramPerLitre
	stock   float64 // kg; +Inf: as much as needed
}

// plan is what to do and what it makes.
type plan struct {
	drained  float64   // kg
	added    []float64 // kg of each of planner.liquids
	strength MassFraction
	mass     float64 // kg in the loop after
	volume   Litre   // in the loop after
	kept     float64 // share of the old liquid in the mass after
	missed   MassFraction
}

func newPlanner(r TopUpRequest) (*planner, error) {
	p := &planner{r: r}
	if r.Mass != nil {
		p.strength = *r.Mass
	}
	now, err := Density(r.Fluid, p.strength, *r.At)
	if err != nil {
		return nil, err
	}
	p.mass = float64(now.Mass(r.Holds))
	if err := p.size(); err != nil {
		return nil, err
	}
	if err := p.room(float64(now)); err != nil {
		return nil, err
	}
	return p, p.aim()
}

// size sorts the liquids and finds their densities.
func (p *planner) size() error {
	for _, l := range p.r.With {
		s := sized{Liquid: l, stock: math.Inf(1)}
		if l.Density != nil {
			s.density = *l.Density
			if err := checkLabelDensity(l.Fluid, l.Mass, s.density, *p.r.At); err != nil {
				return err
			}
		} else {
			d, err := LiquidDensity(l.Fluid, l.Mass, *p.r.At)
			if err != nil {
				return err
			}
			s.density = d
		}
		if l.Available > 0 {
			s.stock = float64(s.density.Mass(l.Available))
		}
		p.liquids = append(p.liquids, s)
	}
	slices.SortStableFunc(p.liquids, func(a, b sized) int { return cmp.Compare(a.Mass, b.Mass) })
	return nil
}

// room finds how far the liquid expands and how far the loop may be filled. Stronger glycol expands more, so the strongest
// that could be in the loop afterwards counts.
func (p *planner) room(now float64) error {
	hot, err := Density(p.r.Fluid, p.strength, *p.r.Hottest)
	if err != nil {
		return err
	}
	p.expansion = Litre(float64(p.r.Holds+p.r.HoldsUncertainty) * (now/float64(hot) - 1))
	p.full = p.r.Holds + p.r.Room
	if !p.r.Sealed {
		return nil
	}
	ratio := now / float64(hot)
	if n := len(p.liquids); n > 0 && p.r.Fluid.IsGlycol() {
		x := min(max(p.strength, p.liquids[n-1].Mass), MaxMassFraction)
		ratio = max(ratio, float64(density(p.r.Fluid, x, *p.r.At))/float64(density(p.r.Fluid, x, *p.r.Hottest)))
	}
	full := (float64(p.full) - (ratio-1)*float64(p.r.HoldsUncertainty)) / ratio
	full -= float64(p.r.Step) // a pour rounded up must not eat into the room
	p.full = Litre(full)      // may be less than there is: then draining comes first
	return nil
}

// aim sets the strengths that count as reached and the one to come near to.
func (p *planner) aim() error {
	p.nominal = p.strength
	if p.r.FilledMass != nil {
		p.nominal = *p.r.FilledMass
	}
	if !p.r.Fluid.IsGlycol() {
		if p.r.Protect != nil {
			p.target = p.r.Protect.Add(-*p.r.Margin)
		}
		return nil
	}
	if p.r.Protect == nil {
		p.low, p.high = max(0, p.nominal-strengthTolerance), min(MaxMassFraction, p.nominal+strengthTolerance)
		return nil
	}
	p.target = p.r.Protect.Add(-*p.r.Margin)
	var d doubt
	for _, l := range p.liquids {
		if l.Mass > 0 {
			d.label = max(d.label, float64(l.MassUncertainty/l.Mass))
		}
	}
	d.read = max(0, p.r.MassUncertainty-MassFraction(d.label)*p.strength)
	low, err := p.r.against(d)
	if err != nil {
		return err
	}
	p.low, p.high = low, MaxMassFraction
	p.nominal = max(p.nominal, p.low)
	return nil
}

// best tries every set of liquids and returns the plan that misses the wanted strength least, drains least, fills up most, comes
// nearest to the nominal strength by what a scale can tell, and takes the fewest pours, in this order.
func (p *planner) best() plan {
	best := p.finish(0, make([]float64, len(p.liquids))) // nothing at all
	bestPours := 0
	// Rounding to the scale shifts the volume by up to a step a pour; that much is the same volume.
	same := max(1e-3*float64(p.full), 3*float64(p.r.Step))
	for set := 1; set < 1<<len(p.liquids); set++ {
		pl, ok := p.try(set)
		if !ok {
			continue
		}
		pours := pl.pours()
		order := cmp.Or(
			compareBeyond(float64(pl.missed), float64(best.missed), 1e-6),
			compareBeyond(pl.drained, best.drained, float64(p.r.Step)/2),
			compareBeyond(float64(best.volume), float64(pl.volume), same),
			compareBeyond(p.away(pl), p.away(best), 0.002),
			cmp.Compare(pours, bestPours),
			cmp.Compare(p.away(pl), p.away(best)),
		)
		if order < 0 {
			best, bestPours = pl, pours
		}
	}
	return best
}

// away is how far a plan ends from the strength to come near to.
func (p *planner) away(pl plan) float64 { return math.Abs(float64(pl.strength - p.nominal)) }

// compareBeyond compares a and b and calls them equal when they differ by no more than d.
func compareBeyond(a, b, d float64) int {
	if math.Abs(a-b) <= d {
		return 0
	}
	return cmp.Compare(a, b)
}

func (pl plan) pours() int {
	n := 0
	for _, m := range pl.added {
		if m > 0 {
			n++
		}
	}
	return n
}

// try plans with one set of liquids: without draining if the wanted strengths can be met so, else with the least drained, else
// as near as it gets without draining. It reports false where the set adds nothing.
func (p *planner) try(set int) (plan, bool) {
	weak, strong := p.reach(set, false), p.reach(set, true)
	lowest, highest := min(weak, strong), max(weak, strong)
	room := p.full > p.r.Holds
	switch {
	case highest < p.low:
		return p.bend(set, true, p.low, highest)
	case lowest > p.high:
		return p.bend(set, false, p.high, lowest)
	case !room:
		return plan{}, false
	}
	x := min(max(p.nominal, lowest), highest)
	return p.finish(0, p.blend(set, p.toAdd(x, 0), float64(x))), true
}

// bend plans where filling to the mark leaves the strength on the wrong side of the limit. If the loop is on the right side now,
// it is filled only as far as the limit allows; else as little as possible is drained; else the limit is missed.
func (p *planner) bend(set int, strongest bool, limit, reached MassFraction) (plan, bool) {
	if p.strength >= p.low && p.strength <= p.high {
		most := p.toAdd(reached, 0)
		over := func(add float64) float64 {
			mass, glycol := p.sum(0, p.fill(set, strongest, add))
			return glycol/mass - float64(limit)
		}
		if p.full <= p.r.Holds || most == 0 {
			return plan{}, false
		}
		return p.finish(0, p.fill(set, strongest, solve(over, 0, most))), true
	}
	// Too strong is no harm that liquid would be drained for: it is filled with the weakest.
	if drained, ok := p.drain(set, strongest, limit); ok && strongest {
		return p.finish(drained, p.fill(set, strongest, p.toAdd(limit, drained))), true
	}
	if p.full <= p.r.Holds {
		return plan{}, false
	}
	return p.finish(0, p.fill(set, strongest, p.toAdd(reached, 0))), true
}

// toAdd returns the mass that fills the loop to the mark at strength x after draining.
func (p *planner) toAdd(x MassFraction, drained float64) float64 {
	return max(0, float64(density(p.r.Fluid, p.inTable(x), *p.r.At).Mass(p.full))-p.mass+drained)
}

// inTable keeps a strength inside the tables while a plan is sought.
func (p *planner) inTable(x MassFraction) MassFraction {
	if !p.r.Fluid.IsGlycol() {
		return 0
	}
	return min(max(x, 0), MaxMassFraction)
}

// fill returns how much of each liquid of the set goes into add kg when the weakest, or the strongest, is used up first.
func (p *planner) fill(set int, strongest bool, add float64) []float64 {
	out := make([]float64, len(p.liquids))
	p.fillInto(out, set, strongest, add)
	return out
}

func (p *planner) fillInto(out []float64, set int, strongest bool, add float64) {
	n := len(p.liquids)
	for k := range n {
		i := k
		if strongest {
			i = n - 1 - k
		}
		out[i] = 0
		if set&(1<<i) != 0 {
			out[i] = min(add, p.liquids[i].stock)
			add -= out[i]
		}
	}
}

// reach returns the strength of the loop filled to the mark with a set, weakest or strongest first.
func (p *planner) reach(set int, strongest bool) MassFraction {
	var buf [maxLiquids]float64
	out := buf[:len(p.liquids)]
	x := p.strength
	// The mass that fits depends on the strength through the density, and so little that three rounds settle it to 1e-6.
	for range 3 {
		p.fillInto(out, set, strongest, p.toAdd(x, 0))
		mass, glycol := p.sum(0, out)
		x = MassFraction(glycol / mass)
	}
	return x
}

// sum returns mass and glycol in the loop after draining and adding.
func (p *planner) sum(drained float64, added []float64) (mass, glycol float64) {
	mass = p.mass - drained
	glycol = mass * float64(p.strength)
	for i, m := range added {
		mass += m
		glycol += m * float64(p.liquids[i].Mass)
	}
	return mass, glycol
}

// blend returns amounts of the set that together are add kg and bring the loop to strength x. Between filling weakest first and
// strongest first lies every strength in between, and no liquid passes what there is of it.
func (p *planner) blend(set int, add, x float64) []float64 {
	weak, strong := p.fill(set, false, add), p.fill(set, true, add)
	mass, glycol := p.sum(0, weak)
	_, most := p.sum(0, strong)
	share := 0.0
	if most > glycol {
		share = min(1, max(0, (mass*x-glycol)/(most-glycol)))
	}
	for i := range weak {
		weak[i] += share * (strong[i] - weak[i])
	}
	return weak
}

// drain returns the least mass to drain so that a set brings the loop to strength x at the mark. It reports false where even
// draining everything does not.
func (p *planner) drain(set int, strongest bool, x MassFraction) (float64, bool) {
	var buf [maxLiquids]float64
	out := buf[:len(p.liquids)]
	lacking := func(drained float64) float64 {
		p.fillInto(out, set, strongest, p.toAdd(x, drained))
		mass, glycol := p.sum(drained, out)
		if strongest {
			return glycol - mass*float64(x)
		}
		return mass*float64(x) - glycol
	}
	// What is lacking shrinks as long as the liquids last; beyond that only the volume shrinks. So the search ends there.
	most := p.mass
	var caps float64
	for i, l := range p.liquids {
		if set&(1<<i) != 0 {
			caps += l.stock
		}
	}
	most = min(most, caps-p.toAdd(x, 0))
	if most <= 0 || lacking(most) < 0 {
		return 0, false
	}
	low, high := 0.0, most
	for range 60 {
		if mid := (low + high) / 2; lacking(mid) < 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return high, true
}

// finish rounds to the scale, away from the wrong side of what is wanted, and works out what the rounded amounts make.
func (p *planner) finish(drained float64, added []float64) plan {
	mass, glycol := p.sum(drained, added)
	aim := glycol / mass
	step := float64(p.r.Step)
	up := func(m float64) float64 { return math.Ceil(m/step-1e-6) * step }
	down := func(m float64) float64 { return math.Floor(m/step+1e-6) * step }
	pl := plan{drained: min(up(drained), p.mass), added: added}
	for i, m := range added {
		strong := float64(p.liquids[i].Mass) >= aim
		if p.liquids[i].stock < up(m) {
			strong = false // there is no more than that
		}
		if strong {
			added[i] = up(m)
		} else {
			added[i] = down(m)
		}
	}
	pl.mass, glycol = p.sum(pl.drained, added)
	pl.strength, pl.kept = p.strength, 1
	if pl.mass > 0 {
		pl.strength = p.inTable(MassFraction(glycol / pl.mass))
		pl.kept = (p.mass - pl.drained) / pl.mass
	}
	pl.volume = density(p.r.Fluid, pl.strength, *p.r.At).Volume(Kilogram(pl.mass))
	// Rounding leans to the strong side, so that frost protection never suffers.
	pl.missed = max(0, p.low-pl.strength-1e-9)
	return pl
}

// uncertaintyAfter carries the uncertainty of strength and volume (k = 2, GUM first order) to the strength after. A label may be off in
// the loop as in the bottle, so that part is added straight.
func (p *planner) uncertaintyAfter(pl plan) MassFraction {
	fromStrength := pl.kept * float64(p.r.MassUncertainty)
	for i, m := range pl.added {
		fromStrength += m / pl.mass * float64(p.liquids[i].MassUncertainty)
	}
	volume := float64(density(p.r.Fluid, p.strength, *p.r.At).Mass(p.r.HoldsUncertainty))
	fromVolume := float64(p.strength-pl.strength) / pl.mass * volume
	return MassFraction(math.Hypot(fromStrength, fromVolume))
}
