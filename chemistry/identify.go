// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "math"

// IdentifyRequest is what instruments show of a liquid that nobody knows, at 18 to 22 °C. At least two of an optical reading (Brix or
// index), a density and a freeze point are needed: one alone fits every glycol.
type IdentifyRequest struct {
	Brix    *Brix
	Index   *RefractiveIndex
	Density *KilogramPerLitre
	Freeze  *Celsius // of the first ice, seen by cooling a sample; not a refractometer's scale
	Sample  Celsius
	Alcohol bool // it smells of alcohol
}

// Identification is how likely each kind of liquid is, in sum 1.
type Identification struct {
	Ethylene, Propylene, Mixture, Other float64
	// Fluid is the glycol, where one is as likely as [nameFrom]; else "": cannot tell, or none of the two.
	Fluid Fluid
	Says  string
}

// nameFrom is the probability from which a liquid is named.
const nameFrom = 0.80

// How far instruments and additives go, as standard deviations. Additives weigh (six products of testdata/chemistry/products.csv: 0 to
// 1.3 % more) and refract (ASTM D3321 tells inhibited coolants to 1 °C, about 0.0012). Priors are a judgement: a coolant is mostly one
// glycol.
const (
	sigmaIndex, sigmaDensity, sigmaFreeze = 0.00025, 0.0010, 0.6
	additiveIndex                         = 0.0008
	additiveDensity, spreadDensity        = 0.0040, 0.0030
	priorGlycol, priorMixture, priorOther = 0.42, 0.08, 0.08
)

// Identify weighs what two or three readings say: at equal index ethylene glycol is 8 to 29 kg/m³ denser than propylene glycol between
// 15 and 50 mass %. Fewer readings and a sample away from 20 °C are an [*InvalidError].
func Identify(r IdentifyRequest) (Identification, error) {
	given := 0
	for _, set := range []bool{r.Brix != nil || r.Index != nil, r.Density != nil, r.Freeze != nil} {
		if set {
			given++
		}
	}
	switch {
	case given < 2:
		return Identification{}, &InvalidError{"reading", "", "one instrument fits every glycol: say two of Brix or index, density, and a freeze point seen by cooling a sample"}
	case r.Brix != nil && r.Index != nil:
		return Identification{}, &InvalidError{"reading", "", "say Brix or index, not both: they are two scales of one instrument"}
	case math.Abs(float64(r.Sample-20)) > 2:
		return Identification{}, &InvalidError{"sample temperature", r.Sample.String(), "let the sample come to 18 to 22 °C"}
	}
	if r.Brix != nil {
		r.Index = new(BrixIndex(*r.Brix))
	}
	var id Identification
	id.Ethylene = priorGlycol * r.likelihood(1, 1)
	id.Propylene = priorGlycol * r.likelihood(0, 0)
	id.Mixture = priorMixture * r.likelihood(0.15, 0.85)
	id.Other = priorOther * r.anything()
	if r.Alcohol {
		id.Other *= 20
	}
	sum := id.Ethylene + id.Propylene + id.Mixture + id.Other
	id.Ethylene, id.Propylene, id.Mixture, id.Other = id.Ethylene/sum, id.Propylene/sum, id.Mixture/sum, id.Other/sum
	switch {
	case id.Ethylene >= nameFrom:
		id.Fluid, id.Says = EthyleneGlycol, "ethylene glycol: poisonous, whatever the label says"+r.smell()
	case id.Propylene >= nameFrom:
		id.Fluid, id.Says = PropyleneGlycol, "propylene glycol"+r.smell()
	case id.Mixture >= nameFrom:
		id.Says = "a mixture of both glycols: no scale reads it; drain, rinse and fill with one"
	case id.Other >= nameFrom && r.likeWater():
		id.Says = "water: too thin to tell what else is in it"
	case id.Other >= nameFrom:
		id.Says = "neither glycol, nor a mixture of the two: " + unknownLiquid[0]
	default:
		id.Says = "no one glycol: cannot tell, additives may hide it. Treat it as ethylene glycol, which is poisonous; " + r.settles()
	}
	return id, nil
}

// smell is said beside a glycol's name.
func (r IdentifyRequest) smell() string {
	if r.Alcohol {
		return "; it smells of alcohol, so treat it as burnable too"
	}
	return ""
}

// settles says what would tell, where the readings do not.
func (r IdentifyRequest) settles() string {
	switch {
	case r.Freeze == nil:
		return "a freeze point seen by cooling a sample can settle it"
	case r.Density == nil:
		return "a density can settle it"
	}
	return "only a laboratory can settle it"
}

// likeWater reports whether every reading is that of water, or of less than three per cent of anything usual in it.
func (r IdentifyRequest) likeWater() bool {
	near := func(v *float64, water, most float64) bool { return v == nil || math.Abs(*v-water) <= most }
	return near((*float64)(r.Index), float64(refractiveIndex20(TreatedWater, 0)), 0.003) &&
		near((*float64)(r.Density), waterDensity(20)/1000, 0.003) && near((*float64)(r.Freeze), 0, 1)
}

// likelihood averages over strengths from 3 to 60 mass %, shares of ethylene glycol from low to high, and with and without additives.
func (r IdentifyRequest) likelihood(low, high float64) float64 {
	var sum float64
	n := 0
	for x := 0.03; x <= float64(MaxMassFraction); x += 0.0025 {
		for w := low; w <= high; w += 0.14 {
			n++
			index := w*float64(refractiveIndex20(EthyleneGlycol, MassFraction(x))) + (1-w)*float64(refractiveIndex20(PropyleneGlycol, MassFraction(x)))
			weight := w*float64(density(EthyleneGlycol, MassFraction(x), r.Sample)) + (1-w)*float64(density(PropyleneGlycol, MassFraction(x), r.Sample))
			ice := w*statedFreeze(EthyleneGlycol, MassFraction(x)) + (1-w)*statedFreeze(PropyleneGlycol, MassFraction(x))
			for _, inhibited := range []bool{false, true} {
				p := 0.5
				shift, spread, refracts := 0.0, 0.0, 0.0
				if inhibited {
					shift, spread, refracts = additiveDensity, spreadDensity, additiveIndex
				}
				if r.Index != nil {
					p *= bell(float64(*r.Index)-index, math.Hypot(sigmaIndex, refracts))
				}
				if r.Density != nil {
					p *= bell(float64(*r.Density)-weight*(1+shift), math.Hypot(sigmaDensity, spread*weight))
				}
				if r.Freeze != nil {
					p *= bell(float64(*r.Freeze)-ice, sigmaFreeze+0.02*math.Abs(ice))
				}
				sum += p
			}
		}
	}
	return sum / float64(n)
}

// anything is how likely the readings are of a liquid of which nothing is known: evenly over what coolants show.
func (r IdentifyRequest) anything() float64 {
	p := 1.0
	if r.Index != nil {
		p /= 0.12 // 1.33 to 1.45
	}
	if r.Density != nil {
		p /= 0.6 // 0.8 to 1.4 kg/l
	}
	if r.Freeze != nil {
		p /= 60
	}
	return p
}

// bell is the normal density.
func bell(off, sigma float64) float64 {
	return math.Exp(-off*off/(2*sigma*sigma)) / (sigma * math.Sqrt(2*math.Pi))
}
