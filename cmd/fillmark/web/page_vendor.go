// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"net/url"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops/evidence"
)

// vendorPage is a summary to print and send to a maker, or the list of those
// there can be one for.
type vendorPage struct {
	frame
	Summary *workshop.Summary
	Lives   []livesView
	CSV     string
	Choices []vendorChoice
}

// vendorChoice is a trait there can be a summary for.
type vendorChoice struct {
	Words string
	Link  string
}

func (s *server) pageVendor(w http.ResponseWriter, r *http.Request) error {
	p := vendorPage{frame: s.newFrame(r, "Summary for a maker")}
	p.Here = "openings"
	if !r.URL.Query().Has("trait") {
		traits, err := s.Workshop.TraitsOnRecord("model", "maker", "product", "lot", "pump", "metals")
		if err != nil {
			return err
		}
		for _, t := range traits {
			p.Choices = append(p.Choices, vendorChoice{t.Words(), "/openings/vendor?" + url.Values{"trait": {t.String()}}.Encode()})
		}
		return s.render(w, http.StatusOK, "vendor", p)
	}
	trait, err := ofTrait().read(r)
	if err != nil {
		return err
	}
	summary, err := s.summary(trait)
	if err != nil {
		return err
	}
	p.Summary, p.Title = &summary, "Openings: "+summary.Words
	p.CSV = "/api/v1/openings/summary.csv?" + url.Values{"trait": {trait.String()}}.Encode()
	for _, l := range summary.Lives {
		p.Lives = append(p.Lives, livesView{Of: l.Of, Report: l.Report, Plot: plotOf(l.Plot, string(l.Origin)+"-"+evidence.Build(l.Sealed)), Apart: l.Apart})
	}
	return s.render(w, http.StatusOK, "vendor", p)
}
