// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/schedule"
	"fillmark/testdata/peer"
)

// hostilePieces are what a name, a subject and a body can hold to break a
// header, a signature, a part or a page.
var hostilePieces = []string{
	"Anna", " ", "  ", "é", "Żaneta", "Ω", "日本語", "🜄", "=?utf-8?q?x?=", "=?", "?=", "=20", "=3D", "<", ">", "<script>", "\"", "'", "\\", ",", ";", ":",
	"(", ")", "@", "&amp;", "{{.}}", "%s", ".", "..", "--", "--=_", "From ", "boundary=x", "\u00a0", "\u200b", "\u202e", "e\u0301", "x\u00ad", "Bcc: thief@thief.example",
}

func hostileText(random *rand.Rand, most int) string {
	var b strings.Builder
	b.WriteString("x")
	for range random.IntN(most) {
		b.WriteString(hostilePieces[random.IntN(len(hostilePieces))])
	}
	return b.String()
}

// hostile composes a letter whose every text is hostile.
func hostile(t testing.TB, random *rand.Rand) notify.Letter {
	t.Helper()
	in := several()
	in.Owner.Name, in.Workshop.Name = hostileText(random, 14), hostileText(random, 8)
	for i := range in.Items {
		item := &in.Items[i]
		item.Machine, item.Reason, item.Source, item.Charge = hostileText(random, 14), hostileText(random, 30), hostileText(random, 20), hostileText(random, 10)
	}
	in.Cautions = []string{hostileText(random, 60)}
	ics, err := schedule.Calendar{
		Organizer: &schedule.Organizer{Name: in.Workshop.Name, Email: in.Workshop.From},
		Events:    []schedule.Event{{UID: "a@w.example", Stamp: sent, Day: today, Summary: hostileText(random, 20), Description: hostileText(random, 40)}},
	}.Encode()
	require.NoError(t, err)
	in.Calendar = ics
	in.MessageID = notify.MessageIDFor("", loops.MessageKey(fmt.Sprint(random.Uint64())), "tidewater.example")
	l, err := notify.ComposeReminder(in)
	require.NoError(t, err)
	return l
}

const pythonJudge = `
import sys, json, email, email.policy, pathlib, ctypes, dkim
record = open(sys.argv[1] + '/record', 'rb').read()
ical = ctypes.CDLL('libical.so.3')
ical.icalparser_parse_string.restype = ctypes.c_void_p
ical.icalparser_parse_string.argtypes = [ctypes.c_char_p]
ical.icalrestriction_check.argtypes = [ctypes.c_void_p]
ical.icalcomponent_count_errors.argtypes = [ctypes.c_void_p]
out = []
for path in sorted(pathlib.Path(sys.argv[1]).glob('*.eml')):
    raw = path.read_bytes()
    try:
        signed = dkim.verify(raw, dnsfunc=lambda name, timeout=5: record, minkey=2048)
    except dkim.DKIMException:
        signed = False
    m = email.message_from_bytes(raw, policy=email.policy.default)
    parts = {p.get_content_type(): p.get_content().replace('\r\n', '\n') if p.get_content_maintype() == 'text' else '' for p in m.iter_parts()}
    event = ical.icalparser_parse_string([p for p in m.iter_parts() if p.get_content_type() == 'text/calendar'][0].get_payload(decode=True))
    out.append({'signed': signed, 'subject': m['subject'], 'to': [a.display_name for a in m['to'].addresses], 'names': m.keys(), 'parts': parts,
        'icalvalid': bool(event) and ical.icalrestriction_check(event) == 1 and ical.icalcomponent_count_errors(event) == 0,
        'defects': [str(d) for p in m.walk() for d in p.defects]})
print(json.dumps(out))
`

// judged is what Python, python3-dkim and libical say of one mail.
type judged struct {
	Signed    bool
	Subject   string
	To        []string
	Names     []string
	Parts     map[string]string
	Icalvalid bool
	Defects   []string
}

