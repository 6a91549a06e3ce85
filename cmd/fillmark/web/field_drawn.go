// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"bytes"
	"html/template"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
)

// mostDrawn bounds the fields that are kept as they were drawn; all forms
// together have some two thousand. A longer field than longestDrawn, a list of all
// that stands on a shelf, is not kept.
const (
	mostDrawn    = 8192
	longestDrawn = 4096 // bytes of what it hangs on
)

// drawnFields draws fields, and keeps what nobody has typed into: a job sheet
// has hundreds, and each looks on every loop's page as it did on the last. The
// zero value draws by no templates; see [newDrawnFields].
type drawnFields struct {
	parts func() (*template.Template, error)
	n     atomic.Int64
	kept  sync.Map // from what is in a field to template.HTML
}

func newDrawnFields() *drawnFields {
	return &drawnFields{parts: sync.OnceValues(func() (*template.Template, error) {
		return template.ParseFS(templateFiles, "templates/_field.html")
	})}
}

// draw is the function "drawn" of the templates.
func (d *drawnFields) draw(x field) (template.HTML, error) {
	look, bare := x.look()
	bare = bare && len(look) < longestDrawn
	if bare {
		if html, ok := d.kept.Load(look); ok {
			return html.(template.HTML), nil
		}
	}
	parts, err := d.parts()
	if err != nil {
		return "", err
	}
	var b bytes.Buffer
	if err := parts.ExecuteTemplate(&b, "field", x); err != nil {
		return "", err
	}
	html := template.HTML(b.String()) // escaped by the templates just now
	if bare {
		if d.n.Add(1) > mostDrawn {
			d.kept.Clear()
			d.n.Store(0)
		}
		d.kept.Store(look, html)
	}
	return html, nil
}

// look is all that a field's drawing hangs on; bare tells that nothing in it is
// typed or wrong. What is chosen is of a list.
func (x field) look() (look string, bare bool) {
	var b strings.Builder
	bare = x.writeLook(&b)
	return b.String(), bare
}

func (x field) writeLook(b *strings.Builder) (bare bool) {
	bare = x.Problem == "" && (x.Value == "" || x.On || len(x.Choices) > 0)
	put := func(texts ...string) { // with the length in front: a text may hold anything
		for _, text := range texts {
			b.Write(append(strconv.AppendInt(nil, int64(len(text)), 10), ':'))
			b.WriteString(text)
		}
	}
	put(x.ID, x.Name, x.Label, x.Hint, x.Kind, x.Mode, x.Part, strconv.Itoa(x.Most), strconv.FormatBool(x.On))
	put(strconv.Itoa(len(x.Choices)), strconv.Itoa(len(x.Parts)))
	for _, c := range x.Choices {
		put(c.Value, c.Label, strconv.FormatBool(c.On))
	}
	for _, part := range x.Parts {
		bare = part.writeLook(b) && bare
	}
	return bare
}
