// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package words is the catalogue of what owners read, each sentence under an id
// and in every language that an owner can choose: [In] gives those of one
// language, [Words.Say] a sentence of them.
//
// What stands on record was written in English by the package that knows it, a
// reason in a plan or a condition of a loop. [Words.Recorded] says that in the
// reader's language; a sentence that the catalogue does not have stays English.
//
// A language is one file, its ids sorted: adding one is a file, its tag in
// [loops.Languages] and a line in doc/languages.md. Everything here may be used by
// several goroutines at once.
package words

import (
	"cmp"
	"embed"
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/message/catalog"

	"fillmark/loops"
)

//go:embed *.json
var files embed.FS

// all is the catalogue, read once; nothing changes it.
var all = mustRead()

// catalogue is what the files hold.
type catalogue struct {
	builder  *catalog.Builder
	recorded []recorded // the longest first, so that the one that says most is found
}

// recorded is a sentence as it stands on record.
type recorded struct {
	id      string
	pattern *regexp.Regexp
}

// Words are the words of one language.
type Words struct {
	language loops.Language
	printer  *message.Printer
}

// In returns the words of a language; of none, English.
func In(l loops.Language) Words {
	if l == "" {
		l = loops.English
	}
	return Words{l, message.NewPrinter(language.Make(string(l)), message.Catalog(all.builder))}
}

// Language is the tag of the language, as BCP 47 has it.
func (w Words) Language() string { return string(w.language) }

// Say returns the sentence with the id. Its arguments stand where it has %[1]s,
// %[2]s and so on; where it counts, the first one is the number.
func (w Words) Say(id string, args ...any) string { return w.printer.Sprintf(id, args...) }

// Day prints a day as people write it: "Thu 3 Dec 2026".
func (w Words) Day(d loops.Day) string {
	weekday := d.At(12, time.UTC).Weekday()
	return w.Say("day", d.Dom, w.Say("weekday."+strconv.Itoa(int(weekday))), w.month(d.Month), strconv.Itoa(d.Year))
}

func (w Words) month(m time.Month) string { return w.Say("month." + strconv.Itoa(int(m))) }

// Recorded says what stands on record in English, a whole sentence or a name, in
// this language; what the catalogue does not have stays as it is.
func (w Words) Recorded(text string) string {
	if w.language == loops.English {
		return text
	}
	for _, r := range all.recorded {
		if found := r.pattern.FindStringSubmatch(text); found != nil {
			args := make([]any, len(found)-1)
			for i, part := range found[1:] {
				args[i] = w.part(part)
			}
			return w.Say(r.id, args...)
		}
	}
	return text
}

// interval is a span as [loops.Interval] prints it, every how it comes round.
var interval = regexp.MustCompile(`^(every )?(?:(\d+) )?(day|month)s?$`)

// part says what stands inside a recorded sentence: a day, a span, another
// recorded text, or a figure, which has its own mark before the decimals.
func (w Words) part(text string) string {
	if at, err := time.Parse("Mon 2 Jan 2006", text); err == nil {
		return w.Day(loops.DayOf(at, time.UTC))
	}
	if at, err := time.Parse("2 Jan", text); err == nil {
		return w.Say("day.of-year", at.Day(), w.month(at.Month()))
	}
	if span := interval.FindStringSubmatch(text); span != nil {
		n, err := strconv.Atoi(span[2])
		if err != nil {
			n = 1
		}
		if span[1] != "" {
			return w.Say("every."+span[3], n)
		}
		return w.Say("span."+span[3], n)
	}
	return w.Figures(w.Recorded(text))
}

var decimals = regexp.MustCompile(`(\d)\.(\d)`)

// Figures gives the numbers of a text the language's own mark before their decimals.
func (w Words) Figures(text string) string {
	return decimals.ReplaceAllString(text, "${1}"+w.Say("decimal")+"${2}")
}

// List joins names: "a, b and c".
func (w Words) List(names []string) string {
	last := len(names) - 1
	if last <= 0 {
		return strings.Join(names, "")
	}
	return w.Say("list", strings.Join(names[:last], ", "), names[last])
}

// Quoted puts a name between the language's marks.
func (w Words) Quoted(name string) string { return w.Say("quoted", name) }

// mustRead reads the embedded files; tests hold that they can be read.
func mustRead() catalogue {
	c := catalogue{builder: catalog.NewBuilder(catalog.Fallback(language.English))}
	for _, l := range loops.Languages() {
		if err := c.read(l); err != nil {
			panic(fmt.Sprintf("words: %s: %v", l, err))
		}
	}
	return c
}

// read adds the sentences of one language. A sentence that counts is an object of
// its forms by the names of CLDR.
func (c *catalogue) read(l loops.Language) error {
	raw, err := files.ReadFile(string(l) + ".json")
	if err != nil {
		return err
	}
	var entries map[string]json.RawMessage
	if err := json.Unmarshal(raw, &entries); err != nil {
		return err
	}
	tag := language.Make(string(l))
	for id, entry := range entries {
		var text string
		var forms map[string]string
		if json.Unmarshal(entry, &text) == nil {
			err = c.builder.SetString(tag, id, text)
		} else if err = json.Unmarshal(entry, &forms); err == nil {
			err = c.builder.Set(tag, id, counting(forms))
		}
		if err != nil {
			return fmt.Errorf("%s: %w", id, err)
		}
		if l == loops.English && strings.HasPrefix(id, "recorded.") {
			c.recorded = append(c.recorded, recorded{id, pattern(text)})
		}
	}
	slices.SortFunc(c.recorded, func(a, b recorded) int {
		return cmp.Or(len(b.pattern.String())-len(a.pattern.String()), strings.Compare(a.id, b.id))
	})
	return nil
}

// counting chooses among the forms by the first argument, "other" last.
func counting(forms map[string]string) catalog.Message {
	var cases []any
	for _, form := range []string{"zero", "one", "two", "few", "many", "other"} {
		if text, ok := forms[form]; ok {
			cases = append(cases, form, text)
		}
	}
	return plural.Selectf(1, "%d", cases...)
}

var place = regexp.MustCompile(`%\[\d\]s`)

// pattern finds a sentence with anything at its places.
func pattern(sentence string) *regexp.Regexp {
	parts := place.Split(sentence, -1)
	for i, part := range parts {
		parts[i] = regexp.QuoteMeta(strings.ReplaceAll(part, "%%", "%"))
	}
	return regexp.MustCompile("^" + strings.Join(parts, "(.+?)") + "$")
}
