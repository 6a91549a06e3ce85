// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	htmltemplate "html/template"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	texttemplate "text/template"

	"fillmark/loops"
)

//go:embed templates/letter.html templates/letter.txt
var builtIn embed.FS

// The files that a workshop's own templates folder may hold.
const (
	textFile = "letter.txt"
	htmlFile = "letter.html"
)

// Templates turn what a letter says into text and HTML.
type Templates struct {
	text *texttemplate.Template
	html *htmltemplate.Template
}

// builtInTemplates are parsed once; executing a template does not change it.
var builtInTemplates = Templates{
	text: texttemplate.Must(newTextTemplate().ParseFS(builtIn, "templates/"+textFile)),
	html: htmltemplate.Must(htmltemplate.ParseFS(builtIn, "templates/"+htmlFile)),
}

func newTextTemplate() *texttemplate.Template {
	return texttemplate.New(textFile).Funcs(texttemplate.FuncMap{
		"wrap": func(text string) string { return wrap("", text) },
		"item": itemText,
		"line": ruleText,
	})
}

// LoadTemplates reads letter.txt and letter.html from the folder; one that is
// not there stays the built-in. Each is parsed and executed on invented letters
// of every kind, and refused, with file and reason, where it fails or leaves
// out what a letter must say: every sentence of it, the cautions, the links.
func LoadTemplates(dir string) (*Templates, error) {
	t := builtInTemplates
	found := 0
	for _, file := range []struct {
		name  string
		parse func(string) error
	}{
		{textFile, func(text string) (err error) { t.text, err = newTextTemplate().Parse(text); return err }},
		{htmlFile, func(text string) (err error) { t.html, err = htmltemplate.New(htmlFile).Parse(text); return err }},
	} {
		path := filepath.Join(dir, file.name)
		raw, err := os.ReadFile(path)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("templates: %w", err)
		}
		found++
		if err := file.parse(string(raw)); err != nil {
			return nil, fmt.Errorf("templates: %s: %w", path, err)
		}
	}
	if found == 0 {
		return nil, &loops.InvalidError{Field: "templates", Value: dir, Reason: "a folder with " + textFile + ", " + htmlFile + " or both"}
	}
	for _, d := range sampleDocuments() {
		if err := t.check(d); err != nil {
			return nil, fmt.Errorf("templates: in %s: %w", dir, err)
		}
	}
	return &t, nil
}

// render writes the document twice.
func (t Templates) render(d document) (text, html string, err error) {
	var plain, rich bytes.Buffer
	if err := t.text.Execute(&plain, d); err != nil {
		return "", "", fmt.Errorf("letter: %w", err)
	}
	if err := t.html.Execute(&rich, d); err != nil {
		return "", "", fmt.Errorf("letter: %w", err)
	}
	return plain.String(), rich.String(), nil
}

// check executes both templates on a document and looks for everything it says.
func (t Templates) check(d document) error {
	text, html, err := t.render(d)
	if err != nil {
		return err
	}
	for _, rendered := range []struct{ name, content string }{{textFile, text}, {htmlFile, html}} {
		content := squeezed(unescape(rendered.content))
		for _, said := range d.says() {
			if !strings.Contains(content, squeezed(said)) {
				return fmt.Errorf("%s leaves out %q", rendered.name, said)
			}
		}
	}
	return nil
}

// says lists every text of the document that a letter may not leave out.
func (d document) says() []string {
	said := append([]string{d.Greeting, d.Intro, d.Note, d.Reason, d.Stop.URL, d.More.URL}, d.Closing...)
	said = append(said, d.Address...)
	for _, b := range d.Blocks {
		said = append(append(said, b.Heading), b.Paragraphs...)
		for _, due := range b.Dues {
			said = append(said, due.Verdict, due.Text, due.Why)
		}
		for _, l := range b.Lists {
			said = append(append(said, l.Heading), l.Items...)
		}
	}
	for _, b := range d.Buttons {
		said = append(said, b.Label, b.URL)
	}
	return said
}

// squeezed drops white space, so that the breaking of lines does not count.
func squeezed(text string) string { return strings.Join(strings.Fields(text), "") }

// unescape undoes what templates do to characters that mean something in HTML.
func unescape(html string) string {
	return strings.NewReplacer("&#39;", "'", "&#34;", `"`, "&#43;", "+", "&lt;", "<", "&gt;", ">", "&amp;", "&").Replace(html)
}

// sampleDocuments are invented letters with every turn that a letter can take.
func sampleDocuments() []document {
	full := document{
		Lang:    string(loops.English),
		Subject: "The grey tower: look-over by Thu 3 Dec 2026", Address: []string{"Ana Samplewright", "1 Sample Lane"},
		Greeting: "Good day Ana Samplewright,", Intro: "The cooling of your computer needs a look from you.",
		Blocks: []block{
			{Heading: "The grey tower", Dues: []due{
				{"COMING UP", "Look-over by Thu 3 Dec 2026 (in 9 days)", ruleGo, "Why: look over every 6 months."},
				{"LATE", "Fresh liquid by Tue 10 Nov 2026 (14 days ago)", ruleCare, "Why: change every 12 months."},
			}, Paragraphs: []string{"In it: 40 % propylene glycol by mass in water.", "A second paragraph."},
				Lists: []list{{"What to do", true, []string{"Listen.", "Look."}}, {"What to leave alone", false, []string{"Add nothing yourself."}}}},
			{Heading: "Take care", Paragraphs: []string{"The liquid is not for drinking."}},
		},
		Note:    "The first button answers the look-over only.",
		Buttons: []button{{"I looked, all is fine", "https://sample.example/o/a"}, {"Something is off", "https://sample.example/o/b"}},
		More:    button{"Call me, or not now", "https://sample.example/o/c"},
		Closing: []string{"Kind regards", "Sample Bench", "bench@sample.example"},
		Reason:  "You get this mail because you agreed to it.", Stop: button{"Stop these mails", "https://sample.example/stop/d"},
	}
	short := document{Lang: full.Lang, Subject: "Thank you", Greeting: "Good day Ana Samplewright,", Intro: "Thank you.",
		Closing: []string{"Kind regards"}, Reason: "You get this mail because you answered."}
	hostile := full
	hostile.Greeting = `Good day <b>Ana</b> & "Co" {{.}},`
	return []document{full, short, hostile}
}

// templates returns the workshop's templates, or the built-in ones.
func (w Workshop) templates() Templates {
	if w.Templates != nil {
		return *w.Templates
	}
	return builtInTemplates
}
