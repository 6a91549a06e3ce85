// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"os"

	"fillmark/loops"
)

// bbolt believes what stands in a page: how long a key is, where it begins,
// which page is below. On a damaged page its own check faults in a goroutine
// of its own, which ends the process; a branch that points back at itself
// never ends; and a small bucket, which bbolt copies to the heap, makes slices
// of foreign memory that the garbage collector stumbles over. So the pages are
// followed here first, by reading the file: before a store is opened those
// that can do such harm, the branches and the small buckets, and before a
// check all of them. The layout is that of bbolt's file version 2.

const (
	pageHeader     = 16 // id u64, flags u16, count u16, overflow u32
	element        = 16 // branch: pos u32, key u32, page u64; leaf: flags u32, pos u32, key u32, value u32
	bucketHeader   = 16 // root page u64, sequence u64; root 0: the page follows
	flagBranch     = 0x01
	flagLeaf       = 0x02
	flagLeafBucket = 0x01
)

// pageWalk follows the pages that a transaction sees.
type pageWalk struct {
	file  io.ReaderAt
	size  int // of a page, in bytes
	pages uint64
	seen  []bool // of each page
	// leaves tells to read the leaves below a bucket's branches too, which are most
	// of the file; inside, that the pages now followed are a bucket's. Those of the
	// names of buckets are all read: small buckets stand there.
	leaves, inside bool
}

