// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
)

// actPattern is the route of an act.
func actPattern(d acts.Definition) string { return "POST /api/v1/loops/{tag}/acts/" + d.Name }

// keyHeader carries the key of an act, so that sending it again records it
// once.
const keyHeader = "Idempotency-Key"

// actRoutes lists a route for every act there is.
func (s *server) actRoutes(mux router) {
	for _, d := range acts.All() {
		mux.Handle(actPattern(d), s.api(func(r *http.Request) (any, error) { return s.apiAct(d, r) }))
	}
}

// apiAct does an act to a loop, or judges it only.
func (s *server) apiAct(d acts.Definition, r *http.Request) (any, error) {
	tag, err := tagOf(r)
	if err != nil {
		return nil, err
	}
	var judgeOnly bool
	p := paramsOf(r)
	take(p, "check", &judgeOnly, yesOrNo)
	if err := p.err(); err != nil {
		return nil, err
	}
	body, err := jsonBody(r)
	if err != nil {
		return nil, err
	}
	said, err := acts.ReadJSON(d.Fields, body)
	if err != nil {
		return nil, err
	}
	if key := r.Header.Get(keyHeader); key != "" {
		said["key"] = []string{key}
	}
	act, err := d.Read(said)
	if err != nil {
		return nil, err
	}
	if judgeOnly {
		return s.Workshop.Check(s.stamp(r), tag, act)
	}
	return s.Workshop.Act(s.stamp(r), tag, act)
}

// actOperations describes the routes of the acts.
func actOperations() []operation {
	var all []operation
	for _, d := range acts.All() {
		all = append(all, operation{
			pattern: actPattern(d), summary: d.Short, body: actSchema(d), out: workshop.Recorded{}, query: []queryParameter{yesNoParameter("check", "judge it and record nothing")},
		})
	}
	return all
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
