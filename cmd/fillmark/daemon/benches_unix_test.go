// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package daemon

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/notify/links"
	"fillmark/testdata/peer"
	"fillmark/testdata/seeded"
)

// The variables that make a process one of the daemons below.
const (
	benchDaemon = "FILLMARK_TEST_DAEMON"       // its configuration, as JSON
	benchClock  = "FILLMARK_TEST_DAEMON_CLOCK" // when the campaign began, and by how much its clock is wrong
	// benchMinutes is how long the campaign goes on, in whole minutes; without it
	// ten in full length, and some seconds otherwise.
	benchMinutes = "FILLMARK_CAMPAIGN_MINUTES"
)

// benchSpeed is how many seconds go by on the daemons' clocks in one: so that the
// 22 minutes for which a letter is one daemon's are 11 seconds.
const benchSpeed = 120

const (
	// benchThinks is how long people do at most, half of it on average.
	benchThinks = 4 * time.Second
	// benchSlack is how far instants of a daemon may be from those of the campaign:
	// its clock is half a minute wrong, and what is hurt takes a moment to notice.
	benchSlack = time.Minute
)

// benchNow is the clock of a daemon that began with the campaign.
func benchNow(t *testing.T, text string) func() time.Time {
	t.Helper()
	var began, wrong int64
	_, err := fmt.Sscan(text, &began, &wrong)
	require.NoError(t, err)
	return func() time.Time {
		return testNow().Add(benchSpeed*time.Since(time.Unix(0, began)) + time.Duration(wrong))
	}
}

// runBench is the daemon, until it is stopped or killed.
func runBench(t *testing.T, file string) {
	raw, err := os.ReadFile(file)
	require.NoError(t, err)
	var c Config
	require.NoError(t, json.Unmarshal(raw, &c))
	now, log := benchNow(t, os.Getenv(benchClock)), slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	h, err := OpenWaiting(ctx, c, now, log)
	require.NoError(t, err)
	h.lead.every, h.lead.patience = time.Second/2, 3*time.Second
	pages, err := BindPages("127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, h.Serve(ctx, c.On(pages), pages, now, log, func(address string) error { _, err := fmt.Println(address); return err }))
	require.NoError(t, h.Close())
}

// Three daemons on one PostgreSQL, with clocks half a minute wrong either way, and
// a real SMTP server: they are killed, stopped and cut off from the database at
// random, now and then it starts again, while people look and write at all of
// them, and owners answer. Nothing that was acknowledged is lost, nothing is there
// twice, of two who change a record one is told so, each letter leaves, once and one
// copy more at most for each time that something was hurt while it was on its way.
func TestCampaignManyBenches(t *testing.T) {
	if file := os.Getenv(benchDaemon); file != "" {
		runBench(t, file)
		return
	}
	sink := peer.Program(t, "/usr/sbin/smtp-sink")
	during, people := time.Duration(seeded.Times(12, 600))*time.Second, seeded.Times(8, 100)
	if text := os.Getenv(benchMinutes); text != "" {
		minutes, err := strconv.Atoi(text)
		require.NoError(t, err)
		during, people = time.Duration(minutes)*time.Minute, 100
	}
	chain := newChain(t, sink, seeded.Seed(t), people)
	for i := range chain.daemons {
		chain.daemons[i].start(t)
	}
	ended, stop := context.WithCancel(t.Context())
	var busy sync.WaitGroup
	for n := range people {
		busy.Go(func() { chain.person(ended, n) })
	}
	chain.hurt(t, during)
	stop()
	busy.Wait()
	chain.settle(t)
	chain.judge(t)
}

// chain is the workshops and what they share.
type chain struct {
	server  *peer.Postgres
	dumps   string // what the SMTP server took
	daemons []*bench
	tags    []loops.Tag
	links   []string // of owners' pages
	people  int
	random  *rand.Rand
	seed    uint64

	began time.Time
	harms []harm

	mu      sync.Mutex
	kept    []string // notes, words and names of owners that were acknowledged
	offered []string // all of them
	changed map[revised]string
	wrong   []string // answers that nobody should get
	answers map[int]int
}

// harm is a while in which a daemon, or the database, was hurt, on the clock that
// the daemons have about right.
type harm struct{ from, to time.Time }

// revised is a change of an owner's name that was acknowledged: whose, and at which
// revision it had been read.
type revised struct {
	id       loops.OwnerID
	revision uint64
}

// now is what a right clock of a daemon shows.
func (x *chain) now() time.Time { return testNow().Add(benchSpeed * time.Since(x.began)) }

// bench is one daemon in a process of its own, with a line of its own to the
// database.
type bench struct {
	config  Config
	clock   string
	line    *benchLine
	said    bytes.Buffer
	mu      sync.Mutex
	address string
	process *exec.Cmd
}

func (b *bench) at() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.address
}

