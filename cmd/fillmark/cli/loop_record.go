// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// record sends an entry for the loop named by the argument and prints what
// it changed.
func (a *app) record(cmd *cobra.Command, tagText string, e loops.Entry, people func(*printer, workshop.Recorded)) error {
	tag, err := loops.ParseTag(tagText)
	if err != nil {
		return err
	}
	recorded, err := ask[workshop.Recorded](cmd.Context(), a, "POST", "/api/v1/loops/"+string(tag)+"/entries", e)
	if err != nil {
		return err
	}
	return a.print(recorded, func(p *printer) {
		people(p, recorded)
		for _, warning := range recorded.Warnings {
			p.paragraph("! ", "  ", warning)
		}
	})
}

// entryFlags adds what every entry can say.
func entryFlags(f *pflag.FlagSet, e *loops.Entry) {
	need(f, &e.Day, loops.ParseDay, "day", "DAY", "the day it happened (default today)")
	f.StringVar(&e.Note, "note", "", "anything worth remembering")
}

func (a *app) loopFillCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindFill}
	charge := loops.Charge{Origin: loops.WorkshopFill}
	var volumeBasis *chemistry.VolumeFraction
	var poured []loops.Pour
	var inhibitor chemistry.Inhibitor
	var biocide chemistry.Biocide
	cmd := &cobra.Command{
		Use:   "fill TAG --fluid FLUID (--mass % | --volume %) --poured VOLUME",
		Short: "Record a fill: what the loop now holds",
		Long: `Fill records the start of a new charge. For one that the factory or somebody
unknown put in, say --origin and between which days; the volume may be unknown.`,
		Example: `  fillmark loop fill 7K3QXA --fluid pg --mass 40% --poured 480ml \
      --inhibitor azole --inhibitor-life 24 --biocide isothiazolinone --biocide-life 12
  fillmark loop fill 7K3QXA --fluid pg --mass 40% --from 3=480ml
  fillmark loop fill 7K3QXA --fluid pg --origin factory --filled-from 2022-01-01 --filled-to 2023-06-30`,
		Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			if charge.Origin == loops.WorkshopFill && charge.Volume == 0 && len(poured) == 0 {
				return &usageError{fmt.Errorf("--poured or --from is missing: how much went in")}
			}
			if charge.Volume == 0 {
				for _, pour := range poured {
					charge.Volume += pour.Volume
				}
			}
			if err := strengthOf(&charge, volumeBasis); err != nil {
				return err
			}
			charge.Inhibitor.Family, charge.Biocide.Family = string(inhibitor), string(biocide)
			if charge.FilledTo.IsZero() {
				charge.FilledTo = e.Day
			}
			if charge.FilledTo.IsZero() {
				charge.FilledTo = a.today()
			}
			if charge.FilledFrom.IsZero() && charge.Origin == loops.WorkshopFill {
				charge.FilledFrom = charge.FilledTo
			}
			e.Fill = &loops.Fill{Charge: charge, Poured: poured}
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("Fill recorded for %s: %s.", r.Loop.Tag, chargeWords(r.Loop.State.Charge))
				printProtection(p, workshop.ProtectionOf(r.Loop))
				printCautions(p, workshop.CautionsOf(chemistry.Cautions(workshop.Contents(r.Entry.Fill.Charge))))
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	need(f, &charge.Fluid, orUnknown, "fluid", "FLUID", "eg, pg, water (with additives) or deionised; unknown for a factory's")
	may(f, &charge.Mass, chemistry.ParseMassPercent, "mass", "PERCENT", "glycol mass %")
	may(f, &volumeBasis, chemistry.ParseVolumePercent, "volume", "PERCENT", "glycol volume % before mixing at 20 °C")
	need(f, &charge.MassUncertainty, chemistry.ParseMassPercent, "uncertainty", "PERCENT", "how sure the strength is, mass % (k = 2)")
	need(f, &charge.Volume, chemistry.ParseLitre, "poured", "VOLUME", "how much went in (default what --from says)")
	f.Var(&listFlag[loops.Pour]{target: &poured, parse: parsePourFrom, kind: "CONTAINER=VOLUME"}, "from", "a container it came from and how much, such as 3=480ml; repeat")
	need(f, &charge.Origin, choice("origin", []loops.Origin{loops.WorkshopFill, loops.Factory, loops.UnknownOrigin}), "origin", "ORIGIN", "workshop, factory or unknown (default workshop)")
	need(f, &charge.FilledFrom, loops.ParseDay, "filled-from", "DAY", "earliest day of a fill that is not exactly known")
	need(f, &charge.FilledTo, loops.ParseDay, "filled-to", "DAY", "latest day of it")
	need(f, &inhibitor, chemistry.ParseInhibitor, "inhibitor", "FAMILY", "inhibitor family, or none")
	f.StringVar(&charge.Inhibitor.Product, "inhibitor-product", "", "inhibitor as its label says")
	f.IntVar(&charge.Inhibitor.LifeMonths, "inhibitor-life", 0, "`months` the label declares")
	need(f, &biocide, chemistry.ParseBiocide, "biocide", "FAMILY", "biocide family, or none")
	f.StringVar(&charge.Biocide.Product, "biocide-product", "", "biocide as its label says")
	f.IntVar(&charge.Biocide.LifeMonths, "biocide-life", 0, "`months` the label declares")
	f.IntVar(&charge.FluidLifeMonths, "fluid-life", 0, "`months` the fluid's label declares")
	f.BoolVar(&charge.FormulatedProduct, "formulated", false, "the inhibitor came in the coolant")
	f.BoolVar(&charge.ReDosable, "re-dosable", false, "the label allows re-dosing it")
	f.StringVar(&charge.Product, "product", "", "coolant as its label says")
	f.StringVar(&charge.Lot, "lot", "", "lot on the label")
	needFlags(cmd, "fluid")
	return cmd
}

