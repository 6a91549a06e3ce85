// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/links"
)

// incoming is what the actions about mail that comes in use of the store.
type incoming interface {
	LastMail(mailbox string) (loops.MailPlace, error)
	PassMail(loops.MailPlace) error
	KnowsMail(loops.MailDigest) (bool, error)
}

// Outcome is what became of a mail that came in.
type Outcome string

// The outcomes.
const (
	MailAnswered Outcome = "answer"  // put down as the owner's answer
	MailStopped  Outcome = "stop"    // no more mail goes to them
	MailUnclear  Outcome = "unclear" // on the list of calls, for a person to read
	MailLeft     Outcome = "left"    // left in the mailbox: no answer to us, or none by a person
	MailKnown    Outcome = "known"   // dealt with before
)

// Received is what became of a mail, and why it was no plain answer.
type Received struct {
	Outcome Outcome
	Why     string
	Tags    []loops.Tag // of the loops that it is on record for
}

// What one owner's mails put on record in a day: more are left in the mailbox.
const (
	mailsADay  = 20
	photosADay = 6
)

// LastMail returns the place of the last mail that was dealt with in a mailbox.
func (w *Workshop) LastMail(mailbox string) (loops.MailPlace, error) {
	return w.register.LastMail(mailbox)
}

// PassMail notes that there is nothing to do about the mails up to the place.
func (w *Workshop) PassMail(place loops.MailPlace) error { return w.register.PassMail(place) }

// Receive does what a mail to the workshop asks for, where its token says beyond
// doubt who asks for what: the same as a click on a page would do. What is a reply
// to us and leaves doubt goes on record for a person to read; anything else is
// left where it is. The mail is dealt with in the same change, so once.
func (w *Workshop) Receive(s Stamp, read loops.MailRead, in notify.Incoming) (Received, error) {
	known, err := w.register.KnowsMail(read.Digest)
	if err != nil {
		return Received{}, err
	}
	if known {
		return Received{Outcome: MailKnown}, w.register.PassMail(read.Place)
	}
	done, err := w.receive(s, read, in)
	switch {
	case errors.Is(err, loops.ErrRepeated):
		return Received{Outcome: MailKnown}, w.register.PassMail(read.Place)
	case err == nil && done.Outcome == MailLeft:
		return done, w.register.PassMail(read.Place)
	}
	return done, err
}

func (w *Workshop) receive(s Stamp, read loops.MailRead, in notify.Incoming) (Received, error) {
	left := func(why string) (Received, error) { return Received{Outcome: MailLeft, Why: why}, nil }
	from, err := w.whose(in, s.At)
	if err != nil || from.owner.ID == 0 {
		return Received{Outcome: MailLeft, Why: "it answers no letter of ours"}, err
	}
	stops := from.doubt == "" && from.reply.Says == links.SaysStop
	switch {
	case strings.EqualFold(in.From, w.settings.From):
		return left("it came from ourselves")
	case in.Automatic != "" && !(in.Unasked && stops):
		return left(in.Automatic)
	case stops:
		_, err := w.setMail(s, from.owner.ID, true, &read)
		return Received{Outcome: MailStopped}, err
	}
	files, err := w.filesOf(from.owner.ID)
	if err != nil {
		return Received{}, err
	}
	mails, photos := mailedOn(files, w.DayOf(from.owner, s.At))
	if mails >= mailsADay {
		return left(fmt.Sprintf("%d answers of this owner are on record today already", mails))
	}
	doubt := from.doubt
	plain := from.reply.Says != links.SaysOff && from.reply.Says != links.SaysCall
	switch {
	case doubt != "":
	case in.Unread != "":
		doubt = in.Unread
	case plain && in.Words != "":
		doubt = "it says more than its button"
	case plain && len(in.Photos) > 0:
		doubt = "a picture came with it"
	}
	if doubt != "" {
		return w.unclear(s, read, in, from, doubt, files)
	}
	answer := loops.Answer{Answer: answersOf[from.reply.Says], Words: in.Words}
	switch {
	case answer.Answer == "":
		return w.unclear(s, read, in, from, "its button is none that is known", files)
	case from.reply.Says == links.SaysLater:
		answer.On = w.DayOf(from.owner, s.At).AddDays(fortnight)
	}
	about, ok := tagOf(files, from.reply.Loop)
	if !ok {
		return w.unclear(s, read, in, from, "the machine that it is about is not theirs any more", files)
	}
	note := w.keepMailed(&answer, in.Photos, photosADay-photos)
	why := note
	tags, err := retried(w, func() ([]loops.Tag, error) {
		if said, err := w.saidToday(s, from.owner, answer, about); err != nil {
			return nil, err
		} else if said {
			why = "it says nothing new"
			return nil, w.dealtWith(s, read)
		}
		return w.answerInto(s, from.owner, answer, about, note, loops.Change{At: s.At, By: s.By, Action: "answer by mail", Mail: &read})
	})
	return Received{Outcome: MailAnswered, Why: why, Tags: tags}, err
}

