// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package daemon

import (
	"bytes"
	"image"
	"image/png"
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/signin"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify/links"
)

// asked is an address to look at.
type asked struct {
	pattern, address string
	// status is what it answers; zero is 200.
	status int
	// most is how often it may ask the database where that is more than mostAsked,
	// and why says what for; all tells that it reads as much as there is.
	most int64
	why  string
	all  bool
}

// manyThings makes an owner with five machines, whose loops were filled from one
// bottle and opened, a sample of each, letters and photos, and the cookie of somebody
// who is signed in. It returns what can be looked at of all that.
func manyThings(t *testing.T, h *Service, c Config) (pages []asked, cookie string) {
	t.Helper()
	s := workshop.Stamp{At: testNow().AddDate(0, 0, -30), By: "local:test"}
	day := loops.DayOf(s.At, time.UTC)
	owner, err := h.Workshop.AddOwner(s, loops.Owner{
		Name: "Ana Ruizado", Email: "ana@garden.example", Phone: "+351 210 000 001", Address: "1 Hill Road\nOldport", Consent: loops.Consent{Mail: true, Opening: true},
	})
	require.NoError(t, err)
	bottle, err := h.Workshop.AddContainer(s, loops.Container{
		Kind: loops.PremixBottle, Product: "Clear", Lot: "H-7", Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.35)), Left: 20,
	})
	require.NoError(t, err)
	img := image.NewGray(image.Rect(0, 0, 20, 20))
	var file bytes.Buffer
	require.NoError(t, png.Encode(&file, img))
	photo, err := h.Workshop.KeepPhoto("a.png", &file)
	require.NoError(t, err)
	var tag loops.Tag
	for range 5 {
		machine, err := h.Workshop.AddMachine(s, loops.Machine{Owner: owner.ID, Kind: loops.Workstation, Name: "tower", PromisedBack: day.AddDays(40)})
		require.NoError(t, err)
		loop, err := h.Workshop.AddLoop(s, loops.Loop{Machine: machine.ID, Construction: loops.Construction{
			Volume: 0.6, VolumeUncertainty: 0.02, ColdestWall: new(chemistry.Celsius(-10)), Wetted: []loops.WettedPart{{Part: "cold plate", Metal: chemistry.Copper}},
		}})
		require.NoError(t, err)
		tag = loop.Tag
		fill := acts.Fill{Poured: []loops.Pour{{Container: bottle.ID, Volume: 0.6}}, Inhibitor: loops.Additive{Family: "azole"}}
		fill.Already = true
		before := fill
		before.Day, fill.Key = day.AddDays(-1), "again "+string(tag)
		drain := &acts.Drain{Drain: loops.Drain{Out: 0.6, Disposal: "drum 2"}}
		open := &acts.Opening{Opening: loops.Opening{Cause: loops.CauseClog, Photos: []loops.OpeningPhoto{{Hash: photo.Hash, When: loops.BeforeWork}}}}
		for _, a := range []acts.Act{&before, &acts.LeakCheck{Hours: loops.LeakCheckHours, Dry: true}, &acts.Handover{Unproved: "no load to measure at"}, open, drain, &fill} {
			_, err := h.Workshop.Act(s, tag, a)
			require.NoError(t, err, acts.KindOf(a))
		}
		_, err = h.Workshop.AddSample(s, tag, loops.RetainedSample{Taken: day, Place: "shelf 3"})
		require.NoError(t, err)
	}
	_, err = h.Workshop.AddInstrument(s, loops.Instrument{Kind: loops.Refractometer, Name: "refractometer"})
	require.NoError(t, err)
	_, err = h.Workshop.AddWatch(s, loops.PatternWatch{Cause: loops.CauseClog, Trait: "metal=copper"})
	require.NoError(t, err)
	var key loops.MessageKey
	for m, err := range h.Store.Messages("") {
		require.NoError(t, err)
		key = m.Key
	}
	require.NotEmpty(t, key)

	_, err = h.Gate.Add("rui", "a long enough pass phrase", signin.Stamp{At: testNow(), By: "local:test"})
	require.NoError(t, err)
	secret, err := h.Gate.SignIn("rui", "a long enough pass phrase", false, testNow())
	require.NoError(t, err)
	password, err := h.Gate.Link("rui", signin.Stamp{At: testNow(), By: "local:test"})
	require.NoError(t, err)
	secrets, err := openSecrets(c.linkKeyFile(), false)
	require.NoError(t, err)
	signer, err := links.New(secrets)
	require.NoError(t, err)
	own, stop := "/o/"+signer.Sign(links.Owner, owner, testNow().AddDate(0, 1, 0)), "/stop/"+signer.Sign(links.Stop, owner, testNow().AddDate(0, 1, 0))
	loop, api := "/loops/"+string(tag), "/api/v1"
	return []asked{
		{pattern: "/healthz", address: "/healthz"},
		{pattern: "/readyz", address: "/readyz", status: http.StatusServiceUnavailable},
		{pattern: "/metrics", address: "/metrics", most: 7, why: "the queue, then the alarms"},
		{pattern: "/static/{name...}", address: "/static/none", status: http.StatusNotFound},
		{pattern: "/manifest.webmanifest", address: "/manifest.webmanifest"},
		{pattern: "/trust", address: "/trust", status: http.StatusNotFound},
		{pattern: "/trust/authority.crt", address: "/trust/authority.crt", status: http.StatusNotFound},
		{pattern: "/worker.js", address: "/worker.js"},
		{pattern: "/not-connected", address: "/not-connected"},
		{pattern: "/start/{secret}", address: "/start/none", status: http.StatusNotFound},
		{pattern: "/sign-in", address: "/sign-in"},
		{pattern: "/password/{secret}", address: "/password/" + password},
		{pattern: "/account", address: "/account"},
		{pattern: "/", address: "/nowhere", status: http.StatusNotFound},
		{pattern: "/api/v1/openapi.json", address: "/api/v1/openapi.json"},
		{pattern: "/api/", address: "/api/nowhere", status: http.StatusNotFound},

		{pattern: "/o/{token}", address: own},
		{pattern: "/o/{token}/calendar.ics", address: h.Workshop.CalendarPath(owner, testNow())},
		{pattern: "/o/{token}/log", address: own + "/log"},
		{pattern: "/stop/{token}", address: stop},

		{pattern: "/{$}", address: "/", most: 13, why: "brings the list of due work up to date"},
		{pattern: "/loops/{tag}/done", address: loop + "/done"},
		{pattern: "/day", address: "/day", all: true},
		{pattern: "/intake", address: "/intake?owner=1"},
		{pattern: "/intake/units", address: "/intake/units"},
		{pattern: "/labels", address: "/labels?tag=" + string(tag)},
		{pattern: "/loops", address: "/loops"},
		{pattern: "/loops", address: "/loops?q=tower&sort=owner", all: true},
		{pattern: "/register", address: "/register", all: true},
		{pattern: "/loops/{tag}", address: loop},
		{pattern: "/loops/{tag}/card", address: loop + "/card"},
		{pattern: "/loops/{tag}/edit", address: loop + "/edit"},
		{pattern: "/loops/{tag}/refill", address: loop + "/refill"},
		{pattern: "/loops/{tag}/log", address: loop + "/log"},
		{pattern: "/loops/{tag}/label", address: loop + "/label"},
		{pattern: "/loops/{tag}/handover", address: loop + "/handover"},
		{pattern: "/loops/{tag}/receipt", address: loop + "/receipt"},
		{pattern: "/loops/{tag}/letter", address: loop + "/letter", most: 11, why: "what all machines of the owner are due for, and what was written about it"},
		{pattern: "/scan", address: "/scan?tag=" + string(tag)},
		{pattern: "/topup", address: "/topup"},
		{pattern: "/topup", address: "/topup?" + url.Values{"ask": {"yes"}, "tag": {string(tag)}, "room": {"20"}, "liquid1": {"water"}}.Encode()},
		{pattern: "/triage", address: "/triage?tag=" + string(tag)},
		{pattern: "/openings", address: "/openings", all: true},
		{pattern: "/openings/of/{tag}", address: "/openings/of/" + string(tag), most: 13, why: "reads the list of due work too"},
		{pattern: "/openings/questions", address: "/openings/questions?cause=clog", all: true},
		{pattern: "/openings/vendor", address: "/openings/vendor?trait=metal%3Dcopper", all: true},
		{pattern: "/photos/{name}", address: "/photos/" + photo.Hash + ".jpg"},
		{pattern: "/more", address: "/more"},
		{pattern: "/owners", address: "/owners", all: true},
		{pattern: "/owners/{id}", address: "/owners/2"},
		{pattern: "/shelf", address: "/shelf", most: 8, why: "four lists, and the loops that they name"},
		{pattern: "/shelf/{id}", address: "/shelf/1"},
		{pattern: "/shelf/{id}/label", address: "/shelf/1/label"},
		{pattern: "/recall", address: "/recall?lot=H-7", all: true},
		{pattern: "/outbox", address: "/outbox"},
		{pattern: "/outbox/message", address: "/outbox/message?key=" + url.QueryEscape(string(key))},
		{pattern: "/settings", address: "/settings"},
		{pattern: "/doctor", address: "/doctor", all: true},

		{pattern: "/api/v1/owners", address: api + "/owners?mail=true&text=ana&sort=name", all: true},
		{pattern: "/api/v1/owners/{id}", address: api + "/owners/2"},
		{pattern: "/api/v1/owners/{id}/export", address: api + "/owners/2/export", all: true},
		{pattern: "/api/v1/machines", address: api + "/machines?sort=owner", all: true},
		{pattern: "/api/v1/machines/{id}", address: api + "/machines/2"},
		{pattern: "/api/v1/loops", address: api + "/loops?sort=owner", all: true},
		{pattern: "/api/v1/loops/{tag}", address: api + loop},
		{pattern: "/api/v1/loops/{tag}/steps", address: api + loop + "/steps"},
		{pattern: "/api/v1/loops/{tag}/letter", address: api + loop + "/letter", most: 11, why: "as the page"},
		{pattern: "/api/v1/due", address: api + "/due", all: true},
		{pattern: "/api/v1/calendar", address: api + "/calendar", all: true},
		{pattern: "/api/v1/calendar", address: api + "/calendar?owner=2", all: true},
		{pattern: "/api/v1/containers", address: api + "/containers"},
		{pattern: "/api/v1/containers/{id}", address: api + "/containers/1"},
		{pattern: "/api/v1/recall", address: api + "/recall?lot=H-7", all: true},
		{pattern: "/api/v1/used-fluid", address: api + "/used-fluid"},
		{pattern: "/api/v1/instruments", address: api + "/instruments"},
		{pattern: "/api/v1/samples", address: api + "/samples"},
		{pattern: "/api/v1/photos", address: api + "/photos", all: true},
		{pattern: "/api/v1/openings", address: api + "/openings", all: true},
		{pattern: "/api/v1/openings/of/{tag}", address: api + "/openings/of/" + string(tag)},
		{pattern: "/api/v1/openings/pattern", address: api + "/openings/pattern?cause=clog", all: true},
		{pattern: "/api/v1/openings/howlong", address: api + "/openings/howlong?by=metals", all: true},
		{pattern: "/api/v1/openings/evidence", address: api + "/openings/evidence"},
		{pattern: "/api/v1/openings/whenlook", address: api + "/openings/whenlook", all: true},
		{pattern: "/api/v1/openings/cases", address: api + "/openings/cases", all: true},
		{pattern: "/api/v1/openings/lives", address: api + "/openings/lives?origin=workshop", all: true},
		{pattern: "/api/v1/openings/watches", address: api + "/openings/watches", all: true},
		{pattern: "/api/v1/openings/summary", address: api + "/openings/summary?trait=metal%3Dcopper", all: true},
		{pattern: "/api/v1/openings/summary.csv", address: api + "/openings/summary.csv?trait=metal%3Dcopper", all: true},
		{pattern: "/api/v1/outbox", address: api + "/outbox?status=queued"},
		{pattern: "/api/v1/outbox/message", address: api + "/outbox/message?key=" + url.QueryEscape(string(key))},
		{pattern: "/api/v1/suppressed", address: api + "/suppressed"},
		{pattern: "/api/v1/tables/{table}", address: api + "/tables/owners", all: true},
		{pattern: "/api/v1/export", address: api + "/export", all: true},
		{pattern: "/api/v1/backups", address: api + "/backups", status: http.StatusForbidden},
		{pattern: "/api/v1/doctor", address: api + "/doctor", all: true},
		{pattern: "/api/v1/check", address: api + "/check", all: true},
		{pattern: "/api/v1/technicians", address: api + "/technicians"},
	}, "fillmark=" + secret
}
