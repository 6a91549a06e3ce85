// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package photos

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime/debug"
	"slices"
	"time"
)

// Cell reads photos in a process of its own, so that a picture made to fill
// memory or to take for ever costs that process and not the one that asks. It
// is this same program, which sees in its environment that it is to be a cell:
// main calls [Serve] where [InCell] says so.
type Cell struct {
	// Program is the path of the program, Name what it is called by.
	Program, Name string
}

// OwnCell is a cell of the program that runs: its path, and the name that it
// was called by.
func OwnCell(name string) (Cell, error) {
	program, err := os.Executable()
	if err != nil {
		return Cell{}, fmt.Errorf("photos: cell: %w", err)
	}
	return Cell{program, name}, nil
}

// The bounds of a cell.
const (
	// cellSeconds is the processor time that a cell may take, cellWait how long
	// it may take by the clock.
	cellSeconds = 60
	cellWait    = 2 * time.Minute
	// maxAnswer bounds what a cell may answer.
	maxAnswer = 24 << 20
)

const cellVariable = "FILLMARK_PHOTO_CELL"

// InCell tells, by a process's environment, that it is to be a cell.
func InCell(env []string) bool { return slices.Contains(env, cellVariable+"=1") }

// ownFault is the status of a cell that failed before the picture had a part in
// it; where a picture makes it fail, Go's runtime or the system ends it with
// another.
const ownFault = 1

// answer is the first line of what a cell says; the two files follow.
type answer struct {
	Refused string `json:"refused,omitempty"`
	Width   int    `json:"width,omitempty"`
	Height  int    `json:"height,omitempty"`
	Full    int    `json:"full,omitempty"` // bytes
	Small   int    `json:"small,omitempty"`
}

// Serve is all that a cell does: it reads the file and writes the photo, within
// the bounds that it sets for itself first. It returns the exit status.
func Serve(file *os.File, out io.Writer) int {
	if err := confine(); err != nil {
		fmt.Fprintln(os.Stderr, "photo cell:", err)
		return ownFault
	}
	debug.SetGCPercent(20)
	debug.SetMemoryLimit(cellMemory / 4 * 3)
	content, err := contentOf(file)
	if err != nil {
		fmt.Fprintln(os.Stderr, "photo cell:", err)
		return ownFault
	}
	photo, err := Read(content)
	said := answer{Width: photo.Width, Height: photo.Height, Full: len(photo.JPEG), Small: len(photo.Small)}
	var refused *RefusedError
	switch {
	case errors.As(err, &refused):
		said = answer{Refused: refused.Reason}
	case err != nil:
		fmt.Fprintln(os.Stderr, "photo cell:", err)
		return ownFault
	}
	line, err := json.Marshal(said)
	if err != nil {
		return ownFault
	}
	for _, part := range [][]byte{append(line, '\n'), photo.JPEG, photo.Small} {
		if _, err := out.Write(part); err != nil {
			return ownFault
		}
	}
	return 0
}

// Read makes a photo of an uploaded file in a cell, or returns a
// [*RefusedError] as [Read] does, or where the cell was ended for what the file
// made it do.
func (c Cell) Read(ctx context.Context, file *os.File) (Photo, error) {
	info, err := file.Stat()
	if err != nil {
		return Photo{}, fmt.Errorf("photos: %w", err)
	}
	if info.Size() > MaxBytes {
		return Photo{}, tooLarge(info.Size())
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return Photo{}, fmt.Errorf("photos: %w", err)
	}
	ctx, cancel := context.WithTimeout(ctx, cellWait)
	defer cancel()
	var faults bytes.Buffer
	cmd := exec.CommandContext(ctx, c.Program)
	cmd.Args = []string{c.Name}
	cmd.Env = []string{cellVariable + "=1"}
	cmd.Stdin, cmd.Stderr = file, &limited{&faults, 4 << 10}
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		return Photo{}, fmt.Errorf("photos: cell: %w", err)
	}
	photo, readErr := readAnswer(io.LimitReader(out, maxAnswer))
	waitErr := cmd.Wait()
	var refused *RefusedError
	switch {
	case errors.As(readErr, &refused):
		return Photo{}, refused
	case cmd.ProcessState != nil && cmd.ProcessState.ExitCode() == ownFault:
		return Photo{}, fmt.Errorf("photos: %s", bytes.TrimSpace(faults.Bytes()))
	case waitErr != nil && ctx.Err() == nil || errors.Is(ctx.Err(), context.DeadlineExceeded):
		return Photo{}, &RefusedError{"a photo that can be read; this one made the reader take more than it may. Save it again in a picture program, smaller"}
	case waitErr != nil:
		return Photo{}, fmt.Errorf("photos: cell: %w", waitErr)
	case readErr != nil:
		return Photo{}, fmt.Errorf("photos: cell: %w", readErr)
	}
	return photo, nil
}

func readAnswer(out io.Reader) (Photo, error) {
	in := bufio.NewReader(out)
	line, err := in.ReadBytes('\n')
	if err != nil {
		return Photo{}, err
	}
	var said answer
	if err := json.Unmarshal(line, &said); err != nil {
		return Photo{}, err
	}
	if said.Refused != "" {
		return Photo{}, &RefusedError{said.Refused}
	}
	if said.Full < 1 || said.Small < 1 || said.Full+said.Small > maxAnswer {
		return Photo{}, errors.New("an answer of no photo's size")
	}
	p := Photo{Width: said.Width, Height: said.Height, JPEG: make([]byte, said.Full), Small: make([]byte, said.Small)}
	if _, err := io.ReadFull(in, p.JPEG); err != nil {
		return Photo{}, err
	}
	if _, err := io.ReadFull(in, p.Small); err != nil {
		return Photo{}, err
	}
	p.Hash = Hash(p.JPEG)
	return p, nil
}

// limited takes so many bytes and drops the rest.
type limited struct {
	to   io.Writer
	left int
}

func (l *limited) Write(p []byte) (int, error) {
	take := min(len(p), l.left)
	l.left -= take
	if _, err := l.to.Write(p[:take]); err != nil {
		return 0, err
	}
	return len(p), nil
}
