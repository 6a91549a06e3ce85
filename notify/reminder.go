// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify/words"
	"fillmark/schedule"
)

// Workshop is who writes.
type Workshop struct {
	Name  string
	From  string // bare address that letters come from and answers go to
	Phone string // may be empty
	// BaseURL is the web address owners reach; every link of a letter must
	// begin with it. It may be empty where a letter has no links.
	BaseURL string
	// Language is that of letters to owners who chose none; empty is English.
	Language loops.Language
	// Templates are the workshop's own, see [LoadTemplates]; nil takes the
	// built-in ones.
	Templates *Templates
}

// Words are those that the owner reads.
func (w Workshop) Words(o loops.Owner) words.Words { return words.In(cmp.Or(o.Language, w.Language)) }

// ReachUs says in half a sentence of a mail how the workshop is reached.
func (w Workshop) ReachUs(ws words.Words) string {
	if w.Phone == "" {
		return ws.Say("reach.mail")
	}
	return ws.Say("reach.mail-or-call", w.Phone)
}

// ReachOnPaper says the same where there is no mail to answer: in a printed
// letter or on the sheet that goes with the machine.
func (w Workshop) ReachOnPaper(ws words.Words) string {
	switch {
	case w.Phone != "":
		return ws.Say("reach.call", w.Phone)
	case w.From != "":
		return ws.Say("reach.write", w.From)
	}
	return ws.Say("reach.come")
}

// Links are the owner's own links, ready to use; an empty one is left out. Each
// is an address below the workshop's base or, where owners cannot reach that, one
// that [Workshop.Mailto] made.
type Links struct {
	AllFine      string
	SomethingOff string
	CallMe       string
	More         string // the page with every answer, a pause among them
	Pause        string // asks for a pause, where there is no such page
	// Later asks for one of two weeks, and the others say what became of the machine
	// or the work, where there is no such page.
	Later, Moved, Sold, Elsewhere string
	Stop                          string // the visible link that stops these mails
	// OneClick is the address of RFC 8058 that stops them by one POST, which must
	// be https, or a mail that stops them (RFC 2369). Empty leaves the
	// List-Unsubscribe headers out.
	OneClick string
}

// ReminderInput is all that a reminder is written from.
type ReminderInput struct {
	Workshop  Workshop
	Owner     loops.Owner
	Day       loops.Day // the owner's day on which the letter goes out
	Date      time.Time // the instant, for the Date header
	MessageID string    // from [MessageIDFor]
	Items     []ReminderItem
	Cautions  []string // for what is in these loops, in owners' words
	Links     Links
	Calendar  []byte  // text/calendar with METHOD:PUBLISH; empty for none
	Instead   Earlier // the letter that this one takes the place of
	// Thread are the Message-IDs of the letters before it about the same
	// appointment, the first one first; mail programs show them together.
	Thread []string
}

// ReminderItem is one task of one loop.
type ReminderItem struct {
	Machine string // as the owner calls it
	Kind    loops.MachineKind
	Tag     loops.Tag
	Sealed  bool
	Fluid   chemistry.Fluid
	Charge  string // what is in it, with fraction and basis: "40 % ethylene glycol by mass in water"
	Task    loops.TaskKind
	Due     loops.Day
	Stage   loops.Stage
	Reason  string // the binding clause in one sentence
	Source  string // where the reason is from
	// Conditions stand against the loop, the worst first: they are said before
	// all else, and where one asks to keep it off the guide says that.
	Conditions []loops.Condition
	// Guide replaces what [GuideFor] says; nil keeps it.
	Guide *Guide
}

// ItemOf says a task of a loop that holds a charge, in owners' words. The stage
// is the caller's.
func ItemOf(ws words.Words, machine loops.Machine, l loops.Loop, t loops.Task) ReminderItem {
	charge := *l.State.Charge
	return ReminderItem{
		Machine: MachineName(machine, l), Kind: machine.Kind, Tag: l.Tag, Sealed: l.Sealed,
		Fluid: charge.Fluid, Charge: ChargeInWords(ws, charge), Task: t.Kind, Due: t.Due,
		Reason: t.Binding().ForOwner(), Source: t.Binding().SourceForOwner(), Conditions: l.State.Conditions(),
	}
}

