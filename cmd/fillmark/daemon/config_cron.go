// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"errors"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// checkCron refuses a schedule before the cron parser sees what makes it
// panic (a zone prefix) or what would never fire.
func checkCron(spec string) error {
	if strings.HasPrefix(spec, "TZ=") || strings.HasPrefix(spec, "CRON_TZ=") {
		return errors.New("without a zone; the workshop's is used")
	}
	parsed, err := cron.ParseStandard(spec)
	if err != nil {
		return err
	}
	if parsed.Next(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return errors.New("this never comes")
	}
	return nil
}
