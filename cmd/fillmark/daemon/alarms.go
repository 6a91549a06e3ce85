// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"time"

	"fillmark/cmd/fillmark/alarm"
	"fillmark/cmd/fillmark/doctor"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// alarms is the board of all that the daemon looks after.
func (h *Service) alarms(c Config) (*alarm.Board, error) {
	ways, err := c.alarmWays()
	if err != nil {
		return nil, err
	}
	sources := h.houseSources()
	if h.mailbox != nil {
		sources = slices.Insert(sources, len(sources)-1, h.mailboxSource(c.mailboxName(), c.Zone()))
	}
	return alarm.NewBoard(h.ledStore, alarm.Options{
		Workshop: c.Workshop.Name, Zone: c.Zone(), Again: time.Duration(c.Alarm.AgainHours) * time.Hour, Hide: hideSecrets,
	}, ways, sources...)
}

// look is what the alarms and the doctor saw, read once for all of them.
type look struct {
	report doctor.Report
	upkeep loops.Upkeep
	fault  error // why that cannot be read; nil where it was
}

// unread says that nobody knows how mail stands, so that what was told of it is not
// over; both are empty where the register was read.
func (l *look) unread() (reason, remedy string) {
	if l.fault == nil {
		return "", ""
	}
	return "The outbox cannot be read: " + loops.Visible(l.fault.Error()) + ".", l.report.Line("register").Do
}

// houseSources are all that the daemon looks after. The first is red while the
// register's file is not where it was opened, or cannot be read, the last while there
// is anything else to tell, such as a late backup, a full disk or a DNS record that is
// gone. The board asks one after the other, so the first looks for all.
func (h *Service) houseSources() []alarm.Source {
	looked := func() *look {
		f, upkeep, err := h.factsOf()
		is := &look{doctor.Quick(f).With(h.examined.Load(), f.Zone), upkeep, err}
		h.seen.Store(is)
		return is
	}
	last := func() *look {
		if is := h.seen.Load(); is != nil {
			return is
		}
		return looked()
	}
	return []alarm.Source{
		{Name: "register", Check: func(time.Time) (reason, remedy string) {
			report := looked().report
			for _, check := range []string{"register", "register file"} {
				if l := report.Line(check); l.State == doctor.Red {
					return l.Says, l.Do
				}
			}
			return "", ""
		}},
		h.pulse.Source(),
		{Name: "mail", Check: func(now time.Time) (reason, remedy string) {
			if reason, remedy = last().unread(); reason != "" {
				return reason, remedy
			}
			return h.Workshop.MailTrouble(workshop.MailStateOf(last().upkeep.Waiting, last().upkeep.Latest, now))
		}},
		{Name: "canary", Check: func(now time.Time) (reason, remedy string) {
			if reason, remedy = last().unread(); reason != "" && h.Workshop.SendsCanary() {
				return reason, remedy
			}
			return h.Workshop.CanaryTrouble(last().upkeep.Canary, now)
		}},
		{Name: web.HouseAlarm, Check: func(time.Time) (reason, remedy string) {
			var says, do []string
			for _, l := range last().report.Told() {
				if l.State == doctor.Red {
					says, do = append(says, l.Says), append(do, l.Do)
				}
			}
			return strings.Join(says, " "), strings.Join(do, " ")
		}},
	}
}

// alarmWays are the ways that are not mail, as the configuration has them.
func (c Config) alarmWays() ([]alarm.Way, error) {
	var ways []alarm.Way
	if c.Alarm.Webhook.URL != "" {
		secret, err := secretText("alarm.webhook.secret_file", c.Alarm.Webhook.SecretFile)
		if err != nil {
			return nil, err
		}
		way, err := alarm.Webhook(c.Alarm.Webhook.URL, secret)
		if err != nil {
			return nil, &SettingError{fmt.Errorf("alarm.webhook.secret_file: %w", err)}
		}
		ways = append(ways, way)
	}
	if len(c.Alarm.Command) > 0 {
		ways = append(ways, alarm.Command(c.Alarm.Command))
	}
	if c.Alarm.Post.URL != "" {
		token := ""
		if c.Alarm.Post.TokenFile != "" {
			var err error
			if token, err = secretText("alarm.post.token_file", c.Alarm.Post.TokenFile); err != nil {
				return nil, err
			}
		}
		ways = append(ways, alarm.Post(c.Alarm.Post.URL, token))
	}
	return ways, nil
}

// secretText reads a file with one secret, which is for its user alone.
func secretText(key, file string) (string, error) {
	text, err := readSecret(file)
	if err != nil {
		return "", fmt.Errorf("%s: %w", key, err)
	}
	return text, nil
}

// sendsCanary tells whether the workshop sends itself a letter each day: where a
// relay is used, and there is a mailbox for mail that comes back.
func (c Config) sendsCanary() bool {
	return c.Mail.Transport == "smtp" && c.Mail.BounceAddress != "" && c.Alarm.CanaryHours > 0
}

// WithoutCanary says why no letter to ourselves is sent; empty where one is.
func (c Config) WithoutCanary() string {
	switch {
	case c.sendsCanary():
		return ""
	case c.Mail.Transport != "smtp":
		return "no letter to ourselves is sent, since mail goes to a folder"
	case c.Mail.BounceAddress == "":
		return "no letter to ourselves is sent, since mail.bounce_address is not set: mail that is taken and then lost is not noticed"
	}
	return "no letter to ourselves is sent, since alarm.canary_hours is 0: mail that is taken and then lost is not noticed"
}

const (
	// examineEvery is how often the daemon looks at everything, as a person would
	// who asks the doctor; examineAgain, while something is wrong.
	examineEvery = 24 * time.Hour
	examineAgain = time.Hour
)

// examineDaily looks at everything where that was long ago: what only the DNS or a
// walk through the register tells would else wait for somebody who asks.
func (h *Service) examineDaily(ctx context.Context, now time.Time) {
	if last := h.examined.Load(); last != nil {
		age := now.Sub(last.At).Abs() // the clock may have been set back
		if age < examineAgain || last.OK && age < examineEvery {
			return
		}
	}
	h.Examine(ctx)
}

// lookEvery is how often is looked for alarms, besides after every round.
const lookEvery = time.Minute

// watch tells of alarms until the context ends. It is apart from the loop that
// sweeps: that one standing still is an alarm.
func (h *Service) watch(ctx context.Context, now func() time.Time, log *slog.Logger) error {
	every := time.NewTicker(lookEvery)
	defer every.Stop()
	for {
		if h.lead.leads() {
			h.examineDaily(ctx, now())
			if err := notOvertaken(h.Alarms.Tell(ctx, now().UTC())); err != nil && !loops.NoWrite(err) {
				log.Error("what was told of alarms cannot be put down", "error", err)
			}
		}
		select {
		case <-ctx.Done():
			return nil
		case <-every.C:
		case <-h.look:
		}
	}
}
