// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/notify"
)

// box is an outbox in memory that keeps the store's promises.
type box struct {
	mu       sync.Mutex // the deliverer reads while it sends
	messages map[loops.MessageKey]loops.Message
	log      []string
	writes   uint64
	broken   error
	bad      map[string]string // suppressed addresses and why
}

func newBox(keys ...loops.MessageKey) *box {
	b := &box{messages: map[loops.MessageKey]loops.Message{}}
	for _, key := range keys {
		b.messages[key] = loops.Message{Key: key, From: env.From, To: string(key) + "@garden.example", Raw: []byte("From: a@b.example\r\n\r\nx\r\n"),
			Status: loops.Queued, Created: sent, NextAttempt: sent, PointlessAfter: sent.AddDate(0, 0, 30)}
	}
	return b
}

func (b *box) NextQueued(now time.Time, limit int) ([]loops.Message, error) {
	var due []loops.Message
	for _, m := range b.messages {
		if m.Status == loops.Queued && !m.NextAttempt.After(now) {
			due = append(due, m)
		}
	}
	slices.SortFunc(due, func(x, y loops.Message) int {
		return cmp.Or(x.NextAttempt.Compare(y.NextAttempt), cmp.Compare(x.Key, y.Key))
	})
	return due[:min(limit, len(due))], b.broken
}

func (b *box) set(what string, key loops.MessageKey, change func(*loops.Message)) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	m, ok := b.messages[key]
	if !ok || m.Status != loops.Queued {
		return loops.ErrNotFound
	}
	change(&m)
	b.messages[key] = m
	b.writes++
	b.log = append(b.log, what+" "+string(key))
	return nil
}

func (b *box) Revision() (loops.StoreRevision, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return loops.StoreRevision{Write: b.writes}, nil
}

func (b *box) MarkAttempts(all []loops.Attempt, _ loops.StoreRevision, at time.Time, arrived ...loops.Arrival) (loops.StoreRevision, error) {
	for _, a := range arrived {
		if err := b.MarkDelivered(at, a.Claim, a.Key); err != nil {
			return loops.StoreRevision{}, err
		}
	}
	for _, a := range all {
		err := b.set("attempt", a.Key, func(m *loops.Message) {
			attempts := m.Attempts + 1
			*m = a.Message
			m.Attempts, m.LastAttempt, m.NextAttempt, m.Unsure = attempts, at, a.Next, true
		})
		if err != nil {
			return loops.StoreRevision{}, err
		}
	}
	return b.Revision()
}
func (b *box) MarkNotBegun(_ uint64, all []loops.Message) error {
	for _, was := range all {
		if err := b.set("not begun", was.Key, func(m *loops.Message) { *m = was }); err != nil {
			return err
		}
	}
	return nil
}

func (b *box) MarkWithdrawn(key loops.MessageKey, _ loops.StoreRevision, _ time.Time, why string, instead *loops.Message) error {
	if instead != nil {
		b.messages[instead.Key] = *instead
	}
	return b.set("withdrawn", key, func(m *loops.Message) { m.Status, m.Note = loops.Withdrawn, why })
}
func (b *box) MarkDelivered(_ time.Time, _ uint64, keys ...loops.MessageKey) error {
	for _, key := range keys {
		if err := b.set("delivered", key, func(m *loops.Message) { m.Status = loops.Delivered }); err != nil {
			return err
		}
	}
	return nil
}
func (b *box) MarkDeferred(key loops.MessageKey, _ uint64, next time.Time, attempts int, f loops.Failure) error {
	return b.set("deferred", key, func(m *loops.Message) {
		m.NextAttempt, m.Attempts, m.LastError, m.Unsure = next, attempts, f.Reason, f.Unsure
		if f.Lost {
			m.Lost++
		}
		if !m.Unsure {
			m.Signature = nil
		}
	})
}
func (b *box) MarkRefused(key loops.MessageKey, _ uint64, _ time.Time, f loops.Failure) error {
	return b.set("refused", key, func(m *loops.Message) { m.Status, m.LastError = loops.Refused, f.Reason })
}
func (b *box) MarkHeld(key loops.MessageKey, _ uint64, _ time.Time, f loops.Failure) error {
	return b.set("held", key, func(m *loops.Message) { m.Status, m.LastError = loops.Held, f.Reason })
}
func (b *box) MarkExpired(key loops.MessageKey, _ uint64, _ time.Time, reason string) error {
	return b.set("expired", key, func(m *loops.Message) { m.Status, m.LastError = loops.Expired, reason })
}

