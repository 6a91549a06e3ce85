// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"fmt"
	"net"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// A relay that is not there shows within hours, and after a start from what is
// stored alone; one mailbox that puts a letter off is no such trouble.
func TestMailThatDoesNotLeaveShows(t *testing.T) {
	t.Parallel()
	path, _, start := oneWaiting(t)
	b := copyOf(t, path)
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, closed.Close())
	transport, err := notify.NewRelay(notify.RelayOptions{Address: closed.Addr().String(), HelloName: "bench.test.example", Security: notify.Plain})
	require.NoError(t, err)
	dead, err := notify.NewDeliverer(b.store, b.Workshop, nil, transport, notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	trouble := func(after time.Duration) string {
		stands, err := b.store.Upkeep(1)
		require.NoError(t, err)
		state := workshop.MailStateOf(stands.Waiting, stands.Latest, start.Add(after))
		assert.Equal(t, 1, state.Waiting)
		reason, remedy := b.MailTrouble(state)
		assert.Equal(t, reason != "", remedy != "", "what is red says what to do")
		assert.Equal(t, state.Trouble(time.UTC), reason)
		return reason
	}
	for day := range 20 {
		rep, err := dead.Deliver(t.Context(), start.AddDate(0, 0, day))
		require.NoError(t, err)
		require.Error(t, rep.RelayFault)
		assert.Equal(t, 1, rep.Deferred)
	}
	assert.Empty(t, trouble(time.Hour))
	late := trouble(20 * 24 * time.Hour)
	assert.Contains(t, late, "No mail has left since "+start.Format("Mon 2 Jan 2006")+" 09:00 UTC: 1 letter is waiting.")
	assert.Contains(t, late, "connection refused")

	r := startRelay(t)
	r.set("defer")
	_, err = b.delivererTo(t, r).Deliver(t.Context(), start.AddDate(0, 0, 21))
	require.NoError(t, err)
	assert.Empty(t, trouble(22*24*time.Hour), "one mailbox that puts a letter off says nothing of the relay")
}

// lettersTo has a letter of a hand-over wait for each of so many owners, written in
// turn, an hour apart.
func lettersTo(t *testing.T, b bench, owners int) (last time.Time) {
	t.Helper()
	for n := range owners {
		last = at("2026-05-01 15").At.Add(time.Duration(n) * time.Hour)
		b.handedOver(t, fmt.Sprintf("owner%d@garden.example", n), workshop.Stamp{At: last, By: "test"})
	}
	return last
}

// A relay that puts everybody off, or takes every letter and hangs up before it says
// so, sends nothing either: with two recipients that is told, until it takes one.
func TestARelayThatTakesNothingIsRed(t *testing.T) {
	t.Parallel()
	for _, does := range []string{"defer", "hang up"} {
		t.Run(does, func(t *testing.T) {
			t.Parallel()
			b, r := newBench(t), startRelay(t)
			start := lettersTo(t, b, 2)
			d := b.delivererTo(t, r)
			trouble := func(after time.Duration) string {
				stands, err := b.store.Upkeep(1)
				require.NoError(t, err)
				state := workshop.MailStateOf(stands.Waiting, stands.Latest, start.Add(after))
				reason, _ := b.MailTrouble(state)
				return reason
			}
			r.set(does)
			for hour := range 5 * 24 {
				_, err := d.Deliver(t.Context(), start.Add(time.Duration(hour)*time.Hour))
				require.NoError(t, err)
				if said := trouble(time.Duration(hour) * time.Hour); hour < 2 {
					assert.Empty(t, said, "early days")
				} else if hour < 4*24 {
					assert.Contains(t, said, "No mail has left since "+start.Add(-time.Hour).Format("Mon 2 Jan 2006 15:04")+" UTC: 2 letters are waiting.")
				}
			}
			r.set("")
			now := start.Add(5 * 24 * time.Hour)
			b.handedOver(t, "another@garden.example", workshop.Stamp{At: now, By: "test"})
			_, err := d.Deliver(t.Context(), now.Add(time.Minute))
			require.NoError(t, err)
			assert.Empty(t, trouble(6*24*time.Hour), "the relay works again")
		})
	}
}

