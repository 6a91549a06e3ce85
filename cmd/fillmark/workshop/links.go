// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
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

// ownerLinks are the links of a mail to one owner. The one-click link is left
// out where the pages have no https address, as RFC 8058 wants.
func (w *Workshop) ownerLinks(owner loops.Owner, at time.Time) notify.Links {
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
