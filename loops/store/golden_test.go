// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/loops/store"
)

var update = flag.Bool("update", false, "write testdata/schema-*.jsonl again; never for a published schema")

// allPayloads is one entry of every kind, with every field set.
func allPayloads(loop loops.LoopID, day loops.Day) []loops.Entry {
	measured := loops.Known{How: loops.Measured, By: "hand refractometer", On: day, PlusMinus: 0.01}
	inspection := loops.Inspection{
		Die: new(chemistry.Celsius(55.5)), CoolantIn: new(chemistry.Celsius(31)), CoolantOut: new(chemistry.Celsius(33.25)),
		Room: new(chemistry.Celsius(21)), PowerW: new(90.0), PumpW: new(4.5), Steady: true,
		Mass: new(chemistry.MassFraction(0.34)), MassUncertainty: 0.01, MassKnown: measured, PH: new(8.1),
		Missing: new(chemistry.Litre(0.02)), Weight: new(chemistry.Kilogram(11.4)), RunningHours: new(8123.5),
		Verdict: loops.Good, Noise: "none",
	}
	additive := loops.Additive{Family: "azole", Product: "inhibitor concentrate", DoseMLPerL: 20, LifeMonths: 24, Added: day}
	charge := loops.Charge{
		Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.35)), MassUncertainty: 0.01, MassKnown: measured, Volume: 0.6,
		Origin: loops.WorkshopFill, FilledFrom: day.AddDays(-1), FilledTo: day, Additives: []loops.Dosed{{Role: loops.RoleInhibitor, Additive: additive}, {Role: loops.RoleBiocide, Additive: additive}},
		FluidLifeMonths: 36, FormulatedProduct: true, ReDosable: true, Product: "glycol <blue> & \"clear\"", Lot: "L-17",
	}
	pour := loops.Pour{Liquid: "premix", Fluid: chemistry.PropyleneGlycol, Mass: 0.35, Volume: 0.05, Container: 1}
	return []loops.Entry{
		{Kind: loops.KindIntake, Intake: &loops.Intake{Complaint: "slow and warm\nsince it was moved", Symptom: "radiator hot all over", RunningHours: new(8000.5), Photos: []string{strings.Repeat("cd", 32)}}},
		{Kind: loops.KindInspection, Inspection: &inspection},
		{Kind: loops.KindOpening, Opening: &loops.Opening{
			Cause: loops.CausePump, FailedOn: day, Colour: "orange", Clarity: "hazy", Smell: "sour",
			Residues: []loops.Residue{{Kind: "orange silt", Place: "pump"}}, Severity: new(loops.Narrowed), Words: "rust & grit",
			RunningHours: new(8123.5), Photos: []loops.OpeningPhoto{{Hash: strings.Repeat("ab", 32), When: loops.BeforeWork, White: true}}}},
		{Kind: loops.KindDrain, Drain: &loops.Drain{Left: 0.02, Out: 0.55, Hazard: "traces of copper", Disposal: "glycol drum"}},
		{Kind: loops.KindClean, Note: "citric acid, none on aluminium", Clean: &loops.Cleaning{Agents: []chemistry.Agent{chemistry.Acid}, Rinsed: true}},
		{Kind: loops.KindFlush},
		{Kind: loops.KindFill, Fill: &loops.Fill{Charge: charge, Poured: []loops.Pour{pour}}, Key: "6f1d2c",
			Judged: &loops.Judged{Verdict: chemistry.Stop, AlreadyDone: true, Reasons: []loops.JudgedReason{{Rule: "not-drained", Verdict: chemistry.Care, Text: "full"}},
				Overruled: []loops.Overrule{{Rule: "frost", Why: "stands indoors", By: "rui"}}}},
		{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Drained: 0.01, Hazard: "traces of copper", Disposal: "glycol drum", Poured: []loops.Pour{pour}, Missing: 0.005}},
		{Kind: loops.KindDose, Dose: &loops.Dose{Role: loops.RoleBiocide, Additive: additive, Volume: 0.002, Container: 1}},
		{Kind: loops.KindLeakCheck, LeakCheck: &loops.LeakCheck{Hours: 24, Dry: true}},
		{Kind: loops.KindProof, Proof: &loops.Proof{Before: inspection, After: inspection}},
		{Kind: loops.KindSetting, Setting: &loops.Setting{Task: loops.Look, Paused: true, IntervalMonths: 4, Why: "abroad"}},
		{Kind: loops.KindHandover, Handover: &loops.Handover{Consent: loops.Consent{Mail: true, Opening: true, Photos: true}, Asked: &loops.Consent{Mail: true, Opening: true, Photos: true}, NotAsked: true, Unproved: "its rig is not here"}},
		{Kind: loops.KindAnswer, Answer: &loops.Answer{Answer: loops.SomethingOff, Tasks: []loops.TaskKind{loops.Look}, Noticed: loops.Notices(true)[:1], Words: "it ticks", Photo: strings.Repeat("ef", 32)}},
		{Kind: loops.KindTransfer, Transfer: &loops.Transfer{From: 1, To: 2}},
		{Kind: loops.KindRetirement, Retirement: &loops.Retirement{Reason: loops.ReplacedByAir, StatedRatingW: new(165.0)}},
		{Kind: loops.KindCorrection, Correction: &loops.Correction{Strikes: 15, Why: "not sold after all"}},
		{Kind: loops.KindWeighing, Weighing: &loops.Weighing{Stage: loops.WeighedFilled, Weight: 11.4, Uncertainty: 0.002, What: "cooler with hoses"}},
		{Kind: loops.KindReturn, Return: &loops.Return{Why: "the owner wants it back"}},
		{Kind: loops.KindSwap, Swap: &loops.Swap{OldUnit: loops.OldUnitKept, Sealed: new(true), Fluid: chemistry.PropyleneGlycol, Volume: 0.2, Why: "plate worn through"}},
		{Kind: loops.KindNote, Note: "stands on the left"},
	}
}

