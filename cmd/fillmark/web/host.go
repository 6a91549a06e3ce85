// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// allowedHosts answers only requests for a loopback name or one of the hosts.
// A page elsewhere whose name was pointed at this computer (DNS rebinding)
// still says its own name in the Host header and gets nothing.
func allowedHosts(hosts []string, next http.Handler) http.Handler {
	allowed := map[string]bool{"localhost": true}
	for _, h := range hosts {
		allowed[hostName(h)] = true
	}
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		name := hostName(r.Host)
		address, err := netip.ParseAddr(name)
		loopback := err == nil && address.Unmap().IsLoopback()
		if name == "" || !loopback && !allowed[name] {
			http.Error(w, "This program does not answer to that name. Use http://127.0.0.1, or add the name to its configuration.", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// hostName is a Host header without port, brackets, a closing dot and case.
func hostName(host string) string {
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	return strings.ToLower(strings.TrimSuffix(host, "."))
}
