// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/notify"
)

func TestOwnersUnitsInEverySentence(t *testing.T) {
	t.Parallel()
	in := grouped()
	in.Owner.Units = loops.USCustomary
	in.Cautions = []string{"It freezes at 0 °C: never leave it in the cold.", "First ice at −21.3 ± 1.4 °C.", "Room for 60 ml.", "From -40 °C on."}
	in.Items[0].Reason = "It lost 100 ml since spring"
	l, err := notify.ComposeReminder(in)
	require.NoError(t, err)
	_, parts := read(t, l.Raw)
	text := strings.Join(strings.Fields(parts["text/plain"]), " ")
	for _, want := range []string{"It freezes at 32 °F:", "First ice at -6.3 ± 2.5 °F.", "Room for 2 fl oz.", "From -40 °F on.", "It lost 3.4 fl oz since spring"} {
		assert.Contains(t, text, want)
	}
	assert.NotContains(t, text, "°C")
	sameWords(t, parts["text/plain"], parts["text/html"])
}

func TestBounceFolderReadsEachOnce(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	folder := notify.BounceFolder{Dir: dir}
	require.NoError(t, folder.Each(func(io.Reader) error { return errors.New("nothing is there") }))
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "new"), 0o700))
	for _, name := range []string{"1.good", "2.bad"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "new", name), []byte(name), 0o600))
	}
	var got []string
	read := func(r io.Reader) error {
		raw, err := io.ReadAll(r)
		require.NoError(t, err)
		got = append(got, string(raw))
		if string(raw) == "2.bad" && len(got) < 3 {
			return errors.New("the store is busy")
		}
		return nil
	}
	require.ErrorContains(t, folder.Each(read), "the store is busy")
	require.NoError(t, folder.Each(read), "what failed comes again")
	require.NoError(t, folder.Each(read))
	assert.Equal(t, []string{"1.good", "2.bad", "2.bad"}, got)
	assert.FileExists(t, filepath.Join(dir, "cur", "1.good:2,"))
}
