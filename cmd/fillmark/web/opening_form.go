// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"html/template"
	"mime/multipart"
	"net/http"
	"slices"
	"strings"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// tile is one drawing to choose.
type tile struct {
	Value string
	Means string // how to tell it
	On    bool
	Mark  template.HTMLAttr // of its input, where something is wrong with the choice
}

// keptPhoto is a photo that is kept already and goes with the opening.
type keptPhoto struct {
	Value string // as the hidden field says it: before:HASH
	loops.OpeningPhoto
	Already bool // the same photo was kept before
}

// openingForm is the form of an opening: its choices are drawings, and it says
// which loop it is about.
type openingForm struct {
	*actForm
	Kept []keptPhoto
}

// openingOf is the form with what was typed.
func (s *server) openingOf(f *form) (*openingForm, error) {
	x := &openingForm{actForm: sentForm(s.acts["open"], f)}
	var err error
	if x.Key == "" {
		x.Key, err = newKey(s.Random)
	}
	return x, err
}

// Tiles are what is chosen from in a field.
func (f *openingForm) Tiles(name string) []tile {
	d, _ := f.Definition.Field(name)
	values, means := d.Choices, map[string]string{}
	switch name {
	case "severity":
		for _, s := range loops.Severities() {
			means[s.String()] = s.Means()
		}
	case "clarity":
		for _, c := range loops.Clarities() {
			means[string(c)] = c.Means()
		}
	case "residue":
		values = acts.Texts(loops.ResidueKinds())
	case "residue-at":
		values = acts.Texts(loops.Places())
	}
	tiles := make([]tile, 0, len(values))
	for _, v := range values {
		tiles = append(tiles, tile{v, means[v], f.Chose(name, v), f.Mark(name)})
	}
	return tiles
}

// Mark marks an input as wrong, and leads to what would be right; empty where
// nothing is.
func (f *openingForm) Mark(name string) template.HTMLAttr {
	if f.Problem(name) == "" {
		return ""
	}
	return template.HTMLAttr(`aria-invalid="true" aria-describedby="open-` + name + `-problem"`) // a name of our own
}

// Wrong lists what is marked, as the page links to it; the tag is no field of the
// act.
func (f *openingForm) Wrong() []field {
	all := f.actForm.Wrong()
	if right := f.Problem("tag"); right != "" {
		all = slices.Insert(all, 0, field{ID: "open-tag", Label: "Tag on the label", Value: f.Typed("tag"), Problem: right})
	}
	return all
}

// readOpeningForm reads the form part by part; a photo is taken in as it
// comes, so that no two are in memory at once.
func (s *server) readOpeningForm(r *http.Request) (*openingForm, error) {
	typed := newForm(nil)
	f, err := s.openingOf(typed)
	if err != nil {
		return nil, err
	}
	err = f.tooMany(readParts(r, maxFormPhotos, func(part *multipart.Part) error { return s.takePhoto(f, part) }, func(name, value string) {
		if name != "kept" {
			typed.typed.Add(name, value)
		} else if when, hash, ok := strings.Cut(value, ":"); ok {
			f.keep(loops.PhotoMoment(when), hash, true)
		}
	}))
	f.Key = typed.text("key")
	return f, err
}

func (s *server) takePhoto(f *openingForm, part *multipart.Part) error {
	when := loops.PhotoMoment(strings.TrimPrefix(part.FormName(), "photo "))
	kept, err := s.Workshop.KeepPhoto(part.FileName(), partOf{part})
	if err != nil {
		return f.take(err)
	}
	f.keep(when, kept.Hash, kept.Already)
	return nil
}

func (f *openingForm) keep(when loops.PhotoMoment, hash string, already bool) {
	if !slices.ContainsFunc(f.Kept, func(k keptPhoto) bool { return k.Hash == hash }) {
		f.Kept = append(f.Kept, keptPhoto{string(when) + ":" + hash, loops.OpeningPhoto{Hash: hash, When: when}, already})
	}
}

// said is what the form says: where all residue sat is asked once, and so is
// whether something white stands in view.
func (f *openingForm) said() acts.Said {
	said := f.actForm.said()
	if place := f.text("residue-at"); place != "" {
		for i := range said["residue"] {
			said["residue"][i] += "@" + place
		}
	}
	for _, k := range f.Kept {
		text := k.Hash + "@" + string(k.When)
		if f.ticked("white") {
			text += "+white"
		}
		said["photo"] = append(said["photo"], text)
	}
	return said
}
