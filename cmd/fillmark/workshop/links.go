// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"slices"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/links"
)

// linkLife is how long the links of a mail work: past the last reminder of
// its task with room for a holiday.
const linkLife = 120 * 24 * time.Hour

// calendarYears is how long a subscription works: calendar programs never ask
// for a new address, and a machine outlives many mails. A secret that is taken
// out of the key file ends it earlier.
const calendarYears = 10

// CalendarPath is the path of the owner's feed, to subscribe to from the
// instant on. It shows days to whoever has it, and lets nobody answer.
func (w *Workshop) CalendarPath(owner loops.Owner, at time.Time) string {
	return "/o/" + w.links.Sign(links.Calendar, owner, at.AddDate(calendarYears, 0, 0)) + "/calendar.ics"
}

// cardYears is how long the link of a printed card works: the paper hangs beside
// the machine from one service to the next. An owner's links can be ended before.
const cardYears = 3

// CardPath is the path of the owner's page as a printed card leads to it.
func (w *Workshop) CardPath(owner loops.Owner, at time.Time) string {
	return "/o/" + w.links.Sign(links.Owner, owner, at.AddDate(cardYears, 0, 0))
}

// Reached tells whether owners can open a link to our pages.
func (w *Workshop) Reached() bool {
	return w.settings.ReadHere || notify.Reachable(w.settings.BaseURL)
}

// repliesTo are the mails by which one owner answers where they cannot open our
// pages, about one loop or, where it is zero, all of theirs.
func (w *Workshop) repliesTo(owner loops.Owner, about loops.LoopID, at time.Time) notify.Links {
	mail := func(says links.Saying, life time.Duration) string {
		reply := links.Reply{Owner: owner.ID, Epoch: owner.LinkEpoch, Loop: about, Says: says}
		return w.sender().Mailto(w.sender().Words(owner), says, w.links.SignReply(reply, at.Add(life)))
	}
	stop := mail(links.SaysStop, 10*linkLife)
	return notify.Links{
		AllFine: mail(links.SaysFine, linkLife), SomethingOff: mail(links.SaysOff, linkLife), CallMe: mail(links.SaysCall, linkLife),
		Pause: mail(links.SaysPause, linkLife), Later: mail(links.SaysLater, linkLife), Moved: mail(links.SaysMoved, linkLife),
		Sold: mail(links.SaysSold, linkLife), Elsewhere: mail(links.SaysDone, linkLife), Stop: stop, OneClick: stop,
	}
}

// ownerLinks are the links of a mail to one owner about the loops. The one-click
// link is left out where the pages have no https address, as RFC 8058 wants.
// Where owners cannot reach the pages, answers go by mail.
func (w *Workshop) ownerLinks(owner loops.Owner, at time.Time, about ...loops.LoopID) notify.Links {
	if !w.Reached() {
		var one loops.LoopID
		if about = slices.Compact(slices.Sorted(slices.Values(about))); len(about) == 1 {
			one = about[0]
		}
		return w.repliesTo(owner, one, at)
	}
	page := w.settings.BaseURL + "/o/" + w.links.Sign(links.Owner, owner, at.Add(linkLife))
	stop := w.settings.BaseURL + "/stop/" + w.links.Sign(links.Stop, owner, at.Add(10*linkLife))
	to := notify.Links{
		AllFine: page + "?answer=fine", SomethingOff: page + "?answer=off", CallMe: page + "?answer=call", More: page, Stop: stop,
	}
	if strings.HasPrefix(stop, "https://") {
		to.OneClick = stop
	}
	return to
}

// OwnerOf opens a link from a mail and returns the owner it belongs to. One that
// was ended is [links.ErrInvalid], and so is one of an owner who is not on record.
func (w *Workshop) OwnerOf(p links.Purpose, token string, now time.Time) (loops.Owner, error) {
	id, epoch, err := w.links.Open(p, token, now)
	if err != nil {
		return loops.Owner{}, err
	}
	owner, err := w.register.Owner(id)
	if errors.Is(err, loops.ErrNotFound) || err == nil && owner.LinkEpoch != epoch {
		return loops.Owner{}, links.ErrInvalid
	}
	return owner, err
}

// eventLink is where an event in an owner's calendar leads: nowhere, where they
// answer by mail, since a calendar may show no mail as a link.
func (w *Workshop) eventLink(l notify.Links) string {
	if !w.Reached() {
		return ""
	}
	return l.AllFine
}

// EndLinks ends every link that the owner was sent: mails, calendar and all.
func (w *Workshop) EndLinks(s Stamp, id loops.OwnerID) (loops.Owner, error) {
	return retried(w, func() (loops.Owner, error) {
		owner, err := w.register.Owner(id)
		if err != nil {
			return owner, orNotFound("owner", id, err)
		}
		if err := w.register.Commit(loops.Change{At: s.At, By: s.By, Action: "links ended", Owners: []loops.Owner{owner.LinksEnded()}}); err != nil {
			return owner, err
		}
		return w.register.Owner(id)
	})
}
