// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/daemon"
	"fillmark/notify"
)

func (a *app) dkimCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "dkim", Short: "DKIM: the key that signs mail, and the DNS records for it", Args: cobra.NoArgs}
	cmd.AddCommand(
		a.dkimNewCommand(),
		a.dkimSubcommand("records", "Print the DKIM, SPF and DMARC records that providers look for, and where the key is", a.dkimRecords),
		a.dkimSubcommand("check", "Compare the published records with what they should be", a.dkimCheck),
		a.dkimRotateCommand(),
	)
	return cmd
}

// dkimSubcommand is a command that needs the configuration and nothing else.
func (a *app) dkimSubcommand(use, short string, run func(context.Context, daemon.Config) error) *cobra.Command {
	return &cobra.Command{
		Use: use, Short: short, Example: "  fillmark dkim " + use, Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			return run(cmd.Context(), c)
		},
	}
}

func (a *app) dkimNewCommand() *cobra.Command {
	var second bool
	cmd := a.dkimSubcommand("new", "Make a key (RSA 2048, mode 0600) and print the DNS record", func(_ context.Context, c daemon.Config) error {
		k, there, err := c.Keys().Signing()
		after := ""
		switch {
		case err != nil:
			return err
		case second && !there:
			return notify.ErrNoDKIMKey
		case second:
			k, after = c.Keys().Second(), "Once it is published start the daemon again: mail then bears both signatures."
		case there:
			return fmt.Errorf("dkim new: %s is there already; fillmark dkim rotate makes the next one", k.File)
		default:
			k = c.Keys().First()
		}
		err = k.Write()
		if second && errors.Is(err, fs.ErrExist) {
			return fmt.Errorf("dkim new --ed25519: %s is there already; without that file mail is signed with the other key alone", k.File)
		}
		if err != nil {
			return err
		}
		return a.printKey(c, k, fmt.Sprintf("Key written to %s. Publish this record in the zone of %s:", k.File, c.MailDomain()), after)
	})
	cmd.Flags().BoolVar(&second, "ed25519", false, "make a key of this kind, whose signature stands beside the other (RFC 8463)")
	return cmd
}

// printKey prints where a key is and the record that publishes it, for people
// between two sentences; an empty one is left out.
func (a *app) printKey(c daemon.Config, k notify.DKIMKey, before, after string) error {
	r, err := k.Record(c.MailDomain())
	if err != nil {
		return err
	}
	return a.print(dkimAnswer{k.File, r.Name, r.Value}, func(p *printer) {
		if before != "" {
			p.line("%s", before)
		}
		p.line("%s", notify.ZoneRecord(r.Name, r.Value))
		if after != "" {
			p.line("%s", after)
		}
	})
}

func (a *app) dkimRecords(_ context.Context, c daemon.Config) error {
	records, err := c.MailRecords()
	if err != nil {
		return err
	}
	k, _, err := c.Keys().Signing() // there: a record of it was made
	if err != nil {
		return err
	}
	answer := struct {
		KeyFile string          `json:"key_file"`
		Items   []notify.Record `json:"items"`
	}{k.File, records}
	return a.print(answer, func(p *printer) {
		p.line("%d TXT records for mail from %s.", len(records), c.Mail.From)
		for _, r := range records {
			p.line("")
			p.paragraph("; ", "; ", string(r.Kind)+": "+r.Note)
			p.line("%s", strings.TrimRight(notify.ZoneRecord(r.Name, r.Value), "\n"))
		}
	})
}

// lookupTime bounds all questions to the DNS of one command.
const lookupTime = 20 * time.Second

func (a *app) dkimCheck(ctx context.Context, c daemon.Config) error {
	records, err := c.MailRecords()
	if err != nil {
		return err
	}
	checked := a.checkRecords(ctx, c, records)
	if err := a.print(items[notify.CheckedRecord]{Items: checked}, func(p *printer) { printChecked(p, checked) }); err != nil {
		return err
	}
	for _, r := range checked {
		if r.State != notify.RecordThere {
			return errors.New("dkim check: not every record is there as it should be")
		}
	}
	return nil
}

