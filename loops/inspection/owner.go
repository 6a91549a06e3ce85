// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"fmt"
	"math"

	"fillmark/chemistry"
)

// OwnersWords says to an owner how a machine ran against the day it was given
// back: "ran as on the day you got it back", or "6 ± 3 K warmer than on that day",
// at the room and the heat of today. It refuses, as a [Refusal], what
// [Prove] refuses.
func OwnersWords(back, today Reading) (string, error) {
	p, err := Prove(back, today)
	if err != nil {
		return "", err
	}
	watts := float64(*today.Power)
	warmer, u := -float64(p.Gain.Value)*watts, float64(p.Gain.Uncertainty)*watts
	by, than := fmt.Sprintf("%.0f ± %.0f K ", math.Abs(warmer), math.Ceil(u)), " than on that day"
	switch {
	case math.Abs(warmer) <= max(u, float64(noticed)):
		return AsThen, nil
	case warmer > 0:
		return by + "warmer" + than, nil
	}
	return by + "cooler" + than, nil
}

// AsThen says that nothing has changed.
const AsThen = "ran as on the day you got it back"

// noticed is the least difference that is worth an owner's attention.
const noticed chemistry.CelsiusDelta = 2
