// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "fillmark/chemistry"

// The sources of the steps. None of them is a standard for small loops: there
// is none.
const (
	common      = "common practice, no source"
	magazine    = "chiller maintenance magazine"
	kitManual   = "loop maker's troubleshooting manual"
	leakPages   = "leak-test practice pages"
	filterGuide = "cold-plate filtration guide"
	refractive  = "ASTM D3321"
	fluidLabel  = "the product's label and safety data sheet"
)

// steps is the wet work in order. Each step stands with its caution; who does
// it holds to the safety data sheets, local rules and licensed practice.
func steps() []Step {
	table := [][]Step{before(), drainAndJudge(), cleanAndFlush(), refill(), leakCheck(), closeAndProve()}
	var all []Step
	for _, part := range table {
		all = append(all, part...)
	}
	return all
}

// The looks before anything is moved: what they find is what the triage asks.
const (
	LookFan   StepID = "look-fan"
	LookDust  StepID = "look-dust"
	LookMount StepID = "look-mount"

	// What is read with these, the entry that follows asks for too.
	StepDrain    StepID = "drain"
	StepStrength StepID = "strength"
	StepLeakRun  StepID = "leak-run"
)

func before() []Step {
	step := func(id StepID, do, caution, source string, grade chemistry.Grade) Step {
		return Step{ID: id, Phase: PhaseBefore, Do: do, Caution: caution, Source: source, Grade: grade}
	}
	weigh := step("weigh-as-received", "Weigh the cooler as it came in, dry outside, with the same brackets each time.", "Machine off and unplugged before anything is lifted out.", common, chemistry.FromMemory)
	weigh.Records, weigh.Unit = "mass as received", "g"
	sealed := step("sealed-consent", "Tell the owner that the maker of a sealed loop does not intend it to be opened, and record their yes.", "Where readings and weight are good, leave a sealed loop shut.", "practice pages on coolant changes", chemistry.Practice)
	sealed.Only = SealedOnly
	look := func(id StepID, do, caution string, finds ...string) Step {
		s := step(id, do, caution, common, chemistry.FromMemory)
		s.Finds = finds
		return s
	}
	return []Step{
		step("warranty", "Ask whether the maker's warranty still runs and what opening does to it; write the answer down.", "Opening most often ends it: the owner decides, not the bench.", common, chemistry.FromMemory),
		step("consent", "Have the owner's consent to opening on record, and to photos if any are to be shown.", "No consent, no opening.", common, chemistry.FromMemory),
		sealed,
		step("photo", "Photograph the machine, the joints, the fan direction and every cable before anything moves.", "Keep names, serials of others and screens out of the picture.", common, chemistry.FromMemory),
		look(LookFan, "While it runs, hold a strip of paper to the fins: does the air go out as it was meant, in, or do two fans blow against each other?", "Fingers, hair and sleeves away from the blades.", "out", "in", "against"),
		look(LookDust, "Shine a lamp through filter and fins: clean, or dusty so that light is lost?", "Blow nothing yet: what is seen now is the finding.", "clean", "dusty"),
		step("isolate", "Switch off, unplug, and let the coolant cool below 40 °C.", "Mains wiring and refrigerant circuits are for licensed people only. A hot loop is under pressure and scalds.", magazine, chemistry.Practice),
		look(LookMount, "Before any screw is loosened, try them crosswise and look along the plate's edge: tight and even all round, or loose or tilted?", "Unplugged and cool. Try them, do not turn them.", "tight", "loose"),
		weigh,
	}
}

