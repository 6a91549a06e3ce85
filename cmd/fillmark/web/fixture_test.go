// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"html"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/alarm"
	"fillmark/cmd/fillmark/doctor"
	"fillmark/cmd/fillmark/signin"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/photos"
	"fillmark/loops/store"
	"fillmark/notify"
	"fillmark/notify/links"
	"fillmark/schedule"
)

// noon is the present in every test unless it says otherwise.
var noon = time.Date(2026, time.December, 3, 12, 0, 0, 0, time.UTC)

// bench is a real register with the handler that stands on it.
type bench struct {
	testing.TB
	path    string
	store   *store.Store
	shop    *workshop.Workshop
	links   links.Keys
	gate    *signin.Gate
	cookie  string // of whoever is signed in; empty where nobody is
	deps    web.Deps
	handler http.Handler
	now     time.Time
	wakes   int
}

func newBench(t testing.TB, change ...func(*web.Deps)) *bench {
	t.Helper()
	b := &bench{TB: t, path: filepath.Join(t.TempDir(), "shop.fillmark"), now: noon}
	var err error
	b.store, err = store.Open(b.path, store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, b.store.Close()) })
	b.links, err = links.New(bytes.Repeat([]byte{7}, 32))
	require.NoError(t, err)
	b.shop = workshop.New(b.store, b.settings(), rand.Reader, b.links)
	b.gate = signin.New(b.store, signin.Cost{Passes: 1, MemoryKB: 64, Lanes: 1})
	deps := web.Deps{
		Gate: b.gate, WithoutSignIn: true, Keeper: keeper{b.store}, House: soundHouse{},
		Workshop: b.shop, Reader: b.store, Now: func() time.Time { return b.now }, Wake: func() { b.wakes++ },
		Deliver: func(context.Context, time.Time) (notify.Report, error) { return notify.Report{}, nil },
		Random:  rand.Reader,
		Log:     slog.New(slog.NewTextHandler(io.Discard, nil)), Hosts: []string{"pages.workshop.example"},
	}
	for _, c := range change {
		c(&deps)
	}
	sources := []alarm.Source{{Name: "mail", Check: func(now time.Time) (reason, remedy string) {
		stands, err := b.store.Upkeep(1)
		require.NoError(t, err)
		return b.shop.MailTrouble(workshop.MailStateOf(stands.Waiting, stands.Latest, now))
	}}}
	if deps.Pulse != nil {
		sources = append(sources, deps.Pulse.Source())
	}
	deps.Alarms, err = alarm.NewBoard(b.store, alarm.Options{}, nil, sources...)
	require.NoError(t, err)
	b.deps = deps
	b.handler, err = web.New(deps)
	require.NoError(t, err)
	return b
}

// takesBounces gives the bench an address that mail comes back to.
func (b *bench) takesBounces() *notify.ReturnPath {
	b.Helper()
	path, err := notify.NewReturnPath("bounce@workshop.example", bytes.Repeat([]byte{3}, 32))
	require.NoError(b, err)
	settings := b.settings()
	settings.ReturnPath = path
	b.takesSettings(settings)
	return path
}

// takesSettings starts the bench again with other settings.
func (b *bench) takesSettings(settings workshop.Settings) {
	b.Helper()
	b.shop = workshop.New(b.store, settings, rand.Reader, b.links)
	b.deps.Workshop = b.shop
	var err error
	b.handler, err = web.New(b.deps)
	require.NoError(b, err)
}

// settings are those of the bench's workshop.
func (b *bench) settings() workshop.Settings {
	return workshop.Settings{
		Name: "Bench & Brook", Phone: "+351 210 000 000", From: "bench@workshop.example", BaseURL: "https://pages.workshop.example",
		Zone: time.UTC, SendHour: 8, Policy: schedule.DefaultPolicy(),
		Photos: photos.Folder(filepath.Join(filepath.Dir(b.path), "photos")),
	}
}

// soundHouse has nothing that is to be put right.
type soundHouse struct{}

func (soundHouse) Examine(context.Context) doctor.Report { return soundHouse{}.Quick() }

func (soundHouse) Seen() doctor.Report { return soundHouse{}.Quick() }

func (soundHouse) Quick() doctor.Report {
	return doctor.Report{At: noon, OK: true, Lines: []doctor.Line{{Check: "clock", State: doctor.Good, Says: "It is noon."}, {Check: "canary", State: doctor.NotHere, Says: "None is sent."}}}
}

// keeper looks after the bench's file as the daemon's does.
type keeper struct{ *store.Store }