// start starts the process, and waits until it serves.
func (b *bench) start(t *testing.T) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestCampaignManyBenches$")
	cmd.Env = append(os.Environ(), benchDaemon+"="+configFile(t, b.config), benchClock+"="+b.clock)
	cmd.Stderr = &b.said
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	lines := bufio.NewScanner(out)
	for lines.Scan() && !strings.HasPrefix(lines.Text(), "http://") {
	}
	require.NotEmpty(t, lines.Text(), "it did not start: %s", &b.said)
	b.mu.Lock()
	defer b.mu.Unlock()
	b.process, b.address = cmd, lines.Text()
	go func() { _, _ = io.Copy(io.Discard, out) }()
}

// end ends the process by a signal and waits for it.
func (b *bench) end(by syscall.Signal) error {
	if err := b.process.Process.Signal(by); err != nil {
		return err
	}
	return b.process.Wait()
}

// benchLine carries bytes between a daemon and the database.
type benchLine struct {
	folder string
	silent atomic.Bool
	asked  atomic.Int64 // how often the daemon sent something
	mu     sync.Mutex
	open   []net.Conn
}

// newBenchLine listens at a socket of its own.
func newBenchLine(t *testing.T, server *peer.Postgres) *benchLine {
	const socket = ".s.PGSQL.5432"
	l := &benchLine{folder: shortDir(t)}
	listener, err := net.Listen("unix", filepath.Join(l.folder, socket))
	require.NoError(t, err)
	t.Cleanup(func() { _ = listener.Close(); l.cut() })
	go func() {
		for {
			client, err := listener.Accept()
			if err != nil {
				return
			}
			line, err := net.Dial("unix", filepath.Join(server.Dir, socket))
			if err != nil {
				_ = client.Close()
				continue
			}
			l.mu.Lock()
			l.open = append(l.open, client, line)
			l.mu.Unlock()
			go l.carry(line, client, &l.asked)
			go l.carry(client, line, &atomic.Int64{})
		}
	}()
	return l
}

func (l *benchLine) carry(to, from net.Conn, count *atomic.Int64) {
	chunk := make([]byte, 64<<10)
	for {
		n, err := from.Read(chunk)
		if !bytes.Contains(chunk[:max(0, n)], []byte("ROLLBACK")) { // for which nobody waits
			count.Add(1)
		}
		if l.silent.Load() && err == nil {
			continue // swallowed
		}
		if err == nil {
			_, err = to.Write(chunk[:n])
		}
		if err != nil {
			_, _ = to.Close(), from.Close()
			return
		}
	}
}

// cut ends all lines there are, and lets new ones speak.
func (l *benchLine) cut() {
	l.silent.Store(false)
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, line := range l.open {
		_ = line.Close()
	}
	l.open = nil
}

func shortDir(t *testing.T) string {
	dir, err := os.MkdirTemp("/tmp", "fm-bench-") // sockets need a short path
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	return dir
}

