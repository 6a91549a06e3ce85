// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"net/http"

	"fillmark/loops"
	"fillmark/notify/links"
)

// stopPage lets an owner stop the mail, and start it again.
type stopPage struct {
	frame
	Stopped loops.Day // zero while mail runs
	Email   string    // empty where there is none
}

func (s *server) pageStop(w http.ResponseWriter, r *http.Request) error {
	owner, err := s.ownerLink(r, links.Stop)
	if err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "stop", s.stopPage(r, owner))
}

func (s *server) stopPage(r *http.Request, owner loops.Owner) stopPage {
	in := s.spokenTo(owner)
	p := stopPage{frame: s.newFrame(r, in.Say("page.stop.title")), Stopped: owner.MailStopped, Email: owner.Email}
	p.spoken = in
	return p
}

// actStop stops the mail or starts it again. A mail program's one click
// (RFC 8058) carries no cookie, may come as multipart, follows no redirect and
// can only stop; a person's click says which.
func (s *server) actStop(w http.ResponseWriter, r *http.Request) error {
	owner, err := s.ownerLink(r, links.Stop)
	if err != nil {
		return err
	}
	// ParseMultipartForm alone would pass over what is wrong with a plain form.
	if err := r.ParseForm(); err != nil {
		return formFault(err)
	}
	if err := r.ParseMultipartForm(maxBody); err != nil && !errors.Is(err, http.ErrNotMultipart) {
		return formFault(err)
	}
	oneClick := r.PostForm.Get("List-Unsubscribe") == "One-Click"
	choice := r.PostForm.Get("mail")
	if !oneClick && choice != "stop" && choice != "run" {
		return &loops.InvalidError{Field: "mail", Value: choice, Reason: "stop or run"}
	}
	owner, err = s.Workshop.SetMail(s.ownerStamp(), owner.ID, oneClick || choice == "stop")
	if err != nil {
		return err
	}
	s.Wake()
	if oneClick {
		return s.render(w, http.StatusOK, "stop", s.stopPage(r, owner))
	}
	http.Redirect(w, r, r.URL.Path, http.StatusSeeOther)
	return nil
}
