// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"cmp"
	"strconv"
	"strings"

	"fillmark/loops"
)

// dosed is a kind of value: one additive of a charge in one word, as its label
// describes it.
func dosed() kind[loops.Dosed] {
	return kind[loops.Dosed]{word: "ROLE:FAMILY[:DOSE[:LIFE[:PRODUCT]]]", typ: Text, parse: parseDosed, print: printDosed, show: showDosed}
}

// parseDosed reads biocide:bronopol:2ml/l:12:Clear B; a part between two colons
// may be empty.
func parseDosed(text string) (loops.Dosed, error) {
	parts := strings.SplitN(text, ":", 5)
	if len(parts) < 2 {
		return loops.Dosed{}, wrong("", text, "role and family, such as biocide:bronopol, and what its label says behind them: biocide:bronopol:2ml/l:12:Clear B")
	}
	parts = append(parts, make([]string, 5-len(parts))...)
	role, err := choice("ROLE", loops.AdditiveRoles()).parse(parts[0])
	if err != nil {
		return loops.Dosed{}, err
	}
	d := loops.Dosed{Role: role}
	d.Product = strings.TrimRight(strings.TrimSpace(parts[4]), ":")
	if d.Family, err = role.Family(strings.TrimSpace(parts[1])); err != nil {
		return d, err
	}
	if strings.TrimSpace(parts[2]) != "" {
		if d.DoseMLPerL, err = parseDose(parts[2]); err != nil {
			return d, err
		}
	}
	if strings.TrimSpace(parts[3]) != "" {
		d.LifeMonths, err = whole("MONTHS", "months").parse(parts[3])
	}
	return d, err
}

func printDosed(d loops.Dosed) string {
	parts := []string{string(d.Role), cmp.Or(d.Family, "unknown"), "", "", d.Product}
	if d.DoseMLPerL != 0 {
		parts[2] = figure(d.DoseMLPerL) + "ml/l"
	}
	if d.LifeMonths != 0 {
		parts[3] = strconv.Itoa(d.LifeMonths)
	}
	return strings.TrimRight(strings.Join(parts, ":"), ":")
}

func showDosed(d loops.Dosed) string {
	words := d.String()
	if d.DoseMLPerL != 0 {
		words += ", " + dose().show(d.DoseMLPerL)
	}
	if d.LifeMonths != 0 {
		words += ", " + whole("MONTHS", "months").show(d.LifeMonths)
	}
	return words
}
