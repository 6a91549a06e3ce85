// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/schedule"
)

// day parses a day of a test table.
func day(t require.TestingT, text string) loops.Day {
	d, err := loops.ParseDay(text)
	require.NoError(t, err)
	return d
}

// filled returns a loop in service: filled on 10 January 2026 with propylene
// glycol, handed over two days later.
func filled(kind loops.MachineKind, sealed bool) schedule.Input {
	fill := loops.Day{Year: 2026, Month: time.January, Dom: 10}
	mass := chemistry.MassFraction(0.3)
	return schedule.Input{
		Policy:  schedule.DefaultPolicy(),
		Machine: loops.Machine{ID: 7, Owner: 3, Kind: kind, Name: "the grey tower"},
		Loop: loops.Loop{
			ID: 12, Machine: 7, Tag: "7K3QXA",
			Construction: loops.Construction{Sealed: sealed, Volume: 0.5},
			State: loops.State{
				Charge: &loops.Charge{
					Fluid: chemistry.PropyleneGlycol, Mass: &mass, Volume: 0.5,
					Origin: loops.WorkshopFill, FilledFrom: fill, FilledTo: fill,
				},
				HandedOver: fill.AddDays(2), LastLook: fill.AddDays(2),
			},
		},
	}
}

func task(plan loops.Plan, kind loops.TaskKind) (loops.Task, bool) {
	i := slices.IndexFunc(plan.Tasks, func(t loops.Task) bool { return t.Kind == kind })
	if i < 0 {
		return loops.Task{}, false
	}
	return plan.Tasks[i], true
}

// dues prints a plan in short.
func dues(plan loops.Plan) map[loops.TaskKind]string {
	m := map[loops.TaskKind]string{}
	for _, t := range plan.Tasks {
		m[t.Kind] = t.Due.String() + " " + string(t.Binding().Kind)
	}
	return m
}

// The expected days are the shipped intervals counted by hand on a calendar.
func TestPlanOfEveryKind(t *testing.T) {
	t.Parallel()
	water := func(in *schedule.Input) {
		in.Loop.State.Charge.Fluid = chemistry.TreatedWater
		in.Loop.State.Charge.Mass = nil
		in.Loop.State.Charge.Additives = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole"}}, {Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone"}}}
	}
	tests := []struct {
		name   string
		kind   loops.MachineKind
		sealed bool
		change func(*schedule.Input)
		want   map[loops.TaskKind]string
	}{
		{"open desktop", loops.Desktop, false, nil, map[loops.TaskKind]string{
			loops.Look: "2026-01-26 first look", loops.ServiceCheck: "2027-01-10 interval",
			loops.CoolantChange: "2027-01-10 interval", loops.LeakCheckTask: "2027-01-10 interval",
		}},
		{"sealed desktop", loops.Desktop, true, nil, map[loops.TaskKind]string{
			loops.Look: "2026-01-26 first look", loops.ServiceCheck: "2027-01-10 interval",
			loops.CoolantChange: "2029-01-10 interval",
		}},
		{"open server with propylene glycol", loops.Server, false, nil, map[loops.TaskKind]string{
			loops.Look: "2026-01-26 first look", loops.ServiceCheck: "2026-04-10 interval",
			loops.CoolantChange: "2027-01-10 interval", loops.LeakCheckTask: "2027-01-10 interval",
		}},
		{"laser chiller with treated water", loops.LaserChiller, false, water, map[loops.TaskKind]string{
			loops.Look: "2026-01-26 first look", loops.ServiceCheck: "2026-07-10 interval",
			loops.InhibitorRenewal: "2027-01-10 interval", loops.BiocideRenewal: "2026-04-10 interval",
			loops.CoolantChange: "2026-07-10 interval", loops.LeakCheckTask: "2027-01-10 interval",
		}},
		{"bench chiller with glycol", loops.BenchChiller, false, nil, map[loops.TaskKind]string{
			loops.Look: "2026-01-26 first look", loops.ServiceCheck: "2026-07-10 interval",
			loops.CoolantChange: "2029-01-10 interval", loops.LeakCheckTask: "2027-01-10 interval",
		}},
		{"donor unit", loops.DonorUnit, false, nil, map[loops.TaskKind]string{}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			in := filled(tt.kind, tt.sealed)
			if tt.change != nil {
				tt.change(&in)
			}
			plan, err := schedule.PlanLoop(in)
			require.NoError(t, err)
			assert.Equal(t, tt.want, dues(plan))
			assert.Equal(t, in.Policy.Version, plan.PolicyVersion)
		})
	}
}

