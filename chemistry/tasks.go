// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

// Task is something a technician does to a loop that can hurt.
type Task string

// The tasks with cautions of their own.
const (
	TaskOpen  Task = "open"  // open, drain, fill, top up
	TaskClean Task = "clean" // clean parts or flush with an agent
	TaskDose  Task = "dose"  // handle undiluted inhibitor or biocide
	TaskTest  Task = "test"  // leak and pressure tests
	TaskWaste Task = "waste" // store and hand over used coolant
)

// Tasks returns the tasks with cautions of their own.
func Tasks() []Task { return []Task{TaskOpen, TaskClean, TaskDose, TaskTest, TaskWaste} }

// TaskCautions returns what to mind for a task, whatever the liquid; what is in the liquid comes from [Cautions]. An unknown task
// has none.
func TaskCautions(t Task) []Caution {
	say := func(text, source string, g Grade) Caution {
		return Caution{Substance: string(t), Text: text + " " + deferral, Source: source, Grade: g}
	}
	switch t {
	case TaskOpen:
		return []Caution{
			say("Power off and unplug, and let the coolant cool below 40 °C first: a hot loop is under pressure and scalds. Mains wiring and refrigerant circuits are for licensed people only.", "chiller maintenance magazine; local codes (common practice)", Practice),
			say("Gloves and eye protection. Wipe spills up at once: they are slippery, and ethylene glycol is poisonous. Liquid on a board: off, unplug, soak up, dry for two days.", "bench practice", Practice),
			say("No first-aid decision is yours: swallowed coolant means the poison centre at once, no vomiting. In the eyes: rinse for several minutes, remove contact lenses, see a doctor.", "ILO/WHO ICSC 0270 (2018)", Standard),
		}
	case TaskClean:
		alcohol := substance("isopropanol")
		alcohol.Text = "Alcohol vapour burns: no flame, spark, hot gun or running machine near it, fresh air, small amounts. Not on acrylic. " + deferral
		return []Caution{
			alcohol,
			say("Goggles and gloves with acid, alkali and bleach. Never bleach with acid (chlorine gas) and never bleach with ammonia (chloramine gas). One agent at a time, rinse between.", "safety data sheets; common practice", Maker),
			say("No flame and no heat gun on a closed loop or a loop with liquid in it.", "common practice, no source", Practice),
		}
	case TaskDose:
		return []Caution{
			say("Data sheet at hand, goggles and gloves, fresh air. Dose by the label of the product and no more; never from an unlabelled bottle; never concentrate into concentrate.", "safety data sheets; common practice", Maker),
		}
	case TaskTest:
		return []Caution{
			say("Leak test with only the pump powered, about 24 hours. Air at most 0.5 bar and never above what the weakest part bears; stand aside, and vent before opening. Never oxygen.", "cold plate maker's air test note; bench practice", Maker),
		}
	case TaskWaste:
		return []Caution{
			say("Used coolant goes to a licensed contractor, who assigns the waste code; keep glycols, water with biocide and oil apart, closed and labelled, out of reach of children and animals. Never into a drain, a gully or the ground.", "waste classification guidance of a national regulator; local rules decide", Standard),
		}
	}
	return nil
}
