// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
)

// MaxLabelPairs is how many pairs a label is asked for.
const MaxLabelPairs = 8

// Product is a thing on the shelf. Its label counts in its own per cent, of the product and not of the glycol in it.
type Product struct {
	Name  string
	Base  Fluid // the glycol in it
	Pairs []LabelPair
}

// LabelPair is one line of a label: what the product shows and stands at one strength. What the label does not say is nil.
type LabelPair struct {
	Strength VolumeFraction // volume of product in the volumes before mixing, 0 to 1
	Freeze   *Celsius
	Brix     *Brix
	Density  *KilogramPerLitre // at 20 °C; at strength 1 it is the neat product's
}

// ParseLabelPair reads a line of a label, its parts separated by colons: "30%:-14C", "30%:-14C:22.5brix:1.029kg/l".
func ParseLabelPair(s string) (LabelPair, error) {
	const want = "a line of the label such as 30%:-14C, 30%:-14C:22.5brix or 100%:1.055kg/l"
	var p LabelPair
	for i, part := range strings.Split(s, ":") {
		var err error
		text := strings.ToLower(strings.TrimSpace(part))
		switch {
		case i == 0:
			p.Strength, err = ParseVolumePercent(text)
		case strings.Contains(text, "bx") || strings.Contains(text, "brix"):
			p.Brix, err = parsed(ParseBrix(text))
		case strings.Contains(text, "/") || strings.Contains(text, "sg") || strings.HasPrefix(text, "1."): // 1.062, as labels print it
			p.Density, err = parsed(ParseDensity(text))
		default:
			p.Freeze, err = parsed(ParseCelsius(text))
		}
		if err != nil {
			return LabelPair{}, invalid(s, want)
		}
	}
	if p.Freeze == nil && p.Brix == nil && p.Density == nil {
		return LabelPair{}, invalid(s, want)
	}
	return p, nil
}

// String writes the pair as [ParseLabelPair] reads it.
func (p LabelPair) String() string {
	parts := []string{decimal(p.Strength.Percent()) + "%"}
	if p.Freeze != nil {
		parts = append(parts, decimal(float64(*p.Freeze))+"C")
	}
	if p.Brix != nil {
		parts = append(parts, decimal(float64(*p.Brix))+"brix")
	}
	if p.Density != nil {
		parts = append(parts, decimal(float64(*p.Density))+"kg/l")
	}
	return strings.Join(parts, ":")
}

// MarshalText writes the pair as String does.
func (p LabelPair) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// UnmarshalText reads what [LabelPair.MarshalText] wrote.
func (p *LabelPair) UnmarshalText(text []byte) error {
	read, err := ParseLabelPair(string(text))
	*p = read
	return err
}

func parsed[T any](v T, err error) (*T, error) { return &v, err }

// ProductState is what a product does at one strength.
type ProductState struct {
	Strength VolumeFraction // by the label
	// Freeze is the label's own curve; its sources are the pairs, so Melinder and ASHRAE stay zero.
	Freeze Freeze
	// Mass is the fraction of pure glycol whose stated freeze point is the same: what the product counts as in a mix. Nil: colder than
	// the tables of pure glycol go.
	Mass *MassFraction
	// Guess says that the label gave no freeze point, and that its per cent is read as per cent of glycol.
	Guess bool
}

// relative is how far the strength may be off, relative; the state must have one.
func (s ProductState) relative(f Fluid) float64 {
	return float64(s.Freeze.Uncertainty) / -freezeSlope(f, *s.Mass) / float64(*s.Mass)
}

// Uncertainties of a product's freeze point (k = 2). The floor is a label's whole degrees and the scatter of ASTM D6660; between
// two pairs the curve may bend off by shapeBend of the product of the distances to both, beyond the last pair by beyondSlope of
// the distance. A label without pairs may count its glycol too high or low by guessStrength, or guessShare of what it says. All
// are measured over the six products of testdata/chemistry/products.csv.
const (
	productFloor  CelsiusDelta   = 1
	shapeBend                    = 1   // per unit strength
	shapeMost     CelsiusDelta   = 2.8 // inside the pairs
	beyondSlope                  = 0.2
	beyondMost    VolumeFraction = 0.10
	guessStrength VolumeFraction = 0.025
	guessShare                   = 0.06
)

