// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bufio"
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify/links"
	"fillmark/testdata/peer"
	"fillmark/testdata/pictures"
	"fillmark/testdata/seeded"
)

// groupLimit is the memory of the small group, in bytes.
const groupLimit = 300 << 20

// smallGroup makes a group of processes that may have so much memory together,
// or skips and says why there is none. It returns the folder and the file that
// counts processes which were killed for want of memory.
func smallGroup(t *testing.T) (folder, killed string) {
	t.Helper()
	limit := "memory.max"
	folder, killed = "/sys/fs/cgroup", "memory.events"
	if _, err := os.Stat(filepath.Join(folder, "memory", "memory.limit_in_bytes")); err == nil {
		folder, limit, killed = filepath.Join(folder, "memory"), "memory.limit_in_bytes", "memory.oom_control" // version 1
	}
	folder = filepath.Join(folder, fmt.Sprintf("fillmark-test-%d", os.Getpid()))
	if err := os.Mkdir(folder, 0o755); err != nil {
		peer.Missing(t, "a control group", err)
	}
	t.Cleanup(func() { assert.NoError(t, os.Remove(folder)) })
	if err := os.WriteFile(filepath.Join(folder, limit), fmt.Append(nil, groupLimit), 0o600); err != nil {
		peer.Missing(t, "a control group with a bound on memory", err)
	}
	return folder, filepath.Join(folder, killed)
}

// residentMB is the memory that a process has in use, in megabytes.
func residentMB(t testing.TB, pid int) float64 {
	t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	require.NoError(t, err)
	for line := range strings.Lines(string(status)) {
		if rest, ok := strings.CutPrefix(line, "VmRSS:"); ok {
			kb, err := strconv.Atoi(strings.Fields(rest)[0])
			require.NoError(t, err)
			return float64(kb) / 1024
		}
	}
	require.Fail(t, "no VmRSS")
	return 0
}

// ownersWithLinks puts owners, each with a filled loop, into a new register, and
// returns the paths of their pages.
func ownersWithLinks(t *testing.T, c Config, n int) []string {
	t.Helper()
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	secrets, err := openSecrets(c.linkKeyFile(), false)
	require.NoError(t, err)
	keys, err := links.New(secrets)
	require.NoError(t, err)
	s := workshop.Stamp{At: testNow(), By: "local:test"}
	day := loops.DayOf(s.At, time.UTC)
	var paths []string
	for i := range n {
		owner, err := h.Workshop.AddOwner(s, loops.Owner{Name: fmt.Sprintf("Ana Ruizado the %d.", i)})
		require.NoError(t, err)
		machine, err := h.Workshop.AddMachine(s, loops.Machine{Owner: owner.ID, Kind: loops.Desktop, Name: "tower"})
		require.NoError(t, err)
		loop, err := h.Workshop.AddLoop(s, loops.Loop{Machine: machine.ID, Construction: loops.Construction{Volume: 0.5}})
		require.NoError(t, err)
		_, err = h.Workshop.Act(s, loop.Tag, &acts.Fill{Charge: loops.Charge{Origin: loops.Factory, FilledFrom: day, FilledTo: day}})
		require.NoError(t, err)
		paths = append(paths, "/o/"+keys.Sign(links.Owner, owner, s.At.AddDate(99, 0, 0))) // the daemon has the real clock
	}
	require.NoError(t, h.Close())
	return paths
}

// postInTime posts a form; where the server asks to wait, it waits and posts
// again.
func postInTime(t *testing.T, url, kind string, body []byte) (status int, page string) {
	t.Helper()
	for {
		r, err := http.Post(url, kind, bytes.NewReader(body))
		require.NoError(t, err)
		said, err := io.ReadAll(r.Body)
		require.NoError(t, err)
		require.NoError(t, r.Body.Close())
		if r.StatusCode != http.StatusTooManyRequests {
			return r.StatusCode, string(said)
		}
		wait, err := strconv.Atoi(r.Header.Get("Retry-After"))
		require.NoError(t, err)
		time.Sleep(time.Duration(wait) * time.Second)
	}
}

