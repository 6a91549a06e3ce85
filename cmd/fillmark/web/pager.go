// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"maps"
	"net/url"
	"strconv"
)

// pager parts a long list into pages, by the query field "page".
type pager struct {
	Page, Pages int
	All         int // lines there are
	Prev, Next  string
}

// newPager returns the pager of a list of so many lines, and which of them the
// page shows. A page that is none shows the nearest.
func newPager(path string, query url.Values, all, perPage int) (p pager, from, to int) {
	p = pager{Pages: max(1, (all+perPage-1)/perPage), All: all}
	asked, err := strconv.Atoi(query.Get("page"))
	if err != nil {
		asked = 1
	}
	p.Page = min(max(asked, 1), p.Pages)
	if p.Page > 1 {
		p.Prev = pageAddress(path, query, p.Page-1)
	}
	if p.Page < p.Pages {
		p.Next = pageAddress(path, query, p.Page+1)
	}
	from = (p.Page - 1) * perPage
	return p, from, min(all, from+perPage)
}

// pageAddress is the address of another page of the same list.
func pageAddress(path string, query url.Values, page int) string {
	other := maps.Clone(query)
	other.Set("page", strconv.Itoa(page))
	return path + "?" + other.Encode()
}

// isAsked tells that this is the page that was asked for: without a number the
// first, and by its own number.
func (p pager) isAsked(page string) bool {
	return page == "" && p.Page == 1 || page == strconv.Itoa(p.Page)
}