// maxItems bounds a letter: an owner with more tasks than this gets several.
const maxItems = schedule.MostTasks

// ComposeReminder writes the letter that tells an owner what is due. All that
// is wrong with the input is returned joined, as [loops.InvalidError]s.
func ComposeReminder(in ReminderInput) (Letter, error) {
	if err := in.validate(); err != nil {
		return Letter{}, err
	}
	ws := in.Workshop.Words(in.Owner)
	d := in.document(ws, in.Workshop.ReachUs(ws))
	d.addAnswers(ws, in)
	return d.letter(envelope{in.Workshop, in.Owner, in.Date, in.MessageID, in.Links.OneClick, in.Instead, in.Thread}, in.Calendar)
}

// document is what mail and printed letter have in common; they differ in how
// the workshop is reached.
func (in ReminderInput) document(ws words.Words, reachUs string) document {
	in.Items = slices.SortedStableFunc(slices.Values(in.Items), func(a, b ReminderItem) int {
		return cmp.Or(a.Due.Compare(b.Due), cmp.Compare(renewal(a.Task), renewal(b.Task)))
	})
	for n := range in.Items {
		in.Items[n].Reason = ws.Recorded(in.Items[n].Reason)
	}
	in.Items = withoutRenewals(ws, in.Items)
	d := document{
		Lang:     ws.Language(),
		Subject:  reminderSubject(ws, in.Items, in.Day),
		Greeting: ws.Say("greeting", in.Owner.Name),
		Intro:    reminderIntro(ws, in.Items, in.Day),
		Closing:  in.Workshop.closing(ws),
		Reason:   ws.Say("reason.mail", in.Workshop.Name),
		Stop:     button{ws.Say("button.stop"), in.Links.Stop},
	}
	told := map[string]string{} // steps already given, and for which machine
	for _, group := range byLoop(in.Items) {
		d.Blocks = append(d.Blocks, groupBlock(ws, group, in.Day, reachUs, told))
	}
	// One letter has one advice on what to do when wet: that for the worst liquid.
	worst := in.Items[0]
	for _, item := range in.Items {
		if poisonous(item.Fluid) {
			worst = item
			break
		}
	}
	d.addCare(ws, worst.guide(ws, reachUs).Wet, in.Cautions)
	return d
}

// renewal ranks a task: on one day fresh liquid comes before what it brings.
func renewal(t loops.TaskKind) int {
	if about, _ := loops.AboutTask(t); about.BroughtBy != "" {
		return 1
	}
	return 0
}

// byOwner tells that the owner does the task.
func (i ReminderItem) byOwner() bool {
	about, _ := loops.AboutTask(i.Task)
	return about.ByOwner
}

// withoutRenewals takes out what protects metal or keeps growth away where the
// same letter asks, no later, for fresh liquid in that loop: it brings both.
func withoutRenewals(ws words.Words, items []ReminderItem) []ReminderItem {
	var kept []ReminderItem
	brings := map[int][]string{} // what the fresh liquid at a place in kept brings
	for _, i := range items {
		about, _ := loops.AboutTask(i.Task)
		change := slices.IndexFunc(kept, func(o ReminderItem) bool { return o.Tag == i.Tag && o.Task == about.BroughtBy })
		if change < 0 {
			kept = append(kept, i)
			continue
		}
		brings[change] = append(brings[change], ws.Recorded(about.OwnerNeeds))
	}
	for at, needs := range brings {
		kept[at].Reason = ws.Say("because.brings", strings.TrimRight(kept[at].Reason, "."), ws.List(needs))
	}
	return kept
}

// byLoop gathers the tasks of one loop, in the order in which loops come up.
func byLoop(items []ReminderItem) [][]ReminderItem {
	var groups [][]ReminderItem
	for _, item := range items {
		at := slices.IndexFunc(groups, func(g []ReminderItem) bool { return g[0].Tag == item.Tag })
		if at < 0 {
			groups = append(groups, []ReminderItem{item})
			continue
		}
		groups[at] = append(groups[at], item)
	}
	return groups
}

