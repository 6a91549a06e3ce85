// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify/links"
	"fillmark/notify/words"
)

func (s *server) answerOwner(w http.ResponseWriter, r *http.Request) error {
	owner, err := s.ownerLink(r, links.Owner)
	if err != nil {
		return err
	}
	takesItsTime(w, r)
	f, photo, err := postedWithFile(r)
	defer photo.remove()
	if err != nil {
		return err
	}
	if choice := f.typed.Get("mail"); choice != "" {
		return s.chooseMail(w, r, owner, choice)
	}
	if f.typed.Get("links") == "end" {
		return s.notMe(w, r, owner)
	}
	answer, err := ownerAnswerOf(f.typed, unitOf(owner.Units))
	about := loops.Tag(f.typed.Get("about"))
	var photoFault error
	if err == nil && photo != nil {
		if answer.Answer != loops.SomethingOff {
			err = &loops.InvalidError{Field: "photo", Value: photo.name, Reason: "a photo only where something is off"}
		} else if answer.Photo, photoFault = s.keepOwnerPhoto(owner, *photo); photoFault != nil && !ownersFault(photoFault) {
			return photoFault
		}
	}
	if err == nil {
		_, err = s.Workshop.AnswerAbout(s.ownerStamp(), owner, answer, about)
	}
	if problems := problemsOf(err); len(problems) > 0 {
		p, err := s.ownerPage(r, owner)
		if err != nil {
			return err
		}
		p.Pressed, p.OffFirst, p.Words, p.PhotoLost = pressedAgain(f), answer.Answer != loops.AllFine, answer.Words, photo != nil
		if p.Later = dayed[f.typed.Get("answer")]; p.Later {
			p.Pressed, p.OffFirst = "", false
		}
		p.Form = f
		for i := range p.Notices {
			p.Notices[i].On = slices.Contains(answer.Noticed, p.Notices[i].Notice)
		}
		p.Problem = p.Say("page.problem", problems[0].Right)
		return s.render(w, http.StatusUnprocessableEntity, "owner", p)
	}
	if err == nil && photoFault != nil {
		s.Wake()
		return s.answeredWithoutPhoto(w, r, owner, photoFault)
	}
	if err != nil {
		return err
	}
	s.Wake()
	// Back to the bare page, where the answer stands as it is on record.
	http.Redirect(w, r, r.URL.Path, http.StatusSeeOther)
	return nil
}

// pressedAgain is the form that was sent and has to be shown again.
func pressedAgain(f *form) string {
	if sent := f.text("answer"); slices.Contains(pressable(), sent) {
		return sent
	}
	return "off"
}

// answeredWithoutPhoto shows that the answer is on record and why its photo is
// not: what was said is never lost for a picture.
func (s *server) answeredWithoutPhoto(w http.ResponseWriter, r *http.Request, owner loops.Owner, fault error) error {
	p, err := s.ownerPage(r, owner)
	if err != nil {
		return err
	}
	p.PhotoNote = p.Say("page.photo.not", fault.Error())
	if problems := problemsOf(fault); len(problems) > 0 {
		p.PhotoNote = p.Say("page.photo.right", problems[0].Right)
	}
	return s.render(w, http.StatusOK, "owner", p)
}

// ownersFault tells that a photo was not taken for what it is, or because so many
// came before it.
func ownersFault(err error) bool {
	var busy *busyError
	return len(problemsOf(err)) > 0 || errors.As(err, &busy)
}

// keepOwnerPhoto takes in the photo that came with an answer.
func (s *server) keepOwnerPhoto(owner loops.Owner, photo uploaded) (string, error) {
	if err := s.takesFile(owner); err != nil {
		return "", err
	}
	kept, err := s.Workshop.KeepPhoto(photo.name, photo.spool)
	return kept.Hash, err
}

// takesFile counts a photo or a log of an owner's, or holds them back who sent many.
func (s *server) takesFile(owner loops.Owner) error {
	return s.throttles.photoOf.take(strconv.FormatUint(uint64(owner.ID), 10), s.Now())
}