// check refuses a product whose pairs cannot be: strengths and freeze points that do not go together.
func (p Product) check() error {
	if !p.Base.IsGlycol() {
		return &InvalidError{"product", p.Name, "say which glycol is in it: eg or pg"}
	}
	if len(p.Pairs) > MaxLabelPairs {
		return &InvalidError{"product", p.Name, "at most " + strconv.Itoa(MaxLabelPairs) + " lines of the label"}
	}
	var last LabelPair
	for _, q := range p.sorted() {
		switch {
		case !(q.Strength > 0 && q.Strength <= 1), q.Strength == last.Strength:
			return &InvalidError{"product strength", q.Strength.String(), "above 0 and up to 100 % of the product, each strength once"}
		case q.Freeze != nil && (*q.Freeze > 0 || *q.Freeze < -90):
			return &InvalidError{"product freeze point", q.Freeze.String(), "a freeze point from -90 to 0 °C"}
		case q.Freeze != nil && last.Freeze != nil && *q.Freeze >= *last.Freeze:
			return &InvalidError{"product freeze point", q.Freeze.String(), "a stronger mix freezes colder than " + last.Freeze.String() + ", at least as far as it is used"}
		case q.Brix != nil && last.Brix != nil && *q.Brix <= *last.Brix:
			return &InvalidError{"product Brix", q.Brix.String(), "a stronger mix shows more than " + last.Brix.String()}
		case q.Density != nil && !(*q.Density > 0.95 && *q.Density < 1.3):
			return &InvalidError{"product density", q.Density.String(), "0.95 to 1.3 kg/l"}
		}
		if q.Freeze == nil {
			q.Freeze = last.Freeze
		}
		if q.Brix == nil {
			q.Brix = last.Brix
		}
		last = q
	}
	return nil
}

func (p Product) sorted() []LabelPair {
	return slices.SortedFunc(slices.Values(p.Pairs), func(a, b LabelPair) int { return cmp.Compare(a.Strength, b.Strength) })
}

// At returns what the product does at a strength by its label, above 0 and up to 1. Between two pairs the strength that pure glycol
// would need for the same freeze point is interpolated linearly, from water on; up to [beyondMost] past the last pair it keeps its
// share, with a wider interval. Further out there is a [*RangeError]. Without a freeze point on the label its per cent is read as
// volume per cent of glycol, and the interval says how wrong that can be.
func (p Product) At(s VolumeFraction) (ProductState, error) {
	if err := p.check(); err != nil {
		return ProductState{}, err
	}
	if !(s >= 0 && s <= 1) {
		return ProductState{}, &InvalidError{"product strength", s.String(), "0 to 100 % of the product"}
	}
	return p.at(s)
}

func (p Product) at(s VolumeFraction) (ProductState, error) {
	knots := p.knots()
	last := knots[len(knots)-1]
	st := ProductState{Strength: s, Guess: len(knots) == 1}
	pure, bend := s, max(guessStrength, guessShare*s)
	switch {
	case st.Guess:
	case s > last.s+beyondMost+1e-9:
		return st, &RangeError{"strength of " + p.Name, s.Percent(), 0, (last.s + beyondMost).Percent(), "% of the product", "its label ends there: read another line of it"}
	case s > last.s:
		pure, bend = last.pure*s/last.s, beyondSlope*(s-last.s)
	default:
		i := max(1, slices.IndexFunc(knots, func(k knot) bool { return k.s >= s }))
		a, b := knots[i-1], knots[i]
		pure = a.pure + (s-a.s)/(b.s-a.s)*(b.pure-a.pure)
		bend = shapeBend * (s - a.s) * (b.s - s)
	}
	st.Freeze.Stated = Celsius(p.Base.shape(pure))
	slope := (p.Base.shape(pure+0.005) - p.Base.shape(max(0, pure-0.005))) / 0.01
	off := slope * float64(bend)
	if !st.Guess && s <= last.s {
		off = min(math.Abs(off), float64(shapeMost))
	}
	st.Freeze.Uncertainty = CelsiusDelta(math.Hypot(float64(productFloor), off))
	if x, err := MassFractionForFreezePoint(p.Base, st.Freeze.Stated); err == nil {
		st.Mass = &x
	}
	return st, nil
}

// knot is a strength by the label and the volume fraction of pure glycol that freezes alike.
type knot struct{ s, pure VolumeFraction }

// knots are water and every pair with a freeze point.
func (p Product) knots() []knot {
	out := []knot{{}}
	for _, q := range p.sorted() {
		if q.Freeze != nil {
			pure := solve(func(v float64) float64 { return p.Base.shape(VolumeFraction(v)) - float64(*q.Freeze) }, 0, 0.95)
			out = append(out, knot{q.Strength, VolumeFraction(pure)})
		}
	}
	return out
}

