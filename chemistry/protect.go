// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

// ProtectRequest asks what a loop must be protected against. The coldest wetted wall counts, wherever and whenever it is met;
// room temperature is only one of them.
type ProtectRequest struct {
	InUse     *Celsius // coldest air round the running machine
	InStorage *Celsius // coldest air where it stands
	InTransit *Celsius // coldest air on the way

	// Chiller is a machine that makes cold: its evaporator can freeze the liquid in a warm room.
	Chiller          bool
	SetPoint         *Celsius      // coldest liquid temperature that is ever set
	EvaporatorMargin *CelsiusDelta // how much colder the evaporator wall may get, by its maker

	Margin *CelsiusDelta // freeze point below the wall; nil: DefaultMargin
}

// Protection is the coldest wetted wall and what follows from it.
type Protection struct {
	Wall       Celsius
	Where      string  // which wall it is
	Target     Celsius // freeze point to reach: Wall less the margin
	CanFreeze  bool    // whether water could freeze there, margin included
	Advice     []string
	Unanswered []string // places nobody asked about, taken as no colder than Wall
}

// Protect finds the coldest wetted wall. For a chiller the set point and the maker's evaporator margin are needed; without them,
// and without any temperature at all, there is no answer but an [*InvalidError].
func Protect(r ProtectRequest) (Protection, error) {
	if r.Margin == nil {
		r.Margin = new(DefaultMargin)
	}
	checks := []bound{{"margin", float64(*r.Margin), 0, 100, "K", "0 to 100 K"}}
	if r.Chiller {
		switch {
		case r.SetPoint == nil:
			return Protection{}, &InvalidError{"set point", "", "a chiller can freeze at its evaporator in a warm room: say the coldest liquid temperature that is ever set"}
		case r.EvaporatorMargin == nil:
			return Protection{}, &InvalidError{"evaporator margin", "", "a chiller can freeze at its evaporator in a warm room: say how much colder than the liquid its maker lets the evaporator get"}
		}
		checks = append(checks, bound{"evaporator margin", float64(*r.EvaporatorMargin), 0, 50, "K", "0 to 50 K, by the maker"})
	}
	var p Protection
	known := false
	consider := func(t *Celsius, where string) {
		if t == nil {
			p.Unanswered = append(p.Unanswered, where)
			return
		}
		checks = append(checks, bound{where, float64(*t), -100, 100, "°C", "-100 to 100 °C"})
		if !known || *t < p.Wall {
			p.Wall, p.Where, known = *t, where, true
		}
	}
	consider(r.InUse, "coldest place in use")
	consider(r.InStorage, "coldest place in storage")
	consider(r.InTransit, "coldest place on the way")
	if r.Chiller {
		consider(new(r.SetPoint.Add(-*r.EvaporatorMargin)), "evaporator wall")
	}
	if !known {
		return Protection{}, &InvalidError{"coldest wall", "", "say how cold it gets in use, in storage or on the way"}
	}
	if err := checkBounds(checks); err != nil {
		return Protection{}, err
	}
	p.Target = p.Wall.Add(-*r.Margin)
	p.CanFreeze = p.Target < 0
	p.Advice = p.advice()
	return p, nil
}

func (p Protection) advice() []string {
	if p.CanFreeze {
		return []string{
			"glycol with a freeze point of " + p.Target.String() + " or lower, and never below 25 vol %: less feeds microbes",
			"first ice counts, not burst protection: a pump does not move slush, and a cold plate clogs",
		}
	}
	return []string{
		"nothing can freeze: water with the additives its label asks for, or at least 25 vol % glycol, which stops microbes",
		"with water: never store or ship near freezing; drain and blow dry with air or nitrogen first, never with oxygen",
		"copper with aluminium and no inhibitor is a stop, whatever the temperature",
	}
}