// addAnswers offers what an owner can answer, and says what it settles: an
// owner's look never stands for work that is due in the workshop, and about a
// machine that is to stay off nobody is asked to say that all is fine.
func (d *document) addAnswers(ws words.Words, in ReminderInput) {
	off := slices.ContainsFunc(in.Items, func(i ReminderItem) bool { return loops.KeptOff(i.Conditions) })
	looks := slices.ContainsFunc(in.Items, ReminderItem.byOwner) && !off
	work := slices.ContainsFunc(in.Items, func(i ReminderItem) bool { return !i.byOwner() })
	first := button{ws.Say("button.call"), in.Links.CallMe}
	if looks {
		first = button{ws.Say("button.fine"), in.Links.AllFine}
	}
	for _, b := range []button{
		first, {ws.Say("button.off"), in.Links.SomethingOff}, {ws.Say("reply.fortnight"), in.Links.Later},
		{ws.Say("page.gone.elsewhere"), in.Links.Elsewhere}, {ws.Say("page.gone.moved"), in.Links.Moved}, {ws.Say("page.gone.sold"), in.Links.Sold},
	} {
		if b.URL != "" {
			d.Buttons = append(d.Buttons, b)
		}
	}
	d.More = button{ws.Say("button.more"), in.Links.More}
	if in.Links.More == "" {
		d.More = button{ws.Say("button.pause"), in.Links.Pause}
	}
	switch {
	case !looks || in.Links.AllFine == "":
	case work:
		d.Note = ws.Say("note.work")
	default:
		d.Note = ws.Say("note.look")
	}
	if isMailto(in.Links.SomethingOff) {
		d.Note = strings.TrimSpace(d.Note + " " + ws.Say("note.by-mail"))
	}
}

func (d document) letter(e envelope, calendar []byte) (Letter, error) {
	d.Intro = e.instead.sentence(e.workshop.Words(e.owner)) + d.Intro
	text, html, err := e.workshop.templates().render(d.inUnits(e.owner.Units))
	if err != nil {
		return Letter{}, err
	}
	return e.assemble(d.Subject, text, html, calendar)
}

// addCare ends a letter with what to do when wet and what to beware of.
func (d *document) addCare(ws words.Words, wet string, cautions []string) {
	d.Blocks = append(d.Blocks, wetBlock(ws, wet), careBlock(ws, cautions))
}

func wetBlock(ws words.Words, wet string) block {
	return block{Heading: ws.Say("heading.wet"), Paragraphs: []string{wet}}
}

// careBlock has the cautions in English: a warning is not translated from memory.
// In another language a sentence says so first.
func careBlock(ws words.Words, cautions []string) block {
	if lead := ws.Say("care.in-english"); lead != "" {
		cautions = append([]string{lead}, cautions...)
	}
	return block{Heading: ws.Say("heading.care"), Paragraphs: cautions}
}

func (w Workshop) closing(ws words.Words) []string {
	lines := []string{ws.Say("closing"), w.Name, w.From}
	if w.Phone != "" {
		lines = append(lines, w.Phone)
	}
	return lines
}

func (i ReminderItem) guide(ws words.Words, reachUs string) Guide {
	if i.Guide != nil {
		return *i.Guide
	}
	g := GuideFor(ws, i.Task, i.Kind, i.Sealed, i.Fluid, reachUs)
	if loops.KeptOff(i.Conditions) {
		return g.KeepOff(ws, reachUs)
	}
	return g
}

// groupBlock writes the tasks of one loop. Steps that the letter gave before are
// not repeated.
func groupBlock(ws words.Words, group []ReminderItem, today loops.Day, reachUs string, told map[string]string) block {
	first := group[0]
	b := block{Heading: loops.Capital(first.Machine)}
	look, work := -1, -1
	for n, i := range group {
		about, _ := loops.AboutTask(i.Task)
		b.Dues = append(b.Dues, due{
			stageWord(ws, i.Stage), ws.Say("due.by", ws.Recorded(about.OwnerTitle), when(ws, i.Due, today)), stageRule(i.Stage), i.because(ws),
		})
		switch {
		case i.byOwner() && look < 0:
			look = n
		case !i.byOwner() && work < 0:
			work = n
		}
	}
	b.Paragraphs = append(ConditionsForOwner(ws, first.Conditions), inIt(ws, first.Charge, first.Sealed, first.Tag))
	asked := first
	switch {
	case look < 0:
		asked = group[work]
	case work >= 0 && loops.KeptOff(first.Conditions):
		asked = group[work]
	case work >= 0:
		asked = group[look]
		b.Paragraphs = append(b.Paragraphs, ws.Say("guide.look-and-bring", reachUs))
	}
	g := asked.guide(ws, reachUs)
	key := strings.Join(slices.Concat(g.Steps, []string{""}, g.Leave), "\n")
	if above, ok := told[key]; ok {
		b.Paragraphs = append(b.Paragraphs, ws.Say("guide.as-above", above))
		return b
	}
	told[key] = first.Machine
	b.Lists = g.lists(ws)
	return b
}

