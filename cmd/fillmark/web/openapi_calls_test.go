// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"bytes"
	"encoding/json"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

// apiCall is one call of the JSON API and the status it has to get.
type apiCall struct {
	method, path, body string
	status             int
	kind               string // the body's media type; empty for JSON
}

// calls are calls of every route there is, in an order in which each finds
// what it is about.
func (b *bench) calls() []apiCall {
	b.Helper()
	back := b.takesBounces()
	file := b.ana()
	tag := string(file.Loop.Tag)
	day := loops.DayOf(noon, time.UTC)
	b.record(stamp(0), file.Loop.Tag, loops.Entry{Kind: loops.KindHandover, Day: day, Handover: &loops.Handover{Consent: loops.Consent{Mail: true}}})
	file = b.file(file.Loop.Tag)
	file.Loop.Name = "the upper loop"
	changed, err := json.Marshal(file.Loop)
	require.NoError(b, err)
	messages := b.get("/api/v1/outbox")
	var outbox struct{ Items []loops.Message }
	require.NoError(b, json.Unmarshal(messages.Body.Bytes(), &outbox))
	require.NotEmpty(b, outbox.Items)
	key := outbox.Items[0].Key
	return slices.Concat(
		peopleCalls(), loopCalls(tag, string(changed)), shelfCalls(tag), b.openingCalls(tag),
		mailCalls(key, back.For(key)), actCalls("/api/v1/loops/"+tag+"/acts/"), b.fileCalls(), technicianCalls(),
	)
}

// actCalls do every act that no other call does, from one stay on the bench to
// the loop's last day.
func actCalls(acts string) []apiCall {
	return []apiCall{
		{"POST", acts + "intake", `{"complaint":"hot","hour_meter_h":812}`, 200, ""},
		{"POST", acts + "readings?check=true", `{"die_c":85,"room_c":21,"power_w":90}`, 200, ""},
		{"POST", acts + "readings", `{"die_c":85,"room_c":21,"power_w":90,"steady":true}`, 200, ""},
		{"POST", acts + "readings", `{}`, 422, ""},
		{"POST", acts + "weigh", `{"stage":"drained","weight_g":1490}`, 200, ""},
		{"POST", acts + "step", `{"sheet_step":"photo"}`, 200, ""},
		{"POST", acts + "drain", `{"left_ml":10}`, 200, ""},
		{"POST", acts + "clean", `{"agent":["alcohol"],"rinsed":true}`, 200, ""},
		{"POST", acts + "flush", `{}`, 200, ""},
		{"POST", acts + "fill", `{"fluid":"pg","mass_percent":40,"poured":["500ml"],"inhibitor":"azole"}`, 200, ""},
		{"POST", acts + "dose", `{"role":"biocide","family":"isothiazolinone","label_dose_ml_per_l":2,"life_months":12,"poured":"1ml"}`, 200, ""},
		{"POST", acts + "proof", `{"before_die_c":85,"before_room_c":21,"before_power_w":90,"die_c":60,"room_c":21,"power_w":90,"steady":true}`, 200, ""},
		{"POST", acts + "work", `{"item":"fan","pieces":2,"price":24.00}`, 200, ""},
		{"POST", acts + "work", `{"item":"fan"}`, 422, ""},
		{"POST", acts + "handover", `{"mail_consent":true}`, 409, ""},
		{"POST", acts + "handover", `{"mail_consent":true,"note":"again","overrule":["leak-check=the owner waits"]}`, 200, ""},
		{"POST", acts + "plan", `{"task":"look","months":3}`, 200, ""},
		{"POST", acts + "note", `{"note":"the owner moves in May"}`, 200, ""},
		{"POST", acts + "call", `{"outcome":"reached","agreed":"2026-12-07"}`, 200, ""},
		{"POST", acts + "strike", `{"entry":5,"why":"another loop"}`, 200, ""},
		{"POST", acts + "return", `{"why":"the owner wants it"}`, 200, ""},
		{"POST", acts + "transfer", `{"new_owner":2}`, 200, ""},
		{"POST", acts + "swap", `{"old_unit":"kept","sealed":true}`, 200, ""},
		{"POST", acts + "retire", `{"reason":"scrapped"}`, 200, ""},
	}
}