// everything fills a store with records that have every field set.
func everything(t testing.TB, s *store.Store) {
	t.Helper()
	day := loops.Day{Year: 2026, Month: time.December, Dom: 3}
	c := change("everything")
	c.Owners = []loops.Owner{
		{ID: 1, Name: "Ana Fern", Email: "ana@garden.example", Phone: "+351 5550 100", Zone: "Europe/Lisbon", Units: loops.Metric,
			Consent: loops.Consent{Mail: true, Opening: true, Photos: true}, MailStopped: day, Address: "Rua das Flores 1\nLisboa", LinkEpoch: 2},
		{ID: 2, Name: "Björn Öst"},
	}
	c.Machines = []loops.Machine{
		{ID: 1, Owner: 1, Kind: loops.LaserChiller, Name: "the chiller", Maker: "workshop-built", Model: "M1", Accessories: []string{"hose", "key"},
			WarrantyAsked: true, WarrantyNote: "none left", PromisedBack: day.AddDays(5)},
		{ID: 2, Kind: loops.DonorUnit, Name: "donor"},
	}
	entries := allPayloads(1, day)
	for i := range entries {
		e := &entries[i]
		e.ID, e.Loop, e.Recorded, e.Day, e.By = loops.EntryID(i+1), 1, noon.Add(time.Duration(i)*time.Second), day.AddDays(i), "rui"
	}
	plan := aPlan(day.AddMonths(6))
	plan.EvidenceVersion = 7
	plan.Tasks = append(plan.Tasks, loops.Task{Kind: loops.CoolantChange, Due: day.AddMonths(36), Paused: true, Clauses: plan.Tasks[0].Clauses})
	l := loops.Loop{
		ID: 1, Machine: 1, Tag: "7K3QXA", LastEntry: loops.EntryID(len(entries)), Name: "laser side",
		Construction: loops.Construction{
			Sealed: true, BuiltKnown: loops.Known{How: loops.Assumed, By: "as in 8N4RYB"}, Volume: 0.6, VolumeUncertainty: 0.01, Wetted: []loops.WettedPart{{Part: "cold plate", Metal: "copper", Plating: "nickel"}},
			Tubing: loops.Tubing{Material: "EPDM", BoreMM: 10, OuterMM: 16, LengthMM: 900}, PumpPlace: "in the reservoir", Mounting: "radiator on top",
			RadiatorSizeMM: 280, ColdestWall: new(chemistry.Celsius(-5)), SetPoint: new(chemistry.Celsius(15)),
			EvaporatorMargin: new(chemistry.CelsiusDelta(8)), Hottest: new(chemistry.Celsius(45)), Reach: new(true),
			VolumeKnown: loops.Known{How: loops.Measured, By: "scale", PlusMinus: 0.01}, ColdestWallKnown: loops.Known{How: loops.OwnerSays, On: day},
		},
		State: loops.Fold(entries), Plan: plan,
	}
	bare := loops.Loop{ID: 2, Machine: 2, Tag: "8N4RYB", Construction: loops.Construction{Volume: 0.2}}
	c.Loops, c.Entries = []loops.Loop{l, bare}, entries
	waiting, tried := aMessage(1, day, noon), aMessage(1, day.AddDays(1), noon)
	tried.Status, tried.Attempts, tried.LastAttempt, tried.LastError = loops.Refused, 2, noon, "550 no such mailbox"
	settled := aMessage(1, day.AddDays(2), noon)
	settled.MessageID = "<1f@workshop.example>"
	settled.About = []loops.Topic{{Loop: 1, Task: loops.Look, Due: day, Stage: loops.StageDue}}
	c.Messages = []loops.Message{waiting, tried, settled}
	c.Shelf = loops.Shelf{
		Containers: []loops.Container{{ID: 1, Kind: loops.PremixBottle, Product: "premix", Lot: "P-3", Fluid: chemistry.PropyleneGlycol,
			Mass: new(chemistry.MassFraction(0.35)), MassUncertainty: 0.005, Pairs: []chemistry.LabelPair{{Strength: 0.5, Freeze: new(chemistry.Celsius(-33.5)), Brix: new(chemistry.Brix(34.2)), Density: new(chemistry.KilogramPerLitre(1.045))}}, Opened: day, Mixed: day, Expires: day.AddMonths(12), Left: 4.2,
			Uses: []loops.Use{{Loop: 1, Day: day, Volume: 0.05}}, Note: "top shelf"}},
		UsedFluid: []loops.UsedFluid{{ID: 1, Recorded: noon, Day: day, By: "rui", Loop: 1, Entry: 4, Fluid: chemistry.PropyleneGlycol, Volume: 0.55, Hazard: "traces of copper", Went: "collector"}},
		Instruments: []loops.Instrument{{ID: 1, Kind: loops.Refractometer, Name: "hand refractometer", Serial: "R-9", Retired: day.AddMonths(30),
			Checks: []loops.InstrumentCheck{{Day: day, By: "rui", Against: "water at 20C", Expected: 0, Read: 0.2, Unit: "brix", Adjusted: true}}}},
		Samples: []loops.RetainedSample{{ID: 1, Loop: 1, Entry: 4, Taken: day, Place: "fridge", Keep: day.AddMonths(6), Discarded: day.AddMonths(7), Note: "cloudy"}},
	}
	require.NoError(t, s.Commit(c))
	require.NoError(t, s.PutEvidence(loops.Evidence{Version: 1, Made: noon, Ages: []loops.EvidenceAge{
		{Origin: loops.WorkshopFill, Months: 8.5, Shape: 2, Text: "3 of 20 clogged", Lives: 20, Failures: 3, LoopMonths: 190.25, Since: day}},
		Notices: []loops.EvidenceNotice{{Cause: loops.CauseClog, Trait: "metal=aluminium", Failed: 3, Of: 5, Text: "3 of 5", Reason: "chance"}}}, "rui"))
	_, err := s.AddWatch(loops.PatternWatch{Cause: loops.CauseClog, Trait: "metal=aluminium", Registered: day, ReadAt: 5, By: "rui", Why: "three in a row"}, noon)
	require.NoError(t, err)
	require.NoError(t, s.CommitAccess(loops.Access{
		Technicians: []loops.Technician{{Name: "Rui", Password: "$argon2id$secret", Added: noon, PasswordSet: noon}, {Name: "Mia", Added: noon}},
		SignIns:     []loops.SignIn{{Hash: strings.Repeat("a1", 32), Technician: "rui", Began: noon, Seen: noon}},
		Tokens:      []loops.PasswordToken{{Hash: strings.Repeat("b2", 32), Technician: "mia", Expires: noon}},
	}))
	require.NoError(t, s.MarkDelivered(noon, 0, settled.Key))
	require.NoError(t, s.Suppress(loops.Suppression{Address: "Gone@garden.example", Reason: "5.1.1", Since: noon}, "deliverer"))
}

