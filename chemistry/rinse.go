// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "math"

// Rinses returns how many rinses bring the share of the old liquid in a loop to residue (0 to 1) or less, and that share. Each time
// left of volume stays behind, so after n rinses the loop holds (left/volume)^n of it; the final fill thins it once more.
// left must be above 0 and below volume; else an [*InvalidError].
func Rinses(left, volume Litre, residue float64) (n int, share float64, err error) {
	if err := checkBounds([]bound{
		{"volume", float64(volume), 1e-6, 1e5, "more than nothing and at most 100000 l"},
		{"left", float64(left), 1e-9, 0.999 * float64(volume), "more than nothing and less than the loop's volume"},
		{"residue", residue, 1e-9, 1, "a share between 0 and 1"},
	}); err != nil {
		return 0, 0, err
	}
	ratio := float64(left) / float64(volume)
	n = max(0, int(math.Ceil(math.Log(residue)/math.Log(ratio)-1e-9)))
	return n, math.Pow(ratio, float64(n)), nil
}

// RinseDone reports whether rinse water shows that a loop is clean: no colour, no particles, and a conductivity in µS/cm that has come
// back to that of the fresh water, within a tenth and 5 µS/cm. Common practice, no source. Negative conductivities are an
// [*InvalidError].
func RinseDone(rinse, fresh float64, coloured bool) (bool, error) {
	if err := checkBounds([]bound{
		{"conductivity of the rinse water", rinse, 0, 1e6, "0 or more µS/cm"},
		{"conductivity of the fresh water", fresh, 0, 1e6, "0 or more µS/cm"},
	}); err != nil {
		return false, err
	}
	return !coloured && rinse <= 1.1*fresh+5, nil
}

// AdjustRequest asks how to bring a liquid in a container from one strength to another, using all of it.
type AdjustRequest struct {
	Fluid       Fluid
	Have        Litre
	HaveMass    MassFraction
	Want        MassFraction
	Concentrate MassFraction // to make it stronger; 0: none at hand
	Bench       Celsius
	Step        Kilogram // 0: DefaultStep
}

// Adjust says what to add: dilution water to make a liquid weaker, concentrate to make it stronger. The parts are what is there, as
// a premix, and what is added. A wish that the concentrate cannot meet is an [*InvalidError]; to make just one volume instead,
// give [Mix] the liquid as a premix with what there is of it.
func Adjust(r AdjustRequest) (MixResult, error) {
	for _, x := range []MassFraction{r.HaveMass, r.Want} {
		if err := checkFraction(r.Fluid, x); err != nil {
			return MixResult{}, err
		}
	}
	if err := checkBounds([]bound{
		{"have", float64(r.Have), 1e-6, 1e5, "more than nothing and at most 100000 l"},
		{"concentrate", float64(r.Concentrate), 0, 1, "0 to 100 mass % glycol"},
	}); err != nil {
		return MixResult{}, err
	}
	if r.Want > r.HaveMass && r.Concentrate <= r.Want {
		return MixResult{}, &InvalidError{"want", r.Want.String(), "cannot be reached with " + r.Concentrate.String() + " concentrate; say a stronger one"}
	}
	if r.Want == 0 && r.HaveMass > 0 {
		return MixResult{}, &InvalidError{"want", r.Want.String(), "no amount of water makes glycol vanish; say more than 0%"}
	}
	have, err := Density(r.Fluid, r.HaveMass, r.Bench)
	if err != nil {
		return MixResult{}, err
	}
	made, err := Density(r.Fluid, r.Want, r.Bench)
	if err != nil {
		return MixResult{}, err
	}
	mass := float64(have.Mass(r.Have))
	total := mass
	switch {
	case r.Want < r.HaveMass:
		total = mass * float64(r.HaveMass/r.Want)
	case r.Want > r.HaveMass:
		total = mass * float64((r.Concentrate-r.HaveMass)/(r.Concentrate-r.Want))
	}
	return Mix(MixRequest{
		Fluid: r.Fluid, Mass: &r.Want, Make: made.Volume(Kilogram(total)), Concentrate: r.Concentrate,
		Premix: r.HaveMass, PremixAvailable: r.Have, Bench: r.Bench, Step: r.Step,
	})
}