func (b *box) Suppression(address string) (loops.Suppression, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if reason, ok := b.bad[address]; ok {
		return loops.Suppression{Address: address, Reason: reason}, nil
	}
	return loops.Suppression{}, loops.ErrNotFound
}
func (b *box) Suppress(x loops.Suppression, _ string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.bad == nil {
		b.bad = map[string]string{}
	}
	b.bad[x.Address] = x.Reason
	return nil
}
func (b *box) RefusedInARow(address string) (int, error) {
	n := 0
	for _, m := range b.messages {
		if m.To == address && m.Status == loops.Refused {
			n++
		}
	}
	return n, nil
}

func (b *box) RefusedByRelay() ([]loops.Message, error) { return nil, nil }

func (b *box) TakeBack(loops.MessageKey, string, time.Time, time.Time) error {
	return loops.ErrNotFound
}

func (b *box) TookSince(time.Time, string) (bool, error) { return false, nil }

func (b *box) Unsuppress(string, string, time.Time) error { return loops.ErrNotFound }

// sendFunc is a transport made of one function; it logs into the box.
type sendFunc func(to string) error

func (f sendFunc) Open(context.Context) error { return nil }

func (f sendFunc) End() {}

func (f sendFunc) Send(_ context.Context, e notify.Envelope, _ []byte) error { return f(e.To) }

func deliverer(t testing.TB, b *box, send sendFunc) *notify.Deliverer {
	t.Helper()
	d, err := notify.NewDeliverer(b, nil, nil, sendFunc(func(to string) error {
		b.log = append(b.log, "send "+strings.TrimSuffix(to, "@garden.example"))
		return send(to)
	}), notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	return d
}

func TestDeliverRecordsTheAttemptBeforeDialling(t *testing.T) {
	t.Parallel()
	b := newBox("a", "b")
	rep, err := deliverer(t, b, func(string) error { return nil }).Deliver(t.Context(), sent)
	require.NoError(t, err)
	assert.Equal(t, notify.Report{Delivered: 2}, rep)
	assert.Equal(t, []string{"attempt a", "send a", "delivered a", "attempt b", "send b", "delivered b"}, b.log)
}

func TestDeliverGoesOnAfterOneRefusal(t *testing.T) {
	t.Parallel()
	b := newBox("a", "b", "c", "d")
	rep, err := deliverer(t, b, func(to string) error {
		switch to[0] {
		case 'a':
			return &notify.SendError{Code: 550, Err: errors.New("550 5.1.1 no such user")}
		case 'b':
			return &notify.SendError{Temporary: true, Code: 450, Err: errors.New("450 later")}
		case 'c':
			return errors.New("something nobody classified")
		}
		return nil
	}).Deliver(t.Context(), sent)
	require.NoError(t, err)
	assert.Equal(t, notify.Report{Delivered: 1, Deferred: 2, Refused: 1}, rep)
	assert.Equal(t, loops.Refused, b.messages["a"].Status)
	assert.Equal(t, "550 5.1.1 no such user", b.messages["a"].LastError)
	for _, key := range []loops.MessageKey{"b", "c"} {
		assert.Equal(t, loops.Queued, b.messages[key].Status)
		assert.Equal(t, sent.Add(30*time.Minute), b.messages[key].NextAttempt)
		assert.Equal(t, 1, b.messages[key].Attempts)
	}
}

// One "there is no such mailbox" is enough, three refusals without that word
// are, and a refusal for what we may never is.
func TestPermanentFailuresGiveAnAddressUp(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, status string
		address      bool
		after        int // refusals until the address is given up; zero for never
	}{
		{"no such mailbox", "5.1.1", true, 1},
		{"mailbox disabled", "5.2.1", true, 1},
		{"refused without a word", "", true, 3},
		{"mailbox full for good", "5.2.2", true, 3},
		{"policy", "5.7.1", true, 0},
		{"the content", "5.6.0", false, 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			b := newBox("a", "b", "c", "d")
			for key, m := range b.messages {
				m.To = "same@garden.example"
				b.messages[key] = m
			}
			tried := 0
			_, err := deliverer(t, b, func(string) error {
				tried++
				return &notify.SendError{Code: 550, Status: tc.status, Address: tc.address, Err: errors.New("550 " + tc.status)}
			}).Deliver(t.Context(), sent)
			require.NoError(t, err)
			want := tc.after
			if want == 0 {
				want = 4
			}
			assert.Equal(t, want, tried)
			assert.Equal(t, tc.after > 0, b.bad["same@garden.example"] != "")
			for _, m := range b.messages {
				assert.Equal(t, loops.Refused, m.Status)
			}
		})
	}
}

