// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"time"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
)

// Ran is what a machine did while its owner read its temperature.
type Ran string

// What machines do.
const (
	RanHeavy   Ran = "heavy work"
	RanLight   Ran = "light work"
	RanNothing Ran = "nothing"
)

// RanAll lists them in the order they are offered.
func RanAll() []Ran { return []Ran{RanHeavy, RanLight, RanNothing} }

// Sentence says it as an owner reads it.
func (r Ran) Sentence() string {
	switch r {
	case RanHeavy:
		return "heavy work for ten minutes or more"
	case RanLight:
		return "light work, such as e-mail"
	}
	return "nothing"
}

// Tells tells that what the owner read can be compared with a proof: die and
// room under heavy work.
func (x *Answer) Tells() bool { return x.Die != nil && x.Room != nil && x.Ran == RanHeavy }

// What owners can read and what a log can say, in °C: the hottest place of a
// machine that still runs, and rooms that people work in.
const (
	coldestDie, hottestDie   chemistry.Celsius = -20, 125
	coldestRoom, hottestRoom chemistry.Celsius = -20, 60
)

func (x *Answer) validateReadings() error {
	var p problems
	if x.Die == nil && x.Room == nil && x.Ran == "" {
		return nil
	}
	if x.Answer != AllFine && x.Answer != SomethingOff {
		p.add(invalid("die", string(x.Answer), "a temperature only with "+string(AllFine)+" or "+string(SomethingOff)))
	}
	if x.Die == nil {
		p.add(invalid("die", "", "the temperature that the machine shows, such as 61, or nothing of room and work either"))
	} else {
		p.add(inRange("die", *x.Die, coldestDie, hottestDie, "°C"))
	}
	if x.Room == nil {
		p.add(invalid("room", "", "how warm the room was, such as 22"))
	} else {
		p.add(inRange("room", *x.Room, coldestRoom, hottestRoom, "°C"))
	}
	p.add(oneOf("ran", x.Ran, RanAll()...))
	return p.err()
}

// TemperatureLog is what a log of a machine's temperature showed, week by week.
type TemperatureLog struct {
	// Room is how warm it was about the machine, PowerW what it turned to heat in
	// its warmest hours; nil reads as at the proof.
	Room   chemistry.Celsius `json:"room_c"`
	PowerW *float64          `json:"power_w,omitempty"`
	Weeks  []LogWeek         `json:"weeks"`
	// Time and Temperature are the columns that were read; Read and Skipped count
	// their values.
	Time        string `json:"time"`
	Temperature string `json:"temperature"`
	Read        int    `json:"read"`
	Skipped     int    `json:"skipped,omitempty"`
}

// LogOf is what a log showed, with the room and the heat that are said beside it; weeks are told by their UTC days.
func LogOf(weeks []inspection.Week, read inspection.Series, room chemistry.Celsius, watts *float64) TemperatureLog {
	log := TemperatureLog{Room: room, PowerW: watts, Time: read.Columns.Time, Temperature: read.Columns.Temperature, Read: read.Read}
	for why, n := range read.Skipped {
		if why != inspection.SkipRoom {
			log.Skipped += n
		}
	}
	for _, w := range weeks {
		log.Weeks = append(log.Weeks, LogWeek{Day: DayOf(w.Start, time.UTC), Warmest: w.Warmest, Room: w.Room, Hours: w.Hours})
	}
	return log
}

// LogWeek is one week of it, from its first day on.
type LogWeek struct {
	Day Day `json:"day"`
	// Warmest is the mean of the week's warmest hour, with the machine at work.
	Warmest chemistry.Celsius `json:"warmest_c"`
	// Room is the air about it in that hour; nil where the log had none, and that of the log counts.
	Room  *chemistry.Celsius `json:"room_c,omitempty"`
	Hours int                `json:"hours"` // with values in them
}

// MaxLogWeeks is how many weeks one log may cover: ten years of them.
const MaxLogWeeks = 522

func (x *TemperatureLog) validate() error {
	var p problems
	p.add(inRange("room", x.Room, coldestRoom, hottestRoom, "°C"))
	optional(&p, "power", x.PowerW, 0.1, 1e6, "W")
	if len(x.Weeks) < 1 || len(x.Weeks) > MaxLogWeeks {
		p.add(invalid("weeks", len(x.Weeks), fmt.Sprintf("1 to %d weeks", MaxLogWeeks)))
	}
	for i, w := range x.Weeks {
		p.add(w.Day.validate("week"))
		p.add(inRange("temperature", w.Warmest, -60, 150, "°C"))
		if w.Room != nil {
			p.add(inRange("room", *w.Room, coldestRoom, hottestRoom, "°C"))
		}
		p.add(inRange("hours", float64(w.Hours), 1, 168, "h"))
		if i > 0 && !w.Day.After(x.Weeks[i-1].Day) {
			p.add(invalid("week", w.Day, "a week after the one before it"))
		}
	}
	p.add(checkText("time column", x.Time, 200, false))
	p.add(checkText("temperature column", x.Temperature, 200, false))
	p.add(inRange("values", float64(x.Read), 1, 1e9, ""))
	p.add(inRange("skipped", float64(x.Skipped), 0, 1e9, ""))
	return p.err()
}

// Sentence tells it in a history.
func (x *TemperatureLog) Sentence() string {
	warmest := x.Weeks[0].Warmest
	for _, w := range x.Weeks {
		warmest = max(warmest, w.Warmest)
	}
	last := x.Weeks[len(x.Weeks)-1]
	return fmt.Sprintf("Temperature log: %d values in %d weeks from %s on, the warmest hour of the last %s, of all %s; room %s.",
		x.Read, len(x.Weeks), x.Weeks[0].Day.Long(), last.Warmest, warmest, x.Room)
}