// dealtWith notes that a mail was dealt with and changed nothing.
func (w *Workshop) dealtWith(s Stamp, read loops.MailRead) error {
	return w.register.Commit(loops.Change{At: s.At, By: s.By, Action: "mail read", Mail: &read})
}

var answersOf = map[links.Saying]loops.AnswerKind{
	links.SaysFine: loops.AllFine, links.SaysOff: loops.SomethingOff, links.SaysCall: loops.CallMe, links.SaysPause: loops.Pause, links.SaysLater: loops.Pause,
	links.SaysMoved: loops.Moved, links.SaysSold: loops.PassedOn, links.SaysDone: loops.Elsewhere,
}

// fortnight is the pause of two weeks that a button asks for, in days.
const fortnight = 14

// writer is whose a mail is, as far as it proves that.
type writer struct {
	owner loops.Owner
	reply links.Reply
	doubt string       // why it is no plain answer; empty where it is
	about loops.LoopID // what it may be about; zero where nothing says so
}

// whose finds the owner a mail is from: by its token, which alone makes it an
// answer, else by the letter of ours that it says it answers. A letter's id is no
// secret, so nothing but a person's reading follows from that. What an owner writes
// who was erased is nobody's: it would put them on record again.
func (w *Workshop) whose(in notify.Incoming, now time.Time) (writer, error) {
	from := writer{doubt: "it has no mark of ours in its subject"}
	if in.Token != "" {
		reply, err := w.links.OpenReply(in.Token, now)
		from = writer{reply: reply, about: reply.Loop}
		if err != nil {
			from.doubt = "the mark in its subject is not valid any more"
		}
		if reply.Owner != 0 {
			owner, found := w.register.Owner(reply.Owner)
			switch {
			case errors.Is(found, loops.ErrNotFound):
				return writer{}, nil
			case found != nil:
				return writer{}, found
			case owner.IsErased():
				return writer{}, nil
			case owner.LinkEpoch != reply.Epoch:
				from.doubt = "the mark in its subject was ended"
			}
			from.owner = owner
			return from, nil
		}
		from.doubt = "the mark in its subject is none of ours"
	}
	m, err := w.answeredBy(in, now)
	if err != nil || m.Owner == 0 {
		return writer{}, err
	}
	if len(m.About) > 0 {
		from.about = m.About[0].Loop
	}
	owner, err := w.register.Owner(m.Owner)
	if errors.Is(err, loops.ErrNotFound) || owner.IsErased() {
		return writer{}, nil
	}
	from.owner = owner
	return from, err
}

// replyAge is how long after a letter a mail is taken for an answer to it.
const replyAge = 180 * 24 * time.Hour

// MayAnswer tells by its header whether a mail may be an answer to us: it has a
// mark, or says that it answers a letter from our domain.
func (w *Workshop) MayAnswer(in notify.Incoming) bool { return in.Token != "" || w.mayAnswerLetter(in) }

func (w *Workshop) mayAnswerLetter(in notify.Incoming) bool {
	domain := "@" + strings.ToLower(w.mailDomain()) + ">"
	return slices.ContainsFunc(in.Answers, func(id string) bool { return strings.HasSuffix(strings.ToLower(id), domain) })
}

