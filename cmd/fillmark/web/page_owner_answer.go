// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify/links"
)

func (s *server) answerOwner(w http.ResponseWriter, r *http.Request) error {
	owner, err := s.ownerLink(r, links.Owner)
	if err != nil {
		return err
	}
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
	repeated := false
	if err == nil && photo != nil {
		if answer.Answer != loops.SomethingOff {
			err = &loops.InvalidError{Field: "photo", Value: photo.name, Reason: "a photo only where something is off"}
		} else if answer.Photo, photoFault = s.keepOwnerPhoto(owner, *photo); photoFault != nil && !ownersFault(photoFault) {
			return photoFault
		}
	}
	if err == nil {
		repeated, err = s.saidToday(owner, answer, about)
	}
	if err == nil && !repeated {
		_, err = s.Workshop.AnswerAbout(s.ownerStamp(), owner, answer, about)
	}
	if problems := problemsOf(err); len(problems) > 0 {
		p, err := s.ownerPage(r, owner)
		if err != nil {
			return err
		}
		p.Pressed, p.OffFirst, p.Words, p.PhotoLost = pressedAgain(f), answer.Answer != loops.AllFine, answer.Words, photo != nil
		p.Form = f
		for i := range p.Notices {
			p.Notices[i].On = slices.Contains(answer.Noticed, p.Notices[i].Notice)
		}
		p.Problem = "Not sent yet. What is right here: " + problems[0].Right + "."
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
	p.PhotoNote = "What you told us is on record. The photo is not: " + fault.Error() + "."
	if problems := problemsOf(fault); len(problems) > 0 {
		p.PhotoNote = "What you told us is on record. The photo is not: we can take " + problems[0].Right + "."
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
	if err := s.photosLately(owner.ID); err != nil {
		return "", err
	}
	if err := s.throttles.photoOf.take(strconv.FormatUint(uint64(owner.ID), 10), s.Now()); err != nil {
		return "", err
	}
	kept, err := s.Workshop.KeepPhoto(photo.name, photo.spool)
	return kept.Hash, err
}

// photosLately holds an owner back whose photos of the last while on record are as
// many as the throttle allows: the record outlasts a restart, the throttle does
// not.
func (s *server) photosLately(id loops.OwnerID) error {
	files, err := s.Workshop.OwnersFiles(id)
	if err != nil {
		return err
	}
	t := s.throttles.photoOf
	since := s.Now().Add(-time.Duration(t.burst) * t.pace)
	sent, oldest := map[string]bool{}, s.Now()
	for _, f := range files {
		for _, e := range f.View.Own() {
			if e.Kind != loops.KindAnswer || e.Answer.Photo == "" || !e.Recorded.After(since) {
				continue
			}
			sent[e.Answer.Photo] = true
			if e.Recorded.Before(oldest) {
				oldest = e.Recorded
			}
		}
	}
	if len(sent) < t.burst {
		return nil
	}
	return &busyError{oldest.Sub(since)}
}

// saidToday tells that the owner's last answer is this one, given today: a
// button pressed twice, or a page sent again, says nothing new.
func (s *server) saidToday(owner loops.Owner, answer loops.Answer, about loops.Tag) (bool, error) {
	files, err := s.Workshop.OwnersFiles(owner.ID)
	if err != nil {
		return false, err
	}
	if about != "" {
		files = slices.DeleteFunc(files, func(f workshop.OwnersFile) bool { return f.Loop.Tag != about })
	}
	last := lastAnswer(files)
	return last != nil && last.Answer == answer.Answer && last.Words == answer.Words && slices.Equal(last.Noticed, loops.NoticesOn(false, answer.Noticed)) && last.Photo == answer.Photo && sameReading(last.Die, answer.Die) && last.Day == s.Workshop.DayOf(owner, s.Now()), nil
}

func sameReading(a, b *chemistry.Celsius) bool {
	return a == nil && b == nil || a != nil && b != nil && *a == *b
}

// chooseMail stops the owner's mail or lets it run again.
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
	const heading = "Your links are closed"
	p := errorPage{frame: s.newFrame(r, heading), Heading: heading,
		Message: "No link that you had from us opens anything any more, this page neither.",
		Advice:  "We have a note to call you about what was answered. The next mail from us brings new links."}
	return s.render(w, http.StatusOK, "error", p)
}

// ownerAnswerOf reads the form.
func ownerAnswerOf(typed url.Values, unit string) (loops.Answer, error) {
	kinds := map[string]loops.AnswerKind{"fine": loops.AllFine, "off": loops.SomethingOff, "call": loops.CallMe, "pause": loops.Pause}
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

// formError keeps an overlong body apart from one that is no form.
func formError(err error) error {
	var tooLong *http.MaxBytesError
	if errors.As(err, &tooLong) {
		return err
	}
	return &loops.InvalidError{Field: "form", Value: err.Error(), Reason: "a form as this page sends it"}
}

// lastAnswer finds the newest answer in the histories that still stands.
func lastAnswer(files []workshop.OwnersFile) *ownerAnswer {
	var last *ownerAnswer
	var at time.Time
	for _, f := range files {
		for _, e := range loops.Standing(f.View.Own()) {
			if e.Kind != loops.KindAnswer || e.Recorded.Before(at) {
				continue
			}
			noticed := e.Answer.Noticed
			if last != nil && e.Recorded.Equal(at) { // one answer about several loops
				noticed = loops.NoticesOn(false, slices.Concat(noticed, last.Noticed))
			}
			at = e.Recorded
			last = &ownerAnswer{e.Answer.Answer, e.Answer.Answer == loops.SomethingOff, e.Day, noticed, e.Answer.Words, e.Answer.Photo, e.Answer.Die}
		}
	}
	return last
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
