// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package demo

import (
	"fillmark/chemistry"
	"fillmark/cmd/fillmark/daemon"
	"fillmark/loops"
)

// The scenario is an invented workshop: every person, machine and figure of
// it is made up, and its addresses end in .example. Days count back from the
// day it runs.

// demoOwner is an owner with what they brought; without a name, the donor
// units.
type demoOwner struct {
	owner    loops.Owner
	machines []demoMachine
}

type demoMachine struct {
	machine loops.Machine
	loop    loops.Loop
	charge  loops.Charge
	// poured is how much of the loop's volume went in; the rest stayed in it
	// after draining.
	poured chemistry.Litre
	// filled, and the days of what followed, are days before today.
	filled    int
	inspected int // zero: not since
	handed    int // zero: still on the bench
	looked    int // the owner's last "all fine"; zero: never answered
	opened    *demoOpening
}

type demoOpening struct {
	daysAgo int
	found   loops.Opening
}

// Config is the configuration of the invented workshop.
func Config(c daemon.Config) daemon.Config {
	c.Workshop.Name = "Tidewater Loop Workshop"
	c.Workshop.Phone = "+351 210 555 0142"
	c.Workshop.Zone = "Europe/Lisbon"
	c.BaseURL = "https://loops.tidewater.example"
	c.Mail.From = "bench@tidewater.example"
	c.Mail.Technician = "technician@tidewater.example"
	c.Mail.DKIMSelector = "bench2026"
	return c
}

func fraction(percent float64) *chemistry.MassFraction {
	return new(chemistry.MassFraction(percent / 100))
}

func celsius(c float64) *chemistry.Celsius { return new(chemistry.Celsius(c)) }

func kelvin(k float64) *chemistry.CelsiusDelta { return new(chemistry.CelsiusDelta(k)) }

// Ways a charge is treated in the scenario.
func treated(fluid chemistry.Fluid, percent float64) loops.Charge {
	return loops.Charge{
		Fluid: fluid, Mass: fraction(percent), MassUncertainty: 0.01, Origin: loops.WorkshopFill,
		Additives: []loops.Dosed{
			{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: string(chemistry.Azole), Product: "invented azole blend", LifeMonths: 24}},
			{Role: loops.RoleBiocide, Additive: loops.Additive{Family: string(chemistry.Isothiazolinone), Product: "invented biocide", LifeMonths: 12}},
		},
	}
}

func formulated(fluid chemistry.Fluid, percent float64) loops.Charge {
	return loops.Charge{
		Fluid: fluid, Mass: fraction(percent), MassUncertainty: 0.01, Origin: loops.WorkshopFill, FluidLifeMonths: 36, FormulatedProduct: true,
		Product: "invented long-life premix",
		Additives: []loops.Dosed{
			{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: string(chemistry.OAT)}},
			{Role: loops.RoleBiocide, Additive: loops.Additive{Family: string(chemistry.NoBiocide)}},
		},
	}
}

var (
	copperPlate   = loops.WettedPart{Part: "cold plate", Metal: chemistry.Copper}
	nickelPlate   = loops.WettedPart{Part: "cold plate", Metal: chemistry.Copper, Plating: chemistry.Nickel}
	aluminiumRad  = loops.WettedPart{Part: "radiator", Metal: chemistry.Aluminium}
	brassRad      = loops.WettedPart{Part: "radiator", Metal: chemistry.Brass}
	stainlessTank = loops.WettedPart{Part: "tank and evaporator", Metal: chemistry.StainlessSteel}
)

func openLoop(volume, plusMinus chemistry.Litre, wall *chemistry.Celsius, wetted ...loops.WettedPart) loops.Loop {
	return loops.Loop{Construction: loops.Construction{
		Volume: volume, VolumeUncertainty: plusMinus, ColdestWall: wall, NoFrost: wall == nil, Reach: new(false), Wetted: wetted,
		Tubing: loops.Tubing{Material: "EPDM", BoreMM: 10, OuterMM: 13, LengthMM: 1800}, PumpPlace: "reservoir", Mounting: "radiator on top",
	}}
}

func sealedLoop(volume chemistry.Litre, wall *chemistry.Celsius, wetted ...loops.WettedPart) loops.Loop {
	return loops.Loop{Construction: loops.Construction{
		Sealed: true, Volume: volume, VolumeUncertainty: 0.005, ColdestWall: wall, NoFrost: wall == nil, Reach: new(false), Wetted: wetted,
		Tubing: loops.Tubing{Material: "sleeved EPDM", BoreMM: 7, OuterMM: 12, LengthMM: 700}, PumpPlace: "in the cold plate", Mounting: "radiator on top",
	}}
}

func chillerLoop(volume chemistry.Litre, setPoint, margin float64, wetted ...loops.WettedPart) loops.Loop {
	l := openLoop(volume, volume/50, nil, wetted...)
	l.NoFrost = false
	l.SetPoint, l.EvaporatorMargin = celsius(setPoint), kelvin(margin)
	return l
}

// mails is an owner who agreed to reminders.
func mails(name, email, zone string) loops.Owner {
	return loops.Owner{Name: name, Email: email, Zone: zone, Consent: loops.Consent{Mail: true, Opening: true}}
}

