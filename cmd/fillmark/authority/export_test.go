// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package authority

// For is the authority when somebody lets it vouch for other hosts.
func (a *Authority) For(hosts ...string) *Authority {
	return &Authority{hosts: hosts, certificate: a.certificate, key: a.key, now: a.now}
}
