// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"bytes"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify"
)

var (
	today = loops.Day{Year: 2026, Month: time.November, Dom: 24}
	sent  = time.Date(2026, time.November, 24, 8, 0, 0, 0, time.UTC)
)

const event = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Fillmark//EN\r\nMETHOD:PUBLISH\r\nBEGIN:VEVENT\r\n" +
	"UID:7K3M9Q-look@tidewater.example\r\nDTSTAMP:20261124T080000Z\r\nDTSTART;VALUE=DATE:20261203\r\n" +
	"ORGANIZER:mailto:bench@tidewater.example\r\nSUMMARY:Look the grey tower over\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"

const egCaution = "The coolant is poisonous if swallowed and tastes sweet. Keep children and animals away from any drip, wipe it up and wash your hands. If somebody has swallowed any, ring a poison centre or a doctor at once."

func workshop() notify.Workshop {
	return notify.Workshop{Name: "Tidewater Bench", From: "bench@tidewater.example", Phone: "+00 555 0142", BaseURL: "https://fillmark.tidewater.example"}
}

func owner() loops.Owner {
	return loops.Owner{ID: 7, Name: "Anna Keller", Email: "anna@garden.example", Consent: loops.Consent{Mail: true}}
}

func links() notify.Links {
	base := "https://fillmark.tidewater.example/o/"
	return notify.Links{AllFine: base + "fine?t=abc123", SomethingOff: base + "off?t=abc123", CallMe: base + "call?t=abc123", More: base + "more?t=abc123", Stop: base + "stop?t=abc123", OneClick: base + "stop1?t=abc123"}
}

func sealedItem() notify.ReminderItem {
	return notify.ReminderItem{
		Machine: "the grey tower", Kind: loops.Desktop, Tag: "7K3M9Q", Sealed: true,
		Fluid: chemistry.EthyleneGlycol, Charge: "40 % ethylene glycol by mass in water",
		Task: loops.Look, Due: loops.Day{Year: 2026, Month: time.December, Dom: 3}, Stage: loops.StageAhead,
		Reason: "It was filled on Thu 4 Jun 2026, and a sealed loop is looked over every 6 months.",
		Source: "this workshop's policy, common practice",
	}
}

func reminder() notify.ReminderInput {
	return notify.ReminderInput{
		Workshop: workshop(), Owner: owner(), Day: today, Date: sent,
		MessageID: notify.MessageIDFor("", loops.NewMessageKey(7, today, loops.PurposeReminder, ""), "tidewater.example"),
		Items:     []notify.ReminderItem{sealedItem()},
		Cautions:  []string{egCaution},
		Links:     links(), Calendar: []byte(event),
	}
}

// several is a reminder with every turn a letter can take: two loops with the
// same steps, an open one, a chiller, a task for the workshop, names outside
// ASCII.
func several() notify.ReminderInput {
	in := reminder()
	in.Owner.Name = "Żaneta Müller-Åström"
	twin := sealedItem()
	twin.Machine, twin.Tag = "the small black one", "4D0P2H"
	open := sealedItem()
	open.Machine, open.Tag, open.Kind, open.Sealed, open.Fluid = "Lämpchen", "9QW3RT", loops.Workstation, false, chemistry.TreatedWater
	open.Charge, open.Stage = "water with inhibitor and biocide", loops.StageLate
	open.Due = loops.Day{Year: 2026, Month: time.November, Dom: 10}
	chiller := sealedItem()
	chiller.Machine, chiller.Tag, chiller.Kind, chiller.Sealed, chiller.Fluid = "the laser's chiller", "1B2C3D", loops.LaserChiller, false, chemistry.PropyleneGlycol
	chiller.Charge, chiller.Task = "35 % propylene glycol by mass in water", loops.CoolantChange
	in.Items = []notify.ReminderItem{sealedItem(), twin, open, chiller}
	in.Cautions = append(in.Cautions, "The liquid in Lämpchen is water with additives: not for drinking. It freezes at 0 °C: never leave or ship the machine in the cold.")
	in.Calendar = nil
	return in
}

// grouped is a reminder with several tasks of one loop, the owner's own look
// among them.
func grouped() notify.ReminderInput {
	in := reminder()
	look := sealedItem()
	look.Sealed = false
	change, leak := look, look
	change.Task, change.Stage, change.Due = loops.CoolantChange, loops.StageLate, loops.Day{Year: 2026, Month: time.November, Dom: 10}
	leak.Task = loops.LeakCheckTask
	in.Items = []notify.ReminderItem{look, change, leak}
	in.Owner.Address = "3 Quay Row\nHarbourtown"
	return in
}

