// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"fillmark/loops"
	"fillmark/loops/store"
)

// closedFile is the bytes of a store with records in it, and a path for a
// damaged copy.
func closedFile(t *testing.T) (content []byte, path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "shop.fillmark")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	for range 8 {
		require.NoError(t, s.Commit(workshop(t, s)))
	}
	require.NoError(t, s.Close())
	content, err = os.ReadFile(path)
	require.NoError(t, err)
	return content, path
}

func TestNewFileIsPrivate(t *testing.T) {
	t.Parallel()
	s := open(t)
	info, err := os.Stat(s.Path())
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode())
	files, err := os.ReadDir(filepath.Dir(s.Path()))
	require.NoError(t, err)
	assert.Len(t, files, 1, "nothing is left beside the store")
}

func TestSecondOpenIsTold(t *testing.T) {
	t.Parallel()
	s := open(t)
	_, err := store.Open(s.Path(), store.Options{Timeout: 10 * time.Millisecond})
	assert.ErrorIs(t, err, loops.ErrInUse)
	_, err = store.Open(s.Path(), store.Options{Timeout: 10 * time.Millisecond, ReadOnly: true})
	assert.ErrorIs(t, err, loops.ErrInUse)
}

func TestReadOnly(t *testing.T) {
	t.Parallel()
	_, path := closedFile(t)
	s, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	sound(t, s)
	c := change("rename")
	owner, err := s.Owner(1)
	require.NoError(t, err)
	c.Owners = append(c.Owners, owner)
	assert.Error(t, s.Commit(c))
	require.NoError(t, s.Close())
	_, err = s.Owner(1)
	assert.Error(t, err, "closed")
	_, err = store.Open(path+".none", store.Options{ReadOnly: true})
	assert.ErrorIs(t, err, os.ErrNotExist)
}

func TestForeignFiles(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		write func(t *testing.T, path string)
	}{
		{"text", func(t *testing.T, path string) {
			require.NoError(t, os.WriteFile(path, bytes.Repeat([]byte("not a store\n"), 2000), 0o600))
		}},
		{"one byte", func(t *testing.T, path string) {
			require.NoError(t, os.WriteFile(path, []byte("x"), 0o600))
		}},
		{"bbolt file of another program", func(t *testing.T, path string) {
			db, err := bolt.Open(path, 0o600, nil)
			require.NoError(t, err)
			require.NoError(t, db.Update(func(tx *bolt.Tx) error {
				_, err := tx.CreateBucket([]byte("recipes"))
				return err
			}))
			require.NoError(t, db.Close())
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), "foreign")
			c.write(t, path)
			before, err := os.ReadFile(path)
			require.NoError(t, err)
			_, err = store.Open(path, store.Options{})
			require.ErrorIs(t, err, loops.ErrForeign)
			after, err := os.ReadFile(path)
			require.NoError(t, err)
			assert.Equal(t, before, after, "the file changed")
			// It was let go of.
			_, err = store.Open(path, store.Options{Timeout: 10 * time.Millisecond})
			assert.ErrorIs(t, err, loops.ErrForeign)
		})
	}
}

func TestTruncatedAnywhere(t *testing.T) {
	t.Parallel()
	content, path := closedFile(t)
	for size := 1; size < len(content); size += 1777 {
		require.NoError(t, os.WriteFile(path, content[:size], 0o600))
		s, err := store.Open(path, store.Options{Timeout: 50 * time.Millisecond})
		if err != nil {
			assert.True(t, errIsAny(err, loops.ErrDamaged, loops.ErrForeign), "%d bytes: %v", size, err)
			continue
		}
		// Only free pages were cut off.
		sound(t, s)
		require.NoError(t, s.Close())
	}
}

