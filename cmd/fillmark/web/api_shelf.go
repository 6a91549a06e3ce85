// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// shelfRoutes lists the routes of the shelf.
func (s *server) shelfRoutes(mux *http.ServeMux) {
	mux.Handle("GET /api/v1/containers", s.api(func(*http.Request) (any, error) { return gather(s.Reader.Containers()) }))
	mux.Handle("POST /api/v1/containers", s.api(s.apiAddContainer))
	mux.Handle("GET /api/v1/containers/{id}", s.api(s.apiContainer))
	mux.Handle("PUT /api/v1/containers/{id}", s.api(s.apiEditContainer))
	mux.Handle("POST /api/v1/containers/{id}/take-out", s.api(s.apiTakeOut))
	mux.Handle("GET /api/v1/recall", s.api(s.apiRecall))
	mux.Handle("GET /api/v1/used-fluid", s.api(func(*http.Request) (any, error) { return gather(s.Reader.UsedFluid()) }))
	mux.Handle("POST /api/v1/used-fluid", s.api(s.apiAddWaste))
	mux.Handle("GET /api/v1/instruments", s.api(func(*http.Request) (any, error) { return gather(s.Reader.Instruments()) }))
	mux.Handle("POST /api/v1/instruments", s.api(s.apiAddInstrument))
	mux.Handle("POST /api/v1/instruments/{id}/checks", s.api(s.apiCheckInstrument))
	mux.Handle("POST /api/v1/instruments/{id}/retire", s.api(s.apiRetireInstrument))
	mux.Handle("GET /api/v1/samples", s.api(func(*http.Request) (any, error) { return gather(s.Reader.Samples()) }))
	mux.Handle("POST /api/v1/samples", s.api(s.apiAddSample))
	mux.Handle("POST /api/v1/samples/{id}/discard", s.api(s.apiDiscardSample))
}

// ContainerAnswer is a container with what its label says.
type ContainerAnswer struct {
	loops.Container
	Label []string `json:"label"`
}

func labelled(c loops.Container, err error) (any, error) {
	return ContainerAnswer{c, workshop.ContainerLabel(c)}, err
}

func (s *server) apiAddContainer(r *http.Request) (any, error) {
	container, err := decode[loops.Container](r)
	if err != nil {
		return nil, err
	}
	return labelled(s.Workshop.AddContainer(s.stamp(r), container))
}

func (s *server) apiContainer(r *http.Request) (any, error) {
	id, err := idOf[loops.ContainerID](r)
	if err != nil {
		return nil, err
	}
	return labelled(s.Workshop.Container(id))
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
	return labelled(s.Workshop.EditContainer(s.stamp(r), container))
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
	return labelled(s.Workshop.TakeOut(s.stamp(r), id, out.Volume, out.Why))
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

// Waste is a line of the used-fluid log to be; Tag is empty where it is from
// several loops.
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

// KeptSample is a retained sample to be, with the tag of its loop.
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
