// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"maps"
	"strings"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/inspection"
	"fillmark/loops/inspection/triage"
)

// triageAsked is what the flags of triage give.
type triageAsked struct {
	seen                   triage.Seen
	sealed, open           bool
	power, step            *float64
	fast, slow             *chemistry.CelsiusDelta
	die, room, inlet, exit *chemistry.Celsius
	log                    string
	signs                  map[triage.Sign]*string
}

func (a *app) triageCommand() *cobra.Command {
	asked := triageAsked{signs: map[triage.Sign]*string{}}
	cmd := &cobra.Command{
		Use:   "triage [TAG] (--sealed | --open)",
		Short: "Why a machine runs hot, by probability, and the next thing to do",
		Long: `Why a machine runs hot: ranked causes whose probabilities add to one, and the
cheapest next thing to do that tells them apart. With a tag it starts from the
last readings on record and compares them with the loop's own first ones; what is
typed takes precedence. Leave out what you do not know: it counts neither way.
Nothing is recorded.`,
		Example: `  fillmark triage --sealed --die 92C --room 22C --power 100W --pump running --screws loose
  fillmark triage 7K3QXW --fan-direction against`,
		Args: atMostOne("the tag on the loop's label"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := asked.start(cmd, a, args); err != nil {
				return err
			}
			answer, err := triage.Judge(asked.seen)
			if err != nil {
				return err
			}
			return a.print(answer, func(p *printer) { printTriage(p, answer) })
		},
	}
	f := cmd.Flags()
	f.BoolVar(&asked.sealed, "sealed", false, "no fill port: a closed unit without reservoir")
	f.BoolVar(&asked.open, "open", false, "with a fill port or a reservoir: a built loop")
	may(f, &asked.die, chemistry.ParseCelsius, "die", "TEMPERATURE", "hottest die or heat source under load, such as 92C")
	may(f, &asked.room, chemistry.ParseCelsius, "room", "TEMPERATURE", "air of the room, such as 22C")
	may(f, &asked.power, number("W"), "power", "POWER", "heat at the cold plate while the die was read, such as 100W")
	may(f, &asked.inlet, chemistry.ParseCelsius, "coolant-in", "TEMPERATURE", "coolant into the cold plate, where it can be read")
	may(f, &asked.exit, chemistry.ParseCelsius, "coolant-out", "TEMPERATURE", "coolant out of the cold plate")
	may(f, &asked.step, number("W"), "step-power", "POWER", "a step in power, such as 60W, with --step-fast and --step-slow")
	may(f, &asked.fast, chemistry.ParseCelsiusDelta, "step-fast", "KELVIN", "rise of the die inside 10 s of the step, such as 12K")
	may(f, &asked.slow, chemistry.ParseCelsiusDelta, "step-slow", "KELVIN", "its further rise until 10 min after, such as 4K")
	f.StringVar(&asked.log, "log", "", "`FILE` with a temperature log from switching on, as fillmark log reads it; needs --power")
	for _, q := range triage.Questions() {
		asked.signs[q.Sign] = f.String(string(q.Sign), "", "`VALUE`: "+q.Help)
	}
	return cmd
}

// start gathers what is known: the record of a tag first, then what was typed.
func (t *triageAsked) start(cmd *cobra.Command, a *app, args []string) error {
	if t.sealed && t.open || !t.sealed && !t.open && len(args) == 0 {
		return &usageError{fmt.Errorf("--sealed or --open: one of them says what is looked for and what can be")}
	}
	if len(args) == 1 {
		tag, err := loops.ParseTag(args[0])
		if err != nil {
			return err
		}
		kept, err := ask[workshop.File](cmd.Context(), a, "GET", "/api/v1/loops/"+string(tag), nil)
		if err != nil {
			return err
		}
		t.seen = kept.Seen()
	}
	if t.sealed || t.open {
		t.seen.Sealed = t.sealed
	}
	signs := maps.Clone(t.seen.Signs)
	if signs == nil {
		signs = map[triage.Sign]triage.Value{}
	}
	t.seen.Signs = signs
	for sign, value := range t.signs {
		if *value != "" {
			t.seen.Signs[sign] = triage.Value(strings.ToLower(strings.TrimSpace(*value)))
		}
	}
	for from, to := range map[**chemistry.Celsius]**chemistry.Celsius{&t.die: &t.seen.Die, &t.room: &t.seen.Room, &t.inlet: &t.seen.CoolantIn, &t.exit: &t.seen.CoolantOut} {
		if *from != nil {
			*to = *from
		}
	}
	if t.power != nil {
		t.seen.Power = new(inspection.Watt(*t.power))
	}
	if err := t.stepped(); err != nil {
		return err
	}
	return t.logged()
}

// stepped takes a step in power.
func (t *triageAsked) stepped() error {
	if t.step == nil && t.fast == nil && t.slow == nil {
		return nil
	}
	if t.step == nil || *t.step <= 0 || t.fast == nil && t.slow == nil {
		return &usageError{fmt.Errorf("--step-power: a power above 0W, with --step-fast or --step-slow or both")}
	}
	part := func(rise *chemistry.CelsiusDelta) *inspection.KelvinPerWatt {
		if rise == nil {
			return nil
		}
		return new(inspection.KelvinPerWatt(float64(*rise) / *t.step))
	}
	t.seen.Fast, t.seen.Slow = part(t.fast), part(t.slow)
	return nil
}

// logged takes what a temperature log from switching on shows of a step.
func (t *triageAsked) logged() error {
	if t.log == "" {
		return nil
	}
	if t.seen.Power == nil {
		return &usageError{fmt.Errorf("--log: needs --power, the heat of the machine during the log")}
	}
	log, err := analyseLog(t.log, float64(*t.seen.Power))
	if err != nil {
		return err
	}
	if value := triage.OfLog(log.Class); value != triage.Unknown {
		t.seen.Signs[triage.SignStep] = value
	}
	return nil
}

func printTriage(p *printer, a triage.Answer) {
	p.paragraph("", "", a.Text)
	if a.Resistance != nil {
		p.line("%.2f K/W from die to room; %.2f to %.2f is usual for it", float64(*a.Resistance), float64(a.Band.Low), float64(a.Band.High))
	}
	for _, c := range a.Causes {
		if c.Probability < leastShown {
			continue
		}
		p.paragraph(fmt.Sprintf("  %3.0f %%  %-9s", 100*c.Probability, c.Cause), "                 ", c.What+"; "+c.Why)
	}
	next := fmt.Sprintf("%s (%.0f min)", a.Next.Do, a.Next.Minutes)
	if len(a.Next.Separates) == 2 {
		next += fmt.Sprintf("; it tells %s from %s", a.Next.Separates[0], a.Next.Separates[1])
	}
	p.paragraph("Next: ", "      ", next)
	for _, c := range a.Cautions {
		p.paragraph("! ", "  ", c)
	}
}

// leastShown is the probability below which a cause is only in the JSON.
const leastShown = .02
