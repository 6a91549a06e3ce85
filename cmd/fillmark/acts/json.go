// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"fillmark/loops"
)

// ReadJSON reads the keys of a JSON object into what was said: numbers bare, in
// the unit that the key ends with, days and words as strings, several values as
// arrays. Null says that a field is empty. Unknown keys are refused.
func ReadJSON(fields []Field, keys map[string]json.RawMessage) (Said, error) {
	said := Said{}
	var faults loops.Faults
	for _, key := range slices.Sorted(maps.Keys(keys)) {
		if faults.Full(1) {
			continue
		}
		i := slices.IndexFunc(fields, func(f Field) bool { return f.JSONKey() == key })
		if i < 0 {
			faults.Add(wrong(key, excerpt(keys[key]), "one of the keys: "+jsonKeys(fields)))
			continue
		}
		texts, err := fields[i].fromJSON(keys[key])
		faults.Add(err)
		said[fields[i].Name] = texts
	}
	return said, faults.Err()
}

func excerpt(raw []byte) string {
	const most = 80
	if len(raw) > most {
		return string(raw[:most]) + "…"
	}
	return string(raw)
}

func jsonKeys(fields []Field) string {
	var keys []string
	for _, f := range fields {
		keys = append(keys, f.JSONKey())
	}
	return strings.Join(keys, ", ")
}

// fromJSON reads one value of the field, or an array of them.
func (f Field) fromJSON(raw json.RawMessage) ([]string, error) {
	if string(raw) == "null" {
		return []string{""}, nil
	}
	if !f.Many {
		text, err := f.scalar(raw)
		return []string{text}, err
	}
	var values []json.RawMessage
	if err := json.Unmarshal(raw, &values); err != nil {
		return nil, wrong(f.JSONKey(), excerpt(raw), "an array")
	}
	texts := []string{}
	for _, v := range values {
		text, err := f.scalar(v)
		if err != nil {
			return nil, err
		}
		texts = append(texts, text)
	}
	return texts, nil
}

func (f Field) scalar(raw json.RawMessage) (string, error) {
	switch f.Type {
	case Number:
		var n json.Number
		if err := json.Unmarshal(raw, &n); err != nil || raw[0] == '"' {
			return "", wrong(f.JSONKey(), excerpt(raw), "a number")
		}
		return n.String() + f.Unit, nil
	case Truth:
		var v bool
		if err := json.Unmarshal(raw, &v); err != nil {
			return "", wrong(f.JSONKey(), excerpt(raw), "true or false")
		}
		if v {
			return yes, nil
		}
		return no, nil
	}
	var text string
	if err := json.Unmarshal(raw, &text); err != nil {
		return "", wrong(f.JSONKey(), excerpt(raw), "a string")
	}
	return text, nil
}

// WriteJSON writes what was said as [ReadJSON] reads it, in the fields' order.
func WriteJSON(fields []Field, said Said) (json.RawMessage, error) {
	var parts []string
	for _, f := range fields {
		texts, ok := said[f.Name]
		if !ok {
			continue
		}
		var values []string
		for _, text := range texts {
			value, err := f.toJSON(text)
			if err != nil {
				return nil, err
			}
			values = append(values, value)
		}
		value := strings.Join(values, ",")
		if f.Many {
			value = "[" + value + "]"
		}
		parts = append(parts, fmt.Sprintf("%q:%s", f.JSONKey(), value))
	}
	return json.RawMessage("{" + strings.Join(parts, ",") + "}"), nil
}

func (f Field) toJSON(text string) (string, error) {
	switch {
	case text == "":
		return "null", nil
	case f.Type == Number:
		return strings.TrimSuffix(text, f.Unit), nil
	case f.Type == Truth:
		v, err := ParseTruth(text)
		return fmt.Sprint(v), err
	}
	raw, err := json.Marshal(text)
	return string(raw), err
}
