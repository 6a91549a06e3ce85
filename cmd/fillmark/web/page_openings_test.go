// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"hash/crc32"
	"html"
	"image"
	"image/jpeg"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// part is one field of a multipart form; with a file name it is a file.
type part struct{ name, value, file string }

// send posts a multipart form as a browser does.
func (b *bench) send(path string, parts ...part) *httptest.ResponseRecorder {
	b.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for _, p := range parts {
		if p.file == "" {
			require.NoError(b, form.WriteField(p.name, p.value))
			continue
		}
		w, err := form.CreateFormFile(p.name, p.file)
		require.NoError(b, err)
		_, err = w.Write([]byte(p.value))
		require.NoError(b, err)
	}
	require.NoError(b, form.Close())
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1"+path, &body)
	r.Header.Set("Content-Type", form.FormDataContentType())
	return b.do(r)
}

func aPhoto(t testing.TB, tone uint8) string {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, 600, 400))
	for i := range img.Pix {
		img.Pix[i] = tone
	}
	var out bytes.Buffer
	require.NoError(t, jpeg.Encode(&out, img, nil))
	return out.String()
}

// hugePNG says it is 200 megapixels and holds none of them.
func hugePNG() string {
	header := binary.BigEndian.AppendUint32(nil, 20_000)
	header = append(binary.BigEndian.AppendUint32(header, 10_000), 8, 2, 0, 0, 0)
	chunk := append([]byte("IHDR"), header...)
	out := append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0d"), chunk...)
	return string(binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(chunk)))
}

func TestOpeningFromThePage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	page := b.get("/openings?tag=" + tag)
	require.Equal(t, http.StatusOK, page.Code)
	for _, s := range loops.Severities() {
		assert.Contains(t, page.Body.String(), `value="`+s.String()+`"`)
	}
	assert.Contains(t, page.Body.String(), `value="`+tag+`"`)

	before, after := aPhoto(t, 60), aPhoto(t, 200)
	unasked := b.send("/openings", part{"tag", tag, ""}, part{"cause", "clog", ""}, part{"words", "it ticked", ""})
	require.Equal(t, http.StatusConflict, unasked.Code, "the owner has not agreed to it")
	b.says(unasked, "It is already done: record it", "what was done goes on record")
	b.says(unasked, "it ticked", "what was typed")
	answer := b.send("/openings", part{"already-done", "yes", ""}, part{"tag", strings.ToLower(tag), ""}, part{"day", "2026-12-02", ""}, part{"cause", "clog", ""}, part{"severity", "narrowed", ""},
		part{"residue", "white gel or powder", ""}, part{"residue", "green crust", ""}, part{"residue-at", "cold plate fins", ""}, part{"colour", "dark as tea", ""},
		part{"clarity", "cloudy", ""}, part{"smell", "burnt", ""}, part{"white", "yes", ""}, part{"words", "the <b>pump</b>\r\nticked", ""}, part{"failed-on", "", ""}, part{"hour-meter", "8120 h", ""},
		part{"photo before", before, "a.jpg"}, part{"photo after", after, "b.jpg"})
	require.Equal(t, http.StatusSeeOther, answer.Code, answer.Body)
	require.Equal(t, "/openings/of/"+tag, answer.Header().Get("Location"))
	assert.Equal(t, 1, b.wakes)

	found, err := b.shop.OpeningsOf(loops.Tag(tag))
	require.NoError(t, err)
	o := found[0].Opening
	assert.Equal(t, "liquid dark as tea cloudy, smell burnt, white gel or powder at cold plate fins, green crust at cold plate fins, narrowed", found[0].Look)
	assert.Equal(t, "the <b>pump</b>\nticked", o.Words)
	require.NotNil(t, o.RunningHours)
	assert.InDelta(t, 8120, *o.RunningHours, 0)
	require.Len(t, o.Photos, 2)
	assert.Equal(t, []loops.PhotoMoment{loops.BeforeWork, loops.AfterWork}, []loops.PhotoMoment{o.Photos[0].When, o.Photos[1].When})
	assert.True(t, o.Photos[0].White)

	shown := b.get("/openings/of/" + tag)
	require.Equal(t, http.StatusOK, shown.Code)
	text := shown.Body.String()
	assert.Contains(t, text, "practice page", "a reading stands with its grade")
	assert.Contains(t, text, "no findings")
	assert.NotContains(t, text, "<b>pump</b>")
	for _, m := range regexp.MustCompile(`src="(/photos/[^"]+)"`).FindAllStringSubmatch(text, -1) {
		photo := b.get(m[1])
		require.Equal(t, http.StatusOK, photo.Code)
		assert.Equal(t, "image/jpeg", photo.Header().Get("Content-Type"))
		assert.Contains(t, photo.Header().Get("Cache-Control"), "immutable")
		_, err := jpeg.Decode(photo.Body)
		require.NoError(t, err)
	}
	assert.Contains(t, text, found[0].Age())
	assert.Contains(t, text, "Built, as on record today")
	assert.Contains(t, b.get("/openings").Body.String(), found[0].Age())
	assert.Contains(t, b.get("/loops/"+tag).Body.String(), "narrowest passage narrowed")
}

