// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// ContainerAnswer is a container with what its label says.
type ContainerAnswer struct {
	loops.Container
	// UseTags are the tags of the loops in Uses, in the same order.
	UseTags []loops.Tag `json:"use_tags,omitempty"`
	Label   []string    `json:"label"`
}

func (s *server) labelled(c loops.Container, err error) (answer ContainerAnswer, _ error) {
	if err != nil {
		return answer, err
	}
	answer = ContainerAnswer{Container: c, Label: workshop.ContainerLabel(c)}
	tags, err := s.Workshop.TagsOf(loopsIn(c))
	for _, use := range c.Uses {
		answer.UseTags = append(answer.UseTags, tags[use.Loop])
	}
	return answer, err
}

// loopsIn are those that something of a container went into.
func loopsIn(c loops.Container) (ids []loops.LoopID) {
	for _, use := range c.Uses {
		ids = append(ids, use.Loop)
	}
	return ids
}

func (s *server) usedFluid() ([]workshop.UsedLine, error) { return s.Workshop.UsedFluid(0) }

func (s *server) putContainer(stamp workshop.Stamp, c loops.Container) (ContainerAnswer, error) {
	return s.labelled(s.Workshop.AddContainer(stamp, c))
}

func (s *server) containerOf(id loops.ContainerID) (ContainerAnswer, error) {
	return s.labelled(s.Workshop.Container(id))
}

func (s *server) changeContainer(stamp workshop.Stamp, id loops.ContainerID, c loops.Container) (ContainerAnswer, error) {
	c.ID = id
	done, err := s.Workshop.Edit(stamp, workshop.Edit{Container: &c})
	return s.labelled(done.Container, acts.Containers().Named(err))
}

// TakeOut says how much of a container went elsewhere than into a loop.
type TakeOut struct {
	Volume chemistry.Litre `json:"volume_l"`
	Why    string          `json:"why"`
}

func (s *server) takeOut(stamp workshop.Stamp, id loops.ContainerID, out TakeOut) (ContainerAnswer, error) {
	return s.labelled(s.Workshop.TakeOut(stamp, id, out.Volume, out.Why))
}

// Waste is a line for the used-fluid log with the tag of its loop, empty where
// it is from several.
type Waste struct {
	Tag string `json:"tag,omitempty"`
	loops.UsedFluid
}

func (s *server) addWaste(stamp workshop.Stamp, waste Waste) (added loops.UsedFluid, err error) {
	var tag loops.Tag
	if waste.Tag != "" {
		if tag, err = loops.ParseTag(waste.Tag); err != nil {
			return added, err
		}
	}
	return s.Workshop.AddWaste(stamp, tag, waste.UsedFluid)
}

// OnDay says when something happened; no day is today.
type OnDay struct {
	Day loops.Day `json:"day,omitzero"`
}

func (s *server) retireInstrument(stamp workshop.Stamp, id loops.InstrumentID, on OnDay) (loops.Instrument, error) {
	return s.Workshop.RetireInstrument(stamp, id, on.Day)
}

// KeptSample is a retained sample with the tag of its loop.
type KeptSample struct {
	Tag string `json:"tag"`
	loops.RetainedSample
}

func (s *server) samples() ([]KeptSample, error) {
	all, ids := []KeptSample{}, []loops.LoopID{}
	for x, err := range s.Reader.Samples() {
		if err != nil {
			return nil, err
		}
		all, ids = append(all, KeptSample{RetainedSample: x}), append(ids, x.Loop)
	}
	tags, err := s.Workshop.TagsOf(ids)
	for i := range all {
		all[i].Tag = string(tags[all[i].Loop])
	}
	return all, err
}

func (s *server) addSample(stamp workshop.Stamp, kept KeptSample) (added loops.RetainedSample, err error) {
	tag, err := loops.ParseTag(kept.Tag)
	if err != nil {
		return added, err
	}
	return s.Workshop.AddSample(stamp, tag, kept.RetainedSample)
}

func (s *server) discardSample(stamp workshop.Stamp, id loops.SampleID, on OnDay) (loops.RetainedSample, error) {
	return s.Workshop.DiscardSample(stamp, id, on.Day)
}