// because is the reason with where it is from.
func (i ReminderItem) because(ws words.Words) string {
	return ws.Say("because", strings.TrimRight(i.Reason, "."), strings.TrimRight(ws.Recorded(i.Source), "."))
}

func (g Guide) lists(ws words.Words) []list {
	return []list{{ws.Say("heading.do"), true, g.Steps}, {ws.Say("heading.leave"), false, g.Leave}}
}

func inIt(ws words.Words, charge string, sealed bool, tag loops.Tag) string {
	if sealed {
		charge = ws.Say("charge.sealed-in", charge)
	}
	return ws.Say("charge.in-it", charge, string(tag))
}

// tellable are the stages at which an owner is mailed.
func tellable(s loops.Stage) bool {
	return slices.Contains([]loops.Stage{loops.StageAhead, loops.StageDue, loops.StageLate, loops.StageLast}, s)
}

func stageWord(ws words.Words, s loops.Stage) string { return ws.Say("stage." + string(s)) }

func stageRule(s loops.Stage) rule {
	if s == loops.StageLate || s == loops.StageLast {
		return ruleCare
	}
	return ruleGo
}

func reminderSubject(ws words.Words, items []ReminderItem, today loops.Day) string {
	first := items[0]
	about, _ := loops.AboutTask(first.Task)
	lead := "subject.by"
	switch {
	case first.Due == today: // and unlike the mail that came ahead
		lead = "subject.today"
	case first.Due.Before(today):
		lead = "subject.was"
	}
	subject := ws.Say(lead, loops.Capital(shortened(first.Machine, 40)), ws.Recorded(strings.ToLower(about.OwnerTitle)), ws.Day(first.Due))
	if n := len(items) - 1; n > 0 {
		subject = ws.Say("subject.more", subject, n)
	}
	if slices.ContainsFunc(items, func(i ReminderItem) bool { return i.Stage == loops.StageLast }) {
		subject = ws.Say("subject.last", subject)
	}
	return subject
}

func reminderIntro(ws words.Words, items []ReminderItem, today loops.Day) string {
	first := items[0]
	about, _ := loops.AboutTask(first.Task)
	lead := "intro.needs"
	switch {
	case first.Due.Before(today) && first.Stage == loops.StageDue: // nobody told them before
		lead = "intro.passed"
	case first.Due.Before(today):
		lead = "intro.needed"
	}
	intro := ws.Say(lead, machineWord(ws, first.Kind), first.Machine, ws.Recorded(about.OwnerNeeds), when(ws, first.Due, today))
	if n := len(items) - 1; n > 0 {
		intro += " " + ws.Say("intro.more", n)
	}
	if first.Stage == loops.StageLast {
		intro += " " + ws.Say("intro.last")
	}
	return intro
}

func (in ReminderInput) validate() error {
	return errors.Join(validateFrame(in.Workshop, in.Owner, in.Day, in.Date, in.MessageID, in.Links), in.validateContent())
}

func (in ReminderInput) validateContent() error {
	var p problems
	if len(in.Items) == 0 || len(in.Items) > maxItems {
		p.add(invalid("items", fmt.Sprint(len(in.Items)), fmt.Sprintf("1 to %d tasks", maxItems)))
	}
	for n, i := range in.Items {
		p.add(i.validate(fmt.Sprintf("item %d ", n+1)))
	}
	p.add(validateCautions(in.Cautions))
	for _, id := range in.Thread {
		p.add(checkMessageID(id))
	}
	if len(in.Calendar) > 0 {
		p.add(checkCalendar(in.Calendar))
	}
	return errors.Join(p...)
}

