// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import "html/template"

// EachScreen calls do with every template set and the struct it is made for.
func EachScreen(do func(name string, set *template.Template, data any)) error {
	p, err := parsePages()
	for _, s := range screens() {
		do(s.name, p.sets[s.name], s.data)
	}
	return err
}
