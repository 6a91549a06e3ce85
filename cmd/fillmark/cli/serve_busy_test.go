// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// somebody listens at the address and answers everything in words of their own.
func somebody(t *testing.T, address string) string {
	t.Helper()
	l, err := net.Listen("tcp", address)
	if err != nil {
		return address // somebody on this computer has it already, which will do
	}
	s := &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "somebody else") })}
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(l) }()
	t.Cleanup(func() {
		assert.NoError(t, s.Close())
		assert.ErrorIs(t, <-ended, http.ErrServerClosed)
	})
	return l.Addr().String()
}

func TestTryTakesAFreePortWhereItsOwnIsTaken(t *testing.T) {
	tmp, err := os.MkdirTemp("", "") // t.TempDir is too long for a socket's path
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, os.RemoveAll(tmp)) })
	t.Setenv("TMPDIR", tmp)
	somebody(t, "127.0.0.1:8377")
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	read, write := io.Pipe()
	ended := make(chan int, 1)
	var errOut bytes.Buffer
	go func() {
		code := Run(ctx, testNow, []string{"try"}, []string{"HOME=" + t.TempDir()}, strings.NewReader(""), write, &errOut)
		_ = write.Close() // a pipe has nothing to say
		ended <- code
	}()
	pages := regexp.MustCompile(`Pages: (http://[^/ ]+)/start/\S+ .*Mail: (.*)`)
	var at, mail string
	for lines := bufio.NewScanner(read); at == "" && lines.Scan(); {
		assert.NotContains(t, lines.Text(), ":8377", "an address that is somebody else's")
		if found := pages.FindStringSubmatch(lines.Text()); found != nil {
			at, mail = found[1], found[2]
		}
	}
	go func() { _, _ = io.Copy(io.Discard, read) }()
	if !assert.NotEmpty(t, at, "no address was printed") {
		t.Fatalf("exit %d: %s", <-ended, errOut.String())
	}

	letters, err := filepath.Glob(filepath.Join(mail, "new", "*"))
	require.NoError(t, err)
	require.NotEmpty(t, letters)
	linked := 0
	for _, name := range letters {
		raw, err := os.ReadFile(name)
		require.NoError(t, err)
		text := strings.ReplaceAll(string(raw), "=\r\n", "") // quoted-printable
		assert.False(t, strings.Contains(text, ":8377"), "a link in %s leads to somebody else", name)
		for _, link := range regexp.MustCompile(regexp.QuoteMeta(at)+`/[A-Za-z0-9/_-]+`).FindAllString(text, 1) {
			linked++
			answer, err := http.Get(link)
			require.NoError(t, err)
			page, err := io.ReadAll(answer.Body)
			require.NoError(t, err)
			require.NoError(t, answer.Body.Close())
			assert.Equal(t, http.StatusOK, answer.StatusCode, link)
			assert.NotContains(t, string(page), "somebody else")
		}
	}
	assert.NotZero(t, linked, "no letter has a link to the pages")
	stop()
	assert.Zero(t, <-ended)
	assert.Contains(t, errOut.String(), "8377", "why it is another port than in the documentation")
}

func TestTryMakesNothingWhereTheAskedPortIsTaken(t *testing.T) {
	folder := t.TempDir()
	t.Setenv("TMPDIR", folder)
	taken := somebody(t, "127.0.0.1:0")
	code, out, errOut := runWith(t, folder, "", nil, "try", "--listen", taken)
	assert.Equal(t, exitFailed, code)
	assert.Empty(t, out)
	assertBusy(t, taken, errOut)
	made, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Empty(t, made)
}

func TestServeSaysThatItsPortIsTaken(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	code, _, errOut := runHere(t, folder, "owner", "add", "--name", "Ana Ruizado")
	require.Zero(t, code, errOut)
	taken := somebody(t, "127.0.0.1:0")
	code, out, errOut := runHere(t, folder, "serve", "--listen", taken)
	assert.Equal(t, exitFailed, code)
	assert.Empty(t, out)
	assertBusy(t, taken, errOut)
	code, out, errOut = runHere(t, folder, "owner", "list")
	assert.Zero(t, code, errOut)
	assert.Contains(t, out, "Ana Ruizado", "what was there is there")
}

// Links lead to the port that the pages have, whoever has the usual one; what
// is configured stays as it is.
func TestLinksLeadToThePagesOwnPort(t *testing.T) {
	t.Parallel()
	for name, tt := range map[string]struct {
		env  []string
		want string // empty: the pages' own address
	}{
		"default":    {},
		"configured": {[]string{"FILLMARK_BASE_URL=https://loops.workshop.example"}, "https://loops.workshop.example"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			folder := t.TempDir()
			address, stop := startDaemonWith(t, folder, tt.env)
			want := tt.want
			if want == "" {
				want = address
			}
			code, out, errOut := runHere(t, folder, "technician", "add", "Bo", "--link")
			require.Zero(t, code, errOut)
			assert.Contains(t, out, want+"/password/")
			for _, args := range [][]string{
				{"owner", "add", "--name", "Ana Ruizado", "--email", "ana@garden.example", "--mail-consent"},
				{"machine", "add", "--owner", "1", "--kind", "desktop", "--name", "tower"},
				{"loop", "add", "--machine", "1", "--holds", "480ml", "--open", "--no-frost"},
			} {
				code, out, errOut = runHere(t, folder, args...)
				require.Zero(t, code, errOut)
			}
			tag := regexp.MustCompile(`Its tag is (\w+)`).FindStringSubmatch(out)[1]
			for _, args := range [][]string{
				{"loop", "fill", tag, "--fluid", "pg", "--mass", "40%", "--poured", "470ml", "--day", "2026-11-26"},
				{"loop", "leakcheck", tag, "--hours", "24h", "--dry"},
				{"loop", "handover", tag, "--mail-consent", "--unproved", "no load here"},
			} {
				code, _, errOut = runHere(t, folder, args...)
				require.Zero(t, code, errOut)
			}
			code, out, errOut = runHere(t, folder, "outbox", "list", "--json")
			require.Zero(t, code, errOut)
			var waiting struct{ Items []struct{ Key string } }
			require.NoError(t, json.Unmarshal([]byte(out), &waiting))
			require.Len(t, waiting.Items, 1)
			code, out, errOut = runHere(t, folder, "outbox", "show", waiting.Items[0].Key, "--json")
			require.Zero(t, code, errOut)
			var letter struct{ Raw []byte }
			require.NoError(t, json.Unmarshal([]byte(out), &letter))
			text := strings.ReplaceAll(string(letter.Raw), "=\r\n", "") // quoted-printable
			links := regexp.MustCompile(`https?://[^/\s]+`).FindAllString(text, -1)
			if tt.want == "" { // nobody elsewhere could open it
				assert.Empty(t, links)
				assert.Contains(t, text, "mailto:")
			} else {
				require.NotEmpty(t, links)
			}
			for _, link := range links {
				assert.Equal(t, want, link)
			}
			assert.Zero(t, stop())
		})
	}
}

// assertBusy wants one line, and no address in it that could be taken for ours.
func assertBusy(t *testing.T, taken, errOut string) {
	t.Helper()
	assert.Regexp(t, `^fillmark: error: listen: "`+regexp.QuoteMeta(taken)+`" is taken by another program; [^\n]*--listen[^\n]*\n$`, errOut)
	assert.NotContains(t, errOut, "http://")
}
