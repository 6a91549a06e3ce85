// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"context"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
)

// visit is what is known of a request besides what it says: where it comes
// from, and who signed in. It is made once, and filled by the handlers that
// find out.
type visit struct {
	// client is where the request comes from, as told by a declared proxy; not
	// valid over the Unix socket, in process, or where a proxy does not tell.
	client netip.Addr
	// direct tells that no declared proxy stands between.
	direct bool
	// technician is who signed in; empty where nobody did. secret is that of
	// their sign-in.
	technician, secret string
}

type visitKey struct{}

// visitOf returns the request's visit; an empty one outside the handler.
func visitOf(r *http.Request) *visit {
	if v, ok := r.Context().Value(visitKey{}).(*visit); ok {
		return v
	}
	return &visit{}
}

func withVisit(r *http.Request, proxy netip.Prefix) *http.Request {
	return r.WithContext(context.WithValue(r.Context(), visitKey{}, newVisit(r, proxy)))
}

func newVisit(r *http.Request, proxy netip.Prefix) *visit {
	peer, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return &visit{direct: true} // a Unix socket has no address
	}
	client := peer.Addr().Unmap().WithZone("")
	if !proxy.Contains(client) {
		return &visit{client: client, direct: true}
	}
	return &visit{client: forwardedFor(r.Header.Values("X-Forwarded-For"), proxy)}
}

// forwardedFor is the address that the declared proxy saw: the last in the
// header that is not the proxy's own. What stands before it anybody can write.
func forwardedFor(headers []string, proxy netip.Prefix) netip.Addr {
	for _, text := range slices.Backward(strings.Split(strings.Join(headers, ","), ",")) {
		text = strings.TrimSpace(text)
		if host, _, err := net.SplitHostPort(text); err == nil {
			text = host
		}
		address, err := netip.ParseAddr(text)
		if err != nil {
			return netip.Addr{}
		}
		if address = address.Unmap().WithZone(""); !proxy.Contains(address) {
			return address
		}
	}
	return netip.Addr{}
}

// here tells that the request comes from this computer, with no proxy between.
func (v *visit) here() bool { return v.direct && v.client.IsLoopback() }

// neighbourhood is the client's address as [throttle] counts it: IPv6 gives
// everybody a whole /64, so that is one.
func (v *visit) neighbourhood() string {
	if v.client.Is6() {
		if prefix, err := v.client.Prefix(64); err == nil {
			return prefix.String()
		}
	}
	return v.client.String()
}