func peopleCalls() []apiCall {
	return []apiCall{
		{"POST", "/api/v1/owners", `{"name":"Bea Moss","email":"bea@garden.example","consent":{"mail":true,"opening":false,"photos":false}}`, 200, ""},
		{"POST", "/api/v1/owners", `{"name":""}`, 422, ""},
		{"GET", "/api/v1/owners?mail=true&text=moss&sort=name", "", 200, ""},
		{"PUT", "/api/v1/owners/2", `{"revision":1,"name":"Bea Moss","phone":"+351 555 0100","consent":{"mail":true,"opening":false,"photos":false}}`, 200, ""},
		{"PUT", "/api/v1/owners/2", `{"revision":1,"name":"Bea Mossy","consent":{"mail":true}}`, 409, ""},
		{"POST", "/api/v1/machines", `{"owner":2,"kind":"desktop","name":"white cube","accessories":["cable"]}`, 200, ""},
		{"POST", "/api/v1/machines", `{"owner":99,"kind":"desktop","name":"white cube"}`, 404, ""},
		{"GET", "/api/v1/machines?owner=2&sort=name", "", 200, ""},
		{"GET", "/api/v1/machines/2", "", 200, ""},
		{"PUT", "/api/v1/machines/2", `{"revision":1,"owner":2,"kind":"desktop","name":"white cube","maker":"Tidewater"}`, 200, ""},
		{"GET", "/api/v1/owners/1", "", 200, ""},
		{"GET", "/api/v1/owners/99", "", 404, ""},
		{"GET", "/api/v1/owners/1/export", "", 200, ""},
		{"POST", "/api/v1/owners/2/end-links", "", 200, ""},
		{"POST", "/api/v1/owners/99/end-links", "", 404, ""},
		{"GET", "/api/v1/owners/99/export", "", 404, ""},
	}
}

func loopCalls(tag, changed string) []apiCall {
	return []apiCall{
		{"POST", "/api/v1/loops", `{"machine":2,"sealed":false,"volume_l":0.5,"wetted":[{"part":"cold plate","metal":"copper"}]}`, 200, ""},
		{"POST", "/api/v1/intakes", `{"who":"Lotte Varga, 5550101","kind":"laser chiller","complaint":"drips"}`, 200, ""},
		{"POST", "/api/v1/intakes", `{"who":"lotte varga","kind":"desktop"}`, 422, ""},
		{"GET", "/api/v1/loops?sealed=true&sort=due", "", 200, ""},
		{"GET", "/api/v1/loops/" + tag, "", 200, ""},
		{"GET", "/api/v1/loops/ABC", "", 422, ""},
		{"PUT", "/api/v1/loops/" + tag, changed, 200, ""},
		{"PUT", "/api/v1/loops/" + tag, changed, 409, ""},
		{"GET", "/api/v1/loops/" + tag + "/steps", "", 200, ""},
		{"POST", "/api/v1/loops/" + tag + "/acts/leakcheck", `{"day":"2026-12-03","hours_h":2,"dry":true}`, 200, ""},
		{"POST", "/api/v1/loops/" + tag + "/log", `{"room_c":22,"weeks":[{"day":"2026-11-23","warmest_c":60,"room_c":23,"hours":20}],"time":"time","temperature":"temp","read":1000}`, 200, ""},
		{"POST", "/api/v1/loops/" + tag + "/log", `{"room_c":22,"weeks":[],"time":"time","temperature":"temp","read":1000}`, 422, ""},
		{"GET", "/api/v1/loops/" + tag + "/letter", "", 200, ""},
		{"POST", "/api/v1/topup", `{"tag":"` + tag + `","room_l":0.06,"with":["concentrate:95%","water"]}`, 200, ""},
		{"GET", "/api/v1/due", "", 200, ""},
		{"GET", "/api/v1/calendar", "", 200, ""},
		{"GET", "/api/v1/calendar?owner=1", "", 200, ""},
	}
}