// A server with 300 MB has room for the whole program and its photo cell,
// whatever owners send: each answer is kept, nothing is killed, and the daemon's
// own memory moves by less than 20 MB.
func TestCampaignPhotosOnASmallServer(t *testing.T) {
	if !seeded.Long() {
		t.Skip("takes minutes: FILLMARK_CAMPAIGN=full")
	}
	folder, killed := smallGroup(t)
	program := filepath.Join(t.TempDir(), "fillmark")
	said, err := exec.CommandContext(t.Context(), peer.Program(t, "go"), "build", "-o", program, "fillmark/cmd/fillmark").CombinedOutput()
	require.NoError(t, err, "%s", said)
	home := t.TempDir()
	c := DefaultConfig(map[string]string{"HOME": home})
	c.Store = filepath.Join(home, "r.db")
	paths := ownersWithLinks(t, c, 11) // an owner may send a few photos a day

	serve := exec.Command("/bin/sh", "-c", `echo $$ >"$1"/cgroup.procs && shift && exec "$@"`, "sh", folder,
		program, "serve", "--store", c.Store, "--listen", "127.0.0.1:0")
	serve.Env = append(os.Environ(), "HOME="+home)
	errOut, err := serve.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, serve.Start())
	t.Cleanup(func() { assert.NoError(t, serve.Process.Signal(syscall.SIGTERM)); assert.NoError(t, serve.Wait()) })
	lines, address := bufio.NewScanner(errOut), ""
	for address == "" && lines.Scan() {
		_, address, _ = strings.Cut(lines.Text(), "Fillmark serves ")
	}
	require.NotEmpty(t, address)
	go func() {
		for lines.Scan() { // so that it never waits for a reader
		}
	}()

	var portrait, drawing bytes.Buffer
	require.NoError(t, jpeg.Encode(&portrait, pictures.Halves(6120, 8160), nil))
	require.NoError(t, png.Encode(&drawing, image.NewPaletted(image.Rect(0, 0, 7000, 7000), color.Palette{color.White, color.Black})))
	before, most, answered, kept := 0.0, 0.0, 0, 0
	for round, path := range paths {
		for i, photo := range [][]byte{
			portrait.Bytes(), drawing.Bytes(), pictures.LosslessWebP(7071, 7071), pictures.LosslessWebP(4000, 4000),
			pictures.LosslessWebP(16000, 3000), []byte("\xff\xd8\xff\xe0nothing"),
		} {
			var body bytes.Buffer
			form := multipart.NewWriter(&body)
			require.NoError(t, form.WriteField("answer", "off"))
			require.NoError(t, form.WriteField("words", fmt.Sprintf("wet spot %d", i)))
			file, err := form.CreateFormFile("photo", "a.jpg")
			require.NoError(t, err)
			_, err = file.Write(photo)
			require.NoError(t, err)
			require.NoError(t, form.Close())
			status, page := postInTime(t, address+path, form.FormDataContentType(), body.Bytes())
			require.Equal(t, http.StatusOK, status, page)
			answered++
			if strings.Contains(page, "The photo is not") {
				continue
			}
			kept++
		}
		// The first round warms it up: templates are parsed, caches filled.
		if most = max(most, residentMB(t, serve.Process.Pid)); round == 0 {
			before, most = most, 0
		}
	}
	t.Logf("%d answers, %d with a photo kept; the daemon's memory %.0f MB before, %.0f MB at most", answered, kept, before, most)
	assert.Less(t, most-before, 20.0, "MB")
	assert.Equal(t, 3*len(paths), kept, "the portrait, the drawing in two colours, and the WebP that fits")
	events, err := os.ReadFile(killed)
	require.NoError(t, err)
	assert.Contains(t, strings.Split(string(events), "\n"), "oom_kill 0")
}
