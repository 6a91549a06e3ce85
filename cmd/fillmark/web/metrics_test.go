// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
	"fillmark/notify"
)

// The text is read by Prometheus' own parser.
func TestMetricsAreReadByPrometheus(t *testing.T) {
	t.Parallel()
	pulse := web.NewPulse(time.Minute)
	b := newBench(t, func(d *web.Deps) { d.Pulse = pulse })
	file := b.ana()
	pulse.Swept(noon, 3, nil)
	pulse.Delivered(notify.Report{Delivered: 2, Refused: 1}, nil)
	b.get("/")
	b.get("/")
	b.get(b.ownerLink(file.Owner))
	b.get("/loops/ABC")
	w := b.get("/metrics")
	require.Equal(t, http.StatusOK, w.Code)
	parser := expfmt.NewTextParser(model.LegacyValidation)
	families, err := parser.TextToMetricFamilies(w.Body)
	require.NoError(t, err)
	requests := map[string]float64{}
	for _, m := range families["fillmark_requests_total"].GetMetric() {
		requests[m.GetLabel()[0].GetValue()+" "+m.GetLabel()[1].GetValue()] = m.GetCounter().GetValue()
	}
	assert.Equal(t, map[string]float64{"GET /{$} 200": 2, "GET /o/{token} 200": 1, "GET /loops/{tag} 422": 1}, requests)
	times := families["fillmark_request_seconds"].GetMetric()[0].GetHistogram()
	assert.Equal(t, uint64(4), times.GetSampleCount())
	buckets := times.GetBucket()
	require.Len(t, buckets, 8)
	assert.Equal(t, uint64(4), buckets[7].GetCumulativeCount())
	assert.Equal(t, 3.0, families["fillmark_reminders_total"].GetMetric()[0].GetCounter().GetValue())
	assert.Equal(t, float64(noon.Unix()), families["fillmark_last_sweep_timestamp_seconds"].GetMetric()[0].GetGauge().GetValue())
	mail := map[string]float64{}
	for _, m := range families["fillmark_mail_total"].GetMetric() {
		mail[m.GetLabel()[0].GetValue()] = m.GetCounter().GetValue()
	}
	assert.Equal(t, map[string]float64{"delivered": 2, "deferred": 0, "expired": 0, "refused": 1, "withdrawn": 0, "held": 0}, mail)
	gauge := func(name string) float64 { return families[name].GetMetric()[0].GetGauge().GetValue() }
	assert.Equal(t, 1.0, gauge("fillmark_mail_relay_up"))
	waiting := 0
	for _, err := range b.store.Waiting() {
		require.NoError(t, err)
		waiting++
	}
	assert.Equal(t, float64(waiting), gauge("fillmark_mail_queue_length"))
}

// How long mail waits, whether the relay takes it, and how old the last letter to
// ourselves is that came.
func TestMetricsTellHowMailStands(t *testing.T) {
	t.Parallel()
	pulse := web.NewPulse(time.Minute)
	b := newBench(t, func(d *web.Deps) { d.Pulse = pulse })
	gauges := func() map[string]float64 {
		parser := expfmt.NewTextParser(model.LegacyValidation)
		families, err := parser.TextToMetricFamilies(b.get("/metrics").Body)
		require.NoError(t, err)
		all := map[string]float64{}
		for name, f := range families {
			if f.GetType().String() == "GAUGE" && len(f.GetMetric()) == 1 {
				all[name] = f.GetMetric()[0].GetGauge().GetValue()
			}
		}
		return all
	}
	is := gauges()
	assert.Equal(t, 0.0, is["fillmark_mail_queue_oldest_seconds"])
	assert.Equal(t, 1.0, is["fillmark_mail_relay_up"])
	assert.NotContains(t, is, "fillmark_canary_age_seconds", "none is sent")

	b.ana() // the letter of the hand-over waits
	b.takesBounces()
	settings := b.shop.Settings()
	settings.Canary = 30 * time.Hour
	b.takesSettings(settings)
	assert.NotContains(t, gauges(), "fillmark_canary_age_seconds", "none came yet")
	require.NoError(t, b.store.PutCanary(loops.Canary{}.WithSent(noon.Add(-26*time.Hour)).WithArrived(noon.Add(-26*time.Hour), noon)))
	pulse.Delivered(notify.Report{Deferred: 1, RelayFault: errors.New("connection refused")}, nil)
	var oldest time.Time
	for m, err := range b.store.Waiting() {
		require.NoError(t, err)
		if oldest.IsZero() || m.Created.Before(oldest) {
			oldest = m.Created
		}
	}
	b.now = b.now.Add(90 * time.Minute)
	is = gauges()
	assert.Equal(t, b.now.Sub(oldest).Seconds(), is["fillmark_mail_queue_oldest_seconds"])
	assert.GreaterOrEqual(t, is["fillmark_mail_queue_oldest_seconds"], 5400.0)
	assert.Equal(t, 0.0, is["fillmark_mail_relay_up"])
	assert.Equal(t, 27.5*3600, is["fillmark_canary_age_seconds"])
	pulse.Delivered(notify.Report{Delivered: 1}, nil)
	assert.Equal(t, 1.0, gauges()["fillmark_mail_relay_up"])
}

func TestMetricsAreForThisComputerOrTheSignedIn(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.technician("Bo")
	from := func(peer string) int {
		r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1/metrics", nil)
		r.RemoteAddr = peer
		return b.do(r).Code
	}
	assert.Equal(t, http.StatusOK, from("127.0.0.1:9"))
	assert.Equal(t, http.StatusSeeOther, from("192.0.2.9:9"))
	b.signIn("Bo")
	assert.Equal(t, http.StatusOK, from("192.0.2.9:9"))
}