// answeredBy finds the letter that a mail says it answers.
func (w *Workshop) answeredBy(in notify.Incoming, now time.Time) (loops.Message, error) {
	if !w.mayAnswerLetter(in) {
		return loops.Message{}, nil
	}
	for m, err := range w.register.Messages("") {
		if err != nil || now.Sub(m.Created) > replyAge {
			return loops.Message{}, err // the rest is older still
		}
		if slices.Contains(in.Answers, w.messageID(m)) {
			return m, nil
		}
	}
	return loops.Message{}, nil
}

// unclear puts a mail on record for a person to read, with the reason, on one
// loop of the owner's: the one it may be about, else one with a charge.
func (w *Workshop) unclear(s Stamp, read loops.MailRead, in notify.Incoming, from writer, doubt string, files []File) (Received, error) {
	if len(files) == 0 {
		return Received{Outcome: MailLeft, Why: doubt + ", and its owner has no loop to put it down for"}, nil
	}
	at := slices.IndexFunc(files, func(f File) bool { return f.Loop.ID == from.about })
	if at < 0 {
		at = max(0, slices.IndexFunc(files, func(f File) bool { return f.Loop.State.Charge != nil }))
	}
	note := "A person reads this mail: " + doubt + "."
	if !strings.EqualFold(in.From, from.owner.Email) {
		note += " It came from " + loops.Visible(cmp.Or(in.From, "nobody it names")) + ", not from the address on record."
	}
	if len(in.Photos) > 0 {
		note += fmt.Sprintf(" %d pictures are in the mailbox with it.", len(in.Photos))
	}
	answer := loops.Answer{Answer: loops.Unclear, Words: in.Words}
	entry := loops.Entry{Kind: loops.KindAnswer, Day: w.DayOf(from.owner, s.At), Answer: &answer, Note: note}
	tag, err := retried(w, func() (loops.Tag, error) {
		file, err := w.File(files[at].Loop.Tag)
		if err != nil {
			return "", err
		}
		change, then, err := w.enter(s, file, entry)
		if err != nil {
			return "", err
		}
		change.Action, change.Mail = "unclear mail", &read
		return then.Loop.Tag, w.register.Commit(change)
	})
	return Received{Outcome: MailUnclear, Why: doubt, Tags: []loops.Tag{tag}}, err
}

// keepMailed takes the first picture in, as far as so many more are taken today,
// and says what became of the others.
func (w *Workshop) keepMailed(answer *loops.Answer, sent []notify.IncomingPhoto, room int) string {
	if len(sent) == 0 {
		return ""
	}
	switch {
	case answer.Answer != loops.SomethingOff:
		return "A picture came with it; it is in the mailbox."
	case room <= 0:
		return fmt.Sprintf("A picture came with it; %d of this owner were taken today already, so it is in the mailbox.", photosADay)
	}
	kept, err := w.KeepPhoto(sent[0].Name, bytes.NewReader(sent[0].Content))
	if err != nil { // what was said is never lost for a picture
		return "A picture came with it that was not taken: " + loops.Visible(err.Error())
	}
	answer.Photo = kept.Hash
	if more := len(sent) - 1; more > 0 {
		return fmt.Sprintf("%d more pictures are in the mailbox with it.", more)
	}
	return ""
}

// mailedOn counts the answers, and those with a photo, that are on record for the
// day.
func mailedOn(files []File, day loops.Day) (mails, withPhoto int) {
	seen, photos := map[time.Time]bool{}, map[string]bool{}
	for _, f := range files {
		for _, e := range f.History {
			if e.Kind == loops.KindAnswer && e.Day == day {
				seen[e.Recorded] = true
				photos[e.Answer.Photo] = true
			}
		}
	}
	delete(photos, "")
	return len(seen), len(photos)
}

// tagOf is the tag of the loop; empty for all of them.
func tagOf(files []File, loop loops.LoopID) (loops.Tag, bool) {
	if loop == 0 {
		return "", true
	}
	for _, f := range files {
		if f.Loop.ID == loop {
			return f.Loop.Tag, true
		}
	}
	return "", false
}
