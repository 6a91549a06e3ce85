// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"fmt"
	"path/filepath"
	"time"

	"github.com/robfig/cron/v3"

	"fillmark/cmd/fillmark/backups"
	"fillmark/loops"
)

// backupProblems are what cannot be in the section of backups.
func (c Config) backupProblems() (found []error) {
	wrong := func(key string, value any, right string) {
		found = append(found, &loops.InvalidError{Field: "backup." + key, Value: fmt.Sprint(value), Reason: right})
	}
	b := c.Backup
	if b.KeptDays < 0 || b.KeptDays > 36_500 {
		wrong("kept_days", b.KeptDays, "0 to 36500 days, 0 where nobody said")
	}
	for _, f := range []struct{ key, path string }{{"folder", b.Folder}, {"second_folder", b.SecondFolder}} {
		if f.path != "" && !filepath.IsAbs(f.path) {
			wrong(f.key, f.path, "an absolute path, or none")
		}
	}
	if b.SecondFolder != "" && (b.Folder == "" || filepath.Clean(b.SecondFolder) == filepath.Clean(b.Folder)) {
		wrong("second_folder", b.SecondFolder, "another folder than backup.folder, which is to be set too")
	}
	if err := checkCron(b.Cron); err != nil {
		wrong("cron", b.Cron, "five fields such as \"30 2 * * *\": "+err.Error())
	}
	for _, k := range []struct {
		key          string
		count, least int
	}{{"daily", b.Keep.Daily, 1}, {"weekly", b.Keep.Weekly, 0}, {"monthly", b.Keep.Monthly, 0}} {
		if k.count < k.least || k.count > 400 {
			wrong("keep."+k.key, k.count, fmt.Sprintf("%d to 400", k.least))
		}
	}
	if b.Recipient != "" {
		if _, err := backups.Recipient(b.Recipient); err != nil {
			wrong("recipient", b.Recipient, "one recipient of age such as fillmark backup --new-key prints, or none ("+err.Error()+")")
		}
	}
	return found
}

// keep is which backups stay.
func (c Config) keep() backups.Keep {
	k := c.Backup.Keep
	return backups.Keep{Days: k.Daily, Weeks: k.Weekly, Months: k.Monthly}
}

// nextBackup is when the one after an instant is to be made; the schedule was
// checked when loaded.
func (c Config) nextBackup(after time.Time) time.Time {
	plan, err := cron.ParseStandard(c.Backup.Cron)
	if err != nil {
		return time.Time{}
	}
	return plan.Next(after.In(c.Zone()))
}
