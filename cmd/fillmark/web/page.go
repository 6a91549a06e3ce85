// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"sync"

	"fillmark/loops"
	"fillmark/notify/words"
)

// The glob takes the parts along, whose names begin with an underscore.
//
//go:embed templates/*.html
var templateFiles embed.FS

// pages holds a template set a screen, and the static files under the names
// that carry their content's hash. A set is parsed when its screen is first
// shown: a command builds the handler too, and shows none.
type pages struct {
	sets   map[string]func() (*template.Template, error)
	assets assets
	build  string // another for each build of the pages
}

func newPages() (pages, error) {
	p := pages{sets: map[string]func() (*template.Template, error){}}
	files, err := fs.Glob(templateFiles, "templates/[a-z]*.html")
	if err != nil {
		return p, err
	}
	functions := formats()
	functions["drawn"] = newDrawnFields().draw
	around := sync.OnceValues(func() (*template.Template, error) {
		return template.New("layout.html").Funcs(functions).ParseFS(templateFiles, "templates/layout.html", "templates/_*.html")
	})
	for _, file := range files {
		p.sets[strings.TrimSuffix(path.Base(file), ".html")] = sync.OnceValues(func() (*template.Template, error) {
			layout, err := around()
			if err != nil {
				return nil, err
			}
			set, err := layout.Clone()
			if err != nil {
				return nil, err
			}
			return set.ParseFS(templateFiles, file)
		})
	}
	delete(p.sets, "layout") // is around all
	if p.assets, err = readAssets(); err != nil {
		return p, err
	}
	p.build, err = readBuild()
	return p, err
}

// frame is what the layout shows around every page.
type frame struct {
	spoken
	Title     string
	Sheet     string   // address of the style sheet
	Icon      string   // address of the icon
	Scripts   []string // addresses of the scripts; none on owners' pages
	Bench     bool     // the technician's pages, not an owner's
	Here      string   // the bench page shown: due, loops, topup, …
	SignedIn  string   // the technician; empty where nobody is signed in
	Door      bool     // a page before the sign-in, from which nothing else is reached
	Workshop  string
	Phone     string       // as written
	PhoneLink template.URL // as a phone dials it; empty where there is none
}

// newFrame returns the frame of a page with the title.
func (s *server) newFrame(r *http.Request, title string) frame {
	settings := s.Workshop.Settings()
	f := frame{
		spoken: spoken{words.In(loops.English)}, Title: title, Sheet: s.pages.assets.address("fillmark.css"), Icon: s.pages.assets.address("mark.svg"),
		Bench: !isOwnersPath(r.URL.Path), SignedIn: visitOf(r).technician, Workshop: settings.Name, Phone: settings.Phone, PhoneLink: phoneLink(settings.Phone),
	}
	if f.Bench {
		f.Scripts = []string{s.pages.assets.address("fillmark.js")}
	} else {
		f.spoken = s.spokenTo(loops.Owner{}) // whoever opens a page by a link; their own page knows them
	}
	return f
}

// isOwnersPath tells the pages that owners reach by mail from the bench's.
func isOwnersPath(path string) bool {
	return strings.HasPrefix(path, "/o/") || strings.HasPrefix(path, "/stop/")
}

// render writes a page. It is rendered to its end first, so that a fault in
// between never leaves half a page.
func (s *server) render(w http.ResponseWriter, status int, name string, data any) error {
	body, err := s.rendered(name, data)
	if err != nil {
		return err
	}
	writePage(w, status, body)
	return nil
}

func (s *server) rendered(name string, data any) ([]byte, error) {
	set, err := s.pages.sets[name]()
	if err != nil {
		return nil, fmt.Errorf("page %s: %w", name, err)
	}
	var body bytes.Buffer
	if err := set.Execute(&body, data); err != nil {
		return nil, fmt.Errorf("render %s: %w", name, err)
	}
	return body.Bytes(), nil
}

func writePage(w http.ResponseWriter, status int, body []byte) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(body) // the reader has gone where this fails
}

// page adapts a handler that writes its page or returns an error.
func (s *server) page(handle func(http.ResponseWriter, *http.Request) error) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if err := handle(w, r); err != nil {
			s.fail(w, r, err)
		}
	})
}