func (k keeper) EraseOwner(_ context.Context, id loops.OwnerID, by string, at time.Time, prove bool) (*web.ErasureProof, error) {
	var proof *web.ErasureProof
	if prove {
		proof = &web.ErasureProof{Number: id, At: at}
	}
	return proof, k.Store.EraseOwner(id, by, at, acts.Erasing())
}

func (k keeper) Backup(ctx context.Context, to, by string, at time.Time) error {
	return errors.Join(k.Store.Backup(ctx, to), k.Note(loops.AuditLine{At: at, By: by, Action: "backup", On: to}))
}

func (k keeper) BetweenBackups(remove func() error) error { return remove() }

func (k keeper) Check(ctx context.Context) (web.CheckReport, error) {
	report, err := k.Store.Check(ctx)
	return web.CheckReport{OK: report.OK(), Records: report.Records, Problems: []string{}, Photos: []string{}}, err
}

func (k keeper) Scheduled(_ context.Context, _ string, at time.Time) (web.BackedUp, error) {
	return web.BackedUp{BackupTo: web.BackupTo{Folder: "/backups/" + at.Format(time.DateOnly)}, Second: "/usb", Compared: 3, Removed: []string{"/backups/old"}}, nil
}

func (k keeper) BackupList() ([]web.KeptBackup, error) {
	return []web.KeptBackup{{Path: "/backups/a", Made: noon, GoneBy: loops.DayOf(noon, time.UTC)}}, nil
}

func (k keeper) Photos(context.Context, loops.OwnerID) ([]web.NamedPhoto, error) {
	return []web.NamedPhoto{{Hash: strings.Repeat("a", 64), Tag: "7Q2M4X", Entry: 3, Fault: "the file is missing"}}, nil
}

// stamp is a technician's deed the days before noon.
func stamp(daysAgo int) workshop.Stamp {
	return workshop.Stamp{At: noon.AddDate(0, 0, -daysAgo), By: "local:test"}
}

// machine is one machine with one loop for [bench.register].
type machine struct {
	owner   loops.Owner
	name    string
	kind    loops.MachineKind
	fluid   chemistry.Fluid
	mass    float64 // below 0: not known
	wall    float64 // °C
	daysAgo int     // of the fill and the hand-over
	note    string
	open    bool
}

// register puts a machine on record as a technician would: owner, machine,
// loop, fill, hand-over.
func (b *bench) register(m machine) workshop.File {
	b.Helper()
	s := stamp(m.daysAgo)
	day := loops.DayOf(s.At, time.UTC)
	owner := m.owner
	var err error
	if owner.ID == 0 {
		owner, err = b.shop.AddOwner(s, owner)
		require.NoError(b, err)
	}
	kept, err := b.shop.AddMachine(s, loops.Machine{Owner: owner.ID, Kind: m.kind, Name: m.name})
	require.NoError(b, err)
	wall := chemistry.Celsius(m.wall)
	loop, err := b.shop.AddLoop(s, loops.Loop{Machine: kept.ID, Construction: loops.Construction{
		Sealed: !m.open, Volume: 0.6, VolumeUncertainty: 0.02, ColdestWall: &wall,
		Wetted: []loops.WettedPart{{Part: "cold plate", Metal: chemistry.Copper}, {Part: "radiator", Metal: chemistry.Aluminium}},
	}})
	require.NoError(b, err)
	charge := loops.Charge{Fluid: m.fluid, MassUncertainty: 0.01, Volume: 0.6, Origin: loops.WorkshopFill, FilledFrom: day, FilledTo: day}
	charge.Additives = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "oat"}}} // the wetted metals are copper and aluminium
	if !m.fluid.IsGlycol() {
		charge.MassUncertainty = 0
	}
	if m.mass >= 0 {
		mass := chemistry.MassFraction(m.mass)
		charge.Mass = &mass
	}
	b.record(s, loop.Tag, loops.Entry{Kind: loops.KindFill, Day: day, Note: m.note, Fill: &loops.Fill{Charge: charge}})
	b.handsOver(s, loop.Tag, day)
	return b.file(loop.Tag)
}

// record records entries as the acts that wrote them, which have happened.
func (b *bench) record(s workshop.Stamp, tag loops.Tag, entries ...loops.Entry) workshop.Recorded {
	b.Helper()
	var all []acts.Act
	for _, e := range entries {
		if e.Judged == nil {
			e.Judged = &loops.Judged{AlreadyDone: true}
		}
		a, ok := acts.Entered(e)
		require.True(b, ok, e.Kind)
		all = append(all, a)
	}
	recorded, err := b.shop.Act(s, tag, all...)
	require.NoError(b, err)
	return recorded
}