// newChain makes the register and three daemons that have not started.
func newChain(t *testing.T, sink string, seed uint64, people int) *chain {
	x := &chain{
		people: people, server: peer.StartPostgres(t), dumps: t.TempDir(), random: rand.New(rand.NewPCG(seed, 20)), seed: seed,
		changed: map[revised]string{}, answers: map[int]int{},
	}
	relay := x.startSink(t, sink)
	first := ""
	for n, wrong := range []time.Duration{0, -30 * time.Second, 30 * time.Second} {
		line := newBenchLine(t, x.server)
		c := DefaultConfig(map[string]string{})
		c.Store, c.Folder, c.OpenBench = "postgres:///postgres?user=bench&host="+line.folder, shortDir(t), true
		c.Mail.From, c.Mail.Transport, c.Mail.SMTP.Address, c.Mail.SMTP.TLS = "bench@tidewater.example", "smtp", relay, "none"
		c.Mail.Trial = true // the names are examples
		c.Mail.SendHour, c.Mail.Retry, c.Mail.Technician = 7, slices.Repeat([]string{"1m"}, 200), "rui@tidewater.example"
		c.Sweep.EveryMinutes = 1
		if n == 0 {
			first = c.Folder
			x.fill(t, c)
		} else {
			require.NoError(t, os.Symlink(filepath.Join(first, "keys"), filepath.Join(c.Folder, "keys")))
			require.NoError(t, os.Symlink(filepath.Join(first, PhotosFolder), filepath.Join(c.Folder, PhotosFolder)))
		}
		require.Empty(t, append(c.Problems(), c.ReachProblems()...))
		x.daemons = append(x.daemons, &bench{config: c, line: line, clock: fmt.Sprint(x.began.UnixNano(), " ", int64(wrong))})
	}
	return x
}

// chainLoops is about how many loops a chain of a hundred benches has here.
const chainLoops = 10_000

// fill makes a register of loops that fall due one after the other.
func (x *chain) fill(t *testing.T, c Config) {
	owners := 6 * max(x.people, 25)
	zones := []string{"Europe/Lisbon", "Asia/Kolkata", "Asia/Tokyo", "Pacific/Auckland", "Pacific/Honolulu", "America/Los_Angeles", "America/New_York", "America/Sao_Paulo"}
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	first := firstLoad(t, h, testNow())
	tags := map[loops.Tag]bool{first.Loop.Tag: true}
	change := copies(t, first, testNow(), 1, owners, tags)
	for i := range change.Owners {
		change.Owners[i].Email, change.Owners[i].Consent.Mail = fmt.Sprintf("owner%d@garden.example", i), true
		change.Owners[i].Zone = zones[i%len(zones)] // so that the hour of sending goes round
	}
	for i, l := range change.Loops {
		earliest := slices.MinFunc(l.Plan.Tasks, func(a, b loops.Task) int { return a.Due.Sub(b.Due) }).Due
		for k := range l.Plan.Tasks {
			l.Plan.Tasks[k].Due = l.Plan.Tasks[k].Due.AddDays(loops.DayOf(testNow(), time.UTC).AddDays(i%12 - 7).Sub(earliest))
		}
		x.tags = append(x.tags, l.Tag)
	}
	require.NoError(t, h.Store.Commit(change))
	// The long forms have as many loops as a chain: of people who are called, not mailed.
	for made := owners + 1; x.people >= 100 && made < chainLoops; made += 1000 {
		require.NoError(t, h.Store.Commit(copies(t, first, testNow(), made, 1000, tags)))
	}
	secrets, err := openSecrets(c.linkKeyFile(), false)
	require.NoError(t, err)
	signer, err := links.New(secrets)
	require.NoError(t, err)
	for _, o := range change.Owners {
		x.links = append(x.links, "/o/"+signer.Sign(links.Owner, o, testNow().AddDate(1, 0, 0)))
	}
	require.NoError(t, h.Close())
	x.began = time.Now()
}