// A flipped bit anywhere is refused at open, found by the check, or was in
// bytes that no record is on; it never panics and never hangs. The file is
// compacted first, so that few pages are free.
func TestCampaignFlippedBits(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shop.fillmark")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	everything(t, s)
	for range 60 {
		require.NoError(t, s.Commit(workshop(t, s)))
	}
	_, _, err = s.Compact(t.Context())
	require.NoError(t, err)
	want := exportOf(t, s)
	require.NoError(t, s.Close())
	content, err := os.ReadFile(path)
	require.NoError(t, err)

	flips, random := campaign(t, 400, 20_000)
	refused, found, harmless := 0, 0, 0
	for n := range flips {
		damaged := bytes.Clone(content)
		at := random.IntN(len(damaged))
		damaged[at] ^= 1 << random.IntN(8)
		// A file that made bbolt panic stays locked in this process: each has a
		// name of its own.
		path := fmt.Sprintf("%s.%d", path, n)
		require.NoError(t, os.WriteFile(path, damaged, 0o600))
		s, err := store.Open(path, store.Options{Timeout: 5 * time.Second})
		if err != nil {
			require.NotErrorIs(t, err, loops.ErrInUse)
			refused++
			require.NoError(t, os.Remove(path))
			continue
		}
		report, err := s.Check(t.Context())
		require.NoError(t, err)
		if report.OK() {
			harmless++
			// A counter that was set forward hands out other ids, no taken ones: of
			// the first line, which has the counters, only the rest must be the same.
			assert.True(t, bytes.Equal(afterLine1(want), afterLine1(exportOf(t, s))), "byte %d: the check missed it", at)
		} else {
			found++
			_ = s.Export(t.Context(), io.Discard) // may fail, must not panic
		}
		require.NoError(t, s.Close())
		require.NoError(t, os.Remove(path))
	}
	t.Logf("of %d flipped bits %d were refused at open, %d found by the check, %d in bytes that nothing is read from", flips, refused, found, harmless)
	assert.Greater(t, found, flips/10)
}

func afterLine1(export []byte) []byte {
	_, rest, _ := bytes.Cut(export, []byte("\n"))
	return rest
}

// A small bucket stands in the value of its name, which bbolt copies to the heap: a
// wrong place in it would be one of foreign memory, so it is refused at open. There
// are more names than one page has room for.
func TestSmallBucketIsCheckedAtOpen(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shop.fillmark")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	everything(t, s)
	_, _, err = s.Compact(t.Context())
	require.NoError(t, err)
	require.NoError(t, s.Close())
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	small := 0
	for _, name := range []string{"bodies", "containers", "instruments", "sent", "technicians", "tokens", "watches"} {
		inPlace := append([]byte(name), make([]byte, 8)...) // root page 0: the page follows
		damaged := bytes.Clone(content)
		for from := 0; ; {
			at := bytes.Index(damaged[from:], inPlace)
			if at < 0 {
				break
			}
			from += at + len(inPlace)
			const sequence, pageHeader, flags = 8, 16, 4
			damaged[from+sequence+pageHeader+flags+2] ^= 1 // a mebibyte on
			small++
		}
		require.NoError(t, os.WriteFile(path, damaged, 0o600))
		_, err := store.Open(path, store.Options{})
		require.ErrorIs(t, err, loops.ErrDamaged, name)
		require.ErrorContains(t, err, "not where it was written", name)
	}
	assert.GreaterOrEqual(t, small, 7)
}

// With one root page damaged a store is not opened silently without its last
// write, and can be had without it.
func TestDamagedRoot(t *testing.T) {
	t.Parallel()
	content, path := closedFile(t)
	for _, at := range []int{16 + 20, os.Getpagesize() + 16 + 20} {
		damaged := bytes.Clone(content)
		damaged[at] ^= 4
		bad := fmt.Sprintf("%s.%d", path, at)
		require.NoError(t, os.WriteFile(bad, damaged, 0o600))
		_, err := store.Open(bad, store.Options{})
		require.ErrorIs(t, err, loops.ErrDamaged)
		assert.ErrorContains(t, err, "before the last write")
		require.NoError(t, store.Restore(t.Context(), bad, bad+".restored"))
		s, err := store.Open(bad+".restored", store.Options{})
		require.NoError(t, err)
		assert.GreaterOrEqual(t, len(collect(t, s.Loops())), 7)
		sound(t, s)
		require.NoError(t, s.Close())
	}
}

// A flipped bit in each record is found by its checksum and named.
func TestFlippedBitInARecord(t *testing.T) {
	t.Parallel()
	content, path := closedFile(t)
	at := bytes.LastIndex(content, []byte("Ana Fern"))
	require.Positive(t, at)
	for ; at >= 0; at = bytes.LastIndex(content[:at], []byte("Ana Fern")) {
		content[at] ^= 0x20 // every copy, old pages too
	}
	require.NoError(t, os.WriteFile(path, content, 0o600))
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	defer func() { assert.NoError(t, s.Close()) }()
	_, err = s.Owner(3)
	require.ErrorIs(t, err, loops.ErrDamaged)
	assert.ErrorContains(t, err, "owner 3")
	report, err := s.Check(t.Context())
	require.NoError(t, err)
	require.Len(t, report.Problems, 8)
	assert.Contains(t, report.Problems[2].String(), "owners 3: ")
}

