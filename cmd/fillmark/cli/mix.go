// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// mixAnswer is the JSON contract of mix; doc/commands.md lists it.
type mixAnswer struct {
	ProductPercent *float64            `json:"product_percent,omitempty"` // volume % of the product, as its label counts
	Target         workshop.Strength   `json:"target"`
	Result         workshop.Strength   `json:"result"`
	Poured         workshop.Strength   `json:"poured"`                  // of the mix itself, before it meets what was left in the loop
	Uncompensated  *workshop.Strength  `json:"uncompensated,omitempty"` // had the liquid left in the loop been forgotten
	Parts          []partAnswer        `json:"parts"`
	Total          partAnswer          `json:"total"`
	ContractionML  float64             `json:"contraction_ml"`
	Steps          []workshop.Step     `json:"steps"`
	Warnings       []chemistry.Reason  `json:"warnings"`
	Cautions       []chemistry.Caution `json:"cautions"`
	Sources        []string            `json:"sources"`
}

type partAnswer struct {
	Name     string  `json:"name,omitempty"`
	MassG    float64 `json:"mass_g"`
	VolumeML float64 `json:"volume_ml"`
}

func partOf(p chemistry.Part) partAnswer {
	return partAnswer{Name: p.Name, MassG: p.Mass.Grams(), VolumeML: p.Volume.Millilitres()}
}

// mixAnswerOf converts what chemistry computed; left tells that liquid stayed
// in the loop, so that the answer says what forgetting it would have made.
func mixAnswerOf(m chemistry.MixResult, left bool) mixAnswer {
	answer := mixAnswer{
		Target: workshop.StrengthOf(m.Target), Result: workshop.StrengthOf(m.Result), Poured: workshop.StrengthOf(m.Poured), Parts: []partAnswer{}, Total: partOf(m.Total),
		ContractionML: m.Contraction.Millilitres(), Steps: workshop.StepsOf(m.Steps), Warnings: chemistry.WorstFirst(m.Warnings),
		Cautions: m.Cautions, Sources: m.Sources,
	}
	if m.Product != nil {
		answer.ProductPercent = new(m.Product.Strength.Percent())
	}
	if left {
		answer.Uncompensated = new(workshop.StrengthOf(m.Uncompensated))
	}
	for _, p := range m.Parts {
		answer.Parts = append(answer.Parts, partOf(p))
	}
	return answer
}