func TestRelayFaultHoldsEverythingAndMarksNobody(t *testing.T) {
	t.Parallel()
	b := newBox("a", "b", "c")
	rep, err := deliverer(t, b, func(string) error {
		return &notify.SendError{Temporary: true, RelayFault: true, Code: 535, Err: errors.New("535 wrong password")}
	}).Deliver(t.Context(), sent)
	require.NoError(t, err)
	require.ErrorContains(t, rep.RelayFault, "wrong password")
	assert.True(t, rep.RetryAt.After(sent))
	assert.Equal(t, []string{"attempt a", "send a", "deferred a"}, b.log, "one conversation, then the relay is left alone")
	for _, m := range b.messages {
		assert.Equal(t, loops.Queued, m.Status)
		assert.Zero(t, m.Attempts)
	}
}

// The relay is down for five days: what still helps then is sent, the rest
// expires with a note.
// Two who deliver at once, the daemon and a command, send nothing twice.
func TestOneDeliveryAtATime(t *testing.T) {
	t.Parallel()
	b := newBox("a", "b", "c")
	d := deliverer(t, b, func(string) error { return nil })
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			_, err := d.Deliver(t.Context(), sent)
			assert.NoError(t, err)
		})
	}
	all.Wait()
	assert.Len(t, b.log, 9, "three messages: attempt, send, delivered")
}

func TestRelayDownForFiveDays(t *testing.T) {
	t.Parallel()
	b := newBox("a", "b", "short")
	short := b.messages["short"]
	short.PointlessAfter = sent.AddDate(0, 0, 3)
	b.messages["short"] = short
	up := sent.AddDate(0, 0, 5)
	now := sent
	d := deliverer(t, b, func(string) error {
		if now.Before(up) {
			return &notify.SendError{Temporary: true, RelayFault: true, Err: errors.New("connection refused")}
		}
		return nil
	})
	for ; !now.After(up.Add(time.Hour)); now = now.Add(5 * time.Minute) {
		_, err := d.Deliver(t.Context(), now)
		require.NoError(t, err)
	}
	assert.Equal(t, loops.Delivered, b.messages["a"].Status)
	assert.Equal(t, loops.Delivered, b.messages["b"].Status)
	assert.Equal(t, loops.Expired, b.messages["short"].Status)
	assert.Contains(t, b.messages["short"].LastError, "no longer have helped")
	assert.Contains(t, b.messages["short"].LastError, "connection refused")
}

// One address that is never ready is given up after four to five days.
func TestPlanEnds(t *testing.T) {
	t.Parallel()
	b := newBox("a")
	d := deliverer(t, b, func(string) error {
		return &notify.SendError{Temporary: true, Code: 450, Err: errors.New("450 busy")}
	})
	tries, inFirstHour := 0, 0
	now := sent
	for b.messages["a"].Status == loops.Queued {
		if next := b.messages["a"].NextAttempt; next.After(now) {
			now = next
		}
		_, err := d.Deliver(t.Context(), now)
		require.NoError(t, err)
		tries++
		if now.Sub(sent) <= time.Hour {
			inFirstHour++
		}
	}
	assert.Equal(t, loops.Expired, b.messages["a"].Status)
	assert.Contains(t, b.messages["a"].LastError, "given up after")
	assert.Equal(t, 2, inFirstHour)
	assert.Equal(t, len(notify.DefaultRetryPlan())+1, tries)
	assert.Greater(t, now.Sub(sent), 4*24*time.Hour)
	assert.Less(t, now.Sub(sent), 5*24*time.Hour)
}

