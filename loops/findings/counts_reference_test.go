// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/findings"
)

func TestFisherAgreesWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "fisher.csv") {
		id := r["id"]
		table := findings.Table{FailedWith: int(r.number(t, "a")), FailedWithout: int(r.number(t, "b")), GoodWith: int(r.number(t, "c")), GoodWithout: int(r.number(t, "d"))}
		got, err := table.OddsRatio()
		require.NoError(t, err, id)
		oddsRatio(t, r, got, id)
	}
}

func oddsRatio(t *testing.T, r row, got findings.OddsRatio, id string) {
	t.Helper()
	for column, value := range map[string]float64{
		"p_less": got.PLess, "p_greater": got.PGreater, "p_two_central": got.P, "p_two_mid_central": got.PMid, "or_cond_mle": got.Estimate,
		"or_lo_exact": got.Lower, "or_hi_exact": got.Upper, "or_lo_mid": got.LowerMid, "or_hi_mid": got.UpperMid, "attainable": got.Attainable,
	} {
		near(t, r.number(t, column), value, id, column)
	}
}

func TestStratifiedAgreesWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "mantelhaen.csv") {
		var strata findings.Strata
		for text := range strings.FieldsSeq(r["tables"]) {
			var s findings.Table
			_, err := fmt.Sscanf(text, "%d/%d/%d/%d", &s.FailedWith, &s.FailedWithout, &s.GoodWith, &s.GoodWithout)
			require.NoError(t, err)
			strata = append(strata, s)
		}
		got, err := strata.OddsRatio()
		require.NoError(t, err)
		oddsRatio(t, r, got, r["id"])
	}
}

func TestAllCasesWithTheTraitAgreesWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "kofk_attainable.csv") {
		exposed := int(r.number(t, "controls_exposed"))
		table := findings.Table{FailedWith: int(r.number(t, "cases")), GoodWith: exposed, GoodWithout: int(r.number(t, "controls")) - exposed}
		got, err := table.OddsRatio()
		require.NoError(t, err)
		near(t, r.number(t, "p_greater"), got.PGreater)
		near(t, r.number(t, "p_two_central"), got.P)
		near(t, r.number(t, "p_two_mid_central"), got.PMid)
		near(t, r.number(t, "or_lo_exact"), got.Lower)
		assert.LessOrEqual(t, got.Attainable, got.P*(1+1e-12))
	}
}

func TestSharesAgreeWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "binomial.csv") {
		id := r["id"]
		s := findings.Share{Of: int(r.number(t, "x")), Among: int(r.number(t, "n"))}
		e, err := s.Estimate()
		require.NoError(t, err)
		test, err := s.Against(r.number(t, "p0"))
		require.NoError(t, err)
		for column, got := range map[string]float64{
			"est": e.Estimate, "cp_lo": e.Lower, "cp_hi": e.Upper, "mid_lo": e.LowerMid, "mid_hi": e.UpperMid, "cp_upper_onesided95": e.UpperBound,
			"cp_lower_onesided95": e.LowerBound, "p_less": test.PLess, "p_greater": test.PGreater, "p_mid_greater": test.PMidGreater, "p_two_central": test.P,
		} {
			near(t, r.number(t, column), got, id, column)
		}
	}
}

func TestRatesAgreeWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "poisson_rate.csv") {
		e, err := findings.Rate{Failures: int(r.number(t, "x")), LoopMonths: r.number(t, "exposure")}.Estimate()
		require.NoError(t, err)
		for column, got := range map[string]float64{"rate": e.Estimate, "lo": e.Lower, "hi": e.Upper, "upper_onesided95": e.UpperBound, "mid_lo": e.LowerMid, "mid_hi": e.UpperMid} {
			near(t, r.number(t, column), got, r["id"], column)
		}
	}
	for _, r := range reference(t, "poisson_two.csv") {
		a := findings.Rate{Failures: int(r.number(t, "x1")), LoopMonths: r.number(t, "t1")}
		b := findings.Rate{Failures: int(r.number(t, "x2")), LoopMonths: r.number(t, "t2")}
		got, err := a.Over(b)
		require.NoError(t, err)
		near(t, r.number(t, "rate_ratio"), got.Estimate)
		near(t, r.number(t, "lo"), got.Lower)
		near(t, r.number(t, "hi"), got.Upper)
		near(t, r.number(t, "p_two_central"), got.P)
	}
}

// ages makes lives from ages and, if there are any, flags of failure.
func ages(t testing.TB, times, failed []float64, failures int) findings.Lives {
	t.Helper()
	var rows []findings.Life
	for i, age := range times {
		l := findings.Life{Lower: age, Upper: math.Inf(1), Count: 1}
		if i < len(failed) && failed[i] == 1 || i >= len(times)-failures {
			l.Upper = age
		}
		rows = append(rows, l)
	}
	l, err := findings.NewLives(rows)
	require.NoError(t, err)
	return l
}

func TestWeibayesAgreesWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "weibayes.csv") {
		l := ages(t, numbers(t, r["times"]), nil, int(r.number(t, "failures")))
		got := findings.Weibayes(l, r.number(t, "beta"), 0.10, r.number(t, "conf"))
		near(t, r.number(t, "B10_lower"), got, r["id"])
		scale := findings.Weibayes(l, r.number(t, "beta"), -math.Expm1(-1), r.number(t, "conf"))
		near(t, r.number(t, "eta_lower"), scale, r["id"])
	}
}

func TestPriorAgreesWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "due_gamma.csv") {
		l := ages(t, numbers(t, r["times"]), numbers(t, r["failed"]), 0)
		prior := findings.Prior{Default: r.number(t, "default"), Share: r.number(t, "p"), Quantile: r.number(t, "q"), Weight: r.number(t, "a0")}
		near(t, r.number(t, "due"), prior.Next(l, r.number(t, "beta"), 0), r["id"])
	}
}

func TestNextLookAgreesWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "next_inspection.csv") {
		got := findings.NextLook(r.number(t, "beta"), r.number(t, "eta"), r.number(t, "age_last_good"), r.number(t, "p"))
		near(t, r.number(t, "next_age"), got)
	}
}

func TestZeroFailureNAgreesWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "zero_failure_n.csv") {
		got, err := findings.ZeroFailureN(r.number(t, "p"), r.number(t, "conf"))
		require.NoError(t, err)
		assert.Equal(t, int(r.number(t, "n")), got)
	}
}

func TestAgeReplacementAgreesWithR(t *testing.T) {
	t.Parallel()
	for _, r := range reference(t, "age_replacement.csv") {
		got, err := findings.AgeReplacement(r.number(t, "beta"), r.number(t, "eta"), r.number(t, "cost_ratio"))
		require.NoError(t, err)
		near(t, r.number(t, "t_opt"), got.Age, r)
		near(t, r.number(t, "cost_rate"), got.Cost, r)
		near(t, r.number(t, "cost_rate_run_to_failure"), got.CostToFailure, r)
		near(t, r.number(t, "F_at_topt"), got.Failed, r)
		near(t, r.number(t, "saving"), got.Saving, r)
	}
}
