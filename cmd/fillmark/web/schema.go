// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"encoding"
	"encoding/json"
	"path"
	"reflect"
	"slices"
	"strings"
	"time"
)

// direction tells schemas of what the program gives from those of what it
// takes: a body may leave fields out, an answer has them.
type direction string

const (
	given direction = ""
	taken direction = "Given"
)

// schemaSet holds the JSON Schemas (2020-12) of the struct types met so far, by
// name.
type schemaSet map[string]object

// of returns the schema of a type as encoding/json writes and reads it.
func (s schemaSet) of(t reflect.Type, d direction) object {
	switch {
	case t == reflect.TypeFor[time.Time]():
		return object{"type": "string", "format": "date-time"}
	case t.Kind() != reflect.Pointer && writesText(t):
		return object{"type": "string"}
	}
	switch t.Kind() {
	case reflect.Pointer:
		return nullable(s.of(t.Elem(), d))
	case reflect.Bool:
		return object{"type": "boolean"}
	case reflect.String:
		return object{"type": "string"}
	case reflect.Float32, reflect.Float64:
		return object{"type": "number"}
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return object{"type": "integer"}
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return object{"type": "integer", "minimum": 0}
	case reflect.Slice, reflect.Array:
		if t.Elem().Kind() == reflect.Uint8 {
			return nullable(object{"type": "string", "contentEncoding": "base64"})
		}
		return nullable(object{"type": "array", "items": s.of(t.Elem(), d)})
	case reflect.Map:
		return nullable(object{"type": "object", "additionalProperties": s.of(t.Elem(), d)})
	case reflect.Struct:
		return s.reference(t, d)
	}
	return object{} // anything
}

// writesText tells whether the type is text in JSON.
func writesText(t reflect.Type) bool {
	text, own := reflect.TypeFor[encoding.TextMarshaler](), reflect.TypeFor[json.Marshaler]()
	return t.Implements(text) || t.Implements(own)
}

// nullable lets null stand for the value too: a nil pointer, slice or map.
func nullable(schema object) object {
	if _, ok := schema["$ref"]; ok {
		return object{"anyOf": []object{schema, {"type": "null"}}}
	}
	if kind, ok := schema["type"].(string); ok {
		schema["type"] = []string{kind, "null"}
	}
	return schema
}

// reference returns a reference to the schema of a struct, and makes that
// where the type is met for the first time.
func (s schemaSet) reference(t reflect.Type, d direction) object {
	name := schemaName(t) + string(d)
	ref := object{"$ref": "#/components/schemas/" + name}
	if _, ok := s[name]; ok {
		return ref
	}
	properties := object{}
	schema := object{"type": "object", "additionalProperties": false, "properties": properties}
	s[name] = schema // before its fields, which may hold the type again
	var required []string
	s.fields(t, d, properties, &required)
	if len(required) > 0 && d == given {
		slices.Sort(required)
		schema["required"] = required
	}
	return ref
}

// fields adds the properties of a struct, those of embedded ones among them.
func (s schemaSet) fields(t reflect.Type, d direction, properties object, required *[]string) {
	for f := range t.Fields() {
		tag := f.Tag.Get("json")
		name, options, _ := strings.Cut(tag, ",")
		switch {
		case f.Anonymous && name == "" && f.Type.Kind() == reflect.Struct:
			s.fields(f.Type, d, properties, required)
			continue
		case !f.IsExported() || tag == "-":
			continue
		case name == "":
			name = f.Name
		}
		properties[name] = s.of(f.Type, d)
		if !strings.Contains(options, "omit") {
			*required = append(*required, name)
		}
	}
}

// schemaName is the type's name, behind its package's for those that are no
// records, so that no two types share one. That of a list says of what.
func schemaName(t reflect.Type) string {
	name := t.Name()
	if name == "" {
		return "Empty"
	}
	if kind, of, ok := strings.Cut(name, "["); ok {
		of = strings.TrimSuffix(of, "]")
		name = kind + "Of" + of[strings.LastIndexByte(of, '.')+1:]
	}
	if pkg := path.Base(t.PkgPath()); pkg != "loops" {
		name = strings.ToUpper(pkg[:1]) + pkg[1:] + strings.ToUpper(name[:1]) + name[1:]
	}
	return name
}
