// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// workCommands record what is done to a loop at the bench.
func (a *app) workCommands() []*cobra.Command {
	return []*cobra.Command{
		a.loopIntakeCommand(), a.loopDrainCommand(), a.loopPlainCommand(loops.KindClean, "what it was cleaned with"),
		a.loopPlainCommand(loops.KindFlush, "what it was flushed with, and to what end point"),
		a.loopDoseCommand(), a.loopLeakCheckCommand(), a.loopProofCommand(), a.loopWeighCommand(),
	}
}

func (a *app) loopIntakeCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindIntake, Intake: &loops.Intake{}}
	var files []string
	cmd := &cobra.Command{
		Use:   "intake TAG --complaint TEXT",
		Short: "Record that the machine came in, and why",
		Example: `  fillmark loop intake 7K3QXA --complaint "loud since May" --symptom "die 91C at full load" --hours 8120h
  fillmark loop intake 7K3QXA --complaint "drips" --photo front.jpg --photo dent.jpg`,
		Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			if _, err := loops.ParseTag(args[0]); err != nil {
				return err // before any photo is kept
			}
			kept, err := a.uploadAll(cmd.Context(), files)
			if err != nil {
				return err
			}
			for _, photo := range kept {
				e.Intake.Photos = append(e.Intake.Photos, photo.Hash)
			}
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("Intake of %s recorded; fillmark loop steps %s prints the bench sheet.", r.Loop.Tag, r.Loop.Tag)
				if n := len(kept); n > 0 {
					p.line("With it: %s.", plural(n, "photo"))
				}
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	f.StringVar(&e.Intake.Complaint, "complaint", "", "in the owner's words")
	f.StringVar(&e.Intake.Symptom, "symptom", "", "what was seen at the bench")
	hoursFlag(f, &e.Intake.RunningHours)
	f.StringArrayVar(&files, "photo", nil, "`FILE` of a photo as it came in; repeat")
	needFlags(cmd, "complaint")
	return cmd
}

func hoursFlag(f *pflag.FlagSet, target **float64) {
	may(f, target, number("h"), "hours", "HOURS", "hour meter where there is one, such as 8120h")
}

func (a *app) loopDrainCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindDrain, Drain: &loops.Drain{}}
	cmd := &cobra.Command{
		Use:     "drain TAG [--out VOLUME --went TEXT]",
		Short:   "Record that the loop was drained; what came out goes into the used-fluid log",
		Example: `  fillmark loop drain 7K3QXA --out 440ml --left 25ml --hazard "glycol, traces of copper" --went "drum 2"`,
		Args:    oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("Drain of %s recorded: the loop is empty.", r.Loop.Tag)
				if e.Drain.Out > 0 {
					p.line("%s is in the used-fluid log.", e.Drain.Out)
				}
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	need(f, &e.Drain.Out, chemistry.ParseLitre, "out", "VOLUME", "how much came out")
	need(f, &e.Drain.Left, chemistry.ParseLitre, "left", "VOLUME", "how much stayed in")
	f.StringVar(&e.Drain.Hazard, "hazard", "", "what is in it: \"glycol, traces of copper\"")
	f.StringVar(&e.Drain.Disposal, "went", "", "where it went or is kept")
	return cmd
}

// loopPlainCommand records an entry that is all in its note.
func (a *app) loopPlainCommand(kind loops.EntryKind, usage string) *cobra.Command {
	e := loops.Entry{Kind: kind}
	word := string(kind)
	cmd := &cobra.Command{
		Use: word + " TAG --note TEXT", Short: "Record a " + word, Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("%s of %s recorded.", strings.ToUpper(word[:1])+word[1:], r.Loop.Tag)
			})
		},
	}
	entryFlags(cmd.Flags(), &e)
	cmd.Flags().Lookup("note").Usage = usage
	needFlags(cmd, "note")
	return cmd
}