func exportOf(t testing.TB, s *store.Store) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, s.Export(t.Context(), &b))
	return b.Bytes()
}

// The text of a store with every field set is what testdata says. A renamed
// or reshaped field, also in a record nested in another, changes it: then the
// record needs a new version and the file a migration.
func TestTextOfSchema1(t *testing.T) {
	t.Parallel()
	testTextOfSchema1(t, files)
}

func testTextOfSchema1(t *testing.T, fresh place) {
	s := fresh.open(t)
	everything(t, s)
	sound(t, s)
	got := exportOf(t, s)
	golden := filepath.Join("testdata", "schema-1.jsonl")
	if *update {
		require.NoError(t, os.WriteFile(golden, got, 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got))
}

// The text of every past schema can still be read, and gives itself again.
func TestReadTextOfSchema1(t *testing.T) {
	t.Parallel()
	testReadTextOfSchema1(t, files)
}

func testReadTextOfSchema1(t *testing.T, fresh place) {
	golden, err := os.ReadFile(filepath.Join("testdata", "schema-1.jsonl"))
	require.NoError(t, err)
	path := fresh(t)
	require.NoError(t, store.Import(t.Context(), path, bytes.NewReader(golden)))
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	sound(t, s)
	assert.Equal(t, string(golden), string(exportOf(t, s)))
	l, err := s.LoopByTag("7K3QXA")
	require.NoError(t, err)
	assert.Equal(t, loops.LoopID(1), l.ID)
	x, err := s.Suppression("gone@GARDEN.example")
	require.NoError(t, err)
	assert.Equal(t, "5.1.1", x.Reason)
	require.NoError(t, s.Close())
}
