// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fillmark/notify"
)

func (a *app) dkimCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "dkim", Short: "DKIM: the key that signs mail, and the DNS records for it", Args: cobra.NoArgs}
	cmd.AddCommand(a.dkimNewCommand(), a.dkimShowCommand(), a.dkimRecordsCommand(), a.dkimCheckCommand(), a.dkimRotateCommand())
	return cmd
}

func (a *app) dkimNewCommand() *cobra.Command {
	return &cobra.Command{
		Use: "new", Short: "Make a key (RSA 2048, mode 0600) and print the DNS record", Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			if k, there, err := c.signingKey(); there || err != nil {
				return errors.Join(err, fmt.Errorf("dkim new: %s is there already; fillmark dkim rotate makes the next one", k.File))
			}
			path := c.Mail.DKIMKeyFile
			if path == "" {
				path = filepath.Join(c.keysDir(), c.Mail.DKIMSelector+".pem")
			}
			name, value, err := newDKIMKey(c, path)
			if err != nil {
				return err
			}
			return a.print(dkimAnswer{path, name, value}, func(p *printer) {
				p.line("Key written to %s. Publish this record in the zone of %s:", path, c.mailDomain())
				p.line("%s", notify.ZoneRecord(name, value))
			})
		},
	}
}

func (a *app) dkimShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show", Short: "Print the DNS record of the key in use", Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			k, there, err := c.signingKey()
			if err == nil && !there {
				err = fmt.Errorf("dkim: there is no key; fillmark dkim new makes one: %w", fs.ErrNotExist)
			}
			if err != nil {
				return err
			}
			r, err := k.record(c.mailDomain())
			if err != nil {
				return err
			}
			return a.print(dkimAnswer{k.File, r.Name, r.Value}, func(p *printer) { p.line("%s", notify.ZoneRecord(r.Name, r.Value)) })
		},
	}
}

func (a *app) dkimRecordsCommand() *cobra.Command {
	return &cobra.Command{
		Use: "records", Short: "Print the DKIM, SPF and DMARC records that providers look for", Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			records, err := c.mailRecords()
			if err != nil {
				return err
			}
			return a.print(items[notify.Record]{Items: records}, func(p *printer) {
				p.line("%d TXT records for mail from %s.", len(records), c.Mail.From)
				for _, r := range records {
					p.line("")
					p.paragraph("; ", "; ", string(r.Kind)+": "+r.Note)
					p.line("%s", strings.TrimRight(notify.ZoneRecord(r.Name, r.Value), "\n"))
				}
			})
		},
	}
}

// lookupTime bounds all questions to the DNS of one command.
const lookupTime = 20 * time.Second

func (a *app) dkimCheckCommand() *cobra.Command {
	return &cobra.Command{
		Use: "check", Short: "Compare the published records with what they should be", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			records, err := c.mailRecords()
			if err != nil {
				return err
			}
			checked := a.checkRecords(cmd.Context(), records)
			if err := a.print(items[notify.CheckedRecord]{Items: checked}, func(p *printer) { printChecked(p, checked) }); err != nil {
				return err
			}
			for _, r := range checked {
				if r.State != notify.RecordThere {
					return errors.New("dkim check: not every record is there as it should be")
				}
			}
			return nil
		},
	}
}

func (a *app) checkRecords(ctx context.Context, records []notify.Record) []notify.CheckedRecord {
	ctx, cancel := context.WithTimeout(ctx, lookupTime)
	defer cancel()
	lookup := a.lookupTXT
	if lookup == nil {
		lookup = net.DefaultResolver.LookupTXT
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
	cmd := &cobra.Command{
		Use: "rotate", Short: "Change the key in two steps: make the next, then sign with it", Args: noArgs,
		Long: `Change the key in two steps. The first makes the next key and prints its record
to publish; mail is still signed with the old one. The second, --now, looks
whether the record is published and signs with the new key from then on. Keep
the old record for a week: mail signed with it may be on its way.`,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			if c.Mail.DKIMKeyFile != "" {
				return &usageError{errors.New("dkim rotate: mail.dkim_key_file names one file; without it the keys beside the register rotate")}
			}
			keys, err := c.dkimKeys()
			if err != nil {
				return err
			}
			var next *dkimKey
			for i, k := range keys {
				if k.State == keyNext {
					next = &keys[i]
				}
			}
			if now {
				return a.rotateNow(cmd.Context(), c, next, unchecked)
			}
			if next == nil {
				selector, path, err := c.nextKeyFile()
				if err != nil {
					return err
				}
				next = &dkimKey{selector, path + nextSuffix, keyNext}
				if _, _, err := newDKIMKey(c, next.File); err != nil {
					return err
				}
			}
			r, err := next.record(c.mailDomain())
			if err != nil {
				return err
			}
			return a.print(dkimAnswer{next.File, r.Name, r.Value}, func(p *printer) {
				p.line("The next key waits in %s. Publish its record:", next.File)
				p.line("%s", notify.ZoneRecord(r.Name, r.Value))
				p.line("Then run: fillmark dkim rotate --now")
			})
		},
	}
	cmd.Flags().BoolVar(&now, "now", false, "sign with the next key, once its record is published")
	cmd.Flags().BoolVar(&unchecked, "unchecked", false, "with --now: do not ask the DNS")
	return cmd
}

func (a *app) rotateNow(ctx context.Context, c config, next *dkimKey, unchecked bool) error {
	if next == nil {
		return &usageError{errors.New("dkim rotate --now: there is no next key; fillmark dkim rotate makes one")}
	}
	r, err := next.record(c.mailDomain())
	if err != nil {
		return err
	}
	if checked := a.checkRecords(ctx, []notify.Record{r})[0]; !unchecked && checked.State != notify.RecordThere {
		return fmt.Errorf("dkim rotate --now: the record of %s is %s %s; nothing changed. --unchecked goes on without asking", r.Name, checked.State, checked.Found)
	}
	path := strings.TrimSuffix(next.File, nextSuffix)
	if err := os.Rename(next.File, path); err != nil {
		return fmt.Errorf("dkim rotate: %w", err)
	}
	return a.print(dkimAnswer{path, r.Name, r.Value}, func(p *printer) {
		p.line("%s signs once the daemon starts anew. Keep the older record for a week.", path)
	})
}

// dkimAnswer is where a key is and the TXT record that publishes it.
type dkimAnswer struct {
	KeyFile string `json:"key_file"`
	Name    string `json:"name"`
	Value   string `json:"value"`
}

// newDKIMKey writes a new key and returns the TXT record that publishes it.
func newDKIMKey(c config, path string) (name, value string, err error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return "", "", fmt.Errorf("dkim key: %w", err)
	}
	key, err := notify.GenerateKey()
	if err != nil {
		return "", "", fmt.Errorf("dkim key: %w", err)
	}
	if err := notify.WriteKey(path, key); err != nil {
		return "", "", err
	}
	return notify.DNSRecord(c.Mail.DKIMSelector, c.mailDomain(), &key.PublicKey)
}
