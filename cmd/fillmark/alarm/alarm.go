// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package alarm knows which parts of its work the program cannot do, and tells
// people by ways that are not mail.
//
// Main types: a [Source] says whether a part of the work can be done; the
// [Board] asks all sources, keeps since when each is red, and tells each [Way]
// once when one turns red, again after an interval while it stays so, and once
// when it is over. What was told is on record, so a start repeats nothing. All
// are safe for concurrent use. Nothing here reads a clock.
package alarm

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"sync"
	"time"

	"fillmark/loops"
)

// Source is a part of the program's work.
type Source struct {
	Name string // in a word or two, such as mail
	// Check says in sentences why the work cannot be done at the instant and what
	// to do about it; both are empty while it can.
	Check func(now time.Time) (reason, remedy string)
}

// Way is a way to people.
type Way struct {
	Name  string // such as webhook
	Where string // where it leads; only its hash is kept
	Send  func(context.Context, Telling) error
}

// keeper has what is on record of alarms.
type keeper interface {
	Alarms() (loops.AlarmBook, error)
	PutAlarms(loops.AlarmBook) error
}

// Options are what a workshop chooses. Again is after how long what stays red
// is told again. Hide takes out of a text what nobody else is to read; nil
// leaves it as it is.
type Options struct {
	Workshop string
	Zone     *time.Location
	Again    time.Duration
	Hide     func(string) string
}

const (
	// spacing is the least time between two uses of a way: however much comes
	// and goes, nobody is told more than four times an hour.
	spacing = 15 * time.Minute
	// settled is how long something must have been over before that is told.
	settled = 30 * time.Minute
	// aliveEvery is after how long a silent way is used all the same: what is
	// first used when it is needed may not work by then.
	aliveEvery = 30 * 24 * time.Hour
)

// Board is the state of all sources and ways.
type Board struct {
	opts    Options
	keep    keeper
	ways    []Way
	telling sync.Mutex // held while ways are used

	mu      sync.Mutex
	sources []Source
	book    loops.AlarmBook
	kept    string // what of the book is on record
}

// NewBoard reads what is on record. Ways and alarms that are not there any more
// are forgotten.
func NewBoard(keep keeper, opts Options, ways []Way, sources ...Source) (*Board, error) {
	b := &Board{opts: opts, keep: keep, ways: ways}
	if err := b.Recall(); err != nil {
		return nil, err
	}
	b.Watch(sources...)
	for i := range b.ways {
		b.Watch(Source{wayAlarm(ways[i].Name), func(time.Time) (reason, remedy string) { return b.failing(i) }})
	}
	return b, nil
}

// Recall takes what is on record in the place of what this process knows: another
// one may have told it.
func (b *Board) Recall() error {
	book, err := b.keep.Alarms()
	if err != nil {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.book = loops.AlarmBook{Alarms: book.Alarms}
	for _, way := range b.ways {
		sum := sha256.Sum256([]byte(way.Where))
		line := loops.AlarmWay{Name: way.Name, Where: hex.EncodeToString(sum[:16])}
		for _, had := range book.Ways {
			if had.Name == line.Name && had.Where == line.Where {
				line = had
			}
		}
		b.book.Ways = append(b.book.Ways, line)
	}
	b.kept = essence(b.book)
	return nil
}

// Watch adds sources; a name stands once.
func (b *Board) Watch(sources ...Source) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.sources = append(b.sources, sources...)
}

// wayAlarm is the name of the alarm that a way itself raises.
func wayAlarm(way string) string { return "the " + way + " of alarms" }

// failing is why a way does not work; the lock is held.
func (b *Board) failing(i int) (reason, remedy string) {
	way := b.book.Ways[i]
	if way.Failing.IsZero() {
		return "", ""
	}
	return fmt.Sprintf("Nobody can be told of alarms by %s: %s.", way.Name, way.Fault),
		fmt.Sprintf("Look at alarm.%s in the configuration, and at what it leads to. It is tried again every quarter of an hour.", way.Name)
}

// Names are those of all sources.
func (b *Board) Names() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	var names []string
	for _, s := range b.sources {
		names = append(names, s.Name)
	}
	return names
}

// Red asks every source and returns those that are red, in the order of the
// sources, with the instant from which on they are.
func (b *Board) Red(now time.Time) []loops.Alarm {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.look(now)
}

// look brings the book up to date; the lock is held.
func (b *Board) look(now time.Time) []loops.Alarm {
	red := []loops.Alarm{}
	var lines []loops.AlarmLine
	for _, s := range b.sources {
		reason, remedy := s.Check(now)
		n := slices.IndexFunc(b.book.Alarms, func(l loops.AlarmLine) bool { return l.Name == s.Name })
		line := loops.AlarmLine{Alarm: loops.Alarm{Name: s.Name, Since: now}}
		switch {
		case n < 0 && reason == "":
			continue
		case n >= 0:
			line = b.book.Alarms[n]
		}
		if reason != "" {
			// One that comes back before its end was told to all goes on.
			line.Reason, line.Remedy, line.Ended, line.Over = b.clean(reason), b.clean(remedy), time.Time{}, nil
			red = append(red, line.Alarm)
		} else if line.Ended.IsZero() {
			line.Ended = now
		}
		lines = append(lines, line)
	}
	b.book.Alarms = lines
	return red
}