func TestPlanRules(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name   string
		sealed bool
		change func(*loops.State)
		task   loops.TaskKind
		want   string // due day and binding kind; "" = no such task
		text   string // of the binding clause
	}{
		{"never handed over", false, func(s *loops.State) { s.HandedOver = loops.Day{} }, loops.Look, "", ""},
		{"drained", false, func(s *loops.State) { s.Charge = nil }, loops.Look, "", ""},
		{"failed", false, func(s *loops.State) { s.Failed = s.LastLook }, loops.CoolantChange, "", ""},
		{"retired", false, func(s *loops.State) { s.Retired = s.LastLook }, loops.ServiceCheck, "", ""},
		{"after the first look the interval counts", false, func(s *loops.State) { s.LastLook = loops.Day{Year: 2026, Month: time.January, Dom: 31} },
			loops.Look, "2026-02-28 interval", "Look over every month; last looked over on Sat 31 Jan 2026."},
		{"no first look after a factory fill", true, func(s *loops.State) { s.Charge.Origin = loops.Factory },
			loops.Look, "2026-04-12 interval", "Look over every 3 months; handed over on Mon 12 Jan 2026."},
		{"fluid life from the earliest day of the fill", false, func(s *loops.State) {
			s.Charge.FluidLifeMonths, s.Charge.FilledFrom = 6, loops.Day{Year: 2025, Month: time.August, Dom: 31}
		}, loops.CoolantChange, "2026-02-28 declared life", "The label gives the coolant 6 months; filled on Sun 31 Aug 2025 at the earliest."},
		{"fill day unknown before", false, func(s *loops.State) { s.Charge.FluidLifeMonths, s.Charge.FilledFrom = 6, loops.Day{} },
			loops.CoolantChange, "2026-07-10 declared life", "The label gives the coolant 6 months; filled on Sat 10 Jan 2026 or earlier."},
		{"inhibitor renewed in an open loop", false, func(s *loops.State) {
			s.Charge.Additives = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole", LifeMonths: 5}}}
		},
			loops.InhibitorRenewal, "2026-06-10 declared life", "The label gives the inhibitor 5 months; filled on Sat 10 Jan 2026."},
		{"inhibitor of a formulated product", false, func(s *loops.State) {
			s.Charge.Additives, s.Charge.FormulatedProduct = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "organic acid", LifeMonths: 5}}}, true
		}, loops.CoolantChange, "2026-06-10 declared life", "The label gives the inhibitor 5 months; filled on Sat 10 Jan 2026."},
		{"formulated product gets no renewal of its own", false, func(s *loops.State) {
			s.Charge.Additives, s.Charge.FormulatedProduct = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "organic acid", LifeMonths: 5}}}, true
		}, loops.InhibitorRenewal, "", ""},
		{"re-dosable product does", false, func(s *loops.State) {
			s.Charge.Additives, s.Charge.FormulatedProduct, s.Charge.ReDosable = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "organic acid", LifeMonths: 5}}}, true, true
		}, loops.InhibitorRenewal, "2026-06-10 declared life", "The label gives the inhibitor 5 months; filled on Sat 10 Jan 2026."},
		{"sealed loop: inhibitor by coolant change", true, func(s *loops.State) {
			s.Charge.Additives = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole", LifeMonths: 5}}}
		},
			loops.InhibitorRenewal, "", ""},
		{"sealed loop: its biocide asks for a check", true, func(s *loops.State) {
			s.Charge.Additives = []loops.Dosed{{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone", LifeMonths: 4}}}
		},
			loops.ServiceCheck, "2026-05-10 declared life",
			"The label gives the biocide 4 months, and a sealed loop is not opened to renew it: the check asks whether it cools as before; filled on Sat 10 Jan 2026."},
		{"and for no coolant change", true, func(s *loops.State) {
			s.Charge.Additives = []loops.Dosed{{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone", LifeMonths: 4}}}
		},
			loops.CoolantChange, "2029-01-10 interval", "Change the coolant every 36 months; filled on Sat 10 Jan 2026."},
		{"the check done, the next is a life later", true, func(s *loops.State) {
			s.Charge.Additives = []loops.Dosed{{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone", LifeMonths: 4}}}
			s.LastService = loops.Day{Year: 2026, Month: time.May, Dom: 12}
		}, loops.ServiceCheck, "2026-09-12 declared life",
			"The label gives the biocide 4 months, and a sealed loop is not opened to renew it: the check asks whether it cools as before; last readings taken on Tue 12 May 2026."},
		{"no biocide, no renewal", false, func(s *loops.State) {
			s.Charge.Additives = []loops.Dosed{{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "none", LifeMonths: 4}}}
		},
			loops.BiocideRenewal, "", ""},
		{"no inhibitor, no renewal", false, func(s *loops.State) {
			s.Charge.Additives = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "none", LifeMonths: 4}}}
		},
			loops.InhibitorRenewal, "", ""},
		{"biocide counts from its dose", false, func(s *loops.State) {
			s.Charge.Additives = []loops.Dosed{{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone", LifeMonths: 4, Added: loops.Day{Year: 2026, Month: time.March, Dom: 1}}}}
		}, loops.BiocideRenewal, "2026-07-01 declared life", "The label gives the biocide 4 months; biocide last added on Sun 1 Mar 2026."},
		{"missing liquid", false, func(s *loops.State) {
			s.Missing, s.MissingSeen = 0.03, loops.Day{Year: 2026, Month: time.August, Dom: 3}
		},
			loops.TopUpTask, "2026-08-03 finding", "30 ml missing to the fill mark; seen on Mon 3 Aug 2026."},
		{"sealed loops are not topped up", true, func(s *loops.State) {
			s.Missing, s.MissingSeen = 0.03, loops.Day{Year: 2026, Month: time.August, Dom: 3}
		},
			loops.TopUpTask, "", ""},
		{"but looked at", true, func(s *loops.State) {
			s.Missing, s.MissingSeen = 0.03, loops.Day{Year: 2026, Month: time.August, Dom: 3}
		},
			loops.ServiceCheck, "2026-08-03 finding", "30 ml missing to the fill mark; seen on Mon 3 Aug 2026."},
		{"something is off", false, func(s *loops.State) { s.Concern = loops.Day{Year: 2026, Month: time.March, Dom: 5} },
			loops.ServiceCheck, "2026-03-05 finding", "The owner says something is off; answered on Thu 5 Mar 2026."},
		{"own interval", false, func(s *loops.State) {
			s.Settings = []loops.Setting{{Task: loops.ServiceCheck, IntervalMonths: 2, Why: "runs day and night"}}
		}, loops.ServiceCheck, "2026-03-10 setting", "Service check every 2 months, this loop's own interval; filled on Sat 10 Jan 2026 (runs day and night)."},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			in := filled(loops.Desktop, tt.sealed)
			tt.change(&in.Loop.State)
			plan, err := schedule.PlanLoop(in)
			require.NoError(t, err)
			got, ok := task(plan, tt.task)
			if tt.want == "" {
				assert.False(t, ok, "planned: %v", got)
				return
			}
			require.True(t, ok, "no such task in %v", dues(plan))
			assert.Equal(t, tt.want, got.Due.String()+" "+string(got.Binding().Kind))
			assert.Equal(t, tt.text, got.Binding().Text)
		})
	}
}

