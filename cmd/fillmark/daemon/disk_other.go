// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build !linux && !darwin && !freebsd

package daemon

import "fillmark/cmd/fillmark/doctor"

// freeRoom is not told.
func freeRoom(string) (free uint64, told bool, err error) { return 0, false, nil }

// exposed looks at nothing: file modes do nothing here.
func (c Config) exposed() (all []doctor.Exposed, looked int) { return nil, 0 }
