// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"math"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// maxThrottled is how many keys a throttle remembers.
const maxThrottled = 10_000

// throttle lets each key do something a number of times at once, and then at
// a pace. It lives in memory: after a new start everybody begins again.
type throttle struct {
	burst int
	pace  time.Duration

	mu      sync.Mutex
	buckets map[string]*rate.Limiter
}

func newThrottle(burst int, pace time.Duration) *throttle {
	return &throttle{burst: burst, pace: pace, buckets: map[string]*rate.Limiter{}}
}

// busyError says that somebody is held back, and for how long.
type busyError struct{ wait time.Duration }

// seconds is the wait as people and the Retry-After header take it.
func (e *busyError) seconds() int { return int(math.Ceil(e.wait.Seconds())) }

func (e *busyError) Error() string {
	return fmt.Sprintf("too many tries; the next is possible in %d s", e.seconds())
}

// take counts one try of the key, or returns a [busyError].
func (t *throttle) take(key string, now time.Time) error {
	t.mu.Lock()
	defer t.mu.Unlock()
	bucket := t.buckets[key]
	if bucket == nil {
		t.makeRoom(now)
		bucket = rate.NewLimiter(rate.Every(t.pace), t.burst)
		t.buckets[key] = bucket
	}
	if bucket.AllowN(now, 1) {
		return nil
	}
	missing := 1 - bucket.TokensAt(now)
	return &busyError{time.Duration(missing * float64(t.pace))}
}

// makeRoom forgets keys that have their full number again, which changes
// nothing for them, and where that is not enough any others.
func (t *throttle) makeRoom(now time.Time) {
	if len(t.buckets) < maxThrottled {
		return
	}
	for key, bucket := range t.buckets {
		if bucket.TokensAt(now) >= float64(t.burst) {
			delete(t.buckets, key)
		}
	}
	for key := range t.buckets {
		if len(t.buckets) < maxThrottled*9/10 {
			return
		}
		delete(t.buckets, key)
	}
}

// throttles are what is held back, with room for people who mistype. The
// figures are common practice, no source.
type throttles struct {
	signInFrom  *throttle // by neighbourhood
	signInAs    *throttle // by the name tried
	signInKnown *throttle // by the known browser, or by who is signed in
	linkFrom    *throttle // owners' links, by neighbourhood
	linkOf      *throttle // by the link's token
	photoOf     *throttle // owners' photos and logs, by the owner's number
}

func newThrottles() throttles {
	return throttles{
		signInFrom:  newThrottle(20, 6*time.Second),
		signInAs:    newThrottle(10, time.Minute),
		signInKnown: newThrottle(10, time.Minute),
		linkFrom:    newThrottle(120, time.Second),
		linkOf:      newThrottle(30, 2*time.Second),
		photoOf:     newThrottle(6, 10*time.Minute),
	}
}
