// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"context"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/loops/inspection"
)

// loopLog is what was read of a long temperature log.
type loopLog struct {
	Tag loops.Tag `json:"tag"`
	inspection.Series
	RoomC  chemistry.Celsius `json:"room_c"`
	PowerW *float64          `json:"power_w"` // null: as at the proof
	Weeks  []loops.LogWeek   `json:"weeks"`
	Kept   bool              `json:"kept"`
}

func (a *app) loopLogCommand() *cobra.Command {
	var columns inspection.Columns
	var room chemistry.Celsius
	var power *float64
	var check bool
	cmd := &cobra.Command{
		Use:   "log TAG FILE",
		Short: "Keep a long temperature log of a loop: the warmest hour of each week",
		Long: `Keep a long temperature log of a loop: the warmest hour of each week, from which
the resistance since the proof is followed. The file is CSV, JSON or Prometheus
text with a time and a temperature, of any length. Its columns are guessed and
named in the answer; --check reads it and keeps nothing. A room column
takes precedence over --room.`,
		Example: `  fillmark loop log 7K3QXW week.csv --room 22C --check
  fillmark loop log 7K3QXW week.csv --room 22C --power 120W --temperature "CPU die"`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return &usageError{fmt.Errorf("%d arguments given; two are right: the tag on the loop's label and the file with the log", len(args))}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			tag, err := loops.ParseTag(args[0])
			if err != nil {
				return err
			}
			answer, err := a.readLoopLog(tag, args[1], columns, room, power)
			if err == nil && !check {
				err = a.keepLoopLog(cmd.Context(), &answer)
			}
			if err != nil {
				return err
			}
			return a.print(answer, func(p *printer) { printLoopLog(p, answer) })
		},
	}
	f := cmd.Flags()
	need(f, &room, chemistry.ParseCelsius, "room", "TEMPERATURE", "air of the room around the machine, as it usually is")
	may(f, &power, number("W"), "power", "POWER", "heat of the machine in its warmest hours, such as 120W (default: as at the proof)")
	f.StringVar(&columns.Time, "time", "", "time `column` (default: guessed)")
	f.StringVar(&columns.Temperature, "temperature", "", "temperature `column` (default: guessed)")
	f.StringVar(&columns.Room, "room-column", "", "room `column`, or none (default: guessed)")
	f.BoolVar(&check, "check", false, "read it and keep nothing")
	needFlags(cmd, "room")
	return cmd
}

// readLoopLog reads the file, a line at a time.
func (a *app) readLoopLog(tag loops.Tag, path string, columns inspection.Columns, room chemistry.Celsius, power *float64) (loopLog, error) {
	file, err := os.Open(path)
	if err != nil {
		return loopLog{}, fmt.Errorf("log: %w", err)
	}
	defer file.Close()
	weeks, series, err := inspection.ReadWeeks(file, &columns, a.now())
	if err != nil {
		return loopLog{}, fmt.Errorf("%s: %w", path, err)
	}
	return loopLog{Tag: tag, Series: series, RoomC: room, PowerW: power, Weeks: loops.LogOf(weeks, series, room, power).Weeks}, nil
}

// keepLoopLog puts it on record.
func (a *app) keepLoopLog(ctx context.Context, l *loopLog) error {
	log := loops.LogOf(nil, l.Series, l.RoomC, l.PowerW)
	log.Weeks = l.Weeks
	_, err := ask[loops.TemperatureLog](ctx, a, "POST", "/api/v1/loops/"+string(l.Tag)+"/log", log)
	l.Kept = err == nil
	return err
}

func printLoopLog(p *printer, l loopLog) {
	words := map[bool]string{true: "Kept for " + string(l.Tag), false: "Read, and not kept"}[l.Kept]
	p.line("%s: %s of %s.", words, plural(len(l.Weeks), "week"), l.Format)
	from := fmt.Sprintf("%s from %q at the times in %q", plural(l.Series.Read, "temperature"), l.Columns.Temperature, l.Columns.Time)
	if l.Columns.Room != "" {
		from += fmt.Sprintf(", the room from %q", l.Columns.Room)
	}
	p.paragraph("  ", "    ", from+". Left out: "+l.SkippedWords()+".")
	if l.Gaps > 0 {
		p.line("  Gaps: %d.", l.Gaps)
	}
	p.table([]string{"week from", "warmest hour", "room", "hours read"}, len(l.Weeks), func(i int) []string {
		w := l.Weeks[i]
		room := l.RoomC
		if w.Room != nil {
			room = *w.Room
		}
		return []string{w.Day.Long(), w.Warmest.String(), room.String(), fmt.Sprint(w.Hours)}
	})
}
