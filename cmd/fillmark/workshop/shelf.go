// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"iter"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// shelf is what the actions read from and write to the shelf.
type shelf interface {
	NewContainerIDs(count int) (loops.ContainerID, error)
	NewUsedFluidID() (loops.UsedFluidID, error)
	NewInstrumentID() (loops.InstrumentID, error)
	NewSampleID() (loops.SampleID, error)
	Container(loops.ContainerID) (loops.Container, error)
	Containers() iter.Seq2[loops.Container, error]
	UsedFluid() iter.Seq2[loops.UsedFluid, error]
	Instrument(loops.InstrumentID) (loops.Instrument, error)
	Instruments() iter.Seq2[loops.Instrument, error]
	Sample(loops.SampleID) (loops.RetainedSample, error)
}

// Container reads one container.
func (w *Workshop) Container(id loops.ContainerID) (loops.Container, error) {
	c, err := w.register.Container(id)
	return c, orNotFound("container", id, err)
}

// putShelf writes to the shelf alone.
func (w *Workshop) putShelf(s Stamp, action string, on loops.Shelf) error {
	return w.register.Commit(loops.Change{At: s.At, By: s.By, Action: action, Shelf: on})
}

// AddContainer records a bottle or a batch.
func (w *Workshop) AddContainer(s Stamp, c loops.Container) (loops.Container, error) {
	c.ID, c.Revision, c.Uses = 0, 0, nil
	if err := acts.Containers().Named(c.Validate()); err != nil {
		return loops.Container{}, err
	}
	change := loops.Change{At: s.At, By: s.By, Action: "container add", Shelf: loops.Shelf{Containers: []loops.Container{c}}}
	if err := w.put(&change); err != nil {
		return loops.Container{}, err
	}
	return w.Container(change.Shelf.Containers[0].ID)
}

// noteRoom is how many bytes of a container's note are kept.
const noteRoom = 2000

// TakeOut records that some of a container went elsewhere than into a loop:
// spilt, poured away, mixed into a batch. Why goes into the container's note.
func (w *Workshop) TakeOut(s Stamp, id loops.ContainerID, volume chemistry.Litre, why string) (loops.Container, error) {
	return retried(w, func() (loops.Container, error) {
		c, err := w.Container(id)
		if err != nil {
			return loops.Container{}, err
		}
		switch {
		case !(volume > 0):
			return loops.Container{}, wrong("volume", volume.String(), "how much was taken out, such as 50ml")
		case volume > c.Left+rounding:
			return loops.Container{}, wrong("volume", volume.String(), "not more than what is left, "+c.Left.String())
		case strings.TrimSpace(why) == "":
			return loops.Container{}, wrong("why", why, "where it went")
		}
		c.Left = max(0, c.Left-volume)
		day := loops.DayOf(s.At, w.settings.Zone)
		c.Note = strings.TrimSpace(fmt.Sprintf("%s\n%s: %s out: %s", c.Note, day, volume, why))
		for len(c.Note) > noteRoom && strings.Contains(c.Note, "\n") {
			_, c.Note, _ = strings.Cut(c.Note, "\n") // the oldest line makes room
		}
		if c.Opened.IsZero() {
			c.Opened = day
		}
		done, err := w.Edit(s, Edit{Container: &c})
		return done.Container, err
	})
}

// TagsOf returns the tags of loops, for what names loops by their numbers; zero has
// none.
func (w *Workshop) TagsOf(ids []loops.LoopID) (map[loops.LoopID]loops.Tag, error) {
	found, err := w.register.LoopsWith(ids)
	tags := map[loops.LoopID]loops.Tag{}
	for id, l := range found {
		tags[id] = l.Tag
	}
	for _, id := range ids {
		if _, there := tags[id]; !there && id != 0 && err == nil {
			return nil, orNotFound("loop", id, loops.ErrNotFound)
		}
	}
	return tags, err
}

// AddInstrument records something that readings are taken with.
func (w *Workshop) AddInstrument(s Stamp, i loops.Instrument) (loops.Instrument, error) {
	i.ID, i.Revision, i.Checks = 0, 0, nil
	if err := i.Validate(); err != nil {
		return i, err
	}
	id, err := commitNew(w.register.NewInstrumentID, func(id loops.InstrumentID) error {
		i.ID = id
		return w.putShelf(s, "instrument add", loops.Shelf{Instruments: []loops.Instrument{i}})
	})
	if err != nil {
		return i, err
	}
	return w.register.Instrument(id)
}

