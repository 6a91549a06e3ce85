// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

// StoreRevision tells states of a store apart: two that are equal stand for
// the same records. The numbers mean nothing else.
type StoreRevision struct {
	Write, Audit uint64
}
