// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"os"
	"slices"
	"strings"

	"fillmark/loops"
	"fillmark/loops/photos"
)

// maxFormPhotos is how many photos one sending of a form takes.
const maxFormPhotos = 4

// maxFieldBytes bounds one field of a form with photos; all fields together
// may hold what a form without any may.
const maxFieldBytes = 8 << 10

// photoField is what is marked where something is wrong with a photo.
const photoField = "photo"

// tooMany marks the photos of a form of which more were sent than are taken; it
// returns any other error.
func (f *form) tooMany(err error) error {
	if problems := problemsOf(err); len(problems) == 1 && problems[0].Field == photoField {
		f.blame(photoField, problems[0].Right+"; the first ones are kept")
		return nil
	}
	return err
}

func isMultipart(r *http.Request) bool {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return err == nil && kind == "multipart/form-data"
}

// readParts reads a form with files part by part, so that the files need not
// all be in memory at once: at most so many of them. Of more the first are taken,
// and all fields, before that is an error. A field for a file in which none was
// chosen is passed over.
func readParts(r *http.Request, most int, file func(*multipart.Part) error, field func(name, value string)) error {
	parts, err := r.MultipartReader()
	if err != nil {
		return &loops.InvalidError{Field: "form", Value: r.Header.Get("Content-Type"), Reason: "the form as its page sends it"}
	}
	files, total := 0, 0
	var over error
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return over
		}
		if err != nil {
			return formFault(err)
		}
		if part.FileName() != "" {
			if files++; files > most {
				over = &loops.InvalidError{Field: photoField, Value: part.FileName(), Reason: fmt.Sprintf("at most %d at a time", most)}
				continue
			}
			if err := file(part); err != nil {
				return err
			}
			continue
		}
		value, err := io.ReadAll(io.LimitReader(part, maxFieldBytes+1))
		if err != nil {
			return formFault(err)
		}
		if total += len(part.FormName()) + len(value); len(value) > maxFieldBytes || total > maxBody {
			return &loops.InvalidError{Field: part.FormName(), Value: "too long", Reason: fmt.Sprintf("at most %d bytes", maxFieldBytes)}
		}
		field(part.FormName(), strings.TrimSpace(strings.ReplaceAll(string(value), "\r\n", "\n")))
	}
}

// formFault keeps errors that say what would be right, and turns what the
// multipart reader says into one of these.
func formFault(err error) error {
	var tooLong *http.MaxBytesError
	if errors.As(err, &tooLong) || len(problemsOf(err)) > 0 {
		return err
	}
	return &loops.InvalidError{Field: "form", Value: err.Error(), Reason: "a whole form; send it again"}
}

// partOf reads a file of a form; what is wrong with the form says what would be
// right.
type partOf struct{ *multipart.Part }

func (p partOf) Read(b []byte) (int, error) {
	n, err := p.Part.Read(b)
	if err != nil && !errors.Is(err, io.EOF) {
		err = formFault(err)
	}
	return n, err
}

// postedWithPhotos reads the body of a POST whose files are photos: each is
// kept as it comes, and [form.Kept] lists them. One that is refused is marked
// in the form.
func (s *server) postedWithPhotos(r *http.Request) (*form, error) {
	if !isMultipart(r) {
		return postedForm(r)
	}
	f := newForm(nil)
	return f, f.tooMany(readParts(r, maxFormPhotos, func(part *multipart.Part) error {
		kept, err := s.Workshop.KeepPhoto(part.FileName(), partOf{part})
		if err == nil {
			f.typed.Add("kept", kept.Hash)
		}
		return f.take(err, map[string]string{photoField: photoField})
	}, f.typed.Add))
}

// uploaded is a file that waits on the disk until it is known what it is for.
type uploaded struct {
	name  string
	spool *os.File
}

// remove takes the file away again; nil is none.
func (u *uploaded) remove() {
	if u != nil {
		_ = errors.Join(u.spool.Close(), os.Remove(u.spool.Name())) // nobody reads it any more
	}
}

// postedWithFile reads the body of a POST with one file at most, a photo or a
// log; it is not kept yet. The caller removes it.
func postedWithFile(r *http.Request) (*form, *uploaded, error) {
	if !isMultipart(r) {
		f, err := postedForm(r)
		return f, nil, err
	}
	f := newForm(nil)
	var photo *uploaded
	err := readParts(r, 1, func(part *multipart.Part) error {
		spool, err := os.CreateTemp("", "fillmark-upload-*")
		if err != nil {
			return err
		}
		photo = &uploaded{part.FileName(), spool}
		if _, err = io.Copy(spool, io.LimitReader(partOf{part}, photos.MaxBytes+1)); err == nil {
			_, err = spool.Seek(0, io.SeekStart)
		}
		return err
	}, f.typed.Add)
	return f, photo, err
}

// Kept lists the photos that are kept already and go with the form, by hash.
func (f *form) Kept() []string {
	kept := slices.Clone(f.typed["kept"])
	slices.Sort(kept)
	return slices.Compact(kept)
}