// checkPages gives an error that matches [loops.ErrDamaged] where following the
// pages from the root would leave the file, a page, or never end. The leaves are
// most of the file.
func (tx Tx) checkPages(leaves bool) (err error) {
	file, err := os.Open(tx.path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	size := tx.bolt.DB().Info().PageSize
	pages := uint64(tx.bolt.Size()) / uint64(size)
	w := pageWalk{file: file, size: size, pages: pages, seen: make([]bool, pages), leaves: leaves}
	return w.follow(uint64(tx.bolt.Cursor().Bucket().Root()))
}

// A root page is a page header and then magic u32, version u32, page size u32,
// flags u32, root page u64, sequence u64, free list u64, pages u64, transaction
// u64, and the FNV-1a of all these.
const (
	rootFields = 56
	rootSize   = pageHeader + rootFields + 8
)

// checkRoots gives an error that matches [loops.ErrDamaged] where one of the two
// root pages, which commits write in turn, is damaged. bbolt then takes the
// other one, which does not know of the last write.
func (tx Tx) checkRoots() (err error) {
	file, err := os.Open(tx.path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	for _, at := range []int{0, tx.bolt.DB().Info().PageSize} {
		page := make([]byte, rootSize)
		if _, err := file.ReadAt(page, int64(at)); err != nil {
			return err
		}
		sum := fnv.New64a()
		if _, err := sum.Write(page[pageHeader : pageHeader+rootFields]); err != nil {
			return err
		}
		if sum.Sum64() != binary.NativeEndian.Uint64(page[pageHeader+rootFields:]) {
			return fmt.Errorf("%w, or restore from this file to a new one to have it as it was before the last write: one of its two root pages is damaged", loops.ErrDamaged)
		}
	}
	return nil
}

// use notes that a page is referred to, which each is only once.
func (w *pageWalk) use(id uint64) error {
	if id < 2 || id >= w.pages { // the first two are bbolt's own
		return fmt.Errorf("%w: it points to page %d of %d", loops.ErrDamaged, id, w.pages)
	}
	if w.seen[id] {
		return fmt.Errorf("%w: page %d is used twice", loops.ErrDamaged, id)
	}
	w.seen[id] = true
	return nil
}

// read returns the first bytes of a page.
func (w *pageWalk) read(id uint64, size int) ([]byte, error) {
	b := make([]byte, size)
	if _, err := w.file.ReadAt(b, int64(id)*int64(w.size)); err != nil {
		return nil, fmt.Errorf("page %d: %w", id, err)
	}
	return b, nil
}

// follow checks a page in the file and what is below it.
func (w *pageWalk) follow(id uint64) error {
	if err := w.use(id); err != nil {
		return err
	}
	page, err := w.read(id, w.size)
	if err != nil {
		return err
	}
	overflow := uint64(binary.NativeEndian.Uint32(page[12:]))
	if got := binary.NativeEndian.Uint64(page); got != id || id+overflow >= w.pages {
		return fmt.Errorf("%w: page %d says that it is page %d and %d more", loops.ErrDamaged, id, got, overflow)
	}
	for i := range overflow {
		if err := w.use(id + 1 + i); err != nil {
			return err
		}
	}
	if overflow > 0 {
		if page, err = w.read(id, int(overflow+1)*w.size); err != nil {
			return err
		}
	}
	if err := w.elements(page); err != nil {
		return fmt.Errorf("page %d: %w", id, err)
	}
	return nil
}

// elements checks what is on a page, also on one that stands in the value of
// a small bucket.
func (w *pageWalk) elements(page []byte) error {
	if len(page) < pageHeader {
		return fmt.Errorf("%w: a page of %d bytes", loops.ErrDamaged, len(page))
	}
	flags, count := binary.NativeEndian.Uint16(page[8:]), int(binary.NativeEndian.Uint16(page[10:]))
	if pageHeader+count*element > len(page) {
		return fmt.Errorf("%w: %d elements on a page of %d bytes", loops.ErrDamaged, count, len(page))
	}
	switch {
	case flags == flagBranch && count > 0:
		return w.branch(page, count)
	case flags == flagLeaf:
		return w.leaf(page, count)
	}
	return fmt.Errorf("%w: a page of kind %#x with %d elements", loops.ErrDamaged, flags, count)
}

// field reads a u32 of an element of a page.
func field(page []byte, i, at int) int {
	return int(binary.NativeEndian.Uint32(page[pageHeader+i*element+at:]))
}

// branch checks the elements of a branch page and what is below.
func (w *pageWalk) branch(page []byte, count int) error {
	var below []uint64
	end := pageHeader + count*element
	for i := range count {
		var err error
		if end, err = behind(page, i, field(page, i, 0), field(page, i, 4), end); err != nil {
			return err
		}
		below = append(below, binary.NativeEndian.Uint64(page[pageHeader+i*element+8:]))
	}
	step := w.follow
	if w.inside && !w.leaves && below[0] < w.pages {
		// All leaves are equally deep: where one is below, all below are.
		first, err := w.read(below[0], pageHeader)
		if err != nil {
			return err
		}
		if binary.NativeEndian.Uint16(first[8:]) == flagLeaf {
			step = w.use
		}
	}
	for _, id := range below {
		if err := step(id); err != nil {
			return err
		}
	}
	return nil
}

// leaf checks the elements of a leaf page and the buckets in it.
func (w *pageWalk) leaf(page []byte, count int) error {
	end := pageHeader + count*element
	for i := range count {
		key, value := field(page, i, 8), field(page, i, 12)
		var err error
		if end, err = behind(page, i, field(page, i, 4), key+value, end); err != nil {
			return err
		}
		if field(page, i, 0)&flagLeafBucket == 0 {
			continue
		}
		if err := w.bucket(page[end-value : end]); err != nil {
			return err
		}
	}
	return nil
}

// behind returns where the bytes of an element end. They stand right behind
// those of the element before it, as bbolt writes them: otherwise some would
// have got lost.
func behind(page []byte, i, pos, size, end int) (int, error) {
	if pageHeader+i*element+pos != end || end+size > len(page) {
		return 0, fmt.Errorf("%w: element %d is not where it was written", loops.ErrDamaged, i)
	}
	return end + size, nil
}

// bucket checks the value of a bucket and what is below.
func (w *pageWalk) bucket(value []byte) error {
	if len(value) < bucketHeader {
		return fmt.Errorf("%w: a bucket of %d bytes", loops.ErrDamaged, len(value))
	}
	if root := binary.NativeEndian.Uint64(value); root != 0 {
		defer func(was bool) { w.inside = was }(w.inside)
		w.inside = true
		return w.follow(root)
	}
	return w.elements(value[bucketHeader:])
}
