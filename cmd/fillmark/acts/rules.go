// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import "fillmark/chemistry"

// Rules are the rules that acts judge by beside those of [chemistry.Rules], which
// hold whatever is done and some of which acts ask too. One id may be a stop for one act and care for another; the
// verdict is the gravest.
func Rules() []chemistry.Rule {
	record := func(id, when, text string, v chemistry.Verdict) chemistry.Rule {
		return chemistry.Rule{ID: id, When: when, Verdict: v, Text: text, Source: sourceRecord, Grade: chemistry.Computed}
	}
	practice := func(r chemistry.Rule) chemistry.Rule {
		r.Source, r.Grade = sourcePractice, chemistry.Practice
		return r
	}
	const stop, care = chemistry.Stop, chemistry.Care
	return []chemistry.Rule{
		record("contaminated", "another glycol, an unknown liquid or what was not rinsed out came into the loop", "Nothing is judged by a mixture. Only a drain, a rinse and a fill end it.", stop),
		record("not-drained", "a fill or a flush, and the loop is on record as full", "A stop where another liquid is in it; else care, for the strength is right only if it was drained, and nothing was rinsed out.", stop),
		record("not-rinsed", "a fill over what spoils it", "What was left after draining counts until a rinse is on record.", stop),
		record("left-behind", "a fill over old additives or a cleaning agent without a rinse between", "Some of it is still in the loop.", care),
		record("not-counted", "a fill whose strength was said by hand, and a drain left some in the loop", "What stayed inside thins what was poured.", care),
		record("leaking", "a leak check ended wet and none of full length has been dry since", "Nothing is handed over as repaired; a fill is care.", stop),
		record("leak-check", "a hand-over without a dry leak check of full length since the loop was filled, opened or swapped", "It may be set aside by name and reason.", stop),
		practice(record("too-short", "a leak check shorter than the full length", "It is written down and releases nothing.", care)),
		record("no-charge", "a hand-over of a loop that holds nothing by its record", "Record its fill, or hand it back as it is.", stop),
		record("failed", "a hand-over of a loop that was found failed, with nothing done about it since", "Clean and fill it, or hand it back as it is.", stop),
		record("unproved", "a hand-over without a valid proof, or a loop judged good without one", "It may go with a named reason, and every paper says NOT PROVEN.", stop),
		{ID: "not-proved", When: "a proof whose figures prove nothing", Verdict: stop, Text: "Powers within 25 %, and an improvement beyond its uncertainty.", Source: "inspection of the readings", Grade: chemistry.Computed},
		record("not-comparable", "a loop judged good without die, room and power", "No figure stands for it, so it makes no loop known good.", care),
		record("released", "a correction, or an act told late, that takes away what the last hand-over rests on", "The owner has a machine that should not have gone.", care),
		record("stays-changed", "a hand-over or a swap that is struck out", "Consents, and how the loop is built, stay as it left them.", care),
		record("loop-beside", "a hand-over of a machine of which another loop is leaking, contaminated, failed or drained", "A stop until it is put right or given back as it is; then care.", stop),
		record("not-in", "a machine that is let go, and went back before without coming in again", "Its intake is missing, or it goes back twice.", care),
		record("hour-meter", "an hour meter that shows less than it did", "It was misread, or changed.", care),
		record("no-scale", "a strength that was read in a mixture or an unknown liquid", "No scale reads it.", stop),
		record("wall-unknown", "a hand-over, and nobody said how cold the coldest wetted wall gets", "Ask the owner, or say that nothing can freeze.", stop),
		record("built-unknown", "a fill, a top-up or a hand-over, and nobody looked yet how the loop is built", "It is taken for sealed, and assumed parts are said to be.", care),
		record("charge-unknown", "a change of how a loop is built, and what is in it is not known well enough", "Nothing can be said of whether it suits it.", care),
		record("not-judged", "a top-up that cannot be worked out from what is known", "Measure or write down what the reason names.", stop),
		{ID: "label-dose", When: "a dose more than a quarter off the label's", Verdict: care, Text: "The label and the safety data sheet decide.", Source: "the label", Grade: chemistry.Maker},
		practice(record("consent", "a hand-over without consent to mail, on record or asked for", "No mail goes out on it; the machine goes back all the same.", care)),
		record("opening-consent", "an opening that the owner has not agreed to", "It may be set aside by name and reason.", stop),
	}
}