// shape is Melinder's freezing curve over the volume fraction; beyond its end it goes on with its last slope. It only carries the
// shape from pair to pair: the pairs decide.
func (f Fluid) shape(v VolumeFraction) float64 {
	m := &f.glycol().Melinder
	x, end := 0.0, float64(MaxMassFraction)
	if v > 0 {
		glycol := float64(v) * f.glycol().Pure.Density20
		x = glycol / (glycol + (1-float64(v))*waterDensity(20))
	}
	if x <= end {
		return melinderFreeze(m, x)
	}
	return melinderFreeze(m, end) + (x-end)*(melinderFreeze(m, end)-melinderFreeze(m, end-0.02))/0.02
}

// StrengthFor returns the least strength by the label whose freeze point is t or lower. Out of the label's reach it is a
// [*RangeError].
func (p Product) StrengthFor(t Celsius) (VolumeFraction, error) {
	if err := p.check(); err != nil {
		return 0, err
	}
	end := VolumeFraction(0.60)
	if knots := p.knots(); len(knots) > 1 {
		end = min(1, knots[len(knots)-1].s+beyondMost)
	}
	off := func(s float64) float64 {
		st, _ := p.at(VolumeFraction(s)) // within the label's reach
		return float64(st.Freeze.Stated - t)
	}
	if t >= 0 {
		return 0, nil
	}
	if off(float64(end)) > 0 {
		st, _ := p.at(end)
		return 0, &RangeError{"freeze point of " + p.Name, float64(t), float64(st.Freeze.Stated), 0, "°C", "its label ends there: read a colder line of it"}
	}
	low, high := 0.0, float64(end)
	for range 60 {
		if mid := (low + high) / 2; off(mid) > 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return VolumeFraction(high), nil
}

// density20 is the neat product's, and who says it: the label at 100 %, else it is that of pure glycol, which it is near.
func (p Product) density20() (KilogramPerLitre, string) {
	for _, q := range p.Pairs {
		if q.Strength == 1 && q.Density != nil {
			return *q.Density, "density as on its label"
		}
	}
	return KilogramPerLitre(p.Base.glycol().Pure.Density20 / 1000), "its label gives no density of the neat product, so that of pure glycol serves (CRC Handbook)"
}

// Concentrate returns what the neat product counts as in a mix that comes out at a strength by its label: the mass fraction of pure
// glycol, so that masses balance and the mix freezes where the label says.
func (p Product) Concentrate(s VolumeFraction) (MassFraction, KilogramPerLitre, error) {
	st, err := p.At(s)
	if err != nil {
		return 0, 0, err
	}
	if s == 0 {
		return 0, 0, &InvalidError{"product strength", s.String(), "more than 0 %"}
	}
	if st.Mass == nil {
		return 0, 0, &RangeError{"freeze point of " + p.Name, float64(st.Freeze.Stated), statedFreeze(p.Base, MaxMassFraction), 0, "°C", freezeTable(p.Base)}
	}
	neat, _ := p.density20()
	product := float64(s) * float64(neat)
	share := product / (product + (1-float64(s))*waterDensity(20)/1000)
	return MassFraction(min(1, float64(*st.Mass)/share)), neat, nil
}

// CountsAs returns what the neat product counts as in a loop of a strength: the mass fraction of pure glycol that brings a mix of it with
// water to where its label puts the freeze point of that strength, and how far it may be off by the label (k = 2). Out of the label's
// reach it is a [*RangeError].
func (p Product) CountsAs(x MassFraction) (c, off MassFraction, err error) {
	s, err := p.strengthOf(x)
	if err != nil {
		return 0, 0, err
	}
	return p.countsAt(s)
}

// countsAt is what the neat product counts as in a mix of a strength by its label, and how far that may be off.
func (p Product) countsAt(s VolumeFraction) (c, off MassFraction, err error) {
	if c, _, err = p.Concentrate(s); err != nil {
		return 0, 0, err
	}
	st, _ := p.At(s) // as Concentrate found it
	return c, c * MassFraction(st.relative(p.Base)), nil
}

// Neat returns what the product counts as where nobody says what it is thinned to: as bought where the label's reach takes in 100 %,
// as a premix's does, else as at its strongest line that the tables reach; and how far that fraction may be off by its label (k = 2).
func (p Product) Neat() (x, off MassFraction, err error) {
	if err := p.check(); err != nil {
		return 0, 0, err
	}
	knots := p.knots()
	if last := &knots[len(knots)-1]; len(knots) > 1 && last.s+beyondMost >= 1 {
		last.s = 1
	}
	for _, k := range slices.Backward(knots[1:]) {
		if x, off, err = p.countsAt(k.s); err == nil {
			return x, off, nil
		}
	}
	return 0, 0, &InvalidError{"product", p.Name, "a line of its label with a freeze point within the tables, such as 30%:-14C"}
}

// Read returns the strength behind a Brix or a density at 20 °C by the label's own pairs, linear between them and from water on. A
// label without two such pairs, and a reading beyond them, is an [*InvalidError].
func (p Product) Read(b *Brix, d *KilogramPerLitre) (ProductState, error) {
	if err := p.check(); err != nil {
		return ProductState{}, err
	}
	type point struct{ s, shown float64 }
	points, shown, what := []point{{0, 0}}, 0.0, "Brix"
	if b == nil {
		what = "density"
		points[0].shown = waterDensity(20) / 1000
	}
	for _, q := range p.sorted() {
		switch {
		case b != nil && q.Brix != nil:
			points = append(points, point{float64(q.Strength), float64(*q.Brix)})
		case b == nil && q.Density != nil:
			points = append(points, point{float64(q.Strength), float64(*q.Density)})
		}
	}
	if b != nil {
		shown = float64(*b)
	} else if d != nil {
		shown = float64(*d)
	}
	if len(points) < 3 {
		return ProductState{}, &InvalidError{"product", p.Name, "one whose label gives two lines with " + what + " or more: add them, or read it as " + p.Base.Name() + ", inhibited"}
	}
	for i := 1; i < len(points); i++ {
		low, high := points[i-1], points[i]
		if high.shown > low.shown && shown >= low.shown && shown <= high.shown {
			return p.at(VolumeFraction(low.s + (shown-low.shown)/(high.shown-low.shown)*(high.s-low.s)))
		}
	}
	return ProductState{}, &InvalidError{what, decimal(shown), "the label of " + p.Name + " goes from " + decimal(points[0].shown) + " to " + decimal(points[len(points)-1].shown)}
}

// strengthOf returns the strength by the label that freezes like a mass fraction of pure glycol.
func (p Product) strengthOf(x MassFraction) (VolumeFraction, error) {
	return p.StrengthFor(Celsius(statedFreeze(p.Base, x)))
}

// byProduct mixes a product by its own label: the wanted volume per cent is the label's, and so is the freeze point.
func (r MixRequest) byProduct() (MixResult, error) {
	p := *r.Product
	if r.Concentrate != 0 || r.Fluid != "" && r.Fluid != p.Base {
		return MixResult{}, &InvalidError{"product", p.Name, "stands for fluid and concentrate: leave both out"}
	}
	r.Product, r.bottle, r.Fluid = nil, &p, p.Base
	var s VolumeFraction
	var err error
	switch {
	case r.Volume != nil && r.Protect == nil && r.Mass == nil:
		s = *r.Volume
	case r.Mass != nil && r.Volume == nil && r.Protect == nil:
		if err := checkFraction(p.Base, *r.Mass); err != nil {
			return MixResult{}, err
		}
		s, err = p.strengthOf(*r.Mass)
	default: // a wall, or what validate refuses
		if err := r.withDefaults().validate(); err != nil {
			return MixResult{}, err
		}
		s, err = p.against(r.withDefaults())
	}
	if err != nil {
		return MixResult{}, err
	}
	c, neat, err := p.Concentrate(s)
	if err != nil {
		return MixResult{}, err
	}
	st, _ := p.At(s) // as Concentrate found it
	wall := r.Protect
	r.Protect, r.Volume, r.Mass = nil, nil, st.Mass
	r.Concentrate, r.ConcentrateDensity = c, &neat
	m, err := Mix(r)
	if err != nil {
		return MixResult{}, err
	}
	m.Product = &st
	for _, f := range []*FractionState{&m.Target, &m.Result, &m.Poured} {
		f.Freeze.Uncertainty = CelsiusDelta(math.Hypot(float64(f.Freeze.Uncertainty), float64(st.Freeze.Uncertainty)))
	}
	m.MassUncertainty = MassFraction(math.Hypot(float64(m.MassUncertainty), st.relative(p.Base)*float64(*st.Mass)))
	f := &facts{base: p.Base, after: m.Result, wall: wall, planned: wall != nil, guess: st.Guess}
	f.badEnd = m.Result.Freeze.Stated.Add(m.Result.Freeze.Uncertainty) // with the label's interval
	if wall != nil {
		f.target = wall.Add(-*r.withDefaults().Margin)
	}
	m.Warnings = append(m.Warnings, f.fire(slices.Concat(strengthRules(), frostRules()))...)
	m.Sources = append(m.Sources, p.source(st.Guess))
	return m, nil
}

// against is the least strength by the label that the law of mix and top-up allows, the label's own interval counted in.
func (p Product) against(r MixRequest) (VolumeFraction, error) {
	x, err := r.target()
	if err != nil {
		return 0, err
	}
	s, err := p.strengthOf(x)
	const step = 0.0025 // the interval has corners, so there is no slope to follow
	for ; err == nil; s += step {
		var st ProductState
		st, err = p.At(s)
		if err != nil || st.Mass == nil {
			return s, err // Concentrate says that it is past the tables
		}
		own, slope := widest(p.Base, *st.Mass)
		off := math.Hypot(own, slope*st.relative(p.Base)*float64(*st.Mass))
		if st.Freeze.Stated.Add(CelsiusDelta(off)) <= *r.Protect {
			return s, nil
		}
	}
	return 0, err
}

func (p Product) source(guess bool) string {
	if guess {
		return "strength of " + p.Name + ": its label gives no freeze point, so its per cent is read as glycol, and the interval is wider"
	}
	return "strength of " + p.Name + ": its label, " + strconv.Itoa(len(p.Pairs)) + " lines; between them along Melinder 2010"
}

// byProduct reads an instrument by the label's own pairs.
func (r ReadingRequest) byProduct() (Reading, error) {
	if r.Index != nil || r.Freeze != nil || r.Volume != nil {
		return Reading{}, &InvalidError{"product", r.Product.Name, "Brix or density where it is read by its label"}
	}
	if math.Abs(float64(r.Sample-20)) > 2 {
		return Reading{}, &InvalidError{"sample temperature", r.Sample.String(), "18 to 22 °C: a label holds at 20 °C, so let the sample come to it"}
	}
	st, err := r.ofLabel(0)
	if err != nil {
		return Reading{}, err
	}
	if st.Mass == nil {
		_, _, err := r.Product.Concentrate(st.Strength)
		return Reading{}, err
	}
	x := *st.Mass
	f := st.Freeze
	add := func(other ProductState, err error) {
		if err == nil {
			f.Uncertainty = CelsiusDelta(math.Hypot(float64(f.Uncertainty), float64(other.Freeze.Stated-f.Stated)))
		}
	}
	add(r.ofLabel(r.offBy(x))) // what the instrument and the sample's temperature do, through the strength of the label
	sources := []string{r.Product.source(st.Guess)}
	if r.Diluted {
		add(r.Product.at(st.Strength * (1 - thinnedOff/2)))
		sources = append(sources, sourceThinned)
	}
	return Reading{
		Mass: x, MassUncertainty: MassFraction(float64(f.Uncertainty) / -freezeSlope(r.Product.Base, x)), Volume: volumeFraction(r.Product.Base, x),
		Freeze: f, Index20: refractiveIndex20(r.Product.Base, x), Product: &st,
		Warnings: []string{"read by the label of " + r.Product.Name + "; aged or thinned coolant reads otherwise"},
		Sources:  sources,
	}, nil
}

// ofLabel is the strength by the label's pairs of a reading lower by so much. A label's per cent are volumes before mixing, so a
// sample that was thinned 1:1 is half as strong.
func (r ReadingRequest) ofLabel(lower float64) (ProductState, error) {
	var b *Brix
	var d *KilogramPerLitre
	if r.Brix != nil {
		b = new(*r.Brix - Brix(lower))
	} else {
		d = new(*r.Density - KilogramPerLitre(lower))
	}
	st, err := r.Product.Read(b, d)
	if err == nil && r.Diluted {
		return r.Product.at(2 * st.Strength)
	}
	return st, err
}

// offBy is how far a reading may be off by its instrument and by what the sample's temperature may be off (k = 2), in its own unit.
func (r ReadingRequest) offBy(x MassFraction) float64 {
	if r.Density != nil {
		warmth := float64(density(r.Fluid, x, 21) - density(r.Fluid, x, 20))
		return quadrature(r.instrument(0.001), warmth*float64(r.SampleUncertainty))
	}
	warmth := localIndexSlope(r.Fluid, x, 20)
	if r.Compensation == "" || r.Compensation == SucroseCompensation {
		warmth -= sucroseSlope(*r.Brix)
	}
	perBrix := float64(BrixIndex(*r.Brix+0.5) - BrixIndex(*r.Brix-0.5))
	return quadrature(r.instrument(0.2), warmth/perBrix*float64(r.SampleUncertainty))
}
