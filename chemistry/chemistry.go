// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package chemistry knows what a coolant is and what it does: properties, freeze point, mixtures, top-ups, readings,
// rules and cautions for ethylene glycol, propylene glycol and water in cooling loops.
//
// The canonical variable is the [MassFraction] of glycol, 0 to 0.60 for every property and freeze point. A
// [VolumeFraction] always means volumes before mixing at 20 °C. Temperatures are [Celsius], differences [CelsiusDelta],
// amounts [Litre] and [Kilogram]. Percent exists only at the edges: [MassPercent], [ParseMassPercent] and their like.
//
// [Props], [FreezePoint] and its inverse [MassFractionForFreezePoint] answer from the published tables in
// chemistry/tables; [Mix] says what to pour; [CheckTopUp] says whether and what to add; [Cautions] says what the liquid
// can do to people. Every uncertainty is expanded with k = 2 (about 95 %).
//
// Outside a published table there is no answer: a [*RangeError] says which table and where it ends. Input that no table
// could answer is an [*InvalidError]. Callers match both with errors.As. Nothing here reads a file, a clock or a random
// number, and everything is safe for concurrent use.
package chemistry
