// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"

	"fillmark/chemistry"
)

// Step is a first-order answer to a load step, T = Tend − (Tend − T0)
// exp(−t/tau), fitted to a log by least squares.
type Step struct {
	Start    chemistry.Celsius `json:"start_c"`
	End      chemistry.Celsius `json:"end_c"`
	EndError float64           `json:"end_standard_error_k"`
	// Tau is in s; TauLow and TauHigh bound it at 95 % (profile likelihood, F
	// distribution). TauHigh is +Inf where the log does not bound it, TauLow 0.
	Tau     float64 `json:"tau_s"`
	TauLow  float64 `json:"tau_low_s"`
	TauHigh float64 `json:"tau_high_s"`
	// Slope is the initial one in K/s with its standard error.
	Slope      float64 `json:"slope_k_s"`
	SlopeError float64 `json:"slope_standard_error_k_s"`
	RSS        float64 `json:"residual_sum_of_squares_k2"`
}

// Told tells whether tau may be shown: its interval is finite and the log is
// at least one tau long. Otherwise only the initial slope counts.
func (s Step) Told(span float64) bool {
	return s.TauLow > 0 && !math.IsInf(s.TauHigh, 1) && span >= s.Tau
}

// leastFit is how many readings a fit of three parameters needs, and mostFit
// how many it takes: of a longer log every second, third … one.
const (
	leastFit = 6
	mostFit  = 10_000
)

// FitStep fits a [Step] by variable projection: for each tau the two
// temperatures follow by linear regression, and tau minimises what is left. It
// refuses, as a [Refusal], a log of fewer than 6 readings or without any
// change to fit.
func FitStep(l Log) (Step, error) {
	l = l.thinned()
	n := len(l.Seconds)
	if n < leastFit {
		return Step{}, Refusal{"time constant", fmt.Sprintf("%d readings; at least %d are needed", n, leastFit)}
	}
	span := l.Seconds[n-1]
	low, high := math.Log(span/float64(n)/20), math.Log(1000*span)
	logTau := minimum(func(x float64) float64 { return project(l, math.Exp(x)).rss }, low, high)
	fit := project(l, math.Exp(logTau))
	flat := 0.0
	mean := 0.0
	for _, c := range l.Celsius {
		mean += c / float64(n)
	}
	for _, c := range l.Celsius {
		flat += (c - mean) * (c - mean)
	}
	if fit.rss >= flat*(1-1e-9) {
		return Step{}, Refusal{"time constant", "the temperature does not change over the log"}
	}
	s := Step{Start: chemistry.Celsius(fit.end + fit.swing), End: chemistry.Celsius(fit.end), Tau: math.Exp(logTau), RSS: fit.rss}
	s.Slope = -fit.swing / s.Tau
	s.standardErrors(l, fit)
	// 95 %: the tau at which the residuals have grown as far as chance allows.
	limit := fit.rss * (1 + fQuantile(0.05, float64(n-3))/float64(n-3))
	excess := func(x float64) float64 { return project(l, math.Exp(x)).rss - limit }
	s.TauLow, s.TauHigh = 0, math.Inf(1)
	if x, ok := crossing(excess, logTau, low); ok {
		s.TauLow = math.Exp(x)
	}
	if x, ok := crossing(excess, logTau, high); ok {
		s.TauHigh = math.Exp(x)
	}
	return s, nil
}

// thinned keeps every k-th reading of a long log.
func (l Log) thinned() Log {
	k := (len(l.Seconds) + mostFit - 1) / mostFit
	if k <= 1 {
		return l
	}
	thin := Log{}
	for i := 0; i < len(l.Seconds); i += k {
		thin.Seconds, thin.Celsius = append(thin.Seconds, l.Seconds[i]), append(thin.Celsius, l.Celsius[i])
	}
	return thin
}

// projection is the best a given tau can do: T = end + swing·exp(−t/tau).
type projection struct{ end, swing, rss float64 }

