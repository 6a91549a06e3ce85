// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"io"
	"net/url"
	"os"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/term"
	"golang.org/x/text/width"
)

// listWidth is how many columns lists may take: the terminal's, or what
// COLUMNS says. Where the answer goes to a file or a pipe there is no limit, so
// that nothing is cut off.
func (a *app) listWidth() int {
	if file, ok := a.out.(*os.File); ok {
		if columns, _, err := term.GetSize(int(file.Fd())); err == nil && columns > 0 {
			return columns
		}
	}
	width, err := strconv.Atoi(a.env["COLUMNS"])
	if err != nil {
		return 0
	}
	return max(0, width)
}

// list prints aligned columns under a header, as [printer.table] does, within
// the printer's width: the widest columns give way, and what is cut ends in …
// The first never does: it names the row, and is typed into the next command.
func (p *printer) list(header []string, rows int, row func(int) []string) {
	if rows == 0 {
		return
	}
	cells := [][]string{header}
	for i := range rows {
		cells = append(cells, row(i))
	}
	widths := p.widths(cells)
	for _, line := range cells {
		var b strings.Builder
		for i, cell := range line {
			cell = cut(strings.ReplaceAll(cell, "\n", " "), widths[i])
			b.WriteString("  " + cell + strings.Repeat(" ", widths[i]-columns(cell)))
		}
		fmt.Fprintln(p.out, strings.TrimRight(b.String(), " "))
	}
}

// leastColumn is how narrow a column may get.
const leastColumn = 4

func (p *printer) widths(cells [][]string) []int {
	widths := make([]int, len(cells[0]))
	total := 0
	for i := range widths {
		for _, line := range cells {
			widths[i] = max(widths[i], columns(line[i]))
		}
		total += 2 + widths[i]
	}
	for p.width > 0 && total > p.width {
		widest := len(widths) - 1
		for i, w := range widths[1:] {
			if w > widths[widest] {
				widest = i + 1
			}
		}
		if widest == 0 || widths[widest] <= leastColumn {
			break // a terminal this narrow wraps
		}
		widths[widest]--
		total--
	}
	return widths
}

func cut(text string, most int) string {
	if columns(text) <= most {
		return text
	}
	for columns(text) > most-1 {
		_, size := utf8.DecodeLastRuneInString(text)
		text = text[:len(text)-size]
	}
	return text + "…"
}

// columns is how many columns of a terminal the text takes: two for what East
// Asian scripts write wide (Unicode Standard Annex 11), none for a mark on
// the letter before it.
func columns(text string) int {
	n := 0
	for _, r := range text {
		switch kind := width.LookupRune(r).Kind(); {
		case unicode.Is(unicode.Mn, r):
		case kind == width.EastAsianWide || kind == width.EastAsianFullwidth:
			n += 2
		default:
			n++
		}
	}
	return n
}

// isTerminal tells whether people watch what is written.
func isTerminal(out io.Writer) bool {
	file, ok := out.(*os.File)
	return ok && term.IsTerminal(int(file.Fd()))
}

// during does what takes long and says so on a terminal, and only there. It
// has cleaned up behind itself when it returns, before anything is printed.
func during[T any](a *app, doing string, do func() (T, error)) (T, error) {
	if !isTerminal(a.errOut) {
		return do()
	}
	begin, stop, stopped := time.Now(), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		tick := time.NewTicker(time.Second)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				return
			case <-tick.C:
				fmt.Fprintf(a.errOut, "\rfillmark: %s, %d s", doing, int(time.Since(begin).Seconds()))
			}
		}
	}()
	value, err := do()
	close(stop)
	<-stopped
	if time.Since(begin) >= time.Second {
		fmt.Fprint(a.errOut, "\r\x1b[K")
	}
	return value, err
}

// query builds a path with those parameters that are not empty.
func query(path string, pairs ...string) string {
	values := url.Values{}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			values.Set(pairs[i], pairs[i+1])
		}
	}
	if len(values) == 0 {
		return path
	}
	return path + "?" + values.Encode()
}
