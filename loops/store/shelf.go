// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"fmt"
	"iter"
	"time"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// The structs in the file, as those in records.go.

type containerV1 struct {
	ID              loops.ContainerID       `json:"id"`
	Revision        uint64                  `json:"revision"`
	Kind            loops.ContainerKind     `json:"kind"`
	Product         string                  `json:"product"`
	Lot             string                  `json:"lot,omitempty"`
	Fluid           chemistry.Fluid         `json:"fluid,omitempty"`
	Mass            *chemistry.MassFraction `json:"mass_fraction,omitempty"`
	MassUncertainty chemistry.MassFraction  `json:"mass_fraction_uncertainty,omitempty"`
	MassKnown       loops.Known             `json:"mass_fraction_known,omitzero"`
	Pairs           []chemistry.LabelPair   `json:"label_pairs,omitempty"`
	Opened          loops.Day               `json:"opened,omitzero"`
	Mixed           loops.Day               `json:"mixed,omitzero"`
	Expires         loops.Day               `json:"expires,omitzero"`
	Left            chemistry.Litre         `json:"left_l"`
	Uses            []loops.Use             `json:"uses,omitempty"`
	Note            string                  `json:"note,omitempty"`
}

type usedFluidV1 struct {
	ID       loops.UsedFluidID `json:"id"`
	Recorded time.Time         `json:"recorded"`
	Day      loops.Day         `json:"day"`
	By       string            `json:"by"`
	Loop     loops.LoopID      `json:"loop,omitempty"`
	Entry    loops.EntryID     `json:"entry,omitempty"`
	Fluid    chemistry.Fluid   `json:"fluid"`
	Volume   chemistry.Litre   `json:"volume_l"`
	Hazard   string            `json:"hazard,omitempty"`
	Went     string            `json:"went"`
}

type instrumentV1 struct {
	ID       loops.InstrumentID      `json:"id"`
	Revision uint64                  `json:"revision"`
	Kind     loops.InstrumentKind    `json:"kind"`
	Name     string                  `json:"name"`
	Serial   string                  `json:"serial,omitempty"`
	Checks   []loops.InstrumentCheck `json:"checks,omitempty"`
	Retired  loops.Day               `json:"retired,omitzero"`
}

type sampleV1 struct {
	ID        loops.SampleID `json:"id"`
	Revision  uint64         `json:"revision"`
	Loop      loops.LoopID   `json:"loop"`
	Entry     loops.EntryID  `json:"entry,omitempty"`
	Taken     loops.Day      `json:"taken"`
	Place     string         `json:"place"`
	Keep      loops.Day      `json:"keep_until,omitzero"`
	Discarded loops.Day      `json:"discarded,omitzero"`
	Note      string         `json:"note,omitempty"`
}

func encodeContainer(c loops.Container) ([]byte, error)   { return encode(recordV1, containerV1(c)) }
func encodeInstrument(i loops.Instrument) ([]byte, error) { return encode(recordV1, instrumentV1(i)) }
func encodeSample(s loops.RetainedSample) ([]byte, error) { return encode(recordV1, sampleV1(s)) }

func encodeUsedFluid(u loops.UsedFluid) ([]byte, error) {
	u.Recorded = u.Recorded.UTC()
	return encode(recordV1, usedFluidV1(u))
}

func decodeContainer(stored []byte) (loops.Container, error) {
	v, err := decode[containerV1](recordV1, stored)
	return loops.Container(v), err
}

func decodeUsedFluid(stored []byte) (loops.UsedFluid, error) {
	v, err := decode[usedFluidV1](recordV1, stored)
	return loops.UsedFluid(v), err
}

func decodeInstrument(stored []byte) (loops.Instrument, error) {
	v, err := decode[instrumentV1](recordV1, stored)
	return loops.Instrument(v), err
}

func decodeSample(stored []byte) (loops.RetainedSample, error) {
	v, err := decode[sampleV1](recordV1, stored)
	return loops.RetainedSample(v), err
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
	return containerKind().read(s, uint64(id))
}

// Containers yields every container by id.
func (s *Store) Containers() iter.Seq2[loops.Container, error] {
	return scan(s, bucketContainers, false, func(_ engine.Reader, _, v []byte) (loops.Container, error) { return decodeContainer(v) })
}

// UsedFluid yields every line of the used-fluid log, the newest first.
func (s *Store) UsedFluid() iter.Seq2[loops.UsedFluid, error] {
	return scan(s, bucketUsedFluid, true, func(_ engine.Reader, _, v []byte) (loops.UsedFluid, error) { return decodeUsedFluid(v) })
}

// Instrument returns the instrument, or loops.ErrNotFound.
func (s *Store) Instrument(id loops.InstrumentID) (loops.Instrument, error) {
	return instrumentKind().read(s, uint64(id))
}

// Instruments yields every instrument by id.
func (s *Store) Instruments() iter.Seq2[loops.Instrument, error] {
	return scan(s, bucketInstruments, false, func(_ engine.Reader, _, v []byte) (loops.Instrument, error) { return decodeInstrument(v) })
}

// Sample returns the retained sample, or loops.ErrNotFound.
func (s *Store) Sample(id loops.SampleID) (loops.RetainedSample, error) {
	return sampleKind().read(s, uint64(id))
}

// Samples yields every retained sample by id.
func (s *Store) Samples() iter.Seq2[loops.RetainedSample, error] {
	return scan(s, bucketSamples, false, func(_ engine.Reader, _, v []byte) (loops.RetainedSample, error) { return decodeSample(v) })
}

func (e *encodedChange) addUsedFluid(c loops.Change) error {
	for _, u := range c.Shelf.UsedFluid {
		if u.ID == 0 {
			return errors.New("used fluid without an id")
		}
		v, err := encodeUsedFluid(u)
		if err != nil {
			return fmt.Errorf("used fluid %d: %w", u.ID, err)
		}
		e.usedFluid = append(e.usedFluid, encoded[loops.UsedFluid]{u, idKey(u.ID), v})
	}
	return nil
}

func (e *encodedChange) writeShelf(tx engine.Writer) error {
	if err := containerKind().put(tx, e.containers, nil); err != nil {
		return err
	}
	if err := instrumentKind().put(tx, e.instruments, nil); err != nil {
		return err
	}
	err := sampleKind().put(tx, e.samples, func(_ loops.RetainedSample, _ bool, s loops.RetainedSample) error {
		return loopKind().exists(tx, uint64(s.Loop))
	})
	if err != nil {
		return err
	}
	for _, u := range e.usedFluid {
		if tx.Get(bucketUsedFluid, u.key) != nil {
			return fmt.Errorf("used fluid %d: %w", u.record.ID, loops.ErrRepeated)
		}
		if err := putWithID(tx, bucketUsedFluid, uint64(u.record.ID), u.key, u.value); err != nil {
			return err
		}
	}
	return nil
}