func TestPausedTaskSaysSo(t *testing.T) {
	t.Parallel()
	in := filled(loops.Desktop, false)
	in.Loop.State.Settings = []loops.Setting{{Task: loops.Look, Paused: true, Why: "owner abroad"}}
	plan, err := schedule.PlanLoop(in)
	require.NoError(t, err)
	look, ok := task(plan, loops.Look)
	require.True(t, ok)
	assert.True(t, look.Paused)
	assert.Equal(t, loops.ByFirstLook, look.Binding().Kind, "the pause does not hide why the task is due")
	assert.Equal(t, loops.BySetting, look.Clauses[1].Kind)
	assert.Contains(t, look.Clauses[1].Text, "owner abroad")
	in.Loop.Plan = plan
	for _, d := range in.Loop.Dues() {
		assert.NotEqual(t, loops.Look, d.Task)
	}
}

func TestLabelIsNamed(t *testing.T) {
	t.Parallel()
	in := filled(loops.Desktop, false)
	in.Loop.State.Charge.Product, in.Loop.State.Charge.FluidLifeMonths = "Bench Blue", 6
	plan, err := schedule.PlanLoop(in)
	require.NoError(t, err)
	change, ok := task(plan, loops.CoolantChange)
	require.True(t, ok)
	assert.Equal(t, "label of Bench Blue", change.Binding().Source)
	assert.Equal(t, schedule.GradeMaker, change.Binding().Grade)
}