func drainAndJudge() []Step {
	step := func(id StepID, phase StepPhase, do, caution, source string, grade chemistry.Grade) Step {
		return Step{ID: id, Phase: phase, Do: do, Caution: caution, Source: source, Grade: grade}
	}
	drain := step(StepDrain, PhaseDrain, "Open the lowest joint and catch all of it in a clean, labelled vessel; measure it and write it into the used-fluid log.", "Gloves and eye protection. Ethylene glycol is poisonous and tastes sweet: nothing open where animals or children reach. Nothing into a drain or the ground.", fluidLabel, chemistry.Maker)
	drain.Records, drain.Unit = "volume drained", "ml"
	keep := step("sample", PhaseDrain, "Fill a sample bottle to the brim, cap it, write tag, day and temperature on it, and read strength and pH from it.", "Flush the bottle with the liquid first; a half-full bottle changes.", filterGuide, chemistry.Practice)
	reservoir := step("reservoir", PhaseDrain, "Empty the reservoir first, then the rest.", "Acrylic cracks with alcohol: wipe it with water and soap only.", common, chemistry.FromMemory)
	reservoir.Only = OpenOnly
	port := step("opening-place", PhaseDrain, "Open where it can be closed again: a plug or a screwed cover with a seal you can replace; mark the covers.", "Never pierce a tube or a tank to get in. Clips under tension fly.", common, chemistry.FromMemory)
	port.Only = SealedOnly
	weigh := step("weigh-drained", PhaseDrain, "Weigh it drained.", "The difference from dry is what stays in and thins or taints the next charge.", common, chemistry.FromMemory)
	weigh.Records, weigh.Unit = "mass drained", "g"
	return []Step{
		reservoir, port, drain, keep, weigh,
		step("judge-tubing", PhaseJudge, "Press, bend and look through the tubing: soft, sticky, cloudy, cracked or shrunk at the barb is replaced.", "White powder on the plate with hardened tubing is plasticiser: new tube, not a stronger cleaner.", kitManual, chemistry.Maker),
		step("judge-seals", PhaseJudge, "Look at every seal and gasket: flat, hard, swollen or torn is replaced by the same material.", "A swollen seal says the liquid or a cleaner did not suit it.", common, chemistry.FromMemory),
		step("judge-flakes", PhaseJudge, "Look at fins, plate and strained liquid for flakes, crust, gel and slime, and record an opening with a photo.", "Bright flakes are plating or pump: scratched plating puts the base metal back into the couple. Do not scrape fins.", filterGuide, chemistry.Practice),
		step("judge-pump", PhaseJudge, "Turn the rotor by hand and look for wear; dry bearings do not come back.", "Never run it dry to hear it.", kitManual, chemistry.Maker),
	}
}

func cleanAndFlush() []Step {
	step := func(id StepID, do, caution, source string, grade chemistry.Grade) Step {
		return Step{ID: id, Phase: PhaseClean, Do: do, Caution: caution, Source: source, Grade: grade}
	}
	end := step("rinse-end", "Rinse with dilution water until what comes out has no colour and "+chemistry.RinseEnd+".", "Read both with one meter at one temperature. No cleaner may stay in: it eats the next inhibitor.", common, chemistry.FromMemory)
	end.Records, end.Unit = "conductivity of the last rinse", "µS/cm"
	return []Step{
		step("clean", "Clean plate and parts with the mildest thing that works: warm water and soap, then what the metals and plastics allow.", "No alcohol on acrylic, no acid or alkali on aluminium, never bleach with acid or ammonia. One agent, then rinse. Goggles and gloves; alcohol away from sparks.", "safety data sheets; common practice", chemistry.Maker),
		step("flush-forward", "Flush the radiator in the direction of flow until it runs clear.", "Low pressure only: a radiator is not a pressure vessel.", common, chemistry.FromMemory),
		step("flush-back", "Turn it over and flush it against the flow, then forward again.", "What comes out of the second way sat in the end tanks: strain it and look.", common, chemistry.FromMemory),
		end,
		step("blow-dry", "Blow plate and radiator through with dry air and let them drain, turned several ways.", "At most 0.5 bar, eyes protected, never oxygen. What stays in counts as liquid left.", leakPages, chemistry.Maker),
	}
}

