// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"fmt"
	"time"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/schedule"
)

func ExamplePlanLoop() {
	fill := loops.Day{Year: 2026, Month: time.August, Dom: 31}
	plan, err := schedule.PlanLoop(schedule.Input{
		Policy:  schedule.DefaultPolicy(),
		Machine: loops.Machine{ID: 1, Kind: loops.Desktop, Name: "the grey tower"},
		Loop: loops.Loop{
			ID: 1, Machine: 1,
			Construction: loops.Construction{Sealed: true, Volume: 0.15},
			State: loops.State{
				Charge: &loops.Charge{Fluid: chemistry.PropyleneGlycol, Origin: loops.WorkshopFill,
					FilledFrom: fill, FilledTo: fill, FluidLifeMonths: 18},
				HandedOver: fill, LastLook: fill,
			},
		},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, task := range plan.Tasks {
		for _, c := range task.Clauses {
			fmt.Printf("%s %s: %s [%s]\n", c.Day, task.Kind, c.Text, c.Grade)
		}
	}
	// Output:
	// 2026-09-14 look: First look 14 days after a fill; filled on Mon 31 Aug 2026. [common practice]
	// 2026-11-30 look: Look over every 3 months; filled on Mon 31 Aug 2026. [common practice]
	// 2027-08-31 service check: Service check every 12 months; filled on Mon 31 Aug 2026. [report]
	// 2028-02-29 coolant change: The label gives the coolant 18 months; filled on Mon 31 Aug 2026. [maker's guidance]
	// 2029-08-31 coolant change: Change the coolant every 36 months; filled on Mon 31 Aug 2026. [practice page]
}

func ExampleSweep() {
	due := loops.Day{Year: 2026, Month: time.September, Dom: 14}
	berlin, err := loops.LoadZone("Europe/Berlin")
	if err != nil {
		fmt.Println(err)
		return
	}
	swept := schedule.Sweep(schedule.SweepInput{
		Now: time.Date(2026, 9, 14, 6, 0, 0, 0, time.UTC), Policy: schedule.DefaultPolicy(), Zone: berlin, Hour: 8,
		Items: []schedule.Item{{
			Owner:   loops.Owner{ID: 5, Name: "Anna", Email: "anna@garden.example", Consent: loops.Consent{Mail: true}},
			Machine: loops.Machine{Name: "the grey tower"},
			Loop:    loops.Loop{ID: 1},
			Task:    loops.Task{Kind: loops.Look, Due: due},
		}},
		Mailed: func(loops.MessageKey) bool { return false },
	})
	for _, r := range swept.Reminders {
		fmt.Println(r.Key(), r.Stage, r.Items[0].Machine.Name, r.Items[0].Task.Kind)
	}
	// Output: 5/2026-09-14/reminder due the grey tower look
}