// orUnknown reads a fluid, or "unknown" for one that nobody knows.
func orUnknown(text string) (chemistry.Fluid, error) {
	if strings.EqualFold(strings.TrimSpace(text), "unknown") {
		return "", nil
	}
	return chemistry.ParseFluid(text)
}

// strengthOf settles the charge's strength from the two bases it can be given in.
func strengthOf(c *loops.Charge, volume *chemistry.VolumeFraction) error {
	switch {
	case c.Fluid == "":
		if volume != nil || c.Mass != nil {
			return &usageError{errors.New("--mass and --volume: none where the fluid is unknown")}
		}
	case !c.Fluid.IsGlycol():
		if volume != nil || (c.Mass != nil && *c.Mass != 0) {
			return &usageError{fmt.Errorf("--mass and --volume are for glycols; %s has none", c.Fluid.Name())}
		}
		zero := chemistry.MassFraction(0)
		c.Mass = &zero
	case c.Mass != nil && volume != nil:
		return &usageError{fmt.Errorf("--mass or --volume, not both: they are two ways to say one strength")}
	case volume != nil:
		mass, err := chemistry.MassFractionOf(c.Fluid, *volume)
		if err != nil {
			return err
		}
		c.Mass = &mass
	}
	return nil
}

func (a *app) loopInspectCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindInspection}
	var x loops.Inspection
	verdict := loops.NotJudged
	cmd := &cobra.Command{
		Use:     "inspect TAG [readings]",
		Short:   "Record readings taken without opening the loop",
		Example: `  fillmark loop inspect 7K3QXA --die 54.5C --room 19.5C --power 130W --steady --verdict good`,
		Args:    oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			x.Verdict = verdict
			e.Inspection = &x
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("Inspection recorded for %s: %s.", r.Loop.Tag, x.Verdict)
				if x.Verdict == loops.Good && !x.Comparable() {
					p.paragraph("", "", "It does not make the loop known good: that takes a die temperature with the room's and the power known.")
				}
				printPlan(p, r.Loop.Plan)
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	thermalFlags(f, &x, "", "")
	may(f, &x.Mass, chemistry.ParseMassPercent, "mass", "PERCENT", "glycol mass % read on a sample")
	need(f, &x.MassUncertainty, chemistry.ParseMassPercent, "mass-uncertainty", "PERCENT", "how sure that is (k = 2)")
	may(f, &x.PH, number(""), "ph", "NUMBER", "pH of a sample")
	may(f, &x.Missing, chemistry.ParseLitre, "missing", "VOLUME", "how much liquid lacks to the fill mark")
	may(f, &x.Weight, chemistry.ParseKilogram, "weight", "MASS", "machine or cooler as weighed")
	hoursFlag(f, &x.RunningHours)
	f.StringVar(&x.Noise, "noise", "", "what was heard")
	verdictFlag(f, &verdict)
	return cmd
}