func refill() []Step {
	step := func(id StepID, do, caution, source string, grade chemistry.Grade) Step {
		return Step{ID: id, Phase: PhaseRefill, Do: do, Caution: caution, Source: source, Grade: grade}
	}
	open := step("fill-open", "Fill the reservoir, let it sink, fill again; start the pump only when its inlet stays covered.", "Never run the pump dry: seconds are enough for its bearing.", common, chemistry.FromMemory)
	open.Only = OpenOnly
	sealed := step("fill-sealed", "Fill with the opening as the highest point, slowly, tapping; leave the space that expansion needs before closing.", "A sealed loop filled to the brim cold bursts or leaks warm: check the space before you close it.", common, chemistry.FromMemory)
	sealed.Only = SealedOnly
	strength := step(StepStrength, "After at least a quarter of an hour of circulation take a drop, cool it to the instrument's temperature and read the strength.", "Zero the instrument with distilled water first and read the scale of the right glycol: the wrong one is off by 10 °C.", refractive, chemistry.Standard)
	strength.Records, strength.Unit = "glycol", "mass %"
	weigh := step("weigh-filled", "Weigh it filled, dry outside, with the same brackets.", "This is what every later weighing is compared with.", common, chemistry.FromMemory)
	weigh.Records, weigh.Unit = "mass filled", "g"
	return []Step{
		step("pump-place", "Set the loop so that the pump sits below the air pocket at all times, the radiator's tank with the air highest.", "A pump above the air runs dry with a full loop.", kitManual, chemistry.Maker),
		open, sealed,
		step("tilt", "Run, stop, tilt all ways, tap, top up, and again until no bubble comes.", "Hold it so that the pump never rises into the air. Stop the pump before tilting it over.", common, chemistry.FromMemory),
		step("pump-full", "Run the pump at full speed for the bleed and leave it at full speed in service unless the owner asks otherwise.", "Pump speed is not flow: a full speed with one hot and one cold tube is no flow.", kitManual, chemistry.Maker),
		strength, weigh,
	}
}

func leakCheck() []Step {
	run := Step{ID: StepLeakRun, Phase: PhaseLeakCheck, Do: "Run the pump alone on a separate supply, the machine unpowered, with dry paper under every joint, for about 24 hours.",
		Caution: "Nothing but the pump has power. Wet: off, unplug, soak up, and dry about two days before power. A tube below the dew point is wet without a leak.", Source: leakPages, Grade: chemistry.Practice}
	run.Records, run.Unit = "duration", "h"
	return []Step{
		{ID: "separate-supply", Phase: PhaseLeakCheck, Do: "Wire the pump to a supply of its own of the right voltage and polarity; everything else stays unplugged.",
			Caution: "Low voltage only. Keep the supply above and away from the liquid.", Source: leakPages, Grade: chemistry.Practice},
		run,
	}
}

func closeAndProve() []Step {
	step := func(id StepID, phase StepPhase, do, caution, source string, grade chemistry.Grade) Step {
		return Step{ID: id, Phase: phase, Do: do, Caution: caution, Source: source, Grade: grade}
	}
	return []Step{
		step("paste", PhaseClose, "Clean both faces and renew the paste, thin and without gaps.", "Some pastes conduct: none beside the die. Alcohol away from acrylic and sparks.", kitManual, chemistry.Maker),
		step("screws", PhaseClose, "Tighten the screws alternately across, a turn at a time, to the maker's torque.", "One side first tilts the plate: it reads like a bad mount and can crack a die.", kitManual, chemistry.Maker),
		step("airflow", PhaseClose, "Mount the fans so that the air goes the way it did, or the better way, and write it down.", "Two fans against each other cool nothing. Fingers off: unplug.", common, chemistry.FromMemory),
		step("dust", PhaseClose, "Brush and blow the radiator's fins against the airflow, the fan held still.", "Machine off and unplugged; a spun fan makes voltage and breaks. Mask: dust.", magazine, chemistry.Practice),
		step("proof", PhaseProve, "Take readings at a known room temperature and power, the coolant steady, and compare with those before.", "Without both the loop is not known good. Watch the first run: unplug at the first drop.", common, chemistry.FromMemory),
		step("label", PhaseProve, "Write the tag on the loop's label and what is in it, with the day; stick it where it is seen before anything is poured.", "The next person pours by this label.", common, chemistry.FromMemory),
	}
}