// startSink starts Postfix's SMTP server for tests, which keeps each letter in a
// file of its own, and now and then is slow: so that there is a middle to be hurt in.
func (x *chain) startSink(t *testing.T, sink string) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := l.Addr().String()
	require.NoError(t, l.Close())
	args := []string{"-W", "DATA:1:3", "-d", filepath.Join(x.dumps, "%M."), address, "100"}
	if os.Geteuid() == 0 {
		args = append([]string{"-u", "root"}, args...)
	}
	cmd := exec.Command(sink, args...)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	return address
}

// ask sends a request to one of the daemons; zero is no answer.
func (x *chain) ask(ctx context.Context, daemon int, method, path, key, body string) (status int, text []byte) {
	ctx, done := context.WithTimeout(ctx, 20*time.Second)
	defer done()
	r, err := http.NewRequestWithContext(ctx, method, x.daemons[daemon].at()+path, strings.NewReader(body))
	if err != nil {
		return 0, nil
	}
	r.Header.Set("Content-Type", "application/json")
	if strings.HasPrefix(path, "/o/") {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if key != "" {
		r.Header.Set("Idempotency-Key", key)
	}
	answer, err := http.DefaultClient.Do(r)
	if err != nil {
		return 0, nil
	}
	text, _ = io.ReadAll(answer.Body)
	_ = answer.Body.Close()
	x.mu.Lock()
	defer x.mu.Unlock()
	x.answers[answer.StatusCode]++
	expected := []int{http.StatusServiceUnavailable, http.StatusConflict, http.StatusTooManyRequests}
	if answer.StatusCode >= 400 && !slices.Contains(expected, answer.StatusCode) {
		x.wrong = append(x.wrong, fmt.Sprintf("%s %s: %d %.300s", method, path, answer.StatusCode, text))
	}
	return answer.StatusCode, text
}

// person looks at pages, writes notes, fills loops, takes owners in, gives others
// another name and answers for some, here and there, until the context ends.
func (x *chain) person(ctx context.Context, n int) {
	random := rand.New(rand.NewPCG(x.seed, uint64(1000+n)))
	for count := 0; ; count++ {
		select {
		case <-ctx.Done():
			return
		case <-time.After(time.Duration(random.Int64N(int64(benchThinks)))):
		}
		daemon, text := random.IntN(len(x.daemons)), fmt.Sprintf("person %d says %d", n, count)
		loop := "/loops/" + string(x.tags[random.IntN(len(x.tags))])
		switch random.IntN(10) {
		case 0:
			x.ask(ctx, daemon, "GET", "/", "", "")
		case 1:
			x.ask(ctx, daemon, "GET", loop, "", "")
		case 2:
			x.offers(text)
			status, _ := x.ask(ctx, daemon, "POST", "/api/v1/owners", "", fmt.Sprintf(`{"name":%q}`, text))
			x.keeps(text, status)
		case 3: // of owners that are this person's, since a form has no key that tells it from the same words said again
			link := x.links[n+x.people*random.IntN(len(x.links)/x.people)]
			x.offers(text)
			status, _ := x.ask(ctx, daemon, "POST", link, "", url.Values{"answer": {"off"}, "words": {text}}.Encode())
			x.keeps(text, status)
		case 4, 5:
			x.renames(ctx, daemon, loops.OwnerID(2+random.IntN(5)), text)
		case 6:
			x.acts(ctx, daemon, loop, "fill", text,
				`"already_done":true,"fluid":"pg","mass_percent":35,"poured":["480ml"],"inhibitor":"azole","biocide":"none"`)
		default:
			x.acts(ctx, daemon, loop, "note", text, "")
		}
	}
}

// acts does an act that says the text: the same again, wherever, until it is
// answered.
func (x *chain) acts(ctx context.Context, daemon int, loop, act, text, fields string) {
	body := fmt.Sprintf(`{"note":%q}`, text)
	if fields != "" {
		body = fmt.Sprintf(`{"note":%q,%s}`, text, fields)
	}
	x.offers(text)
	path, key := "/api/v1"+loop+"/acts/"+act, "bench-"+strings.ReplaceAll(text, " ", "-")
	for try := range 20 {
		status, _ := x.ask(ctx, (daemon+try)%len(x.daemons), "POST", path, key, body)
		x.keeps(text, status)
		if taken(status) || ctx.Err() != nil {
			return
		}
	}
}

// renames reads one of a few owners whom all want to change, and gives them another
// name.
func (x *chain) renames(ctx context.Context, daemon int, id loops.OwnerID, name string) {
	path := fmt.Sprintf("/api/v1/owners/%d", id)
	status, text := x.ask(ctx, daemon, "GET", path, "", "")
	var read struct{ Owner loops.Owner }
	if !taken(status) || json.Unmarshal(text, &read) != nil {
		return
	}
	seen := revised{id, read.Owner.Revision}
	read.Owner.Name = name
	body, err := json.Marshal(read.Owner)
	if err != nil {
		return
	}
	status, _ = x.ask(ctx, (daemon+1)%len(x.daemons), "PUT", path, "", string(body))
	x.mu.Lock()
	defer x.mu.Unlock()
	if other, there := x.changed[seen]; taken(status) && there {
		x.wrong = append(x.wrong, fmt.Sprintf("owner %d, revision %d: both %s and %s were told that it is theirs", id, seen.revision, other, name))
	} else if taken(status) {
		x.changed[seen] = name
	}
}

func taken(status int) bool { return status/100 == 2 }

func (x *chain) offers(text string) {
	x.mu.Lock()
	defer x.mu.Unlock()
	x.offered = append(x.offered, text)
}

// keeps notes what was acknowledged.
func (x *chain) keeps(text string, status int) {
	x.mu.Lock()
	defer x.mu.Unlock()
	if taken(status) {
		x.kept = append(x.kept, text)
	}
}

// hurt does harm to one thing after the other for so long.
func (x *chain) hurt(t *testing.T, during time.Duration) {
	rests := func(most time.Duration) { time.Sleep(time.Duration(x.random.Int64N(int64(most)))) }
	done := map[string]int{}
	for kind := x.random.IntN(4); time.Since(x.began) < during; kind++ {
		rests(3 * time.Second)
		b := x.daemons[x.random.IntN(len(x.daemons))]
		from := x.now()
		switch kind % 5 {
		case 0:
			done["killed"]++
			require.Error(t, b.end(syscall.SIGKILL))
			rests(2 * time.Second)
			b.start(t)
		case 1: // for longer than the patience of the others, and now and then than a letter is its own
			done["stopped"]++
			require.NoError(t, b.process.Process.Signal(syscall.SIGSTOP))
			time.Sleep(4 * time.Second)
			rests(min(during/4, 12*time.Second))
			require.NoError(t, b.process.Process.Signal(syscall.SIGCONT))
		case 2:
			done["cut off in silence"]++
			b.line.silent.Store(true)
			rests(8 * time.Second)
			b.line.cut()
		case 3:
			done["cut off"]++
			b.line.cut()
		case 4:
			done["database started again"]++
			x.server.Stop(t)
			x.server.Start(t)
		}
		x.harms = append(x.harms, harm{from, x.now()})
	}
	t.Logf("harm: %v", done)
}

// hurtWhile counts the harm that was done between the instants.
func (x *chain) hurtWhile(from, to time.Time) (n int) {
	for _, h := range x.harms {
		if !h.to.Before(from.Add(-benchSlack)) && !h.from.After(to.Add(benchSlack)) {
			n++
		}
	}
	return n
}

// settle waits until nothing is queued.
func (x *chain) settle(t *testing.T) {
	s, err := store.Open(x.server.Address(""), store.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	queued := func() (n int) {
		for _, err := range s.Messages(loops.Queued) {
			require.NoError(t, err)
			n++
		}
		return n
	}
	for range 240 {
		for n := range x.daemons {
			x.ask(t.Context(), n, "POST", "/api/v1/sweep", "", "")
		}
		if queued() == 0 {
			break
		}
		time.Sleep(time.Second / 2)
	}
	assert.Zero(t, queued(), "letters that never left")
	for _, b := range x.daemons {
		require.NoError(t, b.end(syscall.SIGTERM), "%s", &b.said)
	}
}

// judge compares what people were told, what is on record and what arrived.
func (x *chain) judge(t *testing.T) {
	s, err := store.Open(x.server.Address(""), store.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	assert.Empty(t, x.wrong)
	found := map[string]int{}
	for o, err := range s.Owners() {
		require.NoError(t, err)
		found[o.Name]++
		for seen, name := range x.changed {
			if seen.id == o.ID && seen.revision+1 >= o.Revision {
				assert.Equal(t, name, o.Name, "owner %d, changed at revision %d, is at %d", o.ID, seen.revision, o.Revision)
			}
		}
	}
	for l, err := range s.Loops() {
		require.NoError(t, err)
		history, err := s.History(l.ID)
		require.NoError(t, err)
		for _, e := range history {
			if e.Kind == loops.KindAnswer {
				found[e.Answer.Words]++
			}
			found[e.Note]++
		}
	}
	for _, text := range x.kept {
		assert.Equal(t, 1, found[text], "acknowledged: %s", text)
	}
	for _, text := range x.offered {
		assert.LessOrEqual(t, found[text], 1, text)
	}

	arrived := x.arrived(t)
	letters, extra, most := 0, 0, 0
	spoken := map[loops.Topic]loops.MessageKey{}
	for m, err := range s.Messages("") {
		require.NoError(t, err)
		n := arrived[m.MessageID]
		delete(arrived, m.MessageID)
		switch m.Status {
		case loops.Delivered:
			letters++
			assert.Positive(t, n, "%s never arrived", m.Key)
			extra, most = extra+max(0, n-1), max(most, n-1)
			hurt := x.hurtWhile(m.Created, m.LastAttempt)
			assert.LessOrEqual(t, n-1, hurt, "%s: copies more than the harm done from %s to %s", m.Key, m.Created, m.LastAttempt)
		default:
			assert.Contains(t, []loops.MessageStatus{loops.Withdrawn, loops.Expired, loops.Held}, m.Status, m.Key)
		}
		for _, topic := range m.About {
			if other, there := spoken[topic]; there && m.Instead != other && m.Status == loops.Delivered {
				assert.Fail(t, "said twice", "%+v in %s and %s", topic, other, m.Key)
			}
			if m.Status == loops.Delivered {
				spoken[topic] = m.Key
			}
		}
	}
	assert.Empty(t, arrived, "letters that are nowhere on record")
	report, err := s.Check(t.Context())
	require.NoError(t, err)
	assert.Empty(t, report.Problems)
	lead, err := s.Leader()
	require.NoError(t, err)
	t.Logf("%s at %d times the speed; %d times hurt; %d acts acknowledged of %d, %d names changed; answers %v; %d letters, %d extra copies, at most %d of one; led %d times",
		time.Since(x.began).Round(time.Second), benchSpeed, len(x.harms), len(x.kept), len(x.offered), len(x.changed), x.answers, letters, extra, most, lead.Number)
	assert.Positive(t, letters)
	assert.NotEmpty(t, x.kept)
	assert.NotEmpty(t, x.changed)
}

// arrived counts the letters that the SMTP server took whole, by Message-ID.
func (x *chain) arrived(t *testing.T) map[string]int {
	files, err := os.ReadDir(x.dumps)
	require.NoError(t, err)
	id, got := regexp.MustCompile(`(?mi)^Message-ID:\s*(<[^>]+>)`), map[string]int{}
	for _, f := range files {
		raw, err := os.ReadFile(filepath.Join(x.dumps, f.Name()))
		require.NoError(t, err)
		if found := id.FindSubmatch(raw); found != nil {
			got[string(found[1])]++
		}
	}
	return got
}