func receipt(kind loops.AnswerKind) notify.ReceiptInput {
	var noticed []loops.Notice
	if kind == loops.SomethingOff {
		noticed = []loops.Notice{loops.NoticeWet}
	}
	return notify.ReceiptInput{
		Workshop: workshop(), Owner: owner(), Day: today, Date: sent,
		MessageID: notify.MessageIDFor("", loops.NewMessageKey(7, today, loops.PurposeReceipt, "1"), "tidewater.example"),
		Answer:    loops.Answer{Answer: kind, Noticed: noticed, Words: "It gurgles since Sunday.\n\nLouder when it is tilted: <b>really</b>"},
		Machines:  []string{"the grey tower", "Lämpchen"}, Cautions: []string{egCaution}, Wet: "Switch it off and pull the plug at the wall, with dry hands.",
		Next:  []notify.MachineTask{{Machine: "the grey tower", NextTask: notify.NextTask{Task: loops.CoolantChange, Due: loops.Day{Year: 2027, Month: time.June, Dom: 4}}}},
		Links: links(),
	}
}

func morning() notify.MorningInput {
	return notify.MorningInput{
		Workshop: workshop(), To: "technician@tidewater.example", Day: today, Date: sent,
		MessageID: notify.MessageIDFor("", loops.NewMessageKey(0, today, loops.PurposeMorning, ""), "tidewater.example"),
		Sections: []notify.MorningSection{
			{Heading: "Overdue", Late: true, Lines: []string{"7K3M9Q the grey tower, Ana Example: look since Tue 10 Nov 2026"}},
			{Heading: "Today"},
			{Heading: "To call", Lines: []string{"Żaneta (+00 555 0199): asked for a call on Mon 23 Nov 2026"}},
		},
		Link: "https://fillmark.tidewater.example/due",
	}
}

func handover() notify.HandoverInput {
	freeze, coldest := chemistry.Celsius(-23.6), chemistry.Celsius(-15)
	return notify.HandoverInput{
		Workshop: workshop(), Owner: owner(), Day: today, Date: sent,
		MessageID: notify.MessageIDFor("", loops.NewMessageKey(7, today, loops.PurposeHandover, "1"), "tidewater.example"),
		Machine:   "the grey tower", Kind: loops.Desktop,
		Loops: []notify.HandoverLoop{{
			Tag: "7K3M9Q", Sealed: true, Fluid: chemistry.EthyleneGlycol, Charge: "40 % ethylene glycol by mass in water",
			Volume: 0.148, Freeze: &freeze, FreezeUncertainty: 0.9, Coldest: &coldest,
			Next: []notify.NextTask{
				{Task: loops.Look, Due: loops.Day{Year: 2026, Month: time.December, Dom: 24}},
				{Task: loops.ServiceCheck, Due: loops.Day{Year: 2027, Month: time.November, Dom: 24}},
			},
		}},
		Cautions: []string{egCaution},
		Links:    notify.Links{Stop: links().Stop, OneClick: links().OneClick},
	}
}

// read takes a message apart with the standard library, which is not what
// composed it.
func read(t testing.TB, raw []byte) (mail.Header, map[string]string) {
	t.Helper()
	msg, err := mail.ReadMessage(bytes.NewReader(raw))
	require.NoError(t, err)
	kind, params, err := mime.ParseMediaType(msg.Header.Get("Content-Type"))
	require.NoError(t, err)
	require.Equal(t, "multipart/alternative", kind)
	parts := map[string]string{}
	for r := multipart.NewReader(msg.Body, params["boundary"]); ; {
		p, err := r.NextRawPart()
		if err == io.EOF {
			return msg.Header, parts
		}
		require.NoError(t, err)
		kind, _, err := mime.ParseMediaType(p.Header.Get("Content-Type"))
		require.NoError(t, err)
		require.Equal(t, "quoted-printable", p.Header.Get("Content-Transfer-Encoding"))
		body, err := io.ReadAll(quotedprintable.NewReader(p))
		require.NoError(t, err)
		parts[kind] = strings.ReplaceAll(string(body), "\r\n", "\n")
	}
}