// CheckInstrument records a zero or buffer check of an instrument.
func (w *Workshop) CheckInstrument(s Stamp, id loops.InstrumentID, check loops.InstrumentCheck) (loops.Instrument, error) {
	return retried(w, func() (loops.Instrument, error) {
		i, err := w.register.Instrument(id)
		if err != nil {
			return i, orNotFound("instrument", id, err)
		}
		if check.Day, err = w.come(s, check.Day); err != nil {
			return i, err
		}
		if !i.Retired.IsZero() && check.Day.After(i.Retired) {
			return i, wrong("instrument", fmt.Sprint(id), "one in use; it was retired on "+i.Retired.String())
		}
		check.By = s.By
		i.Checks = append(slices.Clone(i.Checks), check)
		return w.putInstrument(s, "instrument check", i)
	})
}

// RetireInstrument records that an instrument left use on the day.
func (w *Workshop) RetireInstrument(s Stamp, id loops.InstrumentID, day loops.Day) (loops.Instrument, error) {
	return retried(w, func() (loops.Instrument, error) {
		i, err := w.register.Instrument(id)
		if err != nil {
			return i, orNotFound("instrument", id, err)
		}
		if !i.Retired.IsZero() {
			return i, wrong("instrument", fmt.Sprint(id), "one in use; it was retired on "+i.Retired.String())
		}
		if i.Retired, err = w.come(s, day); err != nil {
			return i, err
		}
		return w.putInstrument(s, "instrument retire", i)
	})
}

// come is the day on which something happened, today where none was said; one to
// come is refused.
func (w *Workshop) come(s Stamp, day loops.Day) (loops.Day, error) {
	today := loops.DayOf(s.At, w.settings.Zone)
	switch {
	case day.IsZero():
		return today, nil
	case day.After(today):
		return day, wrong("day", day.String(), "a day that has come; today is "+today.String())
	}
	return day, nil
}

func (w *Workshop) putInstrument(s Stamp, action string, i loops.Instrument) (loops.Instrument, error) {
	if err := i.Validate(); err != nil {
		return i, err
	}
	if err := w.putShelf(s, action, loops.Shelf{Instruments: []loops.Instrument{i}}); err != nil {
		return i, err
	}
	return w.register.Instrument(i.ID)
}

// AddSample records liquid of a loop that is kept back.
func (w *Workshop) AddSample(s Stamp, tag loops.Tag, sample loops.RetainedSample) (loops.RetainedSample, error) {
	loop, err := w.register.LoopByTag(tag)
	if err != nil {
		return sample, orNotFound("loop", tag, err)
	}
	sample.ID, sample.Revision, sample.Loop = 0, 0, loop.ID
	if sample.Taken, err = w.come(s, sample.Taken); err != nil {
		return sample, err
	}
	if sample.Entry > loop.LastEntry {
		return sample, wrong("entry", fmt.Sprint(sample.Entry), fmt.Sprintf("an entry of this loop, 1 to %d", loop.LastEntry))
	}
	if err := sample.Validate(); err != nil {
		return sample, err
	}
	id, err := commitNew(w.register.NewSampleID, func(id loops.SampleID) error {
		sample.ID = id
		return w.putShelf(s, "sample add", loops.Shelf{Samples: []loops.RetainedSample{sample}})
	})
	if err != nil {
		return sample, err
	}
	return w.register.Sample(id)
}

// DiscardSample records that a retained sample was poured away on the day.
func (w *Workshop) DiscardSample(s Stamp, id loops.SampleID, day loops.Day) (loops.RetainedSample, error) {
	return retried(w, func() (loops.RetainedSample, error) {
		sample, err := w.register.Sample(id)
		if err != nil {
			return sample, orNotFound("sample", id, err)
		}
		if !sample.Discarded.IsZero() {
			return sample, wrong("sample", fmt.Sprint(id), "one that is still kept; it was discarded on "+sample.Discarded.String())
		}
		if sample.Discarded, err = w.come(s, day); err != nil {
			return sample, err
		}
		if sample.Discarded.Before(sample.Taken) {
			return sample, wrong("day", sample.Discarded.String(), "not before it was taken, "+sample.Taken.String())
		}
		if err := w.putShelf(s, "sample discard", loops.Shelf{Samples: []loops.RetainedSample{sample}}); err != nil {
			return sample, err
		}
		return w.register.Sample(id)
	})
}