func (a *app) mixCommand() *cobra.Command {
	var r chemistry.MixRequest
	var bottle labelFlags
	var basis string
	r.Bench = chemistry.DefaultAt
	cmd := &cobra.Command{
		Use:   "mix --fluid FLUID (--wall TEMPERATURE | --mass % | --volume %) (--make VOLUME | --premix % --premix-available VOLUME)",
		Short: "What to pour for a fresh mix, or to strengthen or thin an existing mix",
		Long: `What to pour for a fresh mix. Without --make all of the premix that there is
gets the strength of --mass or --volume. --wall is the coldest wetted wall in use,
storage or transport; the target is that minus the margin. Grams are rounded
to what the scale reads, and everything else follows from them. What speaks
against the strength is printed above the amounts.`,
		Example: `  fillmark mix --fluid pg --wall -20C --make 600ml --concentrate 95% --at 20C
  fillmark mix --fluid pg --mass 40% --make 75ml --concentrate 95% --left 15ml
  fillmark mix --fluid pg --wall -15C --make 600ml --product blue --label 30%:-12.4C --label 50%:-33.4C
  fillmark mix --fluid pg --premix 30% --premix-available 800ml --mass 40% --concentrate 95%
  fillmark mix --fluid water --make 600ml    # where nothing can freeze`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := bottle.fromShelf(cmd.Context(), a, &r.Fluid); err != nil {
				return err
			}
			fluid := r.Fluid
			if r.Product = bottle.product(fluid); r.Product != nil {
				r.Fluid = ""
			}
			if err := byVolume(fluid, basis, r.Mass, &r.Concentrate, &r.Premix, &r.LeftMass); err != nil {
				return err
			}
			if err := bottle.into(&r.Concentrate, &r.Premix); err != nil {
				return err
			}
			if r.Make == 0 && (r.PremixAvailable == 0 || r.Premix == 0) {
				return &usageError{errors.New("--make is missing: how much to make; or --premix and --premix-available, to make all of that stronger or weaker")}
			}
			if fluid.IsGlycol() && r.Concentrate == 0 && r.Premix == 0 && r.Product == nil {
				return &usageError{errors.New("--concentrate is missing: the strength by its label, such as 95%, and 100% for pure glycol; or --product with its --label")}
			}
			m, err := mixOrAdjust(r)
			if err != nil {
				return err
			}
			err = a.print(mixAnswerOf(m, r.Left > 0), func(out *printer) { printMix(out, fluid, r.Left, m) })
			return errors.Join(err, stopIf(chemistry.Judge(m.Warnings)))
		},
	}
	f := cmd.Flags()
	need(f, &r.Fluid, chemistry.ParseFluid, "fluid", "FLUID", "fluid: eg, pg, water or deionised")
	may(f, &r.Protect, chemistry.ParseCelsius, "wall", "TEMPERATURE", "coldest wetted wall in use, storage or transport")
	may(f, &r.Margin, chemistry.ParseCelsiusDelta, "margin", "DIFFERENCE", "freeze point below the wall (default 5K)")
	may(f, &r.Mass, chemistry.ParseMassPercent, "mass", "PERCENT", "wanted glycol mass %")
	may(f, &r.Volume, chemistry.ParseVolumePercent, "volume", "PERCENT", "wanted glycol volume % before mixing at 20 °C")
	need(f, &r.Make, chemistry.ParseLitre, "make", "VOLUME", "how much to make")
	need(f, &r.Concentrate, chemistry.ParseMassPercent, "concentrate", "PERCENT", "glycol mass % of the concentrate by its label; 100% for pure glycol")
	bottle.add(f)
	basisFlag(f, &basis)
	may(f, &r.ConcentrateDensity, chemistry.ParseDensity, "concentrate-density", "DENSITY", "by its label, such as 1.12kg/l")
	need(f, &r.Premix, chemistry.ParseMassPercent, "premix", "PERCENT", "glycol mass % of a premix at hand")
	need(f, &r.PremixAvailable, chemistry.ParseLitre, "premix-available", "VOLUME", "how much of it there is")
	need(f, &r.Bench, chemistry.ParseCelsius, "at", "TEMPERATURE", "temperature of the liquids (default 20C)")
	need(f, &r.Step, parseStep, "step", "MASS", "what the scale reads (default 1g)")
	need(f, &r.Left, chemistry.ParseLitre, "left", "VOLUME", "liquid left in the loop after draining")
	need(f, &r.LeftMass, chemistry.ParseMassPercent, "left-mass", "PERCENT", "glycol mass % of the liquid left (default 0%, rinsed)")
	unsure(f, "left", &r.LeftUncertainty, chemistry.ParseLitre)
	unsure(f, "concentrate", &r.ConcentrateUncertainty, chemistry.ParseMassPercent)
	alias(f, "protect", "wall")
	return cmd
}

// mixOrAdjust makes so much, or of all the premix that there is.
func mixOrAdjust(r chemistry.MixRequest) (chemistry.MixResult, error) {
	switch {
	case r.Make > 0 || r.PremixAvailable == 0:
		return chemistry.Mix(r)
	case r.Protect != nil || r.Left != 0 || r.Product != nil:
		return chemistry.MixResult{}, &usageError{errors.New("--make is missing: without it all of the premix gets one strength; --wall, --left and --product go with it")}
	case r.Volume != nil && r.Mass != nil:
		return chemistry.MixResult{}, &usageError{errors.New("--mass or --volume, not both: they are two ways to say one strength")}
	case r.Volume != nil && r.Mass == nil:
		mass, err := chemistry.MassFractionOf(r.Fluid, *r.Volume)
		if err != nil {
			return chemistry.MixResult{}, err
		}
		r.Mass = &mass
	case r.Mass == nil:
		return chemistry.MixResult{}, &usageError{errors.New("--mass is missing: the strength that all of the premix is to get; a --wall goes with --make")}
	}
	return chemistry.Adjust(chemistry.AdjustRequest{
		Fluid: r.Fluid, Have: r.PremixAvailable, HaveMass: r.Premix, Want: *r.Mass, Concentrate: r.Concentrate, Bench: r.Bench, Step: r.Step,
	})
}

// labelFlags are a bought product and the lines of its label, or a container on
// the shelf of which either is on record.
type labelFlags struct {
	name      string
	pairs     []chemistry.LabelPair
	container string
	mass      *chemistry.MassFraction // as measured or given on the container's record
}

