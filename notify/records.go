// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"context"
	"errors"
	"net"
	"strings"
)

// Record is one TXT record that mail providers look for.
type Record struct {
	Kind  RecordKind `json:"kind"`
	Name  string     `json:"name"`
	Value string     `json:"value"`
	Note  string     `json:"note"` // when it is needed, or what to mind
}

// RecordKind is what a record is for.
type RecordKind string

// The kinds.
const (
	RecordDKIM  RecordKind = "DKIM"  // RFC 6376
	RecordSPF   RecordKind = "SPF"   // RFC 7208
	RecordDMARC RecordKind = "DMARC" // RFC 7489
)

// SPFRecord names the relay, a host or an IP address, as one that may send for
// the envelope's domain; where only this house knows it, the domain's own mail
// hosts.
func SPFRecord(domain, relayHost string) Record {
	value := "v=spf1 mx ~all"
	switch ip := net.ParseIP(relayHost); {
	case ip == nil && strings.Contains(relayHost, "."):
		value = "v=spf1 a:" + relayHost + " ~all"
	case ip == nil || !ip.IsGlobalUnicast() || ip.IsPrivate(): // of this computer or its house
	case ip.To4() != nil:
		value = "v=spf1 ip4:" + relayHost + " ~all"
	default:
		value = "v=spf1 ip6:" + relayHost + " ~all"
	}
	return Record{RecordSPF, domain, value,
		"one SPF record a name: where there is one, add to it; where your relay's provider names an include:, use that instead"}
}

// DMARCRecord asks for reports and for nothing to be refused yet.
func DMARCRecord(domain, reports string) Record {
	return Record{RecordDMARC, "_dmarc." + domain, "v=DMARC1; p=none; rua=mailto:" + reports,
		"p=none is enough for large providers; raise it to quarantine once the reports show nothing of yours failing"}
}

// RecordState is what was found where a record should be.
type RecordState string

// The states.
const (
	RecordThere   RecordState = "there"
	RecordMissing RecordState = "missing"
	RecordDiffers RecordState = "differs"
	RecordUnknown RecordState = "not checked" // the DNS did not answer
)

// CheckedRecord is a record and what the DNS says.
type CheckedRecord struct {
	Record
	State RecordState `json:"state"`
	Found string      `json:"found,omitempty"` // what stands there instead, or why nothing was checked
}

// LookupTXT asks the DNS for the TXT records of a name.
type LookupTXT func(ctx context.Context, name string) ([]string, error)

// CheckRecords compares records with what is published. DKIM's must hold the
// same key; of SPF and DMARC there must be exactly one, whatever else it says.
func CheckRecords(ctx context.Context, lookup LookupTXT, records []Record) []CheckedRecord {
	out := make([]CheckedRecord, len(records))
	for i, r := range records {
		texts, err := lookup(ctx, r.Name)
		out[i] = CheckedRecord{Record: r}
		var dns *net.DNSError
		if err != nil && !(errors.As(err, &dns) && dns.IsNotFound) {
			out[i].State, out[i].Found = RecordUnknown, err.Error()
			continue
		}
		out[i].State, out[i].Found = r.compare(texts)
	}
	return out
}

func (r Record) compare(published []string) (state RecordState, found string) {
	prefix, _, _ := strings.Cut(r.Value, ";")
	prefix, _, _ = strings.Cut(prefix, " ")
	var ours []string
	for _, text := range published {
		if strings.HasPrefix(text, prefix) {
			ours = append(ours, text)
		}
	}
	switch {
	case len(ours) == 0:
		return RecordMissing, ""
	case len(ours) > 1:
		return RecordDiffers, "more than one: " + strings.Join(ours, " | ")
	case r.Kind == RecordDKIM && tagValue(ours[0], "p") != tagValue(r.Value, "p"):
		return RecordDiffers, ours[0]
	case r.Kind == RecordDMARC && tagValue(ours[0], "p") == "":
		return RecordDiffers, ours[0]
	}
	return RecordThere, ours[0]
}

// tagValue reads one tag of a tag=value list (RFC 6376 3.2), blanks left out.
func tagValue(record, tag string) string {
	for pair := range strings.SplitSeq(record, ";") {
		name, value, _ := strings.Cut(pair, "=")
		if strings.TrimSpace(name) == tag {
			return strings.Join(strings.Fields(value), "")
		}
	}
	return ""
}