func shelfCalls(tag string) []apiCall {
	return []apiCall{
		{"POST", "/api/v1/containers", `{"kind":"concentrate","product":"Harbour blue","lot":"H-7","fluid":"pg","mass_fraction":0.95,"left_l":2}`, 200, ""},
		{"POST", "/api/v1/containers", `{"kind":"barrel","product":"Harbour blue","left_l":-2}`, 422, ""},
		{"POST", "/api/v1/containers/1/take-out", `{"volume_l":0.1,"why":"spilt"}`, 200, ""},
		{"POST", "/api/v1/loops/" + tag + "/acts/poured", `{"day":"2026-12-03","already_done":true,"poured":["1=10ml"]}`, 200, ""},
		{"GET", "/api/v1/containers", "", 200, ""},
		{"GET", "/api/v1/containers/1", "", 200, ""},
		{"PUT", "/api/v1/containers/1", `{"revision":3,"kind":"concentrate","product":"Harbour blue","lot":"H-7","fluid":"pg","mass_fraction":0.95,"left_l":1.5}`, 200, ""},
		{"GET", "/api/v1/recall?lot=H-7", "", 200, ""},
		{"GET", "/api/v1/recall?lot=H-8", "", 404, ""},
		{"POST", "/api/v1/used-fluid", `{"tag":"` + tag + `","fluid":"pg","volume_l":0.2,"went":"the works' collection point"}`, 200, ""},
		{"GET", "/api/v1/used-fluid", "", 200, ""},
		{"POST", "/api/v1/instruments", `{"kind":"refractometer","name":"the small one"}`, 200, ""},
		{"POST", "/api/v1/instruments/1/checks", `{"against":"water at 20C","expected":0,"read":0.2,"unit":"Brix","adjusted":true}`, 200, ""},
		{"GET", "/api/v1/instruments", "", 200, ""},
		{"POST", "/api/v1/instruments/1/retire", `{}`, 200, ""},
		{"POST", "/api/v1/samples", `{"tag":"` + tag + `","place":"the third shelf"}`, 200, ""},
		{"GET", "/api/v1/samples", "", 200, ""},
		{"POST", "/api/v1/samples/1/discard", `{"day":"2026-12-03"}`, 200, ""},
	}
}

func (b *bench) openingCalls(tag string) []apiCall {
	photo := aPhoto(b, 40)
	kept := b.photo(photo)
	return []apiCall{
		{"GET", "/api/v1/openings/howlong", "", 200, ""},
		{"GET", "/api/v1/openings/of/" + tag, "", 404, ""},
		{"GET", "/api/v1/photos", "", 200, ""},
		{"POST", "/api/v1/photos?name=a.jpg", photo, 200, "image/jpeg"},
		{"POST", "/api/v1/photos?name=a.jpg", "no photo", 422, "image/jpeg"},
		{"POST", "/api/v1/loops/" + tag + "/acts/open", `{"cause":"clog","severity":"narrowed"}`, 409, ""},
		{"POST", "/api/v1/loops/" + tag + "/acts/open",
			`{"day":"2026-12-03","already_done":true,"cause":"clog","severity":"narrowed","residue":["green crust@pump"],"photo":["` + kept + `@before"]}`, 200, ""},
		{"GET", "/api/v1/openings", "", 200, ""},
		{"GET", "/api/v1/openings/of/" + tag, "", 200, ""},
		{"GET", "/api/v1/openings/pattern?cause=clog", "", 200, ""},
		{"GET", "/api/v1/openings/pattern?trait=metal%3Dcopper", "", 200, ""},
		{"GET", "/api/v1/openings/howlong?by=metals", "", 200, ""},
		{"GET", "/api/v1/openings/whenlook", "", 200, ""},
		{"GET", "/api/v1/openings/evidence", "", 200, ""},
		{"GET", "/api/v1/openings/cases", "", 200, ""},
		{"GET", "/api/v1/openings/lives?origin=workshop", "", 200, ""},
		{"POST", "/api/v1/openings/watches", `{"cause":"clog","trait":"metal=copper","read_at":5}`, 200, ""},
		{"GET", "/api/v1/openings/watches", "", 200, ""},
		{"GET", "/api/v1/openings/summary?trait=metal%3Dcopper", "", 200, ""},
		{"GET", "/api/v1/openings/summary.csv?trait=metal%3Dcopper", "", 200, ""},
		{"GET", "/api/v1/openings/summary.csv?trait=hue%3Dred", "", 422, ""},
	}
}

