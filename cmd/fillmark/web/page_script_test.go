// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"encoding/json"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/web"
	"fillmark/testdata/peer"
)

// inNode runs a script and returns what it printed.
func inNode(t *testing.T, script string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), peer.Program(t, "node"), "-")
	cmd.Stdin = strings.NewReader(script)
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
	return strings.TrimSpace(string(out))
}

// What a label or somebody's typing opens online it opens without a connection
// too, by any of our own names.
func TestWorkerReadsTheLabelsThatTheBenchReads(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(d *web.Deps) {
		d.Hosts, d.BenchAt = append(d.Hosts, "bench.home.arpa", "192.168.1.20", "fd00::20"), "https://bench.home.arpa:8443"
	})
	settings := b.settings()
	settings.BaseURL = "https://pages.workshop.example/fm"
	b.takesSettings(settings)
	codes := map[string]string{
		"https://127.0.0.1:8443/loops/0Y71V7":                      "0Y71V7",
		"https://pages.workshop.example/fm/loops/0Y71V7":           "0Y71V7",
		"https://pages.workshop.example/loops/0Y71V7":              "0Y71V7",
		"HTTPS://Pages.Workshop.example/fm/loops/0y71v7":           "0Y71V7",
		"https://bench.home.arpa:8443/loops/0Y71V7":                "0Y71V7",
		"http://192.168.1.20/loops/0Y71V7":                         "0Y71V7",
		"https://[fd00::20]:8443/loops/0Y71V7":                     "0Y71V7",
		"0Y71V7":                                                   "0Y71V7",
		"oy7-lv7 ":                                                 "0Y71V7",
		"OY7 IV7":                                                  "0Y71V7",
		"https://elsewhere.example/loops/0Y71V7":                   "",
		"https://pages.workshop.example.evil.example/loops/0Y71V7": "",
		"https://pages.workshop.example@evil.example/loops/0Y71V7": "",
		"https://pages.workshop.example/fm/loops/0Y71V7/refill":    "",
		"https://pages.workshop.example/other/loops/0Y71V7":        "",
		"https://pages.workshop.example/shelf/1":                   "",
		"ftp://pages.workshop.example/loops/0Y71V7":                "",
		"javascript:alert(1)":                                      "",
		"../refill":                                                "",
	}
	list, err := json.Marshal(codes)
	require.NoError(t, err)
	found := inNode(t, `globalThis.addEventListener = () => {};
globalThis.location = new URL("https://127.0.0.1:8443/worker.js");
globalThis.caches = { has: async () => false };
`+b.get("/worker.js").Body.String()+`
console.log(JSON.stringify(Object.fromEntries(Object.keys(`+string(list)+`).map((code) => [code, tagIn(code) ?? ""]))));`)
	var tags map[string]string
	require.NoError(t, json.Unmarshal([]byte(found), &tags), found)
	assert.Equal(t, codes, tags)
}

// A camera that ends while it is looked through is told, and so is a page that
// is left; what was told goes when the camera is there again.
func TestScanTellsWhenItsCameraEnds(t *testing.T) {
	t.Parallel()
	script, err := os.ReadFile("static/scan.js")
	require.NoError(t, err)
	const page = `
const element = (id) => ({ id, hidden: id !== "code", dataset: {}, value: "", form: { submit() {} }, querySelector: () => ({ play: async () => {} }) });
const all = Object.fromEntries(["camera", "code", "camera-insecure", "camera-denied", "camera-none", "camera-reader"].map((id) => [id, element(id)]));
globalThis.document = { getElementById: (id) => all[id], querySelectorAll: () => Object.values(all).filter((e) => e.id.startsWith("camera-")) };
globalThis.isSecureContext = true;
let given;
const newStream = () => ({ active: true, getTracks() { return [{ stop: () => (this.active = false) }]; } });
Object.defineProperty(globalThis, "navigator", { value: { mediaDevices: { getUserMedia: async () => (given = newStream()) } } });
globalThis.BarcodeDetector = class { static async getSupportedFormats() { return ["qr_code"]; } async detect() { return []; } };
const told = {};
globalThis.addEventListener = (name, act) => { told[name] = act; };
const shown = () => Object.values(all).filter((e) => !e.hidden && e.id !== "code").map((e) => e.id).join(" ");
const later = (ms = 200) => new Promise((resolve) => setTimeout(resolve, ms));
`
	says := inNode(t, "(async () => {"+page+string(script)+`
const seen = [];
await later(20);
seen.push(shown());
given.active = false; // unplugged
await later();
seen.push(shown());
told.pageshow({ persisted: true });
await later(20);
seen.push(shown());
told.pagehide();
await later();
seen.push(shown());
console.log(seen.join(", "));
})()`)
	assert.Equal(t, "camera, camera-none, camera, camera", says)
}