// Five hundred letters with hostile names, subjects and bodies: every signature
// holds for python3-dkim, Python's email package reads the same text, libical
// takes the event, and no header more than ours is there. Changed copies fail.
func TestHostileLettersHoldOutside(t *testing.T) {
	t.Parallel()
	python := peer.Answering(t, "/usr/bin/python3", "-c", "import dkim, ctypes; ctypes.CDLL('libical.so.3')")
	count := 500
	if testing.Short() {
		count = 50
	}
	s, record := newSigner(t)
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "record"), []byte(record), 0o600))
	random := rand.New(rand.NewPCG(7, 7)) // the same letters every time
	letters := make([]notify.Letter, count)
	changed := func(n int) bool { return n%10 == 9 }
	for n := range letters {
		letters[n] = hostile(t, random)
		checkLetter(t, letters[n])
		raw, err := s.Sign(letters[n].Raw)
		require.NoError(t, err)
		if changed(n) {
			m := mutations[n/10%len(mutations)]
			require.Contains(t, string(raw), m.old)
			raw = bytes.Replace(raw, []byte(m.old), []byte(m.new), 1)
		}
		require.NoError(t, os.WriteFile(filepath.Join(dir, fmt.Sprintf("%04d.eml", n)), raw, 0o600))
	}
	out, err := exec.Command(python, "-c", pythonJudge, dir).Output()
	require.NoError(t, err)
	var got []judged
	require.NoError(t, json.Unmarshal(out, &got))
	require.Len(t, got, count)
	for n, g := range got {
		assert.Equal(t, !changed(n), g.Signed, "letter %d", n)
		if changed(n) {
			continue
		}
		assert.True(t, g.Icalvalid, "letter %d: libical", n)
		assert.Empty(t, g.Defects, "letter %d", n)
		assert.Equal(t, append([]string{"DKIM-Signature"}, headerNames...), g.Names)
		header, parts := read(t, letters[n].Raw)
		assert.Equal(t, squeeze(letters[n].Subject), squeeze(g.Subject), "letter %d", n)
		require.Len(t, g.To, 1, header.Get("To"))
		for kind, text := range parts {
			assert.Equal(t, strings.TrimRight(text, "\n"), strings.TrimRight(g.Parts[kind], "\n"), "letter %d %s", n, kind)
		}
		assert.NotContains(t, parts["text/html"], "<script")
	}
}

// opendkim, another verifier, agrees.
func TestSignaturesHoldForOpenDKIM(t *testing.T) {
	t.Parallel()
	verifier := peer.Program(t, "/usr/sbin/opendkim")
	s, record := newSigner(t)
	dir := t.TempDir()
	const selector, domain = "fm2026", "tidewater.example"
	require.NoError(t, os.WriteFile(filepath.Join(dir, "keys"), []byte(selector+"._domainkey."+domain+" "+record+"\n"), 0o600))
	conf := "TestPublicKeys " + filepath.Join(dir, "keys") + "\nUserID root\nRequireSafeKeys no\nMode v\n"
	require.NoError(t, os.WriteFile(filepath.Join(dir, "conf"), []byte(conf), 0o600))
	random := rand.New(rand.NewPCG(8, 8)) // the same letters every time
	const count = 40
	var files []string
	for n := range count {
		raw, err := s.Sign(hostile(t, random).Raw)
		require.NoError(t, err)
		if n == count-1 {
			raw = bytes.Replace(raw, []byte("Good day"), []byte("Good bye"), 1)
		}
		files = append(files, filepath.Join(dir, fmt.Sprintf("%d.eml", n)))
		require.NoError(t, os.WriteFile(files[n], raw, 0o600))
	}
	out, err := exec.Command(verifier, "-x", filepath.Join(dir, "conf"), "-t", strings.Join(files, ","), "-v", "-v").CombinedOutput()
	require.NoError(t, err, string(out))
	assert.Equal(t, count-1, strings.Count(string(out), "dkim=pass"))
	assert.Equal(t, 1, strings.Count(string(out), "dkim=fail"))
}

// The HTML of every kind of letter is sound for the checker of the W3C, which
// comes from npm with the browser's peers.
func TestHTMLIsSound(t *testing.T) {
	t.Parallel()
	java := peer.Program(t, "/usr/bin/java")
	jar := peer.File(t, filepath.Join(os.Getenv("FILLMARK_BROWSER"), "node_modules/vnu-jar/build/dist/vnu.jar"))
	dir := t.TempDir()
	var files []string
	put := func(html string) {
		path := filepath.Join(dir, fmt.Sprintf("%d.html", len(files)))
		require.NoError(t, os.WriteFile(path, []byte(html), 0o600))
		files = append(files, path)
	}
	random := rand.New(rand.NewPCG(9, 9)) // the same letters every time
	letters := []notify.Letter{hostile(t, random), hostile(t, random)}
	for _, in := range []notify.ReminderInput{reminder(), several(), grouped()} {
		l, err := notify.ComposeReminder(in)
		require.NoError(t, err)
		letters = append(letters, l)
	}
	back, err := notify.ComposeHandover(handover())
	require.NoError(t, err)
	got, err := notify.ComposeReceipt(receipt(loops.SomethingOff))
	require.NoError(t, err)
	list, err := notify.ComposeMorning(morning())
	require.NoError(t, err)
	for _, l := range append(letters, back, got, list) {
		_, parts := read(t, l.Raw)
		put(parts["text/html"])
	}
	printed, err := notify.ComposePrinted(grouped())
	require.NoError(t, err)
	put(printed.HTML)
	// A letter has no heading of the first level: that is its subject, which the
	// reader's program shows above it. How owners' names are composed is theirs.
	const filter = "(?s).*(heading level of 1|Unicode Normalization Form C).*"
	out, err := exec.Command(java, append([]string{"-jar", jar, "--Werror", "--filterpattern", filter}, files...)...).CombinedOutput()
	assert.NoError(t, err, string(out))
	assert.Empty(t, strings.TrimSpace(string(out)))
}
