// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package doctor

import (
	"fmt"
	"strings"

	"fillmark/notify"
)

// noRelay says why what concerns a relay does not count; empty where it does.
func (f Facts) noRelay() string {
	switch {
	case !f.Relay:
		return "Mail goes to a folder here and reaches nobody (mail.transport: maildir)."
	case f.Trial:
		return "The relay is one for trials and reaches nobody (mail.trial)."
	}
	return ""
}

func sender(f Facts) Line {
	switch {
	case f.noRelay() != "":
		return notHere(f.noRelay())
	case f.Sender != "":
		return red("mail.from: "+f.Sender+". No mail leaves with it.", "Set mail.from to an address in a domain of yours, publish the records that fillmark dkim records prints, and start the daemon again.")
	}
	return good("Mail comes from " + f.From + ".")
}

func links(f Facts) Line {
	switch {
	case f.noRelay() != "":
		return notHere(f.noRelay())
	case f.Links != "":
		return red("base_url: "+f.Links+". No mail leaves with it.", "Set base_url to the address at which owners reach the pages, or to none, and start the daemon again.")
	case f.WithoutLinks != "":
		return notHere(strings.ToUpper(f.WithoutLinks[:1]) + f.WithoutLinks[1:] + ".")
	}
	return good("Owners' links lead to " + f.BaseURL + ".")
}

func mailFiles(f Facts) Line {
	if f.MailFiles != "" {
		return red("What the configuration names for mail cannot be used: "+f.MailFiles+".", "Put it right; fillmark config check says when it is.")
	}
	return good("Templates, key and password can be read.")
}

// asked returns the records of a kind, and whether the DNS answered for them.
func (f Facts) asked(kind notify.RecordKind) (all []notify.CheckedRecord, answered bool) {
	answered = true
	for _, r := range f.Records {
		if r.Kind == kind {
			all = append(all, r)
			answered = answered && r.State != notify.RecordUnknown
		}
	}
	return all, answered
}

func resolver(f Facts) Line {
	if f.noRelay() != "" {
		return notHere(f.noRelay())
	}
	var silent []string
	for _, r := range f.Records {
		if r.State == notify.RecordUnknown {
			silent = append(silent, r.Name+": "+r.Found)
		}
	}
	if len(f.Records) > 0 && len(silent) == len(f.Records) {
		return red(f.Resolver+" does not answer, so nothing is known of the published records: "+silent[0]+".", "See that this computer has a network and a DNS server; mail.resolver names another.")
	}
	return good(f.Resolver + " answers.")
}

func dkim(f Facts) Line {
	switch {
	case f.noRelay() != "":
		return notHere(f.noRelay())
	case !f.Signed:
		return red("Mail is not signed: there is no key.", "Run fillmark dkim new, publish the record that it prints, and start the daemon again. Large providers refuse mail without a signature.")
	}
	return f.published(notify.RecordDKIM)
}

func spf(f Facts) Line { return f.published(notify.RecordSPF) }

func dmarc(f Facts) Line { return f.published(notify.RecordDMARC) }

// published judges the records of a kind.
func (f Facts) published(kind notify.RecordKind) Line {
	if f.noRelay() != "" {
		return notHere(f.noRelay())
	}
	all, answered := f.asked(kind)
	if !answered {
		return red("The DNS did not answer: "+all[0].Found+".", "Ask again later, or look at the name servers of the domain.")
	}
	var wrong, names []string
	for _, r := range all {
		names = append(names, r.Name)
		switch r.State {
		case notify.RecordMissing:
			wrong = append(wrong, r.Name+" is not published")
		case notify.RecordDiffers:
			wrong = append(wrong, fmt.Sprintf("%s says %q", r.Name, r.Found))
		}
	}
	if len(wrong) > 0 {
		return red(strings.Join(wrong, "; ")+".", "fillmark dkim records prints what is to be published.")
	}
	return good(strings.Join(names, ", ") + " is published as it should be.")
}

func sweep(f Facts) Line {
	switch {
	case f.Register.Missing:
		return notHere("There is no register to sweep yet.")
	case f.Sweep != "":
		return red("Sweeps do not come in time: "+f.Sweep+".", "Look at the daemon's log; fillmark sweep tries one now.")
	}
	return good("Sweeps come in time.")
}