// photo keeps a photo and returns its hash.
func (b *bench) photo(file string) string {
	b.Helper()
	kept, err := b.shop.KeepPhoto("a.jpg", bytes.NewReader([]byte(file)))
	require.NoError(b, err)
	return kept.Hash
}

func mailCalls(key loops.MessageKey, back string) []apiCall {
	report := strings.NewReplacer("\n", "\r\n", "BACK", back).Replace(`Return-Path: <>
Delivered-To: BACK
From: MAILER-DAEMON@relay.example
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="x"

--x
Content-Type: message/delivery-status

Reporting-MTA: dns; relay.example

Final-Recipient: rfc822; ana@garden.example
Action: failed
Status: 5.1.1
--x--
`)
	return []apiCall{
		{"POST", "/api/v1/sweep", "", 200, ""},
		{"GET", "/api/v1/outbox?status=queued", "", 200, ""},
		{"GET", "/api/v1/outbox/message?key=" + url.QueryEscape(string(key)), "", 200, ""},
		{"GET", "/api/v1/outbox/message?key=nothing", "", 404, ""},
		{"POST", "/api/v1/outbox/message", `{"key":"` + string(key) + `","action":"hold"}`, 200, ""},
		{"POST", "/api/v1/outbox/message", `{"key":"` + string(key) + `","action":"burn"}`, 422, ""},
		{"POST", "/api/v1/bounces", report, 200, "message/rfc822"},
		{"POST", "/api/v1/bounces", "Subject: hello\r\n\r\nhello\r\n", 200, "message/rfc822"},
		{"GET", "/api/v1/suppressed", "", 200, ""},
		{"POST", "/api/v1/suppressed/allow", `{"address":"ana@garden.example"}`, 200, ""},
		{"POST", "/api/v1/suppressed/allow", `{}`, 422, ""},
	}
}

func (b *bench) fileCalls() []apiCall {
	return []apiCall{
		{"GET", "/api/v1/tables/owners", "", 200, ""},
		{"POST", "/api/v1/tables/owners?dry_run=true", "name,email\nLea Reed,lea@garden.example\n", 200, "text/csv"},
		{"POST", "/api/v1/tables/owners", "name,hue\nLea Reed,red\n", 422, "text/csv"},
		{"GET", "/api/v1/export", "", 200, ""},
		{"POST", "/api/v1/backup", `{"folder":"` + filepath.Join(filepath.Dir(b.path), "backup") + `"}`, 200, ""},
		{"POST", "/api/v1/backup", `{"folder":"here"}`, 422, ""},
		{"POST", "/api/v1/backup", `{}`, 200, ""},
		{"GET", "/api/v1/backups", "", 200, ""},
		{"GET", "/api/v1/doctor", "", 200, ""},
		{"POST", "/api/v1/compact", "", 200, ""},
		{"GET", "/api/v1/check", "", 200, ""},
		{"POST", "/api/v1/owners/2/erase", `{"name":"Bea Mosss"}`, 422, ""},
		{"POST", "/api/v1/owners/2/erase", `{"name":"Bea Moss","prove":true}`, 200, ""},
	}
}

func technicianCalls() []apiCall {
	return []apiCall{
		{"POST", "/api/v1/first-link", "", 200, ""},
		{"POST", "/api/v1/technicians", `{"name":"Bo","password":"copper plate wet felt"}`, 200, ""},
		{"GET", "/api/v1/technicians", "", 200, ""},
		{"POST", "/api/v1/technicians/Bo/password", `{"password":"radiator on the shelf"}`, 200, ""},
		{"POST", "/api/v1/technicians/Bo/link", "", 200, ""},
		{"POST", "/api/v1/first-link", "", 422, ""},
		{"DELETE", "/api/v1/technicians/Bo", "", 422, ""},
		{"POST", "/api/v1/technicians", `{"name":"Lea","password":"copper plate wet felt"}`, 200, ""},
		{"DELETE", "/api/v1/technicians/Bo", "", 200, ""},
		{"DELETE", "/api/v1/technicians/Bo", "", 404, ""},
	}
}