// A bench that mails one owner at a time learns from run to run that its relay
// refuses everybody: nobody is given up for it, and all of it leaves once the relay
// has come to its senses. One that takes a letter in between means what it says.
func TestARelayThatRefusesOneAfterTheOtherIsAtFault(t *testing.T) {
	t.Parallel()
	for _, fault := range []bool{true, false} {
		t.Run(fmt.Sprint(fault), func(t *testing.T) {
			t.Parallel()
			b, r := newBench(t), startRelay(t)
			d := b.delivererTo(t, r)
			now := at("2026-05-01 15").At
			var reports []notify.Report
			deliver := func() {
				rep, err := d.Deliver(t.Context(), now.Add(time.Hour))
				require.NoError(t, err)
				reports = append(reports, rep)
				now = now.AddDate(0, 0, 5)
			}
			for n := range 3 {
				b.handedOver(t, fmt.Sprintf("owner%d@garden.example", n), workshop.Stamp{At: now, By: "test"})
				r.set("nobody")
				deliver()
				if !fault && n == 1 {
					r.set("")
					b.handedOver(t, "another@garden.example", workshop.Stamp{At: now, By: "test"})
					deliver()
				}
			}
			given := 0
			for _, err := range b.store.Suppressions() {
				require.NoError(t, err)
				given++
			}
			last := reports[len(reports)-1]
			if !fault {
				assert.NoError(t, last.RelayFault)
				assert.Equal(t, 3, given)
				return
			}
			assert.Equal(t, notify.Report{Refused: 1}, reports[1])
			for _, m := range b.messages(t) {
				assert.Contains(t, m.LastError, "no such user")
				assert.False(t, strings.ContainsFunc(m.LastError, unicode.IsControl), "what a relay answers moves no cursor: %q", m.LastError)
			}
			require.ErrorContains(t, last.RelayFault, "refused 3 recipients one after the other")
			assert.Equal(t, 1, last.Deferred)
			assert.Zero(t, given, "nobody is given up")
			stands, err := b.store.Upkeep(1)
			require.NoError(t, err)
			state := workshop.MailStateOf(stands.Waiting, stands.Latest, now)
			assert.Equal(t, 3, state.Stuck)
			assert.Contains(t, state.Trouble(time.UTC), "one after the other")
			r.set("")
			rep, err := d.Deliver(t.Context(), last.RetryAt)
			require.NoError(t, err)
			assert.Equal(t, notify.Report{Delivered: 3}, rep)
		})
	}
}

// Three dead addresses in a row look like the relay's fault. They are given up all the
// same: at their next refusal once it took a letter for somebody else, or after a day
// of refusals; those of a fault that is over are not.
func TestDeadAddressesInARowAreGivenUp(t *testing.T) {
	t.Parallel()
	for _, others := range []bool{true, false} {
		t.Run(fmt.Sprint(others), func(t *testing.T) {
			t.Parallel()
			b, r := newBench(t), startRelay(t)
			r.dead = "owner"
			d := b.delivererTo(t, r)
			now := at("2026-05-01 15").At
			deliver := func() (rep notify.Report) {
				rep, err := d.Deliver(t.Context(), now)
				require.NoError(t, err)
				return rep
			}
			given := func() (n int) {
				for _, err := range b.store.Suppressions() {
					require.NoError(t, err)
					n++
				}
				return n
			}
			red := func() string {
				stands, err := b.store.Upkeep(1)
				require.NoError(t, err)
				return workshop.MailStateOf(stands.Waiting, stands.Latest, now).Trouble(time.UTC)
			}
			for n := range 3 {
				now = now.AddDate(0, 0, 1)
				b.handedOver(t, fmt.Sprintf("owner%d@garden.example", n), workshop.Stamp{At: now, By: "test"})
				now = now.Add(time.Hour)
				deliver()
			}
			assert.Zero(t, given(), "it may be the relay")
			fault := now
			now = now.Add(3 * time.Hour)
			require.Error(t, deliver().RelayFault)
			assert.Contains(t, red(), "No mail has left")
			if others {
				b.handedOver(t, "another@garden.example", workshop.Stamp{At: now, By: "test"})
				now = now.Add(15 * time.Minute)
				assert.Equal(t, 1, deliver().Delivered)
			}
			until := now.Add(45 * time.Minute)
			if !others {
				until = fault.Add(25 * time.Hour)
			}
			for given() < 3 && now.Before(until) {
				now = now.Add(15 * time.Minute)
				deliver()
			}
			assert.Equal(t, 3, given(), "they are given up")
			assert.Empty(t, red())
			for _, m := range b.messages(t) {
				assert.NotEqual(t, loops.Queued, m.Status)
			}

			b.handedOver(t, "owner4@garden.example", workshop.Stamp{At: now, By: "test"})
			now = now.Add(time.Hour)
			assert.Equal(t, notify.Report{Refused: 1}, deliver(), "those before tell nothing more of the relay")
			assert.Equal(t, 4, given())
		})
	}
}