func (a *app) checkRecords(ctx context.Context, c daemon.Config, records []notify.Record) []notify.CheckedRecord {
	ctx, cancel := context.WithTimeout(ctx, lookupTime)
	defer cancel()
	lookup := a.lookupTXT
	if lookup == nil {
		lookup = c.LookupTXT
	}
	return notify.CheckRecords(ctx, lookup, records)
}

func printChecked(p *printer, checked []notify.CheckedRecord) {
	there := 0
	for _, r := range checked {
		if r.State == notify.RecordThere {
			there++
		}
	}
	p.line("%d of %d records are there.", there, len(checked))
	for _, r := range checked {
		p.line("  %-11s %-5s %s", r.State, r.Kind, r.Name)
		switch r.State {
		case notify.RecordMissing:
			p.paragraph("              ", "              ", "Publish: "+r.Value)
		case notify.RecordDiffers:
			p.paragraph("              ", "              ", "Found: "+r.Found+". Right: "+r.Value)
		case notify.RecordUnknown:
			p.paragraph("              ", "              ", "The DNS does not answer here, so nothing is known: "+r.Found)
		}
	}
}

func (a *app) dkimRotateCommand() *cobra.Command {
	var now, unchecked bool
	cmd := a.dkimSubcommand("rotate", "Change the key in two steps: make the next, then sign with it", func(ctx context.Context, c daemon.Config) error {
		if c.Mail.DKIMKeyFile != "" {
			return &usageError{errors.New("dkim rotate: mail.dkim_key_file names one file; without it the keys beside the register rotate")}
		}
		keys, err := c.Keys().Keys()
		if err != nil {
			return err
		}
		next := slices.IndexFunc(keys, func(k notify.DKIMKey) bool { return k.State == notify.KeyNext })
		switch {
		case now && next < 0:
			return &usageError{errors.New("dkim rotate --now: there is no next key; fillmark dkim rotate makes one")}
		case now:
			return a.rotateNow(ctx, c, keys[next], unchecked)
		case next < 0:
			k, err := c.Keys().Next()
			if err != nil {
				return err
			}
			if err := k.Write(); err != nil {
				return err
			}
			return a.printNext(c, k)
		}
		return a.printNext(c, keys[next])
	})
	cmd.Long = `Change the key in two steps. The first makes the next key and prints its record
to publish; mail is still signed with the old one. The second, --now, looks
whether the record is published and signs with the new key from then on. Keep
the old record for a week: mail signed with it may be on its way.`
	cmd.Example = "  fillmark dkim rotate\n  fillmark dkim rotate --now"
	cmd.Flags().BoolVar(&now, "now", false, "sign with the next key, once its record is published")
	cmd.Flags().BoolVar(&unchecked, "unchecked", false, "with --now: do not ask the DNS")
	return cmd
}

func (a *app) printNext(c daemon.Config, next notify.DKIMKey) error {
	return a.printKey(c, next, fmt.Sprintf("The next key waits in %s. Publish its record:", next.File), "Then run: fillmark dkim rotate --now")
}

func (a *app) rotateNow(ctx context.Context, c daemon.Config, next notify.DKIMKey, unchecked bool) error {
	r, err := next.Record(c.MailDomain())
	if err != nil {
		return err
	}
	if !unchecked {
		if checked := a.checkRecords(ctx, c, []notify.Record{r})[0]; checked.State != notify.RecordThere {
			return fmt.Errorf("dkim rotate --now: the record of %s is %s; nothing changed. --unchecked goes on without asking", r.Name, strings.TrimSpace(string(checked.State)+" "+checked.Found))
		}
	}
	path := strings.TrimSuffix(next.File, notify.NextSuffix)
	if err := os.Rename(next.File, path); err != nil {
		return fmt.Errorf("dkim rotate: %w", err)
	}
	return a.print(dkimAnswer{path, r.Name, r.Value}, func(p *printer) {
		p.line("%s signs once the daemon starts again. Keep the older record for a week.", path)
	})
}

// dkimAnswer is where a key is and the TXT record that publishes it.
type dkimAnswer struct {
	KeyFile string `json:"key_file"`
	Name    string `json:"name"`
	Value   string `json:"value"`
}