// chooseMail stops the owner's mail or starts it again.
func (s *server) chooseMail(w http.ResponseWriter, r *http.Request, owner loops.Owner, choice string) error {
	if choice != "stop" && choice != "run" {
		return &loops.InvalidError{Field: "mail", Value: choice, Reason: "stop or run"}
	}
	if _, err := s.Workshop.SetMail(s.ownerStamp(), owner.ID, choice == "stop"); err != nil {
		return err
	}
	s.Wake()
	http.Redirect(w, r, r.URL.Path, http.StatusSeeOther)
	return nil
}

// notMe ends the links of an owner whom somebody answered for, this one too.
func (s *server) notMe(w http.ResponseWriter, r *http.Request, owner loops.Owner) error {
	if err := s.Workshop.NotMe(s.ownerStamp(), owner.ID); err != nil {
		return err
	}
	s.Wake()
	in := s.spokenTo(owner)
	p := errorPage{frame: s.newFrame(r, in.Say("page.closed.heading")), Heading: in.Say("page.closed.heading"),
		Message: in.Say("page.closed.message"), Advice: in.Say("page.closed.advice")}
	p.spoken = in
	return s.render(w, http.StatusOK, "error", p)
}

// ownerAnswerOf reads the form.
func ownerAnswerOf(typed url.Values, unit string) (loops.Answer, error) {
	kinds := map[string]loops.AnswerKind{
		"fine": loops.AllFine, "off": loops.SomethingOff, "call": loops.CallMe, "pause": loops.Pause,
		"day": loops.ProposeDay, "moved": loops.Moved, "sold": loops.PassedOn, "elsewhere": loops.Elsewhere,
	}
	answer := loops.Answer{Words: newForm(typed).text("words")}
	for _, n := range typed["noticed"] {
		answer.Noticed = append(answer.Noticed, loops.Notice(n))
	}
	given := typed.Get("answer")
	kind, ok := kinds[given]
	if !ok {
		return answer, &loops.InvalidError{Field: "answer", Value: given, Reason: "one of the buttons"}
	}
	answer.Answer = kind
	f := newForm(typed)
	if on := f.text("on"); on != "" {
		day, err := loops.ParseDay(on)
		if err != nil {
			return answer, &loops.InvalidError{Field: "on", Value: on, Reason: "a day, such as 2026-12-03"}
		}
		answer.On = day
	}
	if f.text("die")+f.text("room") == "" {
		return answer, nil
	}
	answer.Die, answer.Room, answer.Ran = mayRead(f, "die", unit, chemistry.ParseCelsius), mayRead(f, "room", unit, chemistry.ParseCelsius), loops.Ran(f.text("ran"))
	for _, name := range []string{"die", "room"} {
		if right := f.Problem(name); right != "" {
			return answer, &loops.InvalidError{Field: name, Value: f.text(name), Reason: right}
		}
	}
	return answer, nil
}

// dayed are the buttons of the forms that ask for a day.
var dayed = map[string]bool{"day": true, "pause": true}

// lastAnswer is the newest answer in the histories that still stands.
func lastAnswer(ws words.Words, files []workshop.OwnersFile) *ownerAnswer {
	last := workshop.LastSaid(files)
	if last == nil {
		return nil
	}
	said := &ownerAnswer{
		Said: ws.Recorded(loops.Answer{Answer: last.Answer.Answer, On: last.On}.Said()), Off: last.Answer.Answer == loops.SomethingOff,
		Day: last.Day, Words: last.Words, Photo: last.Photo, Wet: slices.Contains(last.Noticed, loops.NoticeWet),
	}
	for _, n := range last.Noticed {
		said.Noticed = append(said.Noticed, ws.Recorded(string(n)))
	}
	return said
}

// ownerCalendar is the feed of an owner's days, for a calendar program.
func (s *server) ownerCalendar(w http.ResponseWriter, r *http.Request) error {
	owner, err := s.ownerLink(r, links.Calendar)
	if err != nil {
		return err
	}
	feed, err := s.Workshop.OwnerCalendar(owner.ID)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/calendar; charset=utf-8")
	_, _ = w.Write(feed) // the reader has gone where this fails
	return nil
}