func (a *app) loopDoseCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindDose, Dose: &loops.Dose{}}
	d := e.Dose
	var from fromContainer
	cmd := &cobra.Command{
		Use:   "dose TAG --role ROLE --family FAMILY --product TEXT",
		Short: "Record an additive given by its label's dose",
		Long: `Dose records an inhibitor or a biocide as its label says. Fillmark never suggests
a dose: the label and the safety data sheet decide.`,
		Example: `  fillmark loop dose 7K3QXA --role biocide --family isothiazolinone --product "Clear B" --label-dose 2 --life 12 --from 9=1ml`,
		Args:    oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			family, err := parseFamily(d.Role, d.Additive.Family)
			if err != nil {
				return err
			}
			d.Additive.Family, d.Container, d.Volume = family, from.container, from.volume
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("Dose of %s recorded for %s.", d.Role, r.Loop.Tag)
				if charge := r.Loop.State.Charge; charge != nil { // recorded late, the loop can be empty by now
					printCautions(p, workshop.CautionsOf(chemistry.Cautions(workshop.Contents(*charge))))
				}
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	need(f, &d.Role, choice("role", []loops.AdditiveRole{loops.RoleInhibitor, loops.RoleBiocide}), "role", "ROLE", "inhibitor or biocide")
	f.StringVar(&d.Additive.Family, "family", "", "its family, such as azole or isothiazolinone")
	f.StringVar(&d.Additive.Product, "product", "", "as its label says")
	f.Float64Var(&d.Additive.DoseMLPerL, "label-dose", 0, "the label's dose in `ml` of product per litre of coolant")
	f.IntVar(&d.Additive.LifeMonths, "life", 0, "`months` the label declares")
	need(f, &from, parseFrom, "from", "CONTAINER=VOLUME", "the container it came from and how much, such as 9=1ml")
	needFlags(cmd, "role", "family")
	return cmd
}

func parseFamily(role loops.AdditiveRole, text string) (string, error) {
	if role == loops.RoleInhibitor {
		family, err := chemistry.ParseInhibitor(text)
		return string(family), err
	}
	family, err := chemistry.ParseBiocide(text)
	return string(family), err
}

// fromContainer is how much came out of a container.
type fromContainer struct {
	container loops.ContainerID
	volume    chemistry.Litre
}

// parseFrom reads 3=400ml.
func parseFrom(text string) (fromContainer, error) {
	number, amount, ok := strings.Cut(text, "=")
	if !ok {
		return fromContainer{}, &loops.InvalidError{Field: "from", Value: text, Reason: "a container's number and how much came out of it, such as 3=400ml"}
	}
	id, err := loops.ParseContainer(strings.TrimSpace(number))
	if err != nil {
		return fromContainer{}, err
	}
	volume, err := chemistry.ParseLitre(amount)
	return fromContainer{id, volume}, err
}

// parsePourFrom reads 3=400ml as a pour whose liquid the container's record
// tells.
func parsePourFrom(text string) (loops.Pour, error) {
	from, err := parseFrom(text)
	return loops.Pour{Container: from.container, Volume: from.volume}, err
}

func (a *app) loopLeakCheckCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindLeakCheck, LeakCheck: &loops.LeakCheck{}}
	var wet bool
	cmd := &cobra.Command{
		Use:     "leakcheck TAG --hours HOURS (--dry | --wet)",
		Short:   "Record a leak check: the pump on a separate supply, the machine unpowered",
		Example: `  fillmark loop leakcheck 7K3QXA --hours 24h --dry`,
		Args:    oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			if e.LeakCheck.Dry == wet {
				return &usageError{fmt.Errorf("--dry or --wet: one of them says how it ended")}
			}
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				if wet {
					p.line("Leak check of %s recorded: WET. Off, unplug, soak up; no power before it is mended and dry.", r.Loop.Tag)
					return
				}
				p.line("Leak check of %s recorded: dry after %g h.", r.Loop.Tag, e.LeakCheck.Hours)
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	need(f, &e.LeakCheck.Hours, number("h"), "hours", "HOURS", "how long it ran, such as 24h")
	f.BoolVar(&e.LeakCheck.Dry, "dry", false, "it stayed dry")
	f.BoolVar(&wet, "wet", false, "it did not")
	needFlags(cmd, "hours")
	return cmd
}