func TestDeliverLeavesAnUnsignableMessage(t *testing.T) {
	t.Parallel()
	b := newBox("a", "b")
	bad := b.messages["a"]
	bad.Raw = []byte("From: a@b.example\r\n\r\nbare\rCR\r\n")
	b.messages["a"] = bad
	s, _ := newSigner(t)
	var sentTo []string
	d, err := notify.NewDeliverer(b, nil, s, sendFunc(func(to string) error { sentTo = append(sentTo, to); return nil }), notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	rep, err := d.Deliver(t.Context(), sent)
	require.ErrorContains(t, err, "bare CR")
	assert.Equal(t, 1, rep.Delivered)
	assert.Equal(t, []string{"b@garden.example"}, sentTo)
}

func TestDeliverStopsWithContextAndStore(t *testing.T) {
	t.Parallel()
	b := newBox("a", "b")
	ctx, cancel := context.WithCancel(t.Context())
	_, err := deliverer(t, b, func(string) error { cancel(); return errors.New("cut") }).Deliver(ctx, sent)
	require.ErrorIs(t, err, context.Canceled)
	assert.Equal(t, 1, b.messages["a"].Attempts, "the attempt stays on record")
	assert.Zero(t, b.messages["b"].Attempts)

	b = newBox("a")
	b.broken = errors.New("disk full")
	_, err = deliverer(t, b, func(string) error { return nil }).Deliver(t.Context(), sent)
	assert.ErrorContains(t, err, "disk full")
}

func TestRetryPlanRefused(t *testing.T) {
	t.Parallel()
	for name, plan := range map[string]notify.RetryPlan{"empty": nil, "no wait": {0}, "a month": {31 * 24 * time.Hour}} {
		_, err := notify.NewDeliverer(newBox(), nil, nil, sendFunc(nil), plan, nil)
		assert.Error(t, err, name)
	}
}

// Composed, signed, queued and delivered into a folder, and still verified.
func TestWholeWay(t *testing.T) {
	t.Parallel()
	l, err := notify.ComposeReminder(reminder())
	require.NoError(t, err)
	key := loops.NewMessageKey(7, today, loops.PurposeReminder, "")
	b := newBox()
	b.messages[key] = l.Message(key, 7, loops.PurposeReminder, sent, sent.AddDate(0, 0, 14))
	s, record := newSigner(t)
	var got []byte
	d, err := notify.NewDeliverer(b, nil, s, catch{&got}, notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	rep, err := d.Deliver(t.Context(), sent)
	require.NoError(t, err)
	assert.Equal(t, 1, rep.Delivered)
	assert.True(t, verifyInGo(t, record, got))
	require.NoError(t, notify.Maildir{Dir: t.TempDir()}.Send(t.Context(), env, got))
}

type catch struct{ raw *[]byte }

func (c catch) Open(context.Context) error { return nil }

func (c catch) End() {}

func (c catch) Send(_ context.Context, _ notify.Envelope, raw []byte) error { *c.raw = raw; return nil }

// takenBox is an outbox whose messages another daemon has taken by the time that
// anything is put down about them.
type takenBox struct{ *box }

// taken is what the other one has made of it, and what is said of that.
func (b takenBox) taken(key loops.MessageKey) error {
	err := b.set("taken", key, func(m *loops.Message) { m.NextAttempt = sent.Add(time.Hour) })
	return errors.Join(err, fmt.Errorf("somebody else took it: %w (%w)", loops.ErrRepeated, loops.ErrConflict))
}

func (b takenBox) MarkDeferred(key loops.MessageKey, _ uint64, _ time.Time, _ int, _ loops.Failure) error {
	return b.taken(key)
}
func (b takenBox) MarkRefused(key loops.MessageKey, _ uint64, _ time.Time, _ loops.Failure) error {
	return b.taken(key)
}
func (b takenBox) MarkHeld(key loops.MessageKey, _ uint64, _ time.Time, _ loops.Failure) error {
	return b.taken(key)
}
func (b takenBox) MarkExpired(key loops.MessageKey, _ uint64, _ time.Time, _ string) error {
	return b.taken(key)
}

// What is not on record is not counted: whoever took the message says how it ended.
func TestOnlyWhatIsOnRecordIsCounted(t *testing.T) {
	t.Parallel()
	lost := &notify.SendError{Temporary: true, Unsure: true, Err: errors.New("smtp DATA: EOF")}
	for name, tc := range map[string]struct {
		change func(*box, *loops.Message)
		answer error
	}{
		"put off":   {nil, &notify.SendError{Temporary: true, Code: 451, Err: errors.New("451 later")}},
		"refused":   {nil, refusedAddressError()},
		"relay":     {nil, &notify.SendError{Temporary: true, RelayFault: true, Err: errors.New("421 closing")}},
		"held":      {func(_ *box, m *loops.Message) { m.Lost = 2 }, lost},
		"the end":   {func(_ *box, m *loops.Message) { m.Attempts = len(notify.DefaultRetryPlan()) }, &notify.SendError{Temporary: true, Code: 451, Err: errors.New("451 later")}},
		"pointless": {func(_ *box, m *loops.Message) { m.PointlessAfter = sent.Add(-time.Hour) }, nil},
		"suppressed": {func(b *box, m *loops.Message) {
			_ = b.Suppress(loops.Suppression{Address: m.To, Reason: "full"}, "test")
		}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBox("a", "b", "c")
			for key, m := range b.messages {
				if tc.change != nil {
					tc.change(b, &m)
				}
				b.messages[key] = m
			}
			d, err := notify.NewDeliverer(takenBox{b}, nil, nil, sendFunc(func(string) error { return tc.answer }), notify.DefaultRetryPlan(), nil)
			require.NoError(t, err)
			rep, err := d.Deliver(t.Context(), sent)
			if err != nil {
				require.ErrorIs(t, err, loops.ErrConflict)
			}
			rep.RelayFault, rep.RetryAt = nil, time.Time{}
			assert.Equal(t, notify.Report{}, rep)
		})
	}
}

// judgedAt is a truth that notes by which instant each letter was judged last.
type judgedAt struct {
	mu sync.Mutex
	at map[loops.MessageKey]time.Time
}

func (j *judgedAt) Review(m loops.Message, now time.Time) (notify.Review, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.at[m.Key] = now
	return notify.Review{Message: m}, nil
}

// A run that goes on past midnight judges and records the letters of the new day by
// it, those too that were judged ahead while a slow relay took the one before.
func TestALongRunKeepsTheTime(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		b := newBox("a", "b", "c")
		truth := &judgedAt{at: map[loops.MessageKey]time.Time{}}
		sentAt := map[string]time.Time{}
		d, err := notify.NewDeliverer(b, truth, nil, sendFunc(func(to string) error {
			truth.mu.Lock()
			sentAt[to] = truth.at[loops.MessageKey(to[:1])]
			truth.mu.Unlock()
			time.Sleep(15 * time.Minute)
			return nil
		}), notify.DefaultRetryPlan(), nil)
		require.NoError(t, err)
		rep, err := d.Deliver(t.Context(), sent)
		require.NoError(t, err)
		assert.Equal(t, 3, rep.Delivered)
		for n, key := range []string{"a", "b", "c"} {
			want := sent.Add(time.Duration(n) * 15 * time.Minute)
			assert.Equal(t, want, sentAt[key+"@garden.example"], "%s was true when it left", key)
			assert.Equal(t, want, b.messages[loops.MessageKey(key)].LastAttempt, key)
		}
	})
}
