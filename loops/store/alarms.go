// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"
	"time"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

const (
	keyAlarms = "alarms"
	keyCanary = "canary"
)

type alarmBookV1 struct {
	Alarms []alarmLineV1 `json:"alarms"`
	Ways   []alarmWayV1  `json:"ways"`
}

type alarmLineV1 struct {
	Name   string               `json:"name"`
	Reason string               `json:"reason"`
	Remedy string               `json:"remedy"`
	Since  time.Time            `json:"since"`
	Ended  time.Time            `json:"ended,omitzero"`
	Told   map[string]time.Time `json:"told,omitempty"`
	Over   map[string]bool      `json:"over,omitempty"`
}

type alarmWayV1 struct {
	Name    string    `json:"name"`
	Where   string    `json:"where"`
	Tried   time.Time `json:"tried,omitzero"`
	Told    time.Time `json:"told,omitzero"`
	Failing time.Time `json:"failing,omitzero"`
	Fault   string    `json:"fault,omitempty"`
}

type canaryV1 struct {
	Sent    time.Time `json:"sent"`
	Waiting time.Time `json:"waiting,omitzero"`
	Arrived time.Time `json:"arrived,omitzero"`
	Came    time.Time `json:"came,omitzero"`
}

// Alarms returns what is on record of alarms; the zero value where nothing is.
func (s *Store) Alarms() (loops.AlarmBook, error) {
	v, err := metaOf[alarmBookV1](s, keyAlarms)
	if err != nil {
		return loops.AlarmBook{}, err
	}
	var book loops.AlarmBook
	for _, a := range v.Alarms {
		book.Alarms = append(book.Alarms, loops.AlarmLine{
			Alarm: loops.Alarm{Name: a.Name, Reason: a.Reason, Remedy: a.Remedy, Since: a.Since}, Ended: a.Ended, Told: a.Told, Over: a.Over,
		})
	}
	for _, w := range v.Ways {
		book.Ways = append(book.Ways, loops.AlarmWay(w))
	}
	return book, nil
}

// PutAlarms puts the book in the place of the one on record.
func (s *Store) PutAlarms(book loops.AlarmBook) error {
	v := alarmBookV1{[]alarmLineV1{}, []alarmWayV1{}}
	for _, a := range book.Alarms {
		v.Alarms = append(v.Alarms, alarmLineV1{a.Name, a.Reason, a.Remedy, a.Since, a.Ended, a.Told, a.Over})
	}
	for _, w := range book.Ways {
		v.Ways = append(v.Ways, alarmWayV1(w))
	}
	return putMeta(s, keyAlarms, v)
}

// Canary returns what is on record of the letters to ourselves.
func (s *Store) Canary() (loops.Canary, error) {
	v, err := metaOf[canaryV1](s, keyCanary)
	return loops.Canary(v), err
}

// PutCanary puts it on record.
func (s *Store) PutCanary(c loops.Canary) error { return putMeta(s, keyCanary, canaryV1(c)) }

// metaOf reads one value of the bucket meta; the zero value where there is none.
func metaOf[T any](s *Store, key string) (v T, err error) {
	err = s.view(func(tx engine.Reader) (err error) {
		v, err = metaIn[T](tx, key)
		return err
	})
	if err != nil {
		return v, fmt.Errorf("store: %w", err)
	}
	return v, nil
}

func putMeta[T any](s *Store, key string, value T) error {
	v, err := encode(recordV1, value)
	if err == nil {
		err = s.update(func(tx engine.Writer) error { return tx.Put(bucketMeta, []byte(key), v) })
	}
	if err != nil {
		return fmt.Errorf("store: %s: %w", key, err)
	}
	return nil
}
