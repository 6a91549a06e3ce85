// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// lifeCommands record what becomes of a loop, and what is planned for it.
func (a *app) lifeCommands() []*cobra.Command {
	return []*cobra.Command{
		a.loopTransferCommand(), a.loopRetireCommand(), a.loopPlainCommand(loops.KindNote, "what is worth remembering"),
		a.loopPauseCommand(), a.loopResumeCommand(), a.loopIntervalCommand(),
	}
}

func (a *app) loopTransferCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindTransfer, Transfer: &loops.Transfer{}}
	cmd := &cobra.Command{
		Use:     "transfer TAG --to NUMBER",
		Short:   "Record that the machine, with all its loops, went to another owner",
		Example: `  fillmark loop transfer 7K3QXA --to 8 --note "sold"`,
		Args:    oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("Machine %d with loop %s went from owner %d to owner %d.", r.Loop.Machine, r.Loop.Tag, r.Entry.Transfer.From, r.Entry.Transfer.To)
				p.line("Mail goes out only as far as the new owner agreed to it (owner show %d).", e.Transfer.To)
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	f.Uint64Var((*uint64)(&e.Transfer.To), "to", 0, "`number` of the new owner")
	needFlags(cmd, "to")
	return cmd
}

func (a *app) loopRetireCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindRetirement, Retirement: &loops.Retirement{}}
	x := e.Retirement
	cmd := &cobra.Command{
		Use:   "retire TAG --reason REASON",
		Short: "Record that the loop left service; nothing is planned for it any more",
		Example: `  fillmark loop retire 7K3QXA --reason "replaced by an air cooler" --stated-rating 165W
  fillmark loop retire 7K3QXA --reason "lost sight of"`,
		Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("Loop %s is retired: %s. Openings may still be recorded.", r.Loop.Tag, x.Reason)
				if x.StatedRatingW != nil {
					p.line("The replacement's stated %g W is noted, not judged: a load test decides.", *x.StatedRatingW)
				}
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	need(f, &x.Reason, choice("reason", loops.RetirementReasons()), "reason", "REASON", "\"replaced by an air cooler\", scrapped, \"lost sight of\" or sold (to an owner on record: loop transfer)")
	may(f, &x.StatedRatingW, number("W"), "stated-rating", "POWER", "what a replacement cooler claims, such as 165W")
	needFlags(cmd, "reason")
	return cmd
}

func (a *app) loopPauseCommand() *cobra.Command {
	return a.loopSettingCommand("pause TAG --task TASK --why TEXT", "Stop reminding about a task until it is resumed", "why",
		func(s *loops.Setting) string { s.Paused = true; return "paused" })
}

func (a *app) loopResumeCommand() *cobra.Command {
	return a.loopSettingCommand("resume TAG --task TASK", "Remind about a paused task again", "",
		func(s *loops.Setting) string { s.Paused = false; return "resumed" })
}

func (a *app) loopIntervalCommand() *cobra.Command {
	var months int
	cmd := a.loopSettingCommand("interval TAG --task TASK --months NUMBER", "Give a task an interval of this loop's own", "months",
		func(s *loops.Setting) string {
			s.IntervalMonths = months
			if months == 0 {
				return "back at the policy's interval"
			}
			return fmt.Sprintf("every %d months", months)
		})
	cmd.Flags().IntVar(&months, "months", 0, "`number` of months; 0: the policy's interval again")
	return cmd
}

// loopSettingCommand records one change of a task's setting and keeps what
// else was set for it.
func (a *app) loopSettingCommand(use, short, needed string, change func(*loops.Setting) string) *cobra.Command {
	e := loops.Entry{Kind: loops.KindSetting}
	var task loops.TaskKind
	var why string
	cmd := &cobra.Command{
		Use: use, Short: short, Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			tag, err := loops.ParseTag(args[0])
			if err != nil {
				return err
			}
			return a.with(cmd.Context(), func(c *client) error {
				path := "/api/v1/loops/" + string(tag)
				file, err := call[workshop.File](cmd.Context(), c, "GET", path, nil)
				if err != nil {
					return err
				}
				setting := file.Loop.State.Setting(task)
				now := change(&setting)
				setting.Why = why
				e.Setting = &setting
				recorded, err := call[workshop.Recorded](cmd.Context(), c, "POST", path+"/entries", e)
				if err != nil {
					return err
				}
				return a.print(recorded, func(p *printer) {
					p.line("%s of %s: %s.", task, tag, now)
					printPlan(p, recorded.Loop.Plan)
				})
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	need(f, &task, choice("task", loops.TaskKinds()), "task", "TASK", "look, \"service check\", top-up, \"inhibitor renewal\", \"biocide renewal\", \"coolant change\" or \"leak check\"")
	f.StringVar(&why, "why", "", "the reason, which stands in the plan")
	if needed == "" {
		needFlags(cmd, "task")
	} else {
		needFlags(cmd, "task", needed)
	}
	return cmd
}
