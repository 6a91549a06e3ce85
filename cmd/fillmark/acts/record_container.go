// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fillmark/chemistry"
	"fillmark/loops"
)

// Containers is the record of a bottle or a batch on the shelf. What loops got
// from it follows from their histories.
func Containers() Record[loops.Container] {
	type c = loops.Container
	return Record[c]{Name: "container", all: fields[c]{
		one(Field{Name: "kind", Also: []string{"kind"}, Label: "kind", Help: "kind of container", Needed: true}, choice("KIND", loops.ContainerKinds()), func(r *c) *loops.ContainerKind { return &r.Kind }),
		one(Field{Name: "product", Also: []string{"product"}, Label: "product", Help: "as the label says", Example: `"PG 40 ready"`, Needed: true}, words(), func(r *c) *string { return &r.Product }),
		one(Field{Name: "lot", Also: []string{"lot"}, Label: "lot", Help: "lot on the label"}, words(), func(r *c) *string { return &r.Lot }),
		one(Field{Name: "fluid", Also: []string{"fluid"}, Label: "fluid", Help: "fluid: eg, pg, water (with additives) or deionised; not for an additive", None: true}, fluid(), func(r *c) *chemistry.Fluid { return &r.Fluid }),
		may(Field{Name: "mass", Also: []string{"strength"}, Label: "strength", Help: "glycol mass %, from the label or measured", Example: "40%", Unknown: true, None: true}, massPercent(), func(r *c) **chemistry.MassFraction { return &r.Mass }),
		one(Field{Name: "mass-uncertainty", Also: []string{"strength uncertainty"}, Label: "±", Help: "how sure that is (k = 2)", Example: "0.5%"}, massPercent(), func(r *c) *chemistry.MassFraction { return &r.MassUncertainty }),
		one(Field{Name: "strength-known", Key: "mass_fraction_known", Also: []string{"strength known", "strength known by", "strength known on"}, Label: "which is", Help: "how the strength is known (the label says it unless said)", Example: `"measured=refractometer"`}, known(), func(r *c) *loops.Known { return &r.MassKnown }),
		many(Field{Name: "label", Key: "label_pairs", Also: []string{"label"}, Label: "its label", Help: "a line of its label, in % of the product: strength, freeze point, Brix, density; up to 8, repeat", Example: "30%:-14C:22brix:1.03kg/l"}, labelPair(), func(r *c) *[]chemistry.LabelPair { return &r.Pairs }),
		one(Field{Name: "mixed", Also: []string{"mixed"}, Label: "mixed", Help: "the day it was mixed", None: true}, day(), func(r *c) *loops.Day { return &r.Mixed }),
		one(Field{Name: "opened", Also: []string{"opened"}, Label: "opened", Help: "the day it was opened", None: true}, day(), func(r *c) *loops.Day { return &r.Opened }),
		one(Field{Name: "expires", Also: []string{"expires"}, Label: "use by", Help: "the last day to use it", None: true}, day(), func(r *c) *loops.Day { return &r.Expires }),
		one(Field{Name: "left", Also: []string{"left"}, Label: "left", Help: "how much is left in it", Example: "5l", Needed: true}, volume(), func(r *c) *chemistry.Litre { return &r.Left }),
		one(Field{Name: "note", Also: []string{"note"}, Label: "note", Help: "anything worth remembering"}, lines(), func(r *c) *string { return &r.Note }),
	}}
}

// labelPair is a kind of value: one line of a bought product's label.
func labelPair() kind[chemistry.LabelPair] {
	return kind[chemistry.LabelPair]{word: "LINE", typ: Text, parse: chemistry.ParseLabelPair, print: chemistry.LabelPair.String, show: chemistry.LabelPair.String}
}
