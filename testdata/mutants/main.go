// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Command mutants asks whether the tests notice: it changes the program in one
// place at a time, by a draw that a seed repeats, and runs the tests of that
// package, then the scripts of the whole program. It changes no file of the tree:
// go's -overlay puts the changed one in its place. What it has tried stands in a
// file and is not tried again.
//
//	go run ./testdata/mutants -seed 1 -count 200 -results mutants.tsv
package main

import (
	"bufio"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"log"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// first are the packages of verdict, fold, plan, limits and sending: half of the
// draw is theirs.
func first() []string {
	return []string{"chemistry", "cmd/fillmark/acts", "loops", "schedule", "loops/findings", "loops/inspection", "notify"}
}

// others share the other half.
func others() []string {
	return []string{
		"loops/evidence", "loops/inspection/triage", "loops/store", "loops/store/bolt", "notify/links", "notify/mailbox", "cmd/fillmark/workshop",
		"cmd/fillmark/web", "cmd/fillmark/cli", "cmd/fillmark/daemon", "cmd/fillmark/doctor", "cmd/fillmark/alarm", "cmd/fillmark/backups", "cmd/fillmark/signin",
	}
}

// outcomes of one change.
const (
	killed   = "killed"   // a test failed
	survived = "survived" // none did
	unbuilt  = "unbuilt"  // it does not compile, and says nothing
	slow     = "slow"     // the tests did not end in time, which counts as noticed
)

func main() {
	log.SetFlags(0)
	seed := flag.Uint64("seed", 1, "draws the sample")
	count := flag.Int("count", 200, "how many changes")
	results := flag.String("results", "mutants.tsv", "what was tried, a line each")
	limit := flag.Duration("limit", time.Minute, "how long the tests of one change may take, each of the two runs, or three times what they take unchanged")
	flag.Parse()
	if err := campaign(*seed, *count, *results, *limit); err != nil {
		log.Fatal(err)
	}
}

func campaign(seed uint64, count int, results string, limit time.Duration) error {
	sample, err := draw(rand.New(rand.NewPCG(seed, 1)), count)
	if err != nil {
		return err
	}
	tried, err := read(results)
	if err != nil {
		return err
	}
	t := timer{limit, map[tests]time.Duration{}}
	for _, m := range sample {
		if _, done := tried[m.String()]; done {
			continue
		}
		outcome, by, err := t.try(m)
		if err != nil {
			return err
		}
		tried[m.String()] = outcome
		if err := add(results, strings.Join([]string{outcome, m.String(), by}, "\t")); err != nil {
			return err
		}
	}
	tally := map[string]int{}
	for _, m := range sample {
		tally[tried[m.String()]]++
	}
	said := tally[killed] + tally[slow] + tally[survived]
	fmt.Printf("%d of %d noticed (%.0f %%), %d of these by not ending; %d did not compile\n", tally[killed]+tally[slow], said,
		100*float64(tally[killed]+tally[slow])/float64(max(1, said)), tally[slow], tally[unbuilt])
	for _, m := range sample {
		if tried[m.String()] == survived {
			fmt.Println("survived:", m)
		}
	}
	return nil
}

// draw picks the changes, half of them from the first packages.
func draw(random *rand.Rand, count int) (sample []mutant, err error) {
	var pools [2][]mutant
	for i, packages := range [][]string{first(), others()} {
		for _, folder := range packages {
			found, err := mutantsOf(folder)
			if err != nil {
				return nil, err
			}
			pools[i] = append(pools[i], found...)
		}
		random.Shuffle(len(pools[i]), func(a, b int) { pools[i][a], pools[i][b] = pools[i][b], pools[i][a] })
	}
	for i := range count {
		pool := &pools[i%2]
		if len(*pool) == 0 {
			return nil, fmt.Errorf("-count %d: there are fewer places than that", count)
		}
		sample, *pool = append(sample, (*pool)[0]), (*pool)[1:]
	}
	return sample, nil
}

// try runs the tests with the change in place.
func (t timer) try(m mutant) (outcome, by string, err error) {
	scratch, err := os.MkdirTemp("", "mutant")
	if err != nil {
		return "", "", err
	}
	defer os.RemoveAll(scratch)
	changed, overlay := filepath.Join(scratch, "changed.go"), filepath.Join(scratch, "overlay.json")
	text, err := m.text()
	if err != nil {
		return "", "", err
	}
	path, err := filepath.Abs(m.file)
	if err != nil {
		return "", "", err
	}
	replace, err := json.Marshal(map[string]map[string]string{"Replace": {path: changed}})
	if err != nil {
		return "", "", err
	}
	if err := os.WriteFile(changed, text, 0o600); err != nil {
		return "", "", err
	}
	if err := os.WriteFile(overlay, replace, 0o600); err != nil {
		return "", "", err
	}
	for _, run := range []tests{{"./" + filepath.Dir(m.file), "."}, {"./cmd/fillmark", "TestScripts"}} {
		longest, err := t.longest(run)
		if err != nil {
			return "", "", err
		}
		if !run.builds(overlay) {
			return unbuilt, "", nil
		}
		out, ended, err := run.test(overlay, longest)
		switch {
		case !ended:
			return slow, run.folder, nil
		case err != nil:
			return killed, failing(out), nil
		}
	}
	return survived, "", nil
}

// tests are those of a package whose names match.
type tests struct{ folder, names string }

func (r tests) builds(overlay string) bool {
	return exec.Command("go", "test", "-overlay", overlay, "-run", "^$", r.folder).Run() == nil
}

// test tells too whether the tests ended in time.
func (r tests) test(overlay string, longest time.Duration) (out []byte, ended bool, err error) {
	ctx, cancel := context.WithTimeout(context.Background(), longest)
	defer cancel()
	command := exec.CommandContext(ctx, "go", "test", "-short", "-failfast", "-count=1", "-overlay", overlay, "-run", r.names, r.folder)
	command.WaitDelay = time.Second
	// A property that fails keeps its case there, which is the change's and not ours.
	cases := filepath.Join(r.folder, "testdata", "rapid")
	if _, err := os.Stat(cases); os.IsNotExist(err) {
		defer os.RemoveAll(cases)
	}
	out, err = command.CombinedOutput()
	return out, ctx.Err() == nil, err
}

// timer knows how long the tests take where nothing is changed.
type timer struct {
	least time.Duration
	took  map[tests]time.Duration
}

// longest is how long the tests may take: three times what they take unchanged,
// so that a slow machine passes for no test that failed.
func (t timer) longest(r tests) (time.Duration, error) {
	if _, ok := t.took[r]; !ok {
		if !r.builds("") {
			return 0, fmt.Errorf("%s does not build as it is", r.folder)
		}
		begin := time.Now()
		if out, _, err := r.test("", time.Hour); err != nil {
			return 0, fmt.Errorf("%s fails as it is: %s", r.folder, failing(out))
		}
		t.took[r] = time.Since(begin)
	}
	return max(t.least, 3*t.took[r]), nil
}

// failing names the first test that failed.
func failing(out []byte) string {
	for line := range strings.Lines(string(out)) {
		if name, ok := strings.CutPrefix(strings.TrimSpace(line), "--- FAIL: "); ok {
			return strings.Fields(name)[0]
		}
	}
	return "?"
}

// read returns what was tried before.
func read(path string) (map[string]string, error) {
	tried := map[string]string{}
	file, err := os.Open(path)
	if os.IsNotExist(err) {
		return tried, nil
	}
	if err != nil {
		return nil, err
	}
	defer file.Close()
	lines := bufio.NewScanner(file)
	for lines.Scan() {
		if words := strings.Split(lines.Text(), "\t"); len(words) >= 2 {
			tried[words[1]] = words[0]
		}
	}
	return tried, lines.Err()
}

func add(path, line string) error {
	file, err := os.OpenFile(path, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	if _, err := fmt.Fprintln(file, line); err != nil {
		return err
	}
	return file.Close()
}
