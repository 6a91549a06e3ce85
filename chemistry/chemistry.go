// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package chemistry knows what a coolant is and what it does: properties, freeze point, mixtures, top-ups, readings,
// rules and cautions for ethylene glycol, propylene glycol and water in cooling loops.
//
// The canonical variable is the [MassFraction] of glycol, 0 to 0.60 for every property and freeze point. A
// [VolumeFraction] always means volumes before mixing at 20 °C. Temperatures are [Celsius], differences [CelsiusDelta],
// amounts [Litre] and [Kilogram]. Percent exists only at the edges: [ParseMassPercent] and its like.
//
// What a technician asks, and who answers:
//
//   - What is it? [Props], [FreezePoint] and its inverse [MassFractionForFreezePoint], [Density], [GlycolCost] and their like,
//     from the published tables in chemistry/tables.
//   - What is this, and what is in that bottle? [Identify]; a [Product] by its own label; [OtherProps] for what else turns up.
//   - What does my instrument say? [Read].
//   - What must it stand? [Protect].
//   - What do I pour? [Mix], [Adjust], [Rinses], [Dose].
//   - May I top up, and with what? [CheckTopUp], by the table that [Rules] lists; [CheckFill] and [CheckCleaning] use the same.
//   - Is this water good enough? [CheckWater].
//   - What must not meet? [Compatibility], over the families of [Families]; a pair that nobody looked up is care.
//   - Where does the water go? [PermeationLoss]; loss or leak: [Split].
//   - What can it do to people? [Cautions], [TaskCautions].
//   - How sure is that, and who says so? The sources of each answer, and [Sources].
//
// Every uncertainty is expanded with k = 2 (about 95 %) and carried through to first order.
//
// Outside a published table there is no answer: a [*RangeError] says which table and where it ends. Input that no table
// could answer is an [*InvalidError]. Callers match both with errors.As. Nothing here reads a file, a clock or a random
// number, and everything is safe for concurrent use.
package chemistry
