// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fmt"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Reason is one rule that speaks about an act.
type Reason = chemistry.Reason

// Sources of the gate's own rules.
const (
	sourceRecord   = "this loop's record"
	sourcePractice = "common practice, no source"
)

// byRecord is a reason that the loop's record alone gives, and the way out.
func byRecord(rule string, v chemistry.Verdict, text, way string) Reason {
	return Reason{Rule: rule, Verdict: v, Text: text, Source: sourceRecord, Grade: chemistry.Computed, Way: way}
}

// StopError is a refusal: what speaks against the act, and the way out.
type StopError struct {
	Act     string
	Reasons []Reason // the worst first
	// Ways say how to go on.
	Ways []string
}

// Error names the rules that stopped it.
func (e *StopError) Error() string {
	var texts []string
	for _, r := range e.Reasons {
		if r.Verdict == chemistry.Stop {
			texts = append(texts, r.Rule+": "+r.Text)
		}
	}
	return fmt.Sprintf("%s: stop: %s", e.Act, strings.Join(texts, "; "))
}

// moreReasons stands for the rules that an entry has no room for.
const moreReasons = "more"

// Settle is the gate. It judges the act by what the snapshot knows and returns
// what its entry keeps of that. A stop refuses what has not happened yet and
// what releases a machine, with a [StopError]; what has happened is recorded
// with its verdict. A rule that is set aside by name counts as care, where it
// may be.
func Settle(d Definition, a Act, s Snapshot, today loops.Day, by string) (*loops.Judged, []Reason, error) {
	doing := a.doing()
	reasons := chemistry.WorstFirst(append(a.Judge(s, today), s.unmakes(a, today)...))
	judged := &loops.Judged{AlreadyDone: doing.Already}
	for _, o := range doing.Overrule {
		i := slices.IndexFunc(reasons, func(r Reason) bool { return r.Rule == o.Rule })
		switch {
		case i < 0 && len(reasons) == 0:
			return nil, nil, wrong("overrule", o.Rule, "nothing: no rule speaks against this")
		case i < 0:
			return nil, nil, wrong("overrule", o.Rule, "a rule that speaks against this: "+ruleNames(reasons))
		case !reasons[i].Overrulable:
			return nil, nil, wrong("overrule", o.Rule, "nothing: this rule keeps people from harm, and nobody can set it aside")
		}
		o.By = by
		judged.Overruled = append(judged.Overruled, o)
	}
	standing := slices.DeleteFunc(slices.Clone(reasons), func(r Reason) bool {
		return slices.ContainsFunc(judged.Overruled, func(o loops.Overrule) bool { return o.Rule == r.Rule })
	})
	judged.Verdict = chemistry.Judge(standing)
	if len(judged.Overruled) > 0 {
		judged.Verdict = judged.Verdict.Max(chemistry.Care)
	}
	if judged.Verdict == chemistry.Stop && (!doing.Already || d.Releases) {
		return nil, reasons, &StopError{Act: d.Name, Reasons: standing, Ways: ways(d, standing)}
	}
	for _, r := range reasons {
		if r.Verdict.Worse(chemistry.Go) {
			judged.Reasons = append(judged.Reasons, loops.JudgedReason{Rule: r.Rule, Verdict: r.Verdict, Text: r.Text})
		}
	}
	if more := len(judged.Reasons) - loops.MaxJudged + 1; more > 1 {
		judged.Reasons = append(judged.Reasons[:loops.MaxJudged-1], loops.JudgedReason{
			Rule: moreReasons, Verdict: judged.Reasons[loops.MaxJudged-1].Verdict, Text: fmt.Sprintf("and %d more reasons, none of them worse.", more),
		})
	}
	return judged, reasons, nil
}

func ruleNames(reasons []Reason) string {
	var names []string
	for _, r := range reasons {
		names = append(names, r.Rule)
	}
	return strings.Join(names, ", ")
}

// ways say how to go on after a stop.
func ways(d Definition, reasons []Reason) []string {
	var all, may []string
	for _, r := range reasons {
		if r.Verdict != chemistry.Stop {
			continue
		}
		if r.Way != "" {
			all = append(all, r.Way)
		}
		if r.Overrulable {
			may = append(may, r.Rule)
		}
	}
	if !d.Releases {
		all = append(all, "If it has been done already, record it as already done.")
	}
	if len(may) > 0 {
		all = append(all, "You may set aside by name, with your reason: "+strings.Join(may, ", ")+".")
	}
	return all
}
