// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
	"fillmark/loops/findings"
	"fillmark/loops/inspection"
	"fillmark/loops/photos"
	"fillmark/loops/sheet"
	"fillmark/loops/store"
)

// bound is one row of the table of bounds in doc/operations.md: what stands
// there, and what happens one beyond it.
type bound struct {
	says   string
	beyond func(b *bench) string // the refusal
	refuse string                // what it says
}

// posts sends a body of the kind and returns the answer.
func (b *bench) posts(path, kind string, body io.Reader) string {
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1"+path, body)
	r.Header.Set("Content-Type", kind)
	w := b.do(r)
	assert.GreaterOrEqual(b, w.Code, 400, path)
	assert.Less(b, w.Code, 500, path)
	return w.Body.String()
}

func (b *bench) table(body string) string {
	return b.posts("/api/v1/tables/owners?dry_run=true", "text/csv", strings.NewReader(body))
}

// refusal is what an error says; none is none.
func refusal(err error) string {
	if err == nil {
		return "taken"
	}
	return err.Error()
}

const megabyte = 1 << 20

// bounds are the rows by their first cells.
func bounds() map[string]bound {
	return map[string]bound{
		"a request of the API, or a form": {fmt.Sprintf("%d MB", web.MaxBody/megabyte), func(b *bench) string {
			return b.posts("/api/v1/owners", "application/json", strings.NewReader(`{"name":"`+strings.Repeat("x", web.MaxBody)+`"}`))
		}, "the request is too long"},
		"a field of a form with photos": {fmt.Sprintf("%d kB", web.MaxFieldBytes/1024), func(b *bench) string {
			return b.send("/intake", part{"intake.complaint", strings.Repeat("x", web.MaxFieldBytes+1), ""}).Body.String()
		}, fmt.Sprintf("at most %d bytes", web.MaxFieldBytes)},
		"photos of one form": {fmt.Sprint(web.MaxFormPhotos), func(b *bench) string {
			var all []part
			for i := range web.MaxFormPhotos + 1 {
				all = append(all, part{"photo", aPhoto(b, uint8(i)), "a.jpg"})
			}
			return b.send("/intake", all...).Body.String()
		}, fmt.Sprintf("at most %d at a time", web.MaxFormPhotos)},
		"a photo": {fmt.Sprintf("%d MB", photos.MaxBytes/megabyte), func(b *bench) string {
			return b.posts("/api/v1/photos", "image/jpeg", io.LimitReader(endless{}, photos.MaxBytes+1))
		}, fmt.Sprintf("at most %d MB", photos.MaxBytes/megabyte)},
		"photos through one owner's link": {"6 an hour", func(b *bench) string {
			link, page := b.ownerLink(b.ana().Owner), ""
			for i := range 7 {
				page = b.send(link, part{"answer", "off", ""}, part{"words", fmt.Sprint(i), ""}, part{"photo", aPhoto(b, uint8(i)), "a.jpg"}).Body.String()
			}
			return page
		}, "The photo is not"},
		"a table (CSV)": {fmt.Sprintf("%d MB", web.MaxTable/megabyte), func(b *bench) string {
			return b.table("name\n" + strings.Repeat("x\n", web.MaxTable/2))
		}, fmt.Sprintf("at most %d MB in one go", web.MaxTable/megabyte)},
		"rows of a table": {fmt.Sprint(sheet.MaxRows), func(b *bench) string {
			return b.table("name\n" + strings.Repeat("x\n", sheet.MaxRows+1))
		}, fmt.Sprintf("at most %d rows", sheet.MaxRows)},
		"columns of a table": {fmt.Sprint(sheet.MaxColumns), func(b *bench) string {
			return b.table(strings.Repeat("name,", sheet.MaxColumns) + "email\n")
		}, fmt.Sprintf("at most %d columns", sheet.MaxColumns)},
		"a cell of a table": {fmt.Sprintf("%d kB", sheet.MaxCellBytes/1024), func(b *bench) string {
			return b.table("name\n" + strings.Repeat("x", sheet.MaxCellBytes+1))
		}, fmt.Sprintf("at most %d bytes", sheet.MaxCellBytes)},
		"faults told of one input": {fmt.Sprint(loops.MostFaults), func(b *bench) string {
			return b.table("name,email\n" + strings.Repeat("x,x\n", 1000))
		}, `\"980 more\"`},
		"a line of an export (JSON Lines)": {fmt.Sprintf("%d MB", store.MaxLine/megabyte), func(b *bench) string {
			return refusal(store.Import(b.Context(), filepath.Join(b.TempDir(), "new.db"), strings.NewReader(`{"kind":"`+strings.Repeat("x", store.MaxLine)+`"}`)))
		}, "too long"},
		"readings of a temperature log": {fmt.Sprint(inspection.MaxLogRows), func(*bench) string {
			var log strings.Builder
			for i := range inspection.MaxLogRows + 1 {
				fmt.Fprintf(&log, "%d,%d\n", i, 40+i%2)
			}
			_, err := inspection.ReadLog(strings.NewReader(log.String()))
			return refusal(err)
		}, fmt.Sprintf("at most %d readings", inspection.MaxLogRows)},
		"lines of a file of lives": {fmt.Sprint(findings.MaxRows), func(*bench) string {
			_, err := findings.ReadCSV(strings.NewReader("lower,upper,count\n" + strings.Repeat("1,2,1\n", findings.MaxRows+1)))
			return refusal(err)
		}, fmt.Sprintf("at most %d lines", findings.MaxRows)},
	}
}

// The table of bounds in doc/operations.md says what is so, row by row, and
// nothing is bounded that it leaves out.
func TestBoundsAreAsTheTableSays(t *testing.T) {
	t.Parallel()
	doc, err := os.ReadFile("../../../doc/operations.md")
	require.NoError(t, err)
	_, section, ok := strings.Cut(string(doc), "\n## What is bounded\n")
	require.True(t, ok)
	section, _, _ = strings.Cut(section, "\n## ")
	all, seen := bounds(), 0
	for _, row := range regexp.MustCompile(`(?m)^\| ([^|]+) \| ([^|]+) \|`).FindAllStringSubmatch(section, -1) {
		if row[1] == "input" || strings.HasPrefix(row[1], "---") {
			continue
		}
		b, known := all[row[1]]
		if !assert.True(t, known, "no check for the row %q", row[1]) {
			continue
		}
		seen++
		assert.Equal(t, b.says, row[2], row[1])
		t.Run(row[1], func(t *testing.T) {
			t.Parallel()
			on := newBench(t)
			on.now = on.now.Add(time.Minute)
			assert.Contains(t, b.beyond(on), b.refuse)
		})
	}
	assert.Equal(t, len(all), seen, "every check has a row")
}