func TestOpeningThatCannotBeIsShownAgain(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	disk := b.bytesOnDisk()
	good := []part{{"already-done", "yes", ""}, {"tag", tag, ""}, {"day", "2026-12-02", ""}, {"cause", "clog", ""}, {"severity", "clean", ""}, {"residue", "green crust", ""},
		{"words", "it ticked", ""}, {"photo before", aPhoto(t, 90), "a.jpg"}}
	answer := b.send("/openings", good...)
	require.Equal(t, http.StatusUnprocessableEntity, answer.Code)
	text := answer.Body.String()
	assert.Contains(t, text, "another step")
	assert.Contains(t, text, "it ticked", "what was typed is still there")
	assert.Contains(t, text, `name="kept" value="before:`, "the photo need not be sent again")
	assert.Equal(t, disk, b.bytesOnDisk())

	for _, tt := range []struct {
		name  string
		parts []part
		says  string
	}{
		{"no such loop", []part{{"tag", "7K3QXA", ""}, {"cause", "clog", ""}}, "tag"},
		{"no tag at all", []part{{"tag", "what", ""}, {"cause", "clog", ""}}, "six symbols"},
		{"no day", []part{{"tag", tag, ""}, {"day", "yesterday", ""}, {"cause", "clog", ""}}, "year-month-day"},
		{"a cause of one's own", []part{{"tag", tag, ""}, {"cause", "bad luck", ""}}, "one of"},
		{"no hours", []part{{"tag", tag, ""}, {"cause", "clog", ""}, {"hour-meter", "many", ""}}, "a number with its unit, such as"},
		{"200 megapixels", []part{{"tag", tag, ""}, {"cause", "clog", ""}, {"photo before", hugePNG(), "huge.png"}}, "at most 50 megapixels; this has 200"},
		{"cut off", []part{{"tag", tag, ""}, {"cause", "clog", ""}, {"photo before", aPhoto(t, 9)[:len(aPhoto(t, 9))-100], "cut.jpg"}}, "cut off"},
		{"drawing", []part{{"tag", tag, ""}, {"cause", "clog", ""}, {"photo after", "<svg onload='alert(1)'/>", "x.svg"}}, "SVG are not taken"},
		{"photo of no moment", []part{{"tag", tag, ""}, {"cause", "clog", ""}, {"photo whenever", aPhoto(t, 8), "x.jpg"}}, "@before or @after"},
	} {
		answer := b.send("/openings", tt.parts...)
		assert.Equal(t, http.StatusUnprocessableEntity, answer.Code, tt.name)
		assert.Contains(t, answer.Body.String(), tt.says, tt.name)
		assert.Equal(t, disk, b.bytesOnDisk(), tt.name)
	}
	many := []part{{"tag", tag, ""}, {"cause", "clog", ""}}
	for i := range 5 {
		many = append(many, part{"photo before", aPhoto(t, uint8(10*i)), "x.jpg"})
	}
	assert.Equal(t, http.StatusUnprocessableEntity, b.send("/openings", many...).Code)
	assert.Equal(t, http.StatusUnprocessableEntity, b.post("/openings", url.Values{"tag": {tag}}).Code, "no multipart form")
	assert.Equal(t, disk, b.bytesOnDisk())
}

func TestPhotosOverTheAPI(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	send := func(body string) (*httptest.ResponseRecorder, workshop.KeptPhoto) {
		r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1/api/v1/photos?name=a.jpg", strings.NewReader(body))
		w := b.do(r)
		var kept workshop.KeptPhoto
		_ = json.Unmarshal(w.Body.Bytes(), &kept) // a refusal has other fields
		return w, kept
	}
	w, first := send(aPhoto(t, 40))
	require.Equal(t, http.StatusOK, w.Code, w.Body)
	assert.False(t, first.Already)
	_, second := send(aPhoto(t, 40))
	assert.True(t, second.Already, "the same photo twice is kept once and says so")
	assert.Equal(t, first.Hash, second.Hash)
	files, err := os.ReadDir(filepath.Join(filepath.Dir(b.path), "photos"))
	require.NoError(t, err)
	assert.Len(t, files, 2, "the photo and its small copy")
	w, _ = send("no photo")
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Contains(t, w.Body.String(), "a.jpg")
	w, _ = send(aPhoto(t, 40) + strings.Repeat("x", 40<<20))
	assert.Contains(t, []int{http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity}, w.Code)
	for _, path := range []string{"/photos/" + strings.Repeat("0", 64) + ".jpg", "/photos/..%2f..%2fetc%2fpasswd", "/photos/x"} {
		assert.Equal(t, http.StatusNotFound, b.get(path).Code, path)
	}
}