func (a *app) loopHandoverCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindHandover, Handover: &loops.Handover{}}
	cmd := &cobra.Command{
		Use:     "handover TAG --mail-consent",
		Short:   "Record that the machine goes back; plans the loop and mails the owner",
		Example: `  fillmark loop handover 7K3QXA --mail-consent --opening-consent`,
		Args:    oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("Hand-over of %s recorded.", r.Loop.Tag)
				if r.Mailed != "" {
					p.paragraph("", "", "Queued for the owner: "+r.Mailed)
				} else {
					p.line("No mail: the owner has no address, gave no consent, or stopped the mail; fillmark owner show says which.")
				}
				printPlan(p, r.Loop.Plan)
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	f.BoolVar(&e.Handover.Consent.Mail, "mail-consent", false, "the owner agrees to reminders by mail")
	f.BoolVar(&e.Handover.Consent.Opening, "opening-consent", false, "the owner agrees to the loop being opened")
	f.BoolVar(&e.Handover.Consent.Photos, "photo-consent", false, "the owner agrees to photos being shown")
	return cmd
}

func (a *app) loopTopUpCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindTopUp}
	var t loops.TopUp
	var from []loops.Pour
	cmd := &cobra.Command{
		Use:   "topup TAG (--poured LIQUID=VOLUME | --from CONTAINER=VOLUME)",
		Short: "Record a top-up that was done; fillmark topup checks one before",
		Example: `  fillmark loop topup 7K3QXA --poured water=40ml --poured pg:95%=10ml
  fillmark loop topup 7K3QXA --drained 60ml --went "drum 2" --poured pg:95%=80ml`,
		Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			t.Poured = append(t.Poured, from...)
			if len(t.Poured) == 0 {
				return &usageError{fmt.Errorf("--poured or --from is missing: what went in")}
			}
			e.TopUp = &t
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("Top-up recorded for %s: now %s.", r.Loop.Tag, chargeWords(r.Loop.State.Charge))
				printProtection(p, workshop.ProtectionOf(r.Loop))
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	f.Var(&listFlag[loops.Pour]{target: &t.Poured, parse: parsePour, kind: "LIQUID=VOLUME"}, "poured", "what went in: water=40ml, pg:95%=10ml; repeat")
	f.Var(&listFlag[loops.Pour]{target: &from, parse: parsePourFrom, kind: "CONTAINER=VOLUME"}, "from", "a container it came from and how much, such as 3=40ml; repeat")
	need(f, &t.Drained, chemistry.ParseLitre, "drained", "VOLUME", "what was taken out before; it goes into the used-fluid log")
	f.StringVar(&t.Hazard, "hazard", "", "what is in what was taken out")
	f.StringVar(&t.Disposal, "went", "", "where that went or is kept")
	need(f, &t.Missing, chemistry.ParseLitre, "missing", "VOLUME", "what still lacks to the fill mark")
	return cmd
}

// parsePour reads water=40ml or pg:95%=10ml.
func parsePour(text string) (loops.Pour, error) {
	name, amount, ok := strings.Cut(text, "=")
	if !ok || strings.HasPrefix(name, "concentrate") || strings.HasPrefix(name, "premix") {
		return loops.Pour{}, &loops.InvalidError{Field: "poured", Value: text, Reason: "what and how much, the glycol by name: water=40ml, eg:95%=10ml or pg:95%=10ml"}
	}
	liquid, err := chemistry.ParseLiquid(name, chemistry.TreatedWater)
	if err == nil && liquid.Fluid == "" {
		err = &loops.InvalidError{Field: "poured", Value: name, Reason: "the glycol by name: eg:95% or pg:95%"}
	}
	if err != nil {
		return loops.Pour{}, err
	}
	volume, err := chemistry.ParseLitre(amount)
	return loops.Pour{Liquid: name, Fluid: liquid.Fluid, Mass: liquid.Mass, Volume: volume}, err
}

func (a *app) loopCorrectCommand() *cobra.Command {
	e := loops.Entry{Kind: loops.KindCorrection}
	var c loops.Correction
	cmd := &cobra.Command{
		Use: "correct TAG --strike NUMBER --why TEXT", Short: "Strike out an entry that is wrong; nothing is ever deleted",
		Args: oneTag,
		RunE: func(cmd *cobra.Command, args []string) error {
			e.Correction = &c
			return a.record(cmd, args[0], e, func(p *printer, r workshop.Recorded) {
				p.line("Entry %d of %s is struck out.", c.Strikes, r.Loop.Tag)
			})
		},
	}
	f := cmd.Flags()
	entryFlags(f, &e)
	f.Uint64Var((*uint64)(&c.Strikes), "strike", 0, "`number` of the entry, as loop show lists it")
	f.StringVar(&c.Why, "why", "", "why it is wrong")
	needFlags(cmd, "strike", "why")
	return cmd
}