// clean is a text fit for anybody's eyes and for a terminal.
func (b *Board) clean(text string) string {
	if b.opts.Hide != nil {
		text = b.opts.Hide(text)
	}
	return loops.Visible(text)
}

// Tell uses each way that has something to tell, and puts on record what was
// told. An error is that of the record; a way that does not work is an alarm
// itself.
func (b *Board) Tell(ctx context.Context, now time.Time) error {
	b.telling.Lock()
	defer b.telling.Unlock()
	for i, way := range b.ways {
		b.mu.Lock()
		b.look(now)
		said, any := b.news(i, now)
		b.mu.Unlock()
		if !any {
			continue
		}
		err := way.Send(ctx, said)
		if ctx.Err() != nil {
			return nil // stopped: the next start tells it
		}
		b.mu.Lock()
		b.told(i, said, now, err)
		b.mu.Unlock()
	}
	return b.save(now)
}

// news is what there is to tell by a way now.
func (b *Board) news(i int, now time.Time) (Telling, bool) {
	way := b.book.Ways[i]
	said := Telling{At: now, Workshop: b.opts.Workshop, zone: b.opts.Zone, Hello: now.Sub(way.Told).Abs() >= aliveEvery}
	any := said.Hello
	for _, line := range b.book.Alarms {
		if line.Name == wayAlarm(way.Name) {
			continue // it learns that by itself
		}
		if line.Ended.IsZero() {
			last, before := line.Told[way.Name]
			due := !before || now.Sub(last).Abs() >= b.opts.Again
			any = any || due
			said.Red = append(said.Red, RedLine{line.Alarm, !before})
			continue
		}
		if now.Sub(line.Ended).Abs() >= settled && !line.Over[way.Name] {
			any = true
			said.Over = append(said.Over, OverLine{line.Name, line.Reason, line.Since, line.Ended})
		}
	}
	if !way.Tried.IsZero() && now.Sub(way.Tried).Abs() < spacing {
		return said, false
	}
	return said, any
}

// told puts down what became of a telling.
func (b *Board) told(i int, said Telling, now time.Time, err error) {
	way := &b.book.Ways[i]
	way.Tried = now
	if err != nil {
		if way.Failing.IsZero() {
			way.Failing = now
		}
		way.Fault = b.clean(shortened(err.Error()))
		return
	}
	way.Told, way.Failing, way.Fault = now, time.Time{}, ""
	for n := range b.book.Alarms {
		line := &b.book.Alarms[n]
		switch {
		case slices.ContainsFunc(said.Red, func(r RedLine) bool { return r.Name == line.Name }):
			line.Told = with(line.Told, way.Name, now)
		case slices.ContainsFunc(said.Over, func(o OverLine) bool { return o.Name == line.Name }):
			line.Over = with(line.Over, way.Name, true)
		}
	}
}

// with is a map with one more, and the one before untouched.
func with[V any](m map[string]V, key string, value V) map[string]V {
	out := map[string]V{key: value}
	for k, v := range m {
		if k != key {
			out[k] = v
		}
	}
	return out
}

// save forgets what is over for everybody, and puts the book on record where it
// has changed in more than words.
func (b *Board) save(now time.Time) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.book.Alarms = slices.DeleteFunc(b.book.Alarms, func(l loops.AlarmLine) bool {
		return !l.Ended.IsZero() && now.Sub(l.Ended).Abs() >= settled && !slices.ContainsFunc(b.ways, func(w Way) bool {
			return l.Name != wayAlarm(w.Name) && !l.Over[w.Name]
		})
	})
	is := essence(b.book)
	if is == b.kept {
		return nil
	}
	if err := b.keep.PutAlarms(b.book); err != nil {
		return fmt.Errorf("alarms: %w", err) // in memory it goes on, and is tried again
	}
	b.kept = is
	return nil
}

// essence is what of a book is worth a write: counts in a reason change with
// every letter.
func essence(book loops.AlarmBook) string {
	bare := loops.AlarmBook{Ways: book.Ways}
	for _, line := range book.Alarms {
		line.Reason, line.Remedy = "", ""
		bare.Alarms = append(bare.Alarms, line)
	}
	return fmt.Sprintf("%v", bare) // fmt prints maps in the order of their keys
}

// shortened keeps what a stranger answers from filling a page.
func shortened(text string) string {
	if runes := []rune(text); len(runes) > 300 {
		return string(runes[:299]) + "…"
	}
	return text
}