func mail(f Facts) Line {
	switch {
	case f.Register.Missing:
		return notHere("There is no register yet.")
	case f.Mail != "":
		return red(f.Mail, "It is the relay: look at its name, port and login. fillmark outbox list --status queued shows what waits.")
	case f.Register.Fault != "":
		return red("Not known: the register cannot be read.", "")
	}
	return good("No letter waits for longer than it should.")
}

func held(f Facts) Line {
	switch {
	case f.Register.Fault != "":
		return red("Not known: the register cannot be read.", "")
	case f.Held > 0:
		return red(counted(f.Held, "letter is held and waits", "letters are held and wait")+" for a person: somebody held it, or its reply was lost again and again.", "fillmark outbox list --status held shows why; release, or drop.")
	}
	return good("No letter waits for a person.")
}

// manyGivenUp is how many addresses given up on one day are more likely the
// relay's fault than theirs. Common practice, no source.
const manyGivenUp = 10

func givenUp(f Facts) Line {
	switch {
	case f.Register.Fault != "":
		return red("Not known: the register cannot be read.", "")
	case f.GivenUp >= manyGivenUp:
		return red(fmt.Sprintf("%d addresses were given up on %s: so many at once are the relay's fault, hardly theirs.", f.GivenUp, f.GivenUpOn.Long()),
			"fillmark outbox allow says what the relay answered. Where it was the relay: fillmark outbox allow --given-up-on "+f.GivenUpOn.String()+".")
	}
	return good("Addresses are given up one by one.")
}

func unmailable(f Facts) Line {
	switch {
	case f.Register.Fault != "":
		return red("Not known: the register cannot be read.", "")
	case len(f.Unmailable) > 0:
		return red(fmt.Sprintf("%s an address that few mail systems take: %s.", counted(len(f.Unmailable), "owner has", "owners have"), strings.Trim(fmt.Sprint(f.Unmailable), "[]")),
			"fillmark owner show NUMBER; ask whether the mailbox has a plain name too, or for another address.")
	}
	return good("Every owner's address can be sent to.")
}

func bounces(f Facts) Line {
	switch {
	case f.Bounces == "" && f.Mailbox.Name != "":
		return notHere("No folder of mail that came back is set; it is looked for in the mailbox " + f.Mailbox.Name + ".")
	case f.Bounces == "":
		return notHere("No folder of mail that came back is set (mail.bounce_maildir). Without it, or fillmark bounce, nobody hears of letters that fail later.")
	case f.BouncesFault != "":
		return red("Mail that came back cannot be read: "+f.BouncesFault+".", "See that mail.bounce_maildir is a Maildir that the daemon's user may read and change.")
	}
	return good("Mail that came back is read from " + f.Bounces + ".")
}

func mailbox(f Facts) Line {
	m := f.Mailbox
	switch {
	case m.Name == "":
		return notHere("No mailbox is read (mail.imap). Where owners answer by mail, a person reads their answers.")
	case m.Fault != "":
		return red("The mailbox "+m.Name+" cannot be read: "+m.Fault+".", "Look at address, folder, user and login in mail.imap; what is in it waits.")
	case !m.Asked:
		return notHere("The mailbox " + m.Name + " was not asked yet: it is once a daemon runs.")
	}
	return good("The mailbox " + m.Name + " can be read.")
}

func canary(f Facts) Line {
	c := f.Canary
	switch {
	case f.noRelay() != "":
		return notHere(f.noRelay())
	case !c.Set:
		return notHere("No letter to ourselves is sent, so whether mail arrives is not known.")
	case c.Fault != "":
		return red(c.Fault, "fillmark outbox list shows whether it left; then look at the relay and at where mail that came back is read.")
	case f.Register.Fault != "":
		return red("Not known: the register cannot be read.", "")
	case c.Last.IsZero():
		return notHere("No letter to ourselves has come yet; the first is told where it does not.")
	}
	return good("The letter to ourselves of " + f.instant(c.Last) + " came.")
}
