// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"fillmark/notify"
)

func (a *app) dkimCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "dkim", Short: "DKIM: the key that signs mail, and its DNS record", Args: cobra.NoArgs}
	cmd.AddCommand(&cobra.Command{
		Use: "new", Short: "Make a key (RSA 2048, mode 0600) and print the DNS record", Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			path := c.dkimKeyFile()
			name, value, err := newDKIMKey(c, path)
			if err != nil {
				return err
			}
			return a.print(dkimAnswer{path, name, value}, func(p *printer) {
				p.line("Key written to %s. Publish this record in the zone of %s:", path, c.mailDomain())
				p.line("%s", notify.ZoneRecord(name, value))
			})
		},
	}, &cobra.Command{
		Use: "show", Short: "Print the DNS record of the key in use", Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			c, err := a.config()
			if err != nil {
				return err
			}
			path := c.dkimKeyFile()
			key, err := notify.ReadKey(path)
			if err != nil {
				return err
			}
			name, value, err := notify.DNSRecord(c.Mail.DKIMSelector, c.mailDomain(), &key.PublicKey)
			if err != nil {
				return err
			}
			return a.print(dkimAnswer{path, name, value}, func(p *printer) { p.line("%s", notify.ZoneRecord(name, value)) })
		},
	})
	return cmd
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