// opened puts three clogged loops and nine good ones on record, and lets the
// day's pass learn from those.
func (b *bench) opened() {
	b.Helper()
	for i := range 12 {
		file := b.register(machine{owner: loops.Owner{Name: "Owner <i>of</i> secrets", Phone: "+351 555 0199"}, name: "secret tower", kind: loops.Desktop,
			fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 400 + i})
		x := loops.Inspection{Die: new(chemistry.Celsius(40)), Room: new(chemistry.Celsius(21)), PowerW: new(60.0), Verdict: loops.Good}
		measured := 250
		if i >= 3 {
			measured = 5
		}
		b.record(stamp(measured), file.Loop.Tag, loops.Entry{Kind: loops.KindInspection, Inspection: &x})
		if i < 3 {
			b.record(stamp(10), file.Loop.Tag, loops.Entry{Kind: loops.KindOpening, Opening: &loops.Opening{Cause: loops.CauseClog, Severity: new(loops.Blocked), Words: "Owner of secrets"}})
		}
	}
	_, err := b.shop.Learn(b.Context(), stamp(0))
	require.NoError(b, err)
}

func TestQuestionsPage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	assert.Contains(t, b.get("/openings/questions").Body.String(), "Nothing to compare")
	b.opened()
	first := b.get("/").Body.String()
	assert.NotContains(t, first, "clogged", "no more than chance explains")
	for _, path := range []string{"/openings/questions", "/openings/questions?cause=pump", "/openings/questions?by=machine", "/openings/questions?by=metal%3Daluminium"} {
		page := b.get(path)
		require.Equal(t, http.StatusOK, page.Code, path)
		assert.NotContains(t, page.Body.String(), "NaN", path)
		assert.NotContains(t, page.Body.String(), "style=", "the policy of the pages lets no style through")
	}
	page := b.get("/openings/questions").Body.String()
	assert.Contains(t, page, "<svg")
	assert.Contains(t, page, "loops at risk")
	assert.Contains(t, page, "nine in ten")
	assert.Equal(t, http.StatusUnprocessableEntity, b.get("/openings/questions?cause=fan").Code)
	assert.Equal(t, http.StatusUnprocessableEntity, b.get("/openings/questions?by=metal").Code)

	answer := b.post("/openings/questions", url.Values{"cause": {"clog"}, "trait": {"metal=aluminium"}})
	require.Equal(t, http.StatusSeeOther, answer.Code, answer.Body)
	assert.Contains(t, b.get("/openings/questions").Body.String(), "clog: wetted aluminium")
	assert.Equal(t, http.StatusUnprocessableEntity, b.post("/openings/questions", url.Values{"cause": {"clog"}, "trait": {"metal=aluminium"}}).Code)
}

func TestVendorPageNamesNobody(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.opened()
	list := b.get("/openings/vendor")
	require.Equal(t, http.StatusOK, list.Code)
	link := regexp.MustCompile(`href="(/openings/vendor\?trait=[^"]+)"`).FindStringSubmatch(list.Body.String())
	require.NotNil(t, link)
	link[1] = html.UnescapeString(link[1])
	for _, path := range []string{link[1], strings.Replace(link[1], "/openings/vendor", "/api/v1/openings/summary.csv", 1), strings.Replace(link[1], "/openings/vendor", "/api/v1/openings/summary", 1)} {
		page := b.get(path)
		require.Equal(t, http.StatusOK, page.Code, path)
		for _, secret := range []string{"secrets", "secret tower", "0199"} {
			assert.NotContains(t, page.Body.String(), secret, path)
		}
		for loop, err := range b.store.Loops() {
			require.NoError(t, err)
			assert.NotContains(t, page.Body.String(), string(loop.Tag), path)
		}
	}
	assert.Equal(t, http.StatusNotFound, b.get("/openings/vendor?trait=maker%3Dnobody").Code)
	assert.Equal(t, http.StatusUnprocessableEntity, b.get("/openings/vendor?trait=x").Code)
}

// What is wrong with an opening stands at its top, leads to its choice and is
// marked there; nothing chosen is lost, and no photo.
func TestOpeningSaysWhatIsWrongWithIt(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	parts := []part{{"tag", tag, ""}, {"cause", "gremlins", ""}, {"severity", "narrowed", ""}}
	for tone := range uint8(5) {
		parts = append(parts, part{"photo before", aPhoto(t, 40*tone), "a.jpg"})
	}
	w := b.send("/openings", append(parts, part{"words", "it ticked", ""})...)
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	page := w.Body.String()
	for _, say := range []string{
		`<a href="#open-cause">`, `<fieldset id="open-cause"`, `name="cause" value="clog" aria-invalid="true" aria-describedby="open-cause-problem"`, `id="open-cause-problem"`,
		`<a href="#open-photo">`, `id="open-photo-problem"`, "the first ones are kept", "it ticked", `value="narrowed"  checked`,
	} {
		assert.Contains(t, page, say)
	}
	assert.Equal(t, 4, strings.Count(page, `name="kept"`))
}