// fromShelf reads the container, where one is named, and with it the fluid.
func (l *labelFlags) fromShelf(ctx context.Context, a *app, fluid *chemistry.Fluid) error {
	if l.container == "" {
		if *fluid == "" {
			return &usageError{errors.New("--fluid is missing: eg, pg, water or deionised; or --container with its number on the shelf")}
		}
		return nil
	}
	if l.name != "" || len(l.pairs) > 0 {
		return &usageError{errors.New("--container or --product with its --label, not both")}
	}
	id, err := loops.ParseContainer(l.container)
	if err != nil {
		return err
	}
	c, err := ask[web.ContainerAnswer](ctx, a, "GET", fmt.Sprintf("/api/v1/containers/%d", id), nil)
	if err != nil {
		return err
	}
	product := c.ByLabel()
	switch {
	case *fluid != "" && *fluid != c.Fluid:
		return &loops.InvalidError{Field: "container", Value: l.container, Reason: "one with " + fluid.Name() + "; this one holds " + c.Fluid.Name()}
	case c.Mass == nil && product == nil:
		return &loops.InvalidError{Field: "container", Value: l.container, Reason: "one whose strength or label is on record; say it with fillmark shelf edit"}
	}
	if *fluid, l.mass = c.Fluid, c.Mass; c.Mass == nil {
		l.name, l.pairs = product.Name, product.Pairs
	}
	return nil
}

// into makes the container what it is by its strength, the concentrate or the
// premix, unless that was typed.
func (l *labelFlags) into(concentrate, premix *chemistry.MassFraction) error {
	if l.mass == nil {
		return nil
	}
	is, flag := concentrate, "--concentrate"
	if *l.mass <= chemistry.MaxMassFraction {
		is, flag = premix, "--premix"
	}
	if *is != 0 {
		return &usageError{fmt.Errorf("--container or %s, not both: container %s holds %s", flag, l.container, *l.mass)}
	}
	*is = *l.mass
	return nil
}

func (l *labelFlags) add(f *pflag.FlagSet) {
	f.StringVar(&l.name, "product", "", "the `name` of a bought product that goes by its own label; --fluid is the glycol in it")
	f.Var(&listFlag[chemistry.LabelPair]{target: &l.pairs, parse: chemistry.ParseLabelPair, kind: "LINE"}, "label", labelHelp)
	f.StringVar(&l.container, "container", "", "the `number` of a container on the shelf, for fluid, strength and label")
}

// labelHelp says what a line of a label is.
const labelHelp = "a line of its label, such as 30%:-14C or 30%:-14C:22brix:1.03kg/l, in % of the product; up to 8, repeat"

// product returns the product; nil where none was named.
func (l *labelFlags) product(base chemistry.Fluid) *chemistry.Product {
	if l.name == "" && len(l.pairs) == 0 {
		return nil
	}
	return &chemistry.Product{Name: cmp.Or(l.name, "the product"), Base: base, Pairs: l.pairs}
}

// basisFlag says in which per cent strengths are typed.
func basisFlag(f *pflag.FlagSet, basis *string) {
	pick(f, basis, []string{"mass", "volume"}, "basis", "BASIS", "of every strength typed as mass %: mass, or volume for volume % before mixing at 20 °C (default mass)")
}

// byVolume takes strengths that were typed in volume % to mass fractions.
func byVolume(fluid chemistry.Fluid, basis string, strengths ...*chemistry.MassFraction) error {
	for _, x := range strengths {
		if x == nil {
			continue
		}
		mass, err := workshop.MassOf(fluid, basis, *x)
		if err != nil {
			return err
		}
		*x = mass
	}
	return nil
}

// parseStep reads what a scale reads: more than nothing.
func parseStep(text string) (chemistry.Kilogram, error) {
	step, err := chemistry.ParseKilogram(text)
	if err == nil && step == 0 {
		err = &loops.InvalidError{Field: "step", Value: text, Reason: "more than nothing, such as 1g or 0.1g"}
	}
	return step, err
}

// printMix prints what speaks against a mix, what it makes and what to pour;
// left is what it meets in the loop.
func printMix(out *printer, fluid chemistry.Fluid, left chemistry.Litre, m chemistry.MixResult) {
	if verdict := chemistry.Judge(m.Warnings); verdict != chemistry.Go {
		out.verdict(verdict)
		printReasons(out, chemistry.WorstFirst(m.Warnings))
	}
	where := ""
	if left > 0 {
		where = " in the loop"
	}
	if m.Product != nil {
		out.paragraph("", "", fmt.Sprintf("By its label: %s of the product; concentrate below is the product as it is.", m.Product.Strength))
	}
	what, wanted := fmt.Sprintf("%s, %s (%s before mixing at 20 °C)", fluid.Name(), m.Result.Mass, m.Result.Volume), fmt.Sprintf(" Wanted: %s, %s.", m.Target.Mass, m.Target.Freeze.Stated)
	if !fluid.IsGlycol() {
		what, wanted = fluid.Name(), ""
	}
	out.paragraph("", "", fmt.Sprintf("%s%s: first ice at %.1f ± %.1f °C (k = 2).%s",
		what, where, float64(m.Result.Freeze.Stated), float64(m.Result.Freeze.Uncertainty), wanted))
	out.table([]string{"pour", "weigh", "which is"}, len(m.Parts)+1, func(i int) []string {
		p := m.Total
		if i < len(m.Parts) {
			p = m.Parts[i]
		} else {
			p.Name = "makes"
		}
		return []string{p.Name, grams(p.Mass.Grams()), jug(p.Volume.Millilitres())}
	})
	out.line("Contraction on mixing: %s.", jug(m.Contraction.Millilitres()))
	if left > 0 && fluid.IsGlycol() {
		out.paragraph("", "", fmt.Sprintf("The mix itself is %s; the %s left in the loop make %s of it. Without counting them it would be %s there, first ice at %s.",
			m.Poured.Mass, left, m.Result.Mass, m.Uncompensated.Mass, m.Uncompensated.Freeze.Stated))
	}
	printSteps(out, workshop.StepsOf(m.Steps))
	printCautions(out, m.Cautions)
	printSources(out, m.Sources)
}

