// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import "fillmark/loops"

// Machines is the record of what an owner brought, or of a donor unit. Kind,
// maker and model outlive the owner: the findings need them.
func Machines() Record[loops.Machine] {
	type m = loops.Machine
	return Record[m]{Name: "machine", all: fields[m]{
		one(Field{Name: "owner", Also: []string{"owner"}, Label: "owner", Help: "number of the owner; none for a donor unit", None: true, Fixed: true}, number[loops.OwnerID]("NUMBER"), func(r *m) *loops.OwnerID { return &r.Owner }),
		one(Field{Name: "kind", Also: []string{"kind"}, Label: "kind", Help: "kind of machine", Needed: true}, choice("KIND", loops.MachineKinds()), func(r *m) *loops.MachineKind { return &r.Kind }),
		one(Field{Name: "name", Also: []string{"name"}, Label: "name", Help: "how the owner speaks of it", Example: `"the grey tower"`, Needed: true, Personal: true}, words(), func(r *m) *string { return &r.Name }),
		one(Field{Name: "maker", Also: []string{"maker"}, Label: "maker", Help: "maker, as the workshop types it"}, words(), func(r *m) *string { return &r.Maker }),
		one(Field{Name: "model", Also: []string{"model"}, Label: "model", Help: "model, as the workshop types it"}, words(), func(r *m) *string { return &r.Model }),
		many(Field{Name: "accessory", Key: "accessories", Also: []string{"accessories"}, Label: "handed in with it", Help: "what was handed in with it; repeat", None: true, Personal: true}, words(), func(r *m) *[]string { return &r.Accessories }),
		either(Field{Name: "warranty-asked", Label: "warranty asked about", Help: "the maker's warranty was asked about"}, func(r *m) *bool { return &r.WarrantyAsked }),
		one(Field{Name: "warranty-note", Also: []string{"warranty note"}, Label: "the answer", Help: "what the answer was", Personal: true}, words(), func(r *m) *string { return &r.WarrantyNote }),
		one(Field{Name: "promised", Key: "promised_back", Also: []string{"promised back"}, Label: "promised back", Help: "the day it was promised back, or none", None: true, Personal: true}, day(), func(r *m) *loops.Day { return &r.PromisedBack }),
	}}
}