// What the check must find, each put into the file behind the store's back.
func TestCheckNames(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		spoil  func(tx *bolt.Tx) error
		expect string
	}{
		{"due line missing", func(tx *bolt.Tx) error {
			k, _ := tx.Bucket([]byte("due")).Cursor().First()
			return tx.Bucket([]byte("due")).Delete(bytes.Clone(k))
		}, "due 2027-06-03/1/look: the line is missing"},
		{"tag too many", func(tx *bolt.Tx) error {
			return tx.Bucket([]byte("tags")).Put(append([]byte("7K3QXA"), store.IDKey(1)...), nil)
		}, "tags 7K3QXA/1: a line that no record asks for"},
		{"entry missing", func(tx *bolt.Tx) error {
			return tx.Bucket([]byte("history")).Delete(store.HistoryKey(2, 1))
		}, "loops 2: its last entry is given as 1, its history ends with 0"},
		{"owner missing", func(tx *bolt.Tx) error {
			return tx.Bucket([]byte("owners")).Delete(store.IDKey(4))
		}, "machines 4: its owner 4 is not there"},
		{"record under another key", func(tx *bolt.Tx) error {
			b := tx.Bucket([]byte("owners"))
			return b.Put(store.IDKey(77), bytes.Clone(b.Get(store.IDKey(1))))
		}, "owners 77: the record says its key is"},
		{"bucket of another program", func(tx *bolt.Tx) error {
			_, err := tx.CreateBucket([]byte("recipes"))
			return err
		}, "recipes: no bucket of a Fillmark store"},
		{"audit line missing", func(tx *bolt.Tx) error { return tx.Bucket([]byte("audit")).Delete(store.IDKey(8)) }, "audit: 7 lines, and 8 were written"},
		{"sign-in with a field more", func(tx *bolt.Tx) error {
			return tx.Bucket([]byte("sign-ins")).Put([]byte("ab"), stored(`{"v":1,"record":{"hash":"ab","technician":"rui","began":"2026-12-03T12:00:00Z","seen":"2026-12-03T12:00:00Z","for":"ever"}}`))
		}, `sign-ins ab: version 1: json: unknown field "for"`},
		{"password link of another version", func(tx *bolt.Tx) error {
			return tx.Bucket([]byte("tokens")).Put([]byte("cd"), stored(`{"v":2,"record":{"hash":"cd","expires":"2026-12-03T12:00:00Z"}}`))
		}, "tokens cd: version 2 of the record"},
		{"technician under another name", func(tx *bolt.Tx) error {
			return tx.Bucket([]byte("technicians")).Put([]byte("mia"), stored(`{"v":1,"record":{"name":"Rui","revision":1,"added":"2026-12-03T12:00:00Z"}}`))
		}, `technicians mia: the record says its key is "rui"`},
		{"message to an owner who is not there", func(tx *bolt.Tx) error {
			return tx.Bucket([]byte("messages")).Put([]byte("99/2026-12-03/receipt"), stored(`{"v":1,"record":{"key":"99/2026-12-03/receipt","owner":99,"purpose":"receipt",`+
				`"from":"","to":"","subject":"","created":"2026-12-03T12:00:00Z","pointless_after":"2026-12-03T12:00:00Z","status":"delivered"}}`))
		}, "messages 99/2026-12-03/receipt: its owner 99 is not there"},
		{"sample of a loop that is not there", func(tx *bolt.Tx) error {
			return tx.Bucket([]byte("samples")).Put(store.IDKey(1), stored(`{"v":1,"record":{"id":1,"revision":1,"loop":99,"taken":"2026-12-03","place":"shelf"}}`))
		}, "samples 1: its loop 99 is not there"},
		{"bucket missing", func(tx *bolt.Tx) error { return tx.DeleteBucket([]byte("audit")) }, "audit: the bucket is missing"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, path := closedFile(t)
			db, err := bolt.Open(path, 0o600, nil)
			require.NoError(t, err)
			require.NoError(t, db.Update(c.spoil))
			require.NoError(t, db.Close())
			s, err := store.Open(path, store.Options{})
			require.NoError(t, err)
			defer func() { assert.NoError(t, s.Close()) }()
			report, err := s.Check(t.Context())
			require.NoError(t, err)
			require.NotEmpty(t, report.Problems)
			assert.Contains(t, report.Problems[0].String(), c.expect)
		})
	}
}

// stored is the text as the file holds it, with its right checksum.
func stored(text string) []byte {
	return append(binary.BigEndian.AppendUint32(nil, store.Checksum([]byte(text))), text...)
}

// spoil deletes an index line behind the store's back.
func spoil(t *testing.T, path string) {
	t.Helper()
	db, err := bolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bolt.Tx) error {
		return tx.Bucket([]byte("tags")).Delete(append([]byte(tag(1)), store.IDKey(1)...))
	}))
	require.NoError(t, db.Close())
}
