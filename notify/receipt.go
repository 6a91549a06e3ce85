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
	understood, now := in.words()
	d := document{
		Subject:  "We have your answer: " + understood,
		Greeting: "Good day " + in.Owner.Name + ",",
		Intro:    fmt.Sprintf("On %s you told us about %s: %s.", in.Day.Long(), quotedList(in.Machines), understood),
		More:     button{"Answer again or see your machines", in.Links.More},
		Closing:  in.Workshop.closing(),
		Reason:   "You get this mail because you pressed a button in a mail of ours. If it was not you, answer this mail.",
		Stop:     button{"Stop these mails", in.Links.Stop},
	}
	d.Blocks = in.blocks(now)
	return d.letter(envelope{in.Workshop, in.Owner, in.Date, in.MessageID, in.Links.OneClick, in.Instead, nil}, nil)
}

// blocks are what the owner told us, what happens now and what comes next. Where
// they saw something wet, what to do at once comes before what we do tomorrow.
func (in ReceiptInput) blocks(now []string) []block {
	off, wet := in.Answer.Answer == loops.SomethingOff, slices.Contains(in.Answer.Noticed, loops.NoticeWet)
	var blocks []block
	for _, c := range in.Conditions {
		blocks = append(blocks, block{Heading: capitalised(c.Machine), Paragraphs: ConditionsForOwner([]loops.Condition{c.Condition})})
	}
	if wet {
		blocks = append(blocks, wetBlock(in.Wet))
	}
	if told := in.told(); len(told) > 0 {
		blocks = append(blocks, block{Heading: "What you told us", Paragraphs: told})
	}
	blocks = append(blocks, block{Heading: "What happens now", Paragraphs: now})
	if len(in.Next) > 0 {
		blocks = append(blocks, block{Heading: "What comes next", Lists: []list{{Items: in.next()}}})
	}
	if off && !wet {
		blocks = append(blocks, wetBlock(in.Wet))
	}
	if off || len(in.Conditions) > 0 {
		blocks = append(blocks, careBlock(in.Cautions))
	}
	return blocks
}

// told is what the owner ticked and wrote, line by line.
func (in ReceiptInput) told() []string {
	var told []string
	for _, n := range in.Answer.Noticed {
		told = append(told, n.Sentence()+".")
	}
	for line := range strings.SplitSeq(in.Answer.Words, "\n") {
		if line = strings.Join(strings.Fields(line), " "); line != "" {
			told = append(told, line)
		}
	}
	return told
}

func (in ReceiptInput) next() []string {
	var days []string
	for _, n := range in.Next {
		about, _ := loops.AboutTask(n.Task)
		days = append(days, n.because(fmt.Sprintf("%s: %s %s %s", capitalised(n.Machine), strings.ToLower(about.OwnerTitle), byOrWas(n.Due, in.Day), when(n.Due, in.Day))))
	}
	return days
}

// words say what an answer was understood as, and what happens now.
func (in ReceiptInput) words() (understood string, now []string) {
	switch in.Answer.Answer {
	case loops.AllFine:
		if len(in.Conditions) > 0 {
			return "you saw nothing amiss", []string{
				"We have put down that you looked. It changes nothing of what stands above: that is settled in our workshop, and we get in touch."}
		}
		return "all looks fine", []string{
			"We have put down that you looked and saw nothing amiss. That is no measurement: checks and work in our workshop stay as planned."}
	case loops.SomethingOff:
		return "something is off", []string{
			"It is on our list for the next morning, and we get in touch. If it leaks, gets hot or sounds wrong, switch it off, pull the plug and leave it off until then."}
	case loops.CallMe:
		call := "You are on our list of calls for the next morning. We call you on " + in.Owner.Phone + "."
		if in.Owner.Phone == "" {
			call = "You are on our list of calls for the next morning, but we have no telephone number of yours: answer this mail with one."
		}
		return "please call", []string{call}
	}
	if now, ok := settled[in.Answer.Answer]; ok {
		return in.Answer.Said(), []string{now}
	}
	if !in.Answer.On.IsZero() {
		return in.Answer.Said(), []string{
			"Until then we remind you of nothing that these machines need, and go on after it. What is due stays due: the liquid ages whether we write or not."}
	}
	return "a pause", []string{
		"We remind you no more of what was due now, until you or we end the pause. What is due stays due: the liquid ages whether we write or not."}
}

// settled says what happens after an answer that a person takes up.
var settled = map[loops.AnswerKind]string{
	loops.ProposeDay: "We have put the day down and get in touch if it does not suit us. Until it is over we remind you of nothing that these machines need.",
	loops.Moved:      "We get in touch to put your new address down. Until then we do not write about these machines.",
	loops.PassedOn:   "We write no more about it. If you tell us who has it now, and they agree, we look after it for them: we get in touch about that.",
	loops.Elsewhere:  "We get in touch to hear what was done and what is in it now. Until we know, our record stays as it is, and we do not write about it.",
}

func quotedList(names []string) string {
	quoted := make([]string, len(names))
	for i, name := range names {
		quoted[i] = "“" + name + "”"
	}
	if len(quoted) == 1 {
		return quoted[0]
	}
	return strings.Join(quoted[:len(quoted)-1], ", ") + " and " + quoted[len(quoted)-1]
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
