// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

// Protection is what follows from how cold the coldest wetted wall gets.
type Protection struct {
	Target    Celsius // freeze point to reach: the wall less the margin
	CanFreeze bool    // whether water could freeze there, margin included
	Advice    []string
}

// Protect says what a loop asks for whose coldest wetted wall gets so cold, in use, storage or transport: room temperature is only one of
// them. The margin is 0 to 100 K, else an [*InvalidError]; nil: DefaultMargin.
func Protect(wall Celsius, margin *CelsiusDelta) (Protection, error) {
	if margin == nil {
		margin = new(DefaultMargin)
	}
	if err := checkBounds([]bound{{"margin", float64(*margin), 0, 100, "K", "0 to 100 K"}}); err != nil {
		return Protection{}, err
	}
	p := Protection{Target: wall.Add(-*margin)}
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