// handsOver checks a filled loop for leaks and proves it, on the day after its
// fill, and hands it over; one of unknown strength goes back as it is. Frost is
// set aside by name.
func (b *bench) handsOver(s workshop.Stamp, tag loops.Tag, filled loops.Day) workshop.Recorded {
	b.Helper()
	next := filled.AddDays(1)
	if next.After(loops.DayOf(s.At, time.UTC)) {
		s.At = s.At.AddDate(0, 0, 1)
	}
	b.record(s, tag, loops.Entry{Kind: loops.KindLeakCheck, Day: next, LeakCheck: &loops.LeakCheck{Hours: 24, Dry: true}})
	reading := func(die chemistry.Celsius) loops.Inspection {
		return loops.Inspection{Die: &die, Room: new(chemistry.Celsius(20)), PowerW: new(90.0), Steady: true, Verdict: loops.Good}
	}
	b.record(s, tag, loops.Entry{Kind: loops.KindProof, Day: next, Proof: &loops.Proof{Before: reading(85), After: reading(60)}})
	protection := b.file(tag).Protection
	if protection == nil {
		return b.record(s, tag, loops.Entry{Kind: loops.KindReturn, Day: next, Return: &loops.Return{Why: "nobody knows what is in it"}})
	}
	e := loops.Entry{Kind: loops.KindHandover, Day: next, Handover: &loops.Handover{Consent: loops.Consent{Mail: true}}}
	if !protection.Holds {
		e.Judged = &loops.Judged{Overruled: []loops.Overrule{{Rule: "frost", Why: "it stands in a warm room"}}}
	}
	return b.record(s, tag, e)
}

func (b *bench) file(tag loops.Tag) workshop.File {
	b.Helper()
	file, err := b.shop.File(tag)
	require.NoError(b, err)
	return file
}

// ana is an owner whose tower is overdue for a look at noon.
func (b *bench) ana() workshop.File {
	b.Helper()
	return b.register(machine{
		owner: loops.Owner{Name: "Ana Fern", Email: "ana@garden.example", Phone: "+351 910 000 000", Zone: "Europe/Lisbon"},
		name:  "the grey tower", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200,
	})
}

func (b *bench) ownerLink(o loops.Owner) string {
	return "/o/" + b.links.Sign(links.Owner, o, b.now.AddDate(0, 1, 0))
}

func (b *bench) stopLink(o loops.Owner) string {
	return "/stop/" + b.links.Sign(links.Stop, o, b.now.AddDate(0, 1, 0))
}

// testPeer is where requests of httptest come from.
const testPeer = "192.0.2.1:1234"

// do sends a request from this computer, unless it says otherwise, with the
// cookie of whoever is signed in.
func (b *bench) do(r *http.Request) *httptest.ResponseRecorder {
	if r.RemoteAddr == testPeer {
		r.RemoteAddr = "127.0.0.1:50000"
	}
	if b.cookie != "" {
		r.Header.Set("Cookie", b.cookie)
	}
	w := httptest.NewRecorder()
	b.handler.ServeHTTP(w, r)
	if _, timed := b.TB.(*testing.B); !timed {
		assert.False(b, unknownVerb.Match(w.Body.Bytes()), "a verb met a value it does not know: %s", r.URL)
	}
	return w
}

// unknownVerb is what fmt writes where a format and its values do not fit.
var unknownVerb = regexp.MustCompile(`%!\w\(`)

func (b *bench) get(path string) *httptest.ResponseRecorder {
	return b.do(httptest.NewRequest(http.MethodGet, "http://127.0.0.1"+path, nil))
}

func (b *bench) post(path string, form url.Values) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1"+path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return b.do(r)
}

// bytesOnDisk is the register's file as it is now.
func (b *bench) bytesOnDisk() []byte {
	b.Helper()
	content, err := os.ReadFile(b.path)
	require.NoError(b, err)
	return content
}

// unchanged holds the register's file to what it was.
func (b *bench) unchanged(before []byte) {
	b.Helper()
	assert.True(b, bytes.Equal(before, b.bytesOnDisk()), "the register's file changed")
}

// says holds a page to a text, without printing the page where it fails.
func (b *bench) says(w *httptest.ResponseRecorder, text, name string) {
	b.Helper()
	page := w.Body.String()
	assert.True(b, strings.Contains(page, text) || strings.Contains(html.UnescapeString(page), text), "%s: the page does not say %q", name, text)
}