func project(l Log, tau float64) projection {
	n := float64(len(l.Seconds))
	var meanE, meanT float64
	for i, t := range l.Seconds {
		meanE += math.Exp(-t / tau)
		meanT += l.Celsius[i]
	}
	meanE, meanT = meanE/n, meanT/n
	var see, set, stt float64
	for i, t := range l.Seconds {
		e, c := math.Exp(-t/tau)-meanE, l.Celsius[i]-meanT
		see += e * e
		set += e * c
		stt += c * c
	}
	if see == 0 {
		return projection{meanT, 0, stt}
	}
	swing := set / see
	return projection{meanT - swing*meanE, swing, max(0, stt-swing*set)}
}

// standardErrors come from the inverse of JᵀJ at the fit, for end, swing and
// tau; the slope −swing/tau follows to first order.
func (s *Step) standardErrors(l Log, fit projection) {
	var m [3][3]float64
	for _, t := range l.Seconds {
		e := math.Exp(-t / s.Tau)
		j := [3]float64{1, e, fit.swing * e * t / (s.Tau * s.Tau)}
		for a := range 3 {
			for b := range 3 {
				m[a][b] += j[a] * j[b]
			}
		}
	}
	variance := s.RSS / float64(len(l.Seconds)-3)
	inverse, ok := invert(m)
	if !ok {
		s.EndError, s.SlopeError = math.Inf(1), math.Inf(1)
		return
	}
	s.EndError = math.Sqrt(variance * inverse[0][0])
	g := [3]float64{0, -1 / s.Tau, fit.swing / (s.Tau * s.Tau)}
	sum := 0.0
	for a := range 3 {
		for b := range 3 {
			sum += g[a] * inverse[a][b] * g[b]
		}
	}
	s.SlopeError = math.Sqrt(variance * sum)
}

// invert returns the inverse of a symmetric 3×3 matrix by cofactors.
func invert(m [3][3]float64) (inverse [3][3]float64, ok bool) {
	cofactor := func(a, b int) float64 {
		a1, a2, b1, b2 := (a+1)%3, (a+2)%3, (b+1)%3, (b+2)%3
		return m[a1][b1]*m[a2][b2] - m[a1][b2]*m[a2][b1]
	}
	det := 0.0
	for b := range 3 {
		det += m[0][b] * cofactor(0, b)
	}
	if det == 0 || math.IsNaN(det) {
		return inverse, false
	}
	for a := range 3 {
		for b := range 3 {
			inverse[a][b] = cofactor(b, a) / det
		}
	}
	return inverse, true
}

// minimum finds the least value of f between low and high: the best point of
// a grid, then golden sections around it.
func minimum(f func(float64) float64, low, high float64) float64 {
	const points = 64
	step := (high - low) / points
	best, at := math.Inf(1), low
	for i := range points + 1 {
		if v := f(low + float64(i)*step); v < best {
			best, at = v, low+float64(i)*step
		}
	}
	a, b := at-step, at+step
	ratio := (math.Sqrt(5) - 1) / 2
	c, d := b-ratio*(b-a), a+ratio*(b-a)
	fc, fd := f(c), f(d)
	for b-a > 1e-9 {
		if fc < fd {
			b, d, fd = d, c, fc
			c = b - ratio*(b-a)
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + ratio*(b-a)
			fd = f(d)
		}
	}
	return (a + b) / 2
}

// crossing finds where f, negative at from, reaches zero on the way to an
// end; ok is false where it does not.
func crossing(f func(float64) float64, from, to float64) (at float64, ok bool) {
	const steps = 64
	inside := from
	for i := 1; i <= steps; i++ {
		outside := from + (to-from)*float64(i)/steps
		if f(outside) < 0 {
			inside = outside
			continue
		}
		for math.Abs(outside-inside) > 1e-12*(1+math.Abs(inside)) {
			middle := (inside + outside) / 2
			if middle == inside || middle == outside {
				break
			}
			if f(middle) < 0 {
				inside = middle
			} else {
				outside = middle
			}
		}
		return (inside + outside) / 2, true
	}
	return 0, false
}

// fQuantile returns the upper point of the F distribution with 1 and v
// degrees of freedom: P(F > f) = I_{v/(v+f)}(v/2, 1/2).
func fQuantile(upper, v float64) float64 {
	x := mathext.InvRegIncBeta(v/2, 0.5, upper)
	return v * (1 - x) / x
}
