// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/notify/words"
)

// ReceiptInput is all that the receipt of an owner's answer is written from.
type ReceiptInput struct {
	Workshop  Workshop
	Owner     loops.Owner
	Day       loops.Day // the owner's day of the answer
	Date      time.Time // the instant, for the Date header
	MessageID string    // from [MessageIDFor]
	Answer    loops.Answer
	Machines  []string // what it was about, as the owner calls them
	Next      []MachineTask
	// Conditions stand against these loops: they are said first, whatever the
	// owner saw.
	Conditions []MachineCondition
	Cautions   []string // only written where something is off or a condition stands
	Wet        string   // what to do where it leaks; only written where something is off
	Links      Links    // only More, Stop and OneClick are used
	Instead    Earlier  // the letter that this one takes the place of
}

// MachineTask is what comes next for a machine.
type MachineTask struct {
	Machine string
	NextTask
}

// MachineCondition is what stands against a loop of a machine.
type MachineCondition struct {
	Machine string
	loops.Condition
}

// ComposeReceipt writes the receipt of an owner's answer: what we understood,
// what happens now and what comes next. All that is wrong with the input is
// returned joined, as [loops.InvalidError]s.
func ComposeReceipt(in ReceiptInput) (Letter, error) {
	if err := in.validate(); err != nil {
		return Letter{}, err
	}
	ws := in.Workshop.Words(in.Owner)
	understood, now := in.words(ws)
	var about []string
	for _, m := range in.Machines {
		about = append(about, ws.Quoted(m))
	}
	d := document{
		Lang:     ws.Language(),
		Subject:  ws.Say("subject.receipt", understood),
		Greeting: ws.Say("greeting", in.Owner.Name),
		Intro:    ws.Say("intro.receipt", ws.Day(in.Day), ws.List(about), understood),
		More:     button{ws.Say("button.again"), in.Links.More},
		Closing:  in.Workshop.closing(ws),
		Reason:   ws.Say("reason.receipt"),
		Stop:     button{ws.Say("button.stop"), in.Links.Stop},
	}
	d.Blocks = in.blocks(ws, now)
	return d.letter(envelope{in.Workshop, in.Owner, in.Date, in.MessageID, in.Links.OneClick, in.Instead, nil}, nil)
}

// blocks are what the owner told us, what happens now and what comes next. Where
// they saw something wet, what to do at once comes before what we do tomorrow.
func (in ReceiptInput) blocks(ws words.Words, now string) []block {
	off, wet := in.Answer.Answer == loops.SomethingOff, slices.Contains(in.Answer.Noticed, loops.NoticeWet)
	var blocks []block
	for _, c := range in.Conditions {
		blocks = append(blocks, block{Heading: loops.Capital(c.Machine), Paragraphs: ConditionsForOwner(ws, []loops.Condition{c.Condition})})
	}
	if wet {
		blocks = append(blocks, wetBlock(ws, in.Wet))
	}
	if told := in.told(ws); len(told) > 0 {
		blocks = append(blocks, block{Heading: ws.Say("heading.told"), Paragraphs: told})
	}
	blocks = append(blocks, block{Heading: ws.Say("heading.now"), Paragraphs: []string{now}})
	if len(in.Next) > 0 {
		blocks = append(blocks, block{Heading: ws.Say("heading.next"), Lists: []list{{Items: in.next(ws)}}})
	}
	if off && !wet {
		blocks = append(blocks, wetBlock(ws, in.Wet))
	}
	if off || len(in.Conditions) > 0 {
		blocks = append(blocks, careBlock(ws, in.Cautions))
	}
	return blocks
}

// told is what the owner ticked and wrote, line by line.
func (in ReceiptInput) told(ws words.Words) []string {
	var told []string
	for _, n := range in.Answer.Noticed {
		told = append(told, loops.Capital(ws.Recorded(string(n)))+".")
	}
	for line := range strings.SplitSeq(in.Answer.Words, "\n") {
		if line = strings.Join(strings.Fields(line), " "); line != "" {
			told = append(told, line)
		}
	}
	return told
}

func (in ReceiptInput) next(ws words.Words) []string {
	var days []string
	for _, n := range in.Next {
		about, _ := loops.AboutTask(n.Task)
		lead := "subject.by"
		if n.Due.Before(in.Day) {
			lead = "subject.was"
		}
		days = append(days, n.because(ws, ws.Say(lead, loops.Capital(n.Machine), ws.Recorded(strings.ToLower(about.OwnerTitle)), when(ws, n.Due, in.Day))))
	}
	return days
}

// words say what an answer was understood as, and what happens now.
func (in ReceiptInput) words(ws words.Words) (understood, now string) {
	about := map[loops.AnswerKind]string{
		loops.AllFine: "fine", loops.SomethingOff: "off", loops.CallMe: "call", loops.Pause: "pause",
		loops.ProposeDay: "day", loops.Moved: "moved", loops.PassedOn: "passed-on", loops.Elsewhere: "elsewhere",
	}[in.Answer.Answer]
	switch {
	case about == "fine" && len(in.Conditions) > 0:
		about = "looked"
	case about == "call" && in.Owner.Phone == "":
		about = "call-whom"
	case about == "pause" && !in.Answer.On.IsZero():
		about = "pause-until"
	}
	day := ""
	if !in.Answer.On.IsZero() {
		day = ws.Day(in.Answer.On)
	}
	return ws.Say("understood."+about, day), ws.Say("now."+about, in.Owner.Phone)
}

func (in ReceiptInput) validate() error {
	var p problems
	p.add(validateFrame(in.Workshop, in.Owner, in.Day, in.Date, in.MessageID, in.Links))
	switch in.Answer.Answer {
	case loops.AllFine, loops.CallMe, loops.Pause, loops.ProposeDay, loops.Moved, loops.PassedOn, loops.Elsewhere:
	case loops.SomethingOff:
		p.add(validateCautions(in.Cautions))
		p.add(requireText("wet", in.Wet, maxSentence))
	default:
		p.add(invalid("answer", string(in.Answer.Answer), "one of the answers that owners can give"))
	}
	if len(in.Conditions) > 0 {
		p.add(validateCautions(in.Cautions))
	}
	for line := range strings.SplitSeq(in.Answer.Words, "\n") {
		p.add(checkText("words", strings.ReplaceAll(line, "\t", " "), 2000))
	}
	if len(in.Machines) == 0 || len(in.Machines) > maxItems {
		p.add(invalid("machines", fmt.Sprint(len(in.Machines)), fmt.Sprintf("1 to %d machines", maxItems)))
	}
	for _, name := range in.Machines {
		p.add(requireText("machine", name, maxName))
	}
	for _, n := range in.Next {
		if _, ok := loops.AboutTask(n.Task); !ok || n.Due.IsZero() {
			p.add(invalid("next task", string(n.Task)+" "+n.Due.String(), "a kind of task and its day"))
		}
		p.add(requireText("next machine", n.Machine, maxName))
		p.add(checkText("next reason", n.Why, maxSentence))
	}
	return errors.Join(p...)
}
