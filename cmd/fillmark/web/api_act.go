// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
)

// keyHeader carries the key of an act, so that sending it again records it
// once.
const keyHeader = "Idempotency-Key"

// act does an act to a loop, or judges it only.
func (s *server) act(r *http.Request, act acts.Act, judgeOnly bool) (recorded workshop.Recorded, err error) {
	tag, err := tagOf(r)
	if err != nil {
		return recorded, err
	}
	if judgeOnly {
		return s.Workshop.Check(s.stamp(r), tag, act)
	}
	return s.Workshop.Act(s.stamp(r), tag, act)
}

// actSchema is the JSON Schema of what an act says.
func actSchema(d acts.Definition) object {
	properties, required := object{}, []string{}
	for _, f := range d.Fields {
		schema := fieldSchema(f)
		if f.Many {
			schema = object{"type": []string{"array", "null"}, "items": schema}
		} else if !f.Needed {
			schema["type"] = []string{schema["type"].(string), "null"}
		}
		schema["description"] = f.Help
		properties[f.JSONKey()] = schema
		if f.Needed {
			required = append(required, f.JSONKey())
		}
	}
	out := object{"type": "object", "additionalProperties": false, "properties": properties}
	if len(required) > 0 {
		out["required"] = required
	}
	return out
}

func fieldSchema(f acts.Field) object {
	switch f.Type {
	case acts.Number:
		return object{"type": "number"}
	case acts.Truth:
		return object{"type": "boolean"}
	case acts.Date:
		return object{"type": "string", "format": "date"}
	}
	return object{"type": "string"}
}
