// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"iter"
	"net/http"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// shelfRoutes lists the routes of the shelf.
func (s *server) shelfRoutes(handle func(pattern string, h http.Handler)) {
	handle("GET /api/v1/containers", s.api(func(*http.Request) (any, error) { return gather(s.Reader.Containers()) }))
	handle("POST /api/v1/containers", s.api(s.apiAddContainer))
	handle("GET /api/v1/containers/{id}", s.api(s.apiContainer))
	handle("PUT /api/v1/containers/{id}", s.api(s.apiEditContainer))
	handle("POST /api/v1/containers/{id}/take-out", s.api(s.apiTakeOut))
	handle("GET /api/v1/recall", s.api(s.apiRecall))
	handle("GET /api/v1/used-fluid", s.api(s.apiUsedFluid))
	handle("POST /api/v1/used-fluid", s.api(s.apiAddWaste))
	handle("GET /api/v1/instruments", s.api(func(*http.Request) (any, error) { return gather(s.Reader.Instruments()) }))
	handle("POST /api/v1/instruments", s.api(s.apiAddInstrument))
	handle("POST /api/v1/instruments/{id}/checks", s.api(s.apiCheckInstrument))
	handle("POST /api/v1/instruments/{id}/retire", s.api(s.apiRetireInstrument))
	handle("GET /api/v1/samples", s.api(s.apiSamples))
	handle("POST /api/v1/samples", s.api(s.apiAddSample))
	handle("POST /api/v1/samples/{id}/discard", s.api(s.apiDiscardSample))
}

// ContainerAnswer is a container with what its label says.
type ContainerAnswer struct {
	loops.Container
	// UseTags are the tags of the loops in Uses, in the same order.
	UseTags []loops.Tag `json:"use_tags,omitempty"`
	Label   []string    `json:"label"`
}

func (s *server) labelled(c loops.Container, err error) (any, error) {
	if err != nil {
		return nil, err
	}
	answer := ContainerAnswer{Container: c, Label: workshop.ContainerLabel(c)}
	for _, use := range c.Uses {
		tag, err := s.Workshop.TagOf(use.Loop)
		if err != nil {
			return nil, err
		}
		answer.UseTags = append(answer.UseTags, tag)
	}
	return answer, nil
}

// tagged completes records with the tag of the loop that each is about.
func tagged[T, L any](s *server, records iter.Seq2[T, error], loop func(T) loops.LoopID, line func(loops.Tag, T) L) (any, error) {
	all := list[L]{Items: []L{}}
	for record, err := range records {
		if err != nil {
			return nil, err
		}
		tag, err := s.Workshop.TagOf(loop(record))
		if err != nil {
			return nil, err
		}
		all.Items = append(all.Items, line(tag, record))
	}
	return all, nil
}

func (s *server) apiUsedFluid(*http.Request) (any, error) {
	return itemsOf(s.Workshop.UsedFluid(0))
}

func (s *server) apiSamples(*http.Request) (any, error) {
	return tagged(s, s.Reader.Samples(), func(x loops.RetainedSample) loops.LoopID { return x.Loop },
		func(tag loops.Tag, x loops.RetainedSample) KeptSample { return KeptSample{string(tag), x} })
}

func (s *server) apiAddContainer(r *http.Request) (any, error) {
	container, err := decode[loops.Container](r)
	if err != nil {
		return nil, err
	}
	added, err := s.Workshop.AddContainer(s.stamp(r), container)
	return s.labelled(added, acts.Containers().Named(err))
}

func (s *server) apiContainer(r *http.Request) (any, error) {
	id, err := idOf[loops.ContainerID](r)
	if err != nil {
		return nil, err
	}
	return s.labelled(s.Workshop.Container(id))
}

func (s *server) apiEditContainer(r *http.Request) (any, error) {
	id, err := idOf[loops.ContainerID](r)
	if err != nil {
		return nil, err
	}
	container, err := decode[loops.Container](r)
	if err != nil {
		return nil, err
	}
	container.ID = id
	done, err := s.Workshop.Edit(s.stamp(r), workshop.Edit{Container: &container})
	return s.labelled(done.Container, acts.Containers().Named(err))
}

// TakeOut says how much of a container went elsewhere than into a loop.
type TakeOut struct {
	Volume chemistry.Litre `json:"volume_l"`
	Why    string          `json:"why"`
}

func (s *server) apiTakeOut(r *http.Request) (any, error) {
	id, err := idOf[loops.ContainerID](r)
	if err != nil {
		return nil, err
	}
	out, err := decode[TakeOut](r)
	if err != nil {
		return nil, err
	}
	return s.labelled(s.Workshop.TakeOut(s.stamp(r), id, out.Volume, out.Why))
}

func (s *server) apiRecall(r *http.Request) (any, error) {
	var lot string
	p := paramsOf(r)
	take(p, "lot", &lot, words)
	if err := p.err(); err != nil {
		return nil, err
	}
	return s.Workshop.RecallOf(lot)
}

// Waste is a line for the used-fluid log with the tag of its loop, empty where
// it is from several.
type Waste struct {
	Tag string `json:"tag,omitempty"`
	loops.UsedFluid
}

func (s *server) apiAddWaste(r *http.Request) (any, error) {
	waste, err := decode[Waste](r)
	if err != nil {
		return nil, err
	}
	var tag loops.Tag
	if waste.Tag != "" {
		if tag, err = loops.ParseTag(waste.Tag); err != nil {
			return nil, err
		}
	}
	return s.Workshop.AddWaste(s.stamp(r), tag, waste.UsedFluid)
}

func (s *server) apiAddInstrument(r *http.Request) (any, error) {
	instrument, err := decode[loops.Instrument](r)
	if err != nil {
		return nil, err
	}
	return s.Workshop.AddInstrument(s.stamp(r), instrument)
}

func (s *server) apiCheckInstrument(r *http.Request) (any, error) {
	id, err := idOf[loops.InstrumentID](r)
	if err != nil {
		return nil, err
	}
	check, err := decode[loops.InstrumentCheck](r)
	if err != nil {
		return nil, err
	}
	return s.Workshop.CheckInstrument(s.stamp(r), id, check)
}

// OnDay says when something happened; no day is today.
type OnDay struct {
	Day loops.Day `json:"day,omitzero"`
}

func (s *server) apiRetireInstrument(r *http.Request) (any, error) {
	id, err := idOf[loops.InstrumentID](r)
	if err != nil {
		return nil, err
	}
	on, err := decode[OnDay](r)
	if err != nil {
		return nil, err
	}
	return s.Workshop.RetireInstrument(s.stamp(r), id, on.Day)
}

// KeptSample is a retained sample with the tag of its loop.
type KeptSample struct {
	Tag string `json:"tag"`
	loops.RetainedSample
}

func (s *server) apiAddSample(r *http.Request) (any, error) {
	kept, err := decode[KeptSample](r)
	if err != nil {
		return nil, err
	}
	tag, err := loops.ParseTag(kept.Tag)
	if err != nil {
		return nil, err
	}
	return s.Workshop.AddSample(s.stamp(r), tag, kept.RetainedSample)
}

func (s *server) apiDiscardSample(r *http.Request) (any, error) {
	id, err := idOf[loops.SampleID](r)
	if err != nil {
		return nil, err
	}
	on, err := decode[OnDay](r)
	if err != nil {
		return nil, err
	}
	return s.Workshop.DiscardSample(s.stamp(r), id, on.Day)
}