// demoOwners is the register of the invented workshop.
func demoOwners() []demoOwner {
	const (
		lisbon, berlin, toronto, tokyo, auckland = "Europe/Lisbon", "Europe/Berlin", "America/Toronto", "Asia/Tokyo", "Pacific/Auckland"
	)
	desk := func(name string) loops.Machine { return loops.Machine{Kind: loops.Desktop, Name: name} }
	kind := func(k loops.MachineKind, name string) loops.Machine { return loops.Machine{Kind: k, Name: name} }
	return []demoOwner{
		{mails("Ines Carvalhal", "ines@quinta.example", lisbon), []demoMachine{
			{desk("the grey tower"), sealedLoop(0.160, celsius(5), copperPlate, aluminiumRad), formulated(chemistry.PropyleneGlycol, 30), 0.148, 40, 39, 38, 0, nil},
		}},
		{mails("Tobias Fennbusch", "tobias@fennbusch.example", berlin), []demoMachine{
			{kind(loops.Workstation, "the render box"), openLoop(0.900, 0.030, celsius(-10), nickelPlate, brassRad), treated(chemistry.PropyleneGlycol, 40), 0.880, 372, 371, 370, 20, nil},
			{desk("the attic PC"), openLoop(0.620, 0.020, celsius(-15), copperPlate, brassRad), treated(chemistry.EthyleneGlycol, 42), 0.600, 100, 99, 98, 26, nil},
		}},
		{loops.Owner{Name: "Maude Tremblant", Email: "maude@atelier.example", Zone: toronto, Units: loops.USCustomary, Phone: "+1 416 555 0117", Consent: loops.Consent{Mail: true}}, []demoMachine{
			{kind(loops.Server, "the rack node"), openLoop(1.400, 0.050, nil, copperPlate, brassRad), treated(chemistry.TreatedWater, 0), 1.380, 362, 361, 360, 31, nil},
		}},
		{mails("Hana Morikubo", "hana@hikari.example", tokyo), []demoMachine{
			{kind(loops.LaserChiller, "the engraver's chiller"), chillerLoop(6.0, 8, 12, stainlessTank, copperPlate), treated(chemistry.PropyleneGlycol, 35), 5.9, 92, 91, 90, 10, nil},
		}},
		{mails("Pita Rangihau", "pita@kowhai.example", auckland), []demoMachine{
			{desk("the white cube"), sealedLoop(0.120, celsius(0), copperPlate, aluminiumRad), formulated(chemistry.PropyleneGlycol, 33), 0.112, 103, 102, 101, 88, nil},
		}},
		{mails("Noor Azimi", "noor@labor.example", berlin), []demoMachine{
			{kind(loops.TestRig, "the laser diode rig"), openLoop(2.200, 0.050, nil, loops.WettedPart{Part: "cold plate", Metal: chemistry.StainlessSteel}), loops.Charge{
				Fluid: chemistry.DeionisedWater, Mass: fraction(0), Origin: loops.WorkshopFill,
				Additives: []loops.Dosed{
					{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: string(chemistry.NoInhibitor)}},
					{Role: loops.RoleBiocide, Additive: loops.Additive{Family: string(chemistry.NoBiocide)}},
				},
			}, 2.2, 190, 189, 188, 15, nil},
		}},
		{loops.Owner{Name: "Aurelio Bandeiras", Phone: "+351 210 555 0188", Address: "Rua da Oficina 7\nLisboa"}, []demoMachine{
			{desk("the shop computer"), sealedLoop(0.150, celsius(5), copperPlate, aluminiumRad), formulated(chemistry.PropyleneGlycol, 30), 0.138, 130, 129, 128, 0, nil},
		}},
		{mails("Callum Reidhaven", "callum@reidhaven.example", toronto), []demoMachine{
			{desk("the blue midi"), openLoop(0.700, 0.020, celsius(-5), copperPlate, brassRad), treated(chemistry.PropyleneGlycol, 33), 0.680, 375, 374, 373, 40,
				&demoOpening{6, loops.Opening{Cause: loops.CauseClog, Colour: "faded", Clarity: "opaque", Residues: []loops.Residue{{Kind: "brown slime", Place: "cold plate inlet"}}, Severity: new(loops.Blocked)}}},
		}},
		{mails("Lene Vossgaard", "lene@fjordlys.example", berlin), []demoMachine{
			{kind(loops.BenchChiller, "the bath chiller"), chillerLoop(9.0, -5, 10, stainlessTank), treated(chemistry.EthyleneGlycol, 45), 8.9, 20, 19, 18, 0, nil},
		}},
		{mails("Joost Meerhof", "joost@polder.example", berlin), []demoMachine{
			{desk("the silent box"), sealedLoop(0.170, celsius(2), copperPlate, aluminiumRad), formulated(chemistry.PropyleneGlycol, 30), 0.160, 3, 2, 1, 0, nil},
			{desk("the test bench PC"), openLoop(0.800, 0.030, celsius(0), nickelPlate, brassRad), treated(chemistry.PropyleneGlycol, 30), 0.780, 0, 0, 0, 0, nil},
		}},
		{loops.Owner{}, []demoMachine{
			{kind(loops.DonorUnit, "a cooler bought for parts"), sealedLoop(0.150, nil, copperPlate, aluminiumRad), loops.Charge{
				Fluid: chemistry.PropyleneGlycol, Origin: loops.Factory,
			}, 0.110, 700, 0, 0, 0, &demoOpening{12, loops.Opening{Cause: loops.CauseClog, Colour: "black", Residues: []loops.Residue{{Kind: "black slime", Place: "cold plate inlet"}, {Kind: "jelly or threads", Place: "tubing"}}, Severity: new(loops.Narrowed)}}},
		}},
	}
}