func (i ReminderItem) validate(field string) error {
	var p problems
	p.add(validateLoop(field, i.Machine, i.Tag, i.Fluid, i.Charge))
	if _, ok := loops.AboutTask(i.Task); !ok {
		p.add(invalid(field+"task", string(i.Task), "a kind of task, such as look"))
	}
	if i.Due.IsZero() {
		p.add(invalid(field+"due", "", "a day"))
	}
	if !tellable(i.Stage) {
		p.add(invalid(field+"stage", string(i.Stage), "ahead, due, late or last: at the stage call nobody is mailed"))
	}
	p.add(requireText(field+"reason", i.Reason, maxSentence))
	p.add(requireText(field+"source", i.Source, maxSentence))
	if i.Guide != nil {
		p.add(i.Guide.validate(field))
	}
	return errors.Join(p...)
}

func (g Guide) validate(field string) error {
	var p problems
	if len(g.Steps) == 0 || len(g.Steps) > maxSteps || len(g.Leave) == 0 || len(g.Leave) > maxSteps {
		p.add(invalid(field+"guide", fmt.Sprintf("%d steps, %d to leave alone", len(g.Steps), len(g.Leave)), fmt.Sprintf("1 to %d of each", maxSteps)))
	}
	for _, text := range slices.Concat(g.Steps, g.Leave, []string{g.Wet}) {
		p.add(requireText(field+"guide", text, maxSentence))
	}
	return errors.Join(p...)
}

// validateFrame checks what every letter has.
func validateFrame(w Workshop, o loops.Owner, day loops.Day, date time.Time, messageID string, links Links) error {
	var p problems
	p.add(requireText("workshop name", w.Name, maxName))
	_, err := asciiAddress("workshop address", w.From)
	p.add(err)
	p.add(checkText("workshop phone", w.Phone, maxName))
	p.add(requireText("owner name", o.Name, maxName))
	_, err = asciiAddress("owner address", o.Email)
	p.add(err)
	if day.IsZero() {
		p.add(invalid("day", "", "the owner's day"))
	}
	if y := date.Year(); y < loops.MinYear || y > loops.MaxYear {
		p.add(invalid("date", date.String(), fmt.Sprintf("an instant from %d to %d", loops.MinYear, loops.MaxYear)))
	}
	p.add(checkMessageID(messageID))
	p.add(links.validate(w))
	return errors.Join(p...)
}

func (l Links) validate(w Workshop) error {
	var p problems
	for _, link := range []struct{ field, url string }{
		{"link all fine", l.AllFine}, {"link something off", l.SomethingOff}, {"link call me", l.CallMe},
		{"link more", l.More}, {"link pause", l.Pause}, {"link later", l.Later}, {"link moved", l.Moved},
		{"link sold", l.Sold}, {"link elsewhere", l.Elsewhere}, {"link stop", l.Stop}, {"link one-click", l.OneClick},
	} {
		switch {
		case isMailto(link.url):
			p.add(checkMailto(link.field, link.url, w.From))
		case link.url != "" && checkBase("base url", w.BaseURL) != nil:
			return checkBase("base url", w.BaseURL)
		case link.url != "":
			p.add(checkLink(link.field, link.url, w.BaseURL))
		}
	}
	if l.OneClick != "" && !strings.HasPrefix(l.OneClick, "https://") && !isMailto(l.OneClick) {
		p.add(invalid("link one-click", l.OneClick, "an https address (RFC 8058), or a mail (RFC 2369)"))
	}
	return errors.Join(p...)
}

func validateCautions(cautions []string) error {
	var p problems
	if len(cautions) == 0 || len(cautions) > 30 {
		p.add(invalid("cautions", fmt.Sprint(len(cautions)), "1 to 30: no letter goes out without the cautions of what is in the loop"))
	}
	for _, text := range cautions {
		p.add(requireText("cautions", text, 2*maxSentence))
	}
	return errors.Join(p...)
}

func validateLoop(field, machine string, tag loops.Tag, fluid chemistry.Fluid, charge string) error {
	var p problems
	p.add(requireText(field+"machine", machine, maxName))
	p.add(requireText(field+"tag", string(tag), 20))
	if fluid != "" && !fluid.Valid() {
		p.add(invalid(field+"fluid", string(fluid), "one of the fluids, or empty where nobody knows it"))
	}
	p.add(requireText(field+"charge", charge, maxSentence))
	return errors.Join(p...)
}