// A run that is the relay's fault by itself takes back whom an earlier one gave up,
// but sends no letter that would no longer help.
func TestARunThatIsRefusedTakesBackThoseBefore(t *testing.T) {
	t.Parallel()
	for days, status := range map[int]loops.MessageStatus{1: loops.Queued, 20: loops.Refused} {
		t.Run(fmt.Sprint(days), func(t *testing.T) {
			t.Parallel()
			takesBack(t, days, status)
		})
	}
}

func takesBack(t *testing.T, days int, status loops.MessageStatus) {
	b, r := newBench(t), startRelay(t)
	d := b.delivererTo(t, r)
	r.set("nobody")
	now := at("2026-05-01 15").At
	b.handedOver(t, "first@garden.example", workshop.Stamp{At: now, By: "test"})
	first := b.messages(t)[0]
	rep, err := d.Deliver(t.Context(), now)
	require.NoError(t, err)
	require.Equal(t, notify.Report{Refused: 1}, rep)
	now = now.AddDate(0, 0, days)
	for n := range 3 {
		b.handedOver(t, fmt.Sprintf("owner%d@garden.example", n), workshop.Stamp{At: now, By: "test"})
	}
	rep, err = d.Deliver(t.Context(), now)
	require.NoError(t, err)
	require.ErrorContains(t, rep.RelayFault, "refused 3 of the 3 recipients")
	_, err = b.store.Suppression("first@garden.example")
	require.ErrorIs(t, err, loops.ErrNotFound)
	m, err := b.store.Message(first.Key)
	require.NoError(t, err)
	assert.Equal(t, status, m.Status)
	assert.Equal(t, first.PointlessAfter, m.PointlessAfter, "it helps no longer than before")
}

// Accents before the @ are refused when they are typed, with what to do; a
// register that holds such an address calls that owner and mails the others.
func TestAnAddressThatCannotBeMailedPoisonsNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	_, err := b.AddOwner(at("2026-05-01 16"), loops.Owner{Name: "Jo", Email: "jürgen@x.example"})
	require.ErrorContains(t, err, "plain letters before the @")
	require.ErrorContains(t, err, "jürgen@x.example")
	b.delivered(t, at("2026-05-01 17").At)

	jo, err := b.AddOwner(at("2026-05-01 16"), loops.Owner{Name: "Jo", Email: "jo@x.example", Consent: loops.Consent{Mail: true}})
	require.NoError(t, err)
	machine, err := b.AddMachine(at("2026-05-01 16"), loops.Machine{Owner: jo.ID, Kind: loops.Desktop, Name: "the black one"})
	require.NoError(t, err)
	other, err := b.AddLoop(at("2026-05-01 16"), loops.Loop{Machine: machine.ID, Construction: loop.Construction})
	require.NoError(t, err)
	jo.Email = "jürgen@x.example" // as an earlier version took it
	require.NoError(t, b.store.Commit(loops.Change{At: at("2026-05-01 16").At, By: "test", Action: "edit", Owners: []loops.Owner{jo}}))
	b.filledAndChecked(t, at("2026-05-01 17"), other.Tag, glycol(), true)
	due := workshop.NextTasks(loop.Plan)[0].Due
	swept, err := b.Sweep(workshop.Stamp{At: due.At(9, time.UTC), By: "schedule"})
	require.NoError(t, err)
	require.Len(t, swept.Reminders, 1)
	assert.Equal(t, "Ana Ruizado", swept.Reminders[0].Owner)
	list, err := b.Due(due.At(9, time.UTC))
	require.NoError(t, err)
	require.NotEmpty(t, list.Call)
	assert.Contains(t, list.Call[0].Why, "accented letters before the @")
}

// All that were given up on one day are taken back at once, and no others.
func TestAllOfADayAreAllowedAgain(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for address, day := range map[string]string{"a@x.example": "2026-05-02 09", "b@x.example": "2026-05-02 23", "c@x.example": "2026-05-03 00"} {
		require.NoError(t, b.store.Suppress(loops.Suppression{Address: address, Reason: "550", Since: at(day).At}, "test"))
	}
	day := loops.Day{Year: 2026, Month: 5, Dom: 2}
	allowed, err := b.AllowDay(at("2026-05-04 09"), day)
	require.NoError(t, err)
	assert.Equal(t, []string{"a@x.example", "b@x.example"}, allowed)
	_, err = b.AllowDay(at("2026-05-04 09"), day)
	require.ErrorContains(t, err, "given-up-on")
	_, err = b.store.Suppression("c@x.example")
	require.NoError(t, err)
}