// The days come from the history, so that folding and planning fit together.
func TestPlanFromHistory(t *testing.T) {
	t.Parallel()
	in := filled(loops.Desktop, false)
	charge := *in.Loop.State.Charge
	missing := chemistry.Litre(0.03)
	history := []loops.Entry{
		{ID: 1, Day: day(t, "2026-01-10"), Kind: loops.KindFill, Fill: &loops.Fill{Charge: charge}},
		{ID: 2, Day: day(t, "2026-01-12"), Kind: loops.KindHandover, Handover: &loops.Handover{}},
		{ID: 3, Day: day(t, "2026-02-20"), Kind: loops.KindAnswer, Answer: &loops.Answer{Answer: loops.SomethingOff}},
	}
	in.Loop.State = loops.Fold(history)
	plan, err := schedule.PlanLoop(in)
	require.NoError(t, err)
	assert.Equal(t, "2026-02-20 finding", dues(plan)[loops.ServiceCheck])

	history = append(history, loops.Entry{ID: 4, Day: day(t, "2026-02-25"), Kind: loops.KindInspection,
		Inspection: &loops.Inspection{Verdict: loops.Watch, Missing: &missing}})
	in.Loop.State, in.History = loops.Fold(history), history
	plan, err = schedule.PlanLoop(in)
	require.NoError(t, err)
	assert.Equal(t, "2027-02-25 interval", dues(plan)[loops.ServiceCheck], "readings settle the owner's concern")
	low, _ := clause(plan, loops.TopUpTask, loops.ByFinding)
	assert.Equal(t, "2026-02-25", low.Day.String())
	assert.Equal(t, "2026-02-25 finding", dues(plan)[loops.LeakCheckTask], "30 of 500 ml in six weeks")
}

func TestPlanRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, field string
		change      func(*schedule.Input)
	}{
		{"policy without version", "policy.version", func(in *schedule.Input) { in.Policy.Version = "" }},
		{"another machine", "machine", func(in *schedule.Input) { in.Machine.ID = 8 }},
		{"unknown kind", "kind", func(in *schedule.Input) { in.Machine.Kind = "toaster" }},
		{"charge without day", "filled", func(in *schedule.Input) { in.Loop.State.Charge.FilledTo = loops.Day{} }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			in := filled(loops.Desktop, false)
			tt.change(&in)
			plan, err := schedule.PlanLoop(in)
			var invalid *loops.InvalidError
			require.ErrorAs(t, err, &invalid)
			assert.Equal(t, tt.field, invalid.Field)
			assert.Empty(t, plan)
		})
	}
}

// anyDay draws a day from the leap-year rich decades.
func anyDay(t *rapid.T, label string) loops.Day {
	return loops.Day{Year: 2019, Month: time.January, Dom: 1}.AddDays(rapid.IntRange(0, 366*12).Draw(t, label))
}

// anyInput draws a loop in service in whatever state.
func anyInput(t *rapid.T) schedule.Input {
	in := filled(rapid.SampledFrom(loops.MachineKinds()).Draw(t, "kind"), rapid.Bool().Draw(t, "sealed"))
	s := &in.Loop.State
	maybe := func(label string) loops.Day {
		if rapid.Bool().Draw(t, label+"?") {
			return anyDay(t, label)
		}
		return loops.Day{}
	}
	c := s.Charge
	c.Fluid = rapid.SampledFrom(chemistry.Fluids()).Draw(t, "fluid")
	c.Origin = rapid.SampledFrom([]loops.Origin{loops.Factory, loops.WorkshopFill, loops.UnknownOrigin}).Draw(t, "origin")
	c.FilledTo = anyDay(t, "filled")
	c.FilledFrom = rapid.SampledFrom([]loops.Day{{}, c.FilledTo, c.FilledTo.AddMonths(-7)}).Draw(t, "from")
	c.FluidLifeMonths = rapid.IntRange(0, 60).Draw(t, "life")
	c.FormulatedProduct, c.ReDosable = rapid.Bool().Draw(t, "formulated"), rapid.Bool().Draw(t, "re-dosable")
	c.Additives = nil
	for range rapid.IntRange(0, 4).Draw(t, "additives") {
		role := rapid.SampledFrom(loops.AdditiveRoles()).Draw(t, "role")
		c.Additives = append(c.Additives, loops.Dosed{Role: role, Additive: loops.Additive{
			Family: rapid.SampledFrom([]string{"", "none", "azole"}).Draw(t, "family"), LifeMonths: rapid.IntRange(0, 24).Draw(t, "life"), Added: maybe("added"),
		}})
	}
	s.HandedOver, s.LastLook, s.LastService = anyDay(t, "handed over"), anyDay(t, "look"), maybe("service")
	s.LastTopUp, s.LastLeakCheck, s.Concern, s.MissingSeen = maybe("top-up"), maybe("leak check"), maybe("concern"), maybe("seen")
	s.Missing = chemistry.Litre(rapid.Float64Range(0, 0.2).Draw(t, "missing"))
	for _, kind := range loops.TaskKinds() {
		if rapid.IntRange(0, 4).Draw(t, "set") == 0 {
			s.Settings = append(s.Settings, loops.Setting{Task: kind, Paused: rapid.Bool().Draw(t, "paused"), IntervalMonths: rapid.IntRange(0, 40).Draw(t, "own")})
		}
	}
	return in
}

func TestPlanProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := anyInput(t)
		plan, err := schedule.PlanLoop(in)
		require.NoError(t, err)
		for _, k := range plan.Tasks {
			require.NotEmpty(t, k.Clauses)
			earliest := k.Clauses[0].Day
			for i, c := range k.Clauses {
				if c.Day.Before(earliest) {
					earliest = c.Day
				}
				assert.False(t, i > 0 && c.Day.Before(k.Clauses[i-1].Day), "clauses out of order: %v", k.Clauses)
				assert.False(t, c.Day.IsZero())
				assert.NotEmpty(t, c.Source)
				assert.Contains(t, schedule.Grades(), c.Grade)
				if !strings.HasPrefix(c.Text, "Paused") {
					assert.Regexp(t, `^[A-Z0-9].*\d.*\.$`, c.Text, "a sentence with a figure")
				}
			}
			if k.Paused {
				require.Greater(t, len(k.Clauses), 1)
				assert.Contains(t, k.Clauses[1].Text, "Paused for this loop")
			}
			assert.Equal(t, earliest, k.Due)
			assert.Equal(t, in.Loop.State.Setting(k.Kind).Paused, k.Paused)
			if in.Loop.Sealed {
				assert.NotContains(t, []loops.TaskKind{loops.TopUpTask, loops.InhibitorRenewal, loops.BiocideRenewal}, k.Kind)
			}
		}
		again, err := schedule.PlanLoop(in)
		require.NoError(t, err)
		assert.Equal(t, plan, again)
	})
}

// A month after day d is the same day of the next month or, where that month
// is shorter, its last day: checked by walking day by day.
func TestIntervalsClampToMonthEnd(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := filled(loops.Desktop, false)
		months := rapid.IntRange(1, 48).Draw(t, "months")
		in.Loop.State.Charge.FilledTo = anyDay(t, "filled")
		in.Loop.State.Charge.FilledFrom = in.Loop.State.Charge.FilledTo
		in.Loop.State.Settings = []loops.Setting{{Task: loops.CoolantChange, IntervalMonths: months}}
		plan, err := schedule.PlanLoop(in)
		require.NoError(t, err)
		change, ok := task(plan, loops.CoolantChange)
		require.True(t, ok)

		from := in.Loop.State.Charge.FilledTo
		want, passed := from, 0
		for passed < months || want.Dom < from.Dom && want.AddDays(1).Month == want.Month {
			next := want.AddDays(1)
			if next.Month != want.Month {
				passed++
			}
			want = next
		}
		assert.Equal(t, want, change.Due)
	})
}

func BenchmarkPlanLoop(b *testing.B) {
	in := filled(loops.LaserChiller, false)
	in.Loop.State.Charge.Additives = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole", LifeMonths: 12}}, {Role: loops.RoleBiocide, Additive: loops.Additive{Family: "glutaraldehyde", LifeMonths: 6}}}
	in.Loop.State.Missing, in.Loop.State.MissingSeen = 0.03, loops.Day{Year: 2026, Month: time.March, Dom: 1}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := schedule.PlanLoop(in); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkPlanLoopWithHistory plans a loop that has eight comparable readings
// with levels and weights, evidence, and a frost to expect.
func BenchmarkPlanLoopWithHistory(b *testing.B) {
	in := withHistory(loops.Server, comparableReadings(loops.Day{Year: 2026, Month: time.February, Dom: 1}, 8, 0.002)...)
	for i := range in.History {
		if x := in.History[i].Inspection; x != nil {
			x.Missing, x.Weight, x.PH = new(chemistry.Litre(0.001*float64(i))), new(chemistry.Kilogram(10-0.004*float64(i))), new(9.0)
		}
	}
	in.Loop.State = loops.Fold(in.History)
	in.Loop.ColdestWall = new(chemistry.Celsius(-12))
	in.Policy.FirstFrost = loops.MonthDay{Month: time.October, Dom: 15}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := schedule.PlanLoop(in); err != nil {
			b.Fatal(err)
		}
	}
}
