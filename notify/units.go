// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"fillmark/loops"
)

// quantity finds temperatures and volumes in running text: "-21.3 ± 1.4 °C",
// "0 °C", "480 ml". A minus may be a hyphen or the sign itself, a comma may mark
// the decimals, and the space before the unit one that does not break.
var quantity = regexp.MustCompile(`([-−]?\d+(?:[.,]\d+)?)(?: ± (\d+(?:[.,]\d+)?))?([ \x{00a0}])(°C|ml)(?:\b|$|[^\w])`)

// millilitresPerFluidOunce is the fluid ounce of the United States: 231 cubic
// inches of 2.54 cm are 128 of them (NIST Handbook 44, appendix C).
const millilitresPerFluidOunce = 29.5735295625

// InOwnersUnits rewrites the quantities of a text for an owner who thinks in °F
// and fluid ounces. Others get the text as it is.
func InOwnersUnits(text string, units loops.Units) string {
	if units != loops.USCustomary {
		return text
	}
	return quantity.ReplaceAllStringFunc(text, func(found string) string {
		parts := quantity.FindStringSubmatch(found)
		value, err := strconv.ParseFloat(strings.NewReplacer("−", "-", ",", ".").Replace(parts[1]), 64)
		if err != nil {
			return found
		}
		uncertainty, withUncertainty := 0.0, parts[2] != ""
		if withUncertainty {
			if uncertainty, err = strconv.ParseFloat(strings.Replace(parts[2], ",", ".", 1), 64); err != nil {
				return found
			}
		}
		unit := "°F"
		if parts[4] == "ml" {
			unit = "fl oz"
			value, uncertainty = value/millilitresPerFluidOunce, uncertainty/millilitresPerFluidOunce
		} else {
			value, uncertainty = value*9/5+32, uncertainty*9/5
		}
		_, rest, _ := strings.Cut(found, parts[4])
		out := oneDecimal(value)
		if withUncertainty {
			out += " ± " + oneDecimal(uncertainty)
		}
		if strings.Contains(parts[1]+parts[2], ",") {
			out = strings.ReplaceAll(out, ".", ",")
		}
		return out + parts[3] + unit + rest
	})
}

// oneDecimal drops a decimal that says nothing.
func oneDecimal(v float64) string { return strings.TrimSuffix(fmt.Sprintf("%.1f", v), ".0") }

// inUnits rewrites the quantities in everything a letter says.
func (d document) inUnits(units loops.Units) document {
	if units != loops.USCustomary {
		return d
	}
	all := func(texts []string) []string {
		out := make([]string, len(texts))
		for i, text := range texts {
			out[i] = InOwnersUnits(text, units)
		}
		return out
	}
	blocks := make([]block, len(d.Blocks))
	for i, b := range d.Blocks {
		dues := make([]due, len(b.Dues))
		for j, x := range b.Dues {
			x.Why = InOwnersUnits(x.Why, units)
			dues[j] = x
		}
		lists := make([]list, len(b.Lists))
		for j, l := range b.Lists {
			l.Items = all(l.Items)
			lists[j] = l
		}
		b.Dues, b.Lists, b.Paragraphs = dues, lists, all(b.Paragraphs)
		blocks[i] = b
	}
	d.Intro, d.Blocks = InOwnersUnits(d.Intro, units), blocks
	return d
}
