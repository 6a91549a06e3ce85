// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/testdata/peer"
)

func TestLabelSaysWhatIsInTheLoop(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.register(machine{owner: loops.Owner{Name: "Bea Moss"}, name: "the white cube", kind: loops.Desktop, fluid: chemistry.EthyleneGlycol, mass: 0.42, wall: -15, daysAgo: 3})
	path := "/loops/" + string(file.Loop.Tag) + "/label"
	for query, labels := range map[string]int{"": 1, "?size=62": 1, "?size=a4": 1, "?size=a4&place=2&copies=8": 8} {
		w := b.get(path + query)
		require.Equal(t, http.StatusOK, w.Code)
		assert.Equal(t, labels, strings.Count(w.Body.String(), `class="label-card"`), query)
		for _, say := range []string{
			string(file.Loop.Tag), "the white cube", "Ethylene glycol", "42.0\u00a0mass\u00a0%", "First ice", "\u221224", "Mon 30 Nov 2026", "Look, ",
			"Contains ethylene glycol. Poisonous if swallowed. Keep from children and animals.", "Bench &amp; Brook", "+351 210 000 000", "Sealed: do not open.",
		} {
			b.says(w, say, query)
		}
	}
	w := b.get(path + "?size=90")
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	b.says(w, "62 (a roll of 62 mm) or a4", "size")
	assert.Equal(t, 4, strings.Count(b.get(path+"?size=a4&place=5").Body.String(), "label-used"), "places that are used stay free")
	for query, says := range map[string]string{"&place=0": "1 to 9", "&place=ten": "1 to 9", "&place=8&copies=3": "1 to 2", "&copies=-1": "1 to 9"} {
		w := b.get(path + "?size=a4" + query)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, query)
		b.says(w, says+" on this sheet", query)
	}
}

func TestLabelOfAnEmptyLoop(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.says(b.get("/loops/"+string(b.taken(intakeForm(nil)))+"/label"), "Coolant not known.", "empty")
}

func TestLabelOfAContainer(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, err := b.shop.AddContainer(stamp(3), loops.Container{Kind: loops.MixedBatch, Product: "Batch " + hostile, Lot: "B-12", Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.4)), Left: 2, Mixed: loops.Day{Year: 2026, Month: 11, Dom: 30}})
	require.NoError(t, err)
	w := b.get("/shelf/1/label")
	require.Equal(t, http.StatusOK, w.Code)
	for _, say := range []string{"No. 1</p>", "Lot B-12", "40.0 mass %", "Mixed Mon 30 Nov 2026", "Do not drink", `aria-label="QR code of https://pages.workshop.example/shelf/1"`} {
		b.says(w, say, "container")
	}
	assert.NotContains(t, w.Body.String(), "<script>alert")
	assert.Equal(t, http.StatusNotFound, b.get("/shelf/9/label").Code)
	assert.Equal(t, http.StatusNotFound, b.get("/shelf/x/label").Code)
}

// The code on the label is read back by a reader that knows nothing of ours.
func TestQRCodeIsReadBack(t *testing.T) {
	t.Parallel()
	reader := peer.Program(t, "zbarimg")
	b := newBench(t)
	file := b.ana()
	page := b.get("/loops/" + string(file.Loop.Tag) + "/label").Body.String()
	path := regexp.MustCompile(`class="qr-ink" d="([^"]+)"`).FindStringSubmatch(page)
	box := regexp.MustCompile(`class="qr" viewBox="-4 -4 (\d+) \d+"`).FindStringSubmatch(page)
	require.Len(t, path, 2)
	require.Len(t, box, 2)
	var size int
	_, err := fmt.Sscan(box[1], &size)
	require.NoError(t, err)

	const module = 6 // pixels
	picture := image.NewGray(image.Rect(0, 0, size*module, size*module))
	for i := range picture.Pix {
		picture.Pix[i] = 255
	}
	for _, bar := range strings.SplitAfter(path[1], "z") {
		var x, y, run, back int
		if bar == "" {
			continue
		}
		_, err := fmt.Sscanf(bar, "M%d %dh%dv1h%dz", &x, &y, &run, &back)
		require.NoError(t, err, bar)
		require.Equal(t, run, -back)
		for px := range run * module {
			for py := range module {
				picture.SetGray((x+4)*module+px, (y+4)*module+py, color.Gray{})
			}
		}
	}
	name := filepath.Join(t.TempDir(), "qr.png")
	out, err := os.Create(name)
	require.NoError(t, err)
	require.NoError(t, png.Encode(out, picture))
	require.NoError(t, out.Close())
	said, err := exec.Command(reader, "--quiet", "--raw", name).Output()
	require.NoError(t, err)
	assert.Equal(t, "https://pages.workshop.example/loops/"+string(file.Loop.Tag), strings.TrimSpace(string(said)))
}

func TestHandoverSheetSaysWhatWasDone(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	w := b.get("/loops/" + string(file.Loop.Tag) + "/handover")
	require.Equal(t, http.StatusOK, w.Code)
	for _, say := range []string{"What was done", "Filled: propylene glycol; 35.0", "How to look it over", "What to leave alone", "If anything is wet", "Take care", "Ana Fern"} {
		b.says(w, say, "hand-over")
	}
	b.says(w, "it may freeze", "freeze point")
	kept, err := b.store.Owner(file.Owner.ID)
	require.NoError(t, err)
	kept.Units = loops.USCustomary
	_, err = b.shop.Edit(stamp(0), workshop.Edit{Owner: &kept})
	require.NoError(t, err)
	b.says(b.get("/loops/"+string(file.Loop.Tag)+"/handover"), "it may freeze", "in the owner's units")
	label := b.get("/loops/" + string(file.Loop.Tag) + "/label")
	b.says(label, "3\u00a0°F ± ", "the label speaks the owner's units too")
	assert.NotContains(t, label.Body.String(), "°C")
	tag := b.taken(intakeForm(nil))
	b.says(b.get("/loops/"+string(tag)+"/handover"), "The hand-over is not on record yet.", "before it")

	silent := b.settings()
	silent.Phone = ""
	b.takesSettings(silent)
	b.says(b.get("/loops/"+string(file.Loop.Tag)+"/handover"), "Leave it off and write to "+silent.From+".", "without a telephone")
}
