// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

// folderOwner is not told: modes and numbers of users mean nothing here.
func folderOwner(string) (id string, known bool) { return "", false }

// keptSecret lets every file pass: what keeps a key here is its folder's rights.
func keptSecret(string) error { return nil }