func printSteps(out *printer, steps []workshop.Step) {
	if len(steps) == 0 {
		return
	}
	out.line("Steps")
	for i, s := range steps {
		text := s.Do + " " + s.What
		if s.MassG > 0 {
			text += fmt.Sprintf(", %s (%s)", grams(s.MassG), jug(math.Round(s.VolumeML)))
		} else if s.VolumeML > 0 {
			text += ", " + jug(math.Round(s.VolumeML))
		}
		out.paragraph(fmt.Sprintf("  %d. ", i+1), "     ", text)
	}
}

// grams prints a mass as a scale shows it: to a hundredth of a gram, no zeros
// behind; from ten kilograms on as a floor scale does.
func grams(g float64) string {
	if g >= 10000 {
		return strconv.FormatFloat(math.Round(g/10)/100, 'f', -1, 64) + " kg"
	}
	return strconv.FormatFloat(math.Round(g*100)/100, 'f', -1, 64) + " g"
}

// jug prints a volume as a jug or a meter shows it: from ten litres on in
// litres.
func jug(ml float64) string {
	switch {
	case ml >= 10000:
		return strconv.FormatFloat(math.Round(ml/10)/100, 'f', -1, 64) + " l"
	case ml >= 1000:
		return strconv.FormatFloat(ml, 'f', 0, 64) + " ml"
	}
	return strconv.FormatFloat(math.Round(ml*10)/10, 'f', -1, 64) + " ml"
}

// printReasons prints the rules that fired; one that decides nothing is a note.
func printReasons(out *printer, reasons []chemistry.Reason) {
	if len(reasons) == 0 {
		return
	}
	out.line("Reasons")
	for _, r := range reasons {
		word := string(r.Verdict)
		if r.Verdict == chemistry.Go {
			word = "note"
		}
		out.paragraph("  "+word+": ", "    ", fmt.Sprintf("%s [%s; %s]", r.Text, r.Rule, cited(r.Source, r.Grade)))
	}
}

// cited is a source with its grade in words, unless the source says as much.
func cited(source string, grade chemistry.Grade) string {
	if first, _, _ := strings.Cut(grade.Name(), ","); strings.HasPrefix(source, first) || grade == chemistry.Computed && strings.HasPrefix(source, "computed") {
		return source
	}
	return source + "; " + grade.Name()
}

// codes are the precautionary statements by their codes alone: their words
// stand in the text, in --json and on the pages, and a wall of them is not read.
func codes(statements []string) []string {
	if len(statements) == 0 {
		return nil
	}
	var all []string
	for _, s := range statements {
		code, _, _ := strings.Cut(s, " ")
		all = append(all, code)
	}
	return []string{strings.Join(all, ", ") + "."}
}

// printCautions prints what each substance can do: the text, the hazard
// statements, and the codes of what to do about them.
func printCautions(out *printer, cautions []chemistry.Caution) {
	if len(cautions) == 0 {
		return
	}
	out.line("Cautions")
	for _, c := range cautions {
		signal := ""
		if c.Signal != "" {
			signal = " (" + c.Signal + ")"
		}
		if c.Lines != nil {
			out.line("  %s:", c.Substance)
			for _, line := range c.Lines {
				out.paragraph("    - ", "      ", line)
			}
			continue
		}
		out.paragraph("  ", "    ", fmt.Sprintf("%s%s: %s", c.Substance, signal, c.Text))
		if len(c.H)+len(c.P) > 0 {
			out.paragraph("    ", "    ", strings.Join(slices.Concat(c.H, codes(c.P)), " "))
		}
	}
}