func (a *app) loopProofCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindProof, Proof: &loops.Proof{}}
	before, after := &e.Proof.Before, &e.Proof.After
	before.Verdict, after.Verdict = loops.NotJudged, loops.NotJudged
	cmd := &cobra.Command{
		Use:   "proof TAG [readings before and after]",
		Short: "Record readings before and after a repair, comparable by room and power",
		Example: `  fillmark loop proof 7K3QXA --before-die 91C --before-room 19.5C --before-power 130W \
      --die 54.5C --room 19.5C --power 130W --steady --verdict good`,
		Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("Proof of %s recorded: %s.", r.Loop.Tag, after.Verdict)
				if !before.Comparable() || !after.Comparable() {
					p.paragraph("", "", "Before and after cannot be compared: that takes die and room temperature and the power of both.")
				}
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	thermalFlags(f, before, "before-", ", before the repair")
	thermalFlags(f, after, "", "")
	verdictFlag(f, &after.Verdict)
	needFlags(cmd, "die", "before-die")
	return cmd
}

// thermalFlags are the readings of an inspection that tell heat.
func thermalFlags(f *pflag.FlagSet, x *loops.Inspection, prefix, when string) {
	may(f, &x.Die, chemistry.ParseCelsius, prefix+"die", "TEMPERATURE", "hottest die or heat source"+when)
	may(f, &x.CoolantIn, chemistry.ParseCelsius, prefix+"coolant-in", "TEMPERATURE", "coolant into the cold plate"+when)
	may(f, &x.CoolantOut, chemistry.ParseCelsius, prefix+"coolant-out", "TEMPERATURE", "coolant out of it"+when)
	may(f, &x.Room, chemistry.ParseCelsius, prefix+"room", "TEMPERATURE", "air into the radiator"+when)
	may(f, &x.PowerW, number("W"), prefix+"power", "POWER", "heat at the cold plate, such as 95W"+when)
	may(f, &x.PumpW, number("W"), prefix+"pump-power", "POWER", "electrical power of the pump"+when)
	f.BoolVar(&x.Steady, prefix+"steady", false, "the coolant drifted less than 0.1 K per minute"+when)
}

func verdictFlag(f *pflag.FlagSet, target *loops.Judgement) {
	need(f, target, choice("verdict", []loops.Judgement{loops.Good, loops.Watch, loops.Failed, loops.NotJudged}), "verdict", "VERDICT", "good, watch, failed or \"not judged\"")
}

func (a *app) loopWeighCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindWeighing, Weighing: &loops.Weighing{}}
	x := e.Weighing
	cmd := &cobra.Command{
		Use:   "weigh TAG --stage STAGE --weight MASS",
		Short: "Record a weighing: dry, drained, filled, or later to see what was lost",
		Example: `  fillmark loop weigh 7K3QXA --stage filled --weight 1530g --uncertainty 1g --what "cooler with bracket"
  fillmark loop weigh 7K3QXA --stage later --weight 1522g --uncertainty 1g --what "cooler with bracket"`,
		Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("Weighing of %s recorded: %s, %s. fillmark loop show %s says what it tells.", r.Loop.Tag, x.Stage, x.Weight, r.Loop.Tag)
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	need(f, &x.Stage, choice("stage", loops.WeighingStages()), "stage", "STAGE", "dry, drained, filled or later")
	need(f, &x.Weight, chemistry.ParseKilogram, "weight", "MASS", "such as 1530g")
	need(f, &x.Uncertainty, chemistry.ParseKilogram, "uncertainty", "MASS", "of the scale (k = 2), such as 1g")
	f.StringVar(&x.What, "what", "", "what stood on the scale; only the same is compared")
	needFlags(cmd, "stage", "weight")
	return cmd
}
