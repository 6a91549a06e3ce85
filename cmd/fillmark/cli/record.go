// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"context"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/acts"
)

// adding is how a kind of record is added by command.
type adding[T, Wrote any] struct {
	record         acts.Record[T]
	path           string
	short, example string
	// like is what a new one begins as; nil begins with nothing.
	like  func(context.Context, *client) (T, error)
	print func(*printer, Wrote)
}

// addCommand makes the command that adds a record, with a flag for each field;
// what is typed goes into said.
func addCommand[T, Wrote any](a *app, said acts.Said, d adding[T, Wrote]) *cobra.Command {
	fields := d.record.Fields()
	cmd := &cobra.Command{
		Use: "add" + neededFlags(fields), Short: d.short, Example: d.example, Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			var record T
			if err := d.record.Read(&record, said); err != nil { // told before a register is looked for
				return asFlags(err, fields)
			}
			var wrote Wrote
			err := a.with(cmd.Context(), func(c *client) (err error) {
				if d.like != nil {
					if record, err = d.like(cmd.Context(), c); err != nil {
						return err
					}
					if err = d.record.Read(&record, said); err != nil {
						return err
					}
				}
				wrote, err = call[Wrote](cmd.Context(), c, "POST", d.path, record)
				return err
			})
			if err != nil {
				return asFlags(err, fields)
			}
			return a.print(wrote, func(p *printer) { d.print(p, wrote) })
		},
	}
	fieldFlags(cmd.Flags(), fields, said)
	var needed []string
	for _, f := range fields {
		if f.Needed {
			needed = append(needed, f.Name)
		}
	}
	needFlags(cmd, needed...)
	return cmd
}

// editing is how a kind of record is changed by command: read, changed where
// something was typed, and written again.
type editing[T, Read, Wrote any] struct {
	record              acts.Record[T]
	use, short, example string
	args                cobra.PositionalArgs
	path                func(argument string) (string, error)
	in                  func(*Read) (record *T, revision *uint64)
	print               func(*printer, Wrote)
}

// editCommand makes the command that changes a record.
func editCommand[T, Read, Wrote any](a *app, e editing[T, Read, Wrote]) *cobra.Command {
	said := acts.Said{}
	var revision uint64
	fields := slices.DeleteFunc(e.record.Fields(), func(f acts.Field) bool { return f.Fixed })
	cmd := &cobra.Command{
		Use: "edit " + e.use + " [what changes]", Short: e.short, Example: e.example, Args: e.args,
		RunE: func(cmd *cobra.Command, args []string) error {
			path, err := e.path(args[0])
			if err != nil {
				return err
			}
			if len(said) == 0 {
				return &usageError{fmt.Errorf("nothing to change: give at least one flag with its new value")}
			}
			return a.with(cmd.Context(), func(c *client) error {
				read, err := call[Read](cmd.Context(), c, "GET", path, nil)
				if err != nil {
					return err
				}
				record, readAt := e.in(&read)
				if err := e.record.Read(record, said); err != nil {
					return asFlags(err, fields)
				}
				if revision != 0 {
					*readAt = revision
				}
				wrote, err := call[Wrote](cmd.Context(), c, "PUT", path, record)
				if err != nil {
					return asFlags(err, fields)
				}
				return a.print(wrote, func(p *printer) { e.print(p, wrote) })
			})
		},
	}
	fieldFlags(cmd.Flags(), fields, said)
	cmd.Flags().Uint64Var(&revision, "revision", 0, "the revision that was looked at, as show prints it; refuse if it changed since (default: the one read now)")
	return cmd
}

// below is the address of a record by its number.
func below(path string) func(string) (string, error) {
	return func(number string) (string, error) { return path + number, nil }
}

// oneNumber wants exactly one argument, a record's number.
func oneNumber[ID ~uint64](what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) != 1 {
			return &usageError{fmt.Errorf("%d arguments given; one is right: the number of the %s", len(args), what)}
		}
		var id ID
		if n, err := fmt.Sscanf(args[0]+" ", "%d ", &id); n != 1 || err != nil || fmt.Sprint(id) != args[0] || id == 0 {
			return &usageError{fmt.Errorf("%q: the number of the %s is right, such as 3", args[0], what)}
		}
		return nil
	}
}
