// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package postgres

import "time"

// Hasten has an engine wait less for its server than it does at work.
func Hasten(e *Engine, answer, patience time.Duration) { e.answer, e.patience = answer, patience }
