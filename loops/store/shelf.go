// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"iter"

	"fillmark/loops"
)

func containerTable() table[loops.Container] {
	return byID("container", bucketContainers, func(c loops.Container) loops.ContainerID { return c.ID }, func(c *loops.Container) *uint64 { return &c.Revision })
}

func instrumentTable() table[loops.Instrument] {
	return byID("instrument", bucketInstruments, func(i loops.Instrument) loops.InstrumentID { return i.ID }, func(i *loops.Instrument) *uint64 { return &i.Revision })
}

func sampleTable() table[loops.RetainedSample] {
	t := byID("sample", bucketSamples, func(s loops.RetainedSample) loops.SampleID { return s.ID }, func(s *loops.RetainedSample) *uint64 { return &s.Revision })
	t.needs = func(s loops.RetainedSample) []place { return []place{{bucketLoops, idKey(s.Loop)}} }
	return t
}

// usedFluidTable has lines that are only ever added.
func usedFluidTable() table[loops.UsedFluid] {
	t := byID("used fluid", bucketUsedFluid, func(u loops.UsedFluid) loops.UsedFluidID { return u.ID }, nil)
	t.encode = func(u loops.UsedFluid) ([]byte, error) {
		u.Recorded = u.Recorded.UTC()
		return encodeV1(u)
	}
	return t
}

// NewContainerID hands out a container's id for a [loops.Shelf].
func (s *Store) NewContainerID() (loops.ContainerID, error) {
	return newID[loops.ContainerID](s, bucketContainers)
}

// NewUsedFluidID hands out the number of a line of the used-fluid log.
func (s *Store) NewUsedFluidID() (loops.UsedFluidID, error) {
	return newID[loops.UsedFluidID](s, bucketUsedFluid)
}

// NewInstrumentID hands out an instrument's id for a [loops.Shelf].
func (s *Store) NewInstrumentID() (loops.InstrumentID, error) {
	return newID[loops.InstrumentID](s, bucketInstruments)
}

// NewSampleID hands out a retained sample's id for a [loops.Shelf].
func (s *Store) NewSampleID() (loops.SampleID, error) {
	return newID[loops.SampleID](s, bucketSamples)
}

// Container returns the container, or loops.ErrNotFound.
func (s *Store) Container(id loops.ContainerID) (loops.Container, error) {
	return containerTable().read(s, idKey(id))
}

// Containers yields every container by id.
func (s *Store) Containers() iter.Seq2[loops.Container, error] {
	return containerTable().all(s)
}

// UsedFluid yields every line of the used-fluid log, the newest first.
func (s *Store) UsedFluid() iter.Seq2[loops.UsedFluid, error] {
	return usedFluidTable().newest(s)
}

// Instrument returns the instrument, or loops.ErrNotFound.
func (s *Store) Instrument(id loops.InstrumentID) (loops.Instrument, error) {
	return instrumentTable().read(s, idKey(id))
}

// Instruments yields every instrument by id.
func (s *Store) Instruments() iter.Seq2[loops.Instrument, error] {
	return instrumentTable().all(s)
}

// Sample returns the retained sample, or loops.ErrNotFound.
func (s *Store) Sample(id loops.SampleID) (loops.RetainedSample, error) {
	return sampleTable().read(s, idKey(id))
}

// Samples yields every retained sample by id.
func (s *Store) Samples() iter.Seq2[loops.RetainedSample, error] {
	return sampleTable().all(s)
}
