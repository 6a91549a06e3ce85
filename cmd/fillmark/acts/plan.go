// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"strings"

	"fillmark/loops"
)

// Plan changes how a task of this loop is planned.
type Plan struct {
	Doing
	Task loops.TaskKind
	// Pause stops the task's reminders, or lets them go on; nil leaves it.
	Pause *bool
	// Months is the loop's own interval; zero goes back to the policy's; nil
	// leaves it.
	Months *int
	Why    string
}

func planAct() Definition {
	return define(Definition{
		Name: "plan", Done: "Planned otherwise", Kind: loops.KindSetting,
		Short:    "Change a task's plan: pause it, or give it an interval of its own",
		Examples: []string{`7K3QXW --task look --pause --why "abroad until spring"`, "7K3QXW --task look --pause=no", `7K3QXW --task "service check" --months 6`},
	}, fields[Plan]{
		one(Field{Name: "task", Label: "", Help: "which task", Needed: true}, choice("TASK", loops.TaskKinds()), func(a *Plan) *loops.TaskKind { return &a.Task }),
		may(Field{Name: "pause", Label: "paused", Help: "remind nobody of it; no resumes the reminders"}, truth(), func(a *Plan) **bool { return &a.Pause }),
		may(Field{Name: "months", Also: []string{"interval"}, Label: "every", Help: "an interval of this loop's own; 0 goes back to the policy's", Example: "6"}, whole("MONTHS", "months"), func(a *Plan) **int { return &a.Months }),
		one(Field{Name: "why", Label: "", Help: "the reason, which stands in the plan", Personal: true}, words(), func(a *Plan) *string { return &a.Why }),
	}, func(e loops.Entry) Plan {
		p := Plan{Task: e.Setting.Task, Pause: &e.Setting.Paused, Why: e.Setting.Why}
		if e.Setting.IntervalMonths > 0 {
			p.Months = &e.Setting.IntervalMonths
		}
		return p
	})
}

// Check wants to know what is to change, and why where reminders stop.
func (a *Plan) Check(s Snapshot, today loops.Day) error {
	switch {
	case a.Pause == nil && a.Months == nil:
		return wrong("months", "", "what to change: pause, or months")
	case a.Pause != nil && *a.Pause && strings.TrimSpace(a.Why) == "":
		return wrong("why", "", "why nobody is to be reminded")
	}
	return s.returned(a.on(today), loops.KindSetting)
}

// Apply changes what was said and keeps what else was set for the task.
func (a *Plan) Apply(s Snapshot, today loops.Day) loops.Change {
	setting := s.Loop.State.Setting(a.Task)
	setting.Why = a.Why
	if a.Pause != nil {
		setting.Paused = *a.Pause
	}
	if a.Months != nil {
		setting.IntervalMonths = *a.Months
	}
	return a.writes(loops.Entry{Kind: loops.KindSetting, Setting: &setting}, today)
}
