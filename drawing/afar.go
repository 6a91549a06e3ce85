// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package drawing

import (
	"fmt"
	"math"
	"strings"

	"fillmark/loops"
	"fillmark/loops/inspection"
	"fillmark/schedule"
)

// AfarPlot draws the resistance since the proof as answers and logs tell it,
// with its interval; nil where neither told any.
func AfarPlot(history []loops.Entry) *Life {
	a := schedule.AfarOf(history)
	if a == nil || len(a.Answers)+len(a.Weeks) == 0 {
		return nil
	}
	proof := schedule.AfarValue{Day: a.Day, Value: a.Proof}
	rows := []struct {
		name   string
		values []schedule.AfarValue
	}{{"proof", []schedule.AfarValue{proof}}, {"logs", a.Weeks}, {"owner", a.Answers}}
	var series []named
	for _, r := range rows {
		s := named{name: r.name}
		for _, v := range r.values {
			s.values = append(s.values, lifeValue{v.Day, float64(v.Value.Value), float64(v.Value.Uncertainty)})
		}
		series = append(series, s)
	}
	p := newLife("Since the proof", "die above room by heat, K/W", 2, nil, series...)
	last := proof
	for _, r := range rows {
		if n := len(r.values); n > 0 && !r.values[n-1].Day.Before(last.Day) {
			last = r.values[n-1]
		}
	}
	p.Sentence = fmt.Sprintf("At the proof of %s it was %.3f ± %s, in the week or on the day of %s %.3f ± %s.",
		a.Day.Long(), float64(proof.Value.Value), proof.Value.Uncertainty, last.Day.Long(), float64(last.Value.Value), last.Value.Uncertainty)
	if call := a.Called(); call != nil {
		p.Sentence += " A rise is called: " + call.Reason() + fmt.Sprintf(" %s, since about %s.", call.Against, call.Since.Long())
	} else {
		p.Sentence += " No rise is called."
	}
	seen := func(values int) string {
		share := inspection.SeenAfter(values, a.Sigma())
		if math.IsInf(share, 1) {
			return "no rise below the fourfold"
		}
		return fmt.Sprintf("a rise of %.0f %%", 100*share)
	}
	p.Sentence += fmt.Sprintf(" Two answers of an owner a year show %s within it, a log every week %s (nine times of ten).", seen(2), seen(52))
	return &p
}

// band is the interval of a row of points, there along its upper end and back
// along its lower; of one point alone it is a bar.
func (a lifeAxes) band(values []lifeValue) string {
	var path strings.Builder
	half := Px(0)
	if len(values) == 1 {
		half = 4
	}
	add := func(x, y Px) { fmt.Fprintf(&path, "%c%s %s", step(path.Len()), x, y) }
	for _, v := range values {
		add(a.x(v.day)-half, a.y(v.v+v.plus))
		if half > 0 {
			add(a.x(v.day)+half, a.y(v.v+v.plus))
			add(a.x(v.day)+half, a.y(v.v-v.plus))
		}
	}
	for i := len(values) - 1; i >= 0; i-- {
		add(a.x(values[i].day)-half, a.y(values[i].v-values[i].plus))
	}
	return path.String() + "Z"
}
