// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fillmark/testdata/peer"
)

// rig is one state of a machine as a circuit: volts are °C, amperes W. The
// second simulator is written apart from the first: its flow comes out of a
// pump curve against what resists it, its plate and radiator are heat
// exchangers by effectiveness, and ngspice solves them (Debian package ngspice).
type rig struct {
	room, watts, limit float64
	pack, paste        float64 // K/W: die to lid, lid to base
	head, against      float64 // pump head and what resists, so that head = against V²
	plate, plateAt     float64 // W/K of the plate at so many l/h
	radiator, air      float64 // W/K of the radiator, and of the air through it
	returned           float64 // share of the radiator's heat that its intake draws again
	coolant            float64 // J/K
	idle               float64 // share of the load before the step

	// What comes out: die, before the plate, behind it, intake; at rest, 10 s and
	// 10 min after the step, and after soak.
	die             [4]float64
	in, out, intake float64
	flow            float64
	power           [4]float64 // W delivered
}

// Times of the step, its two readings and the soak, in s.
const (
	stepAt, fastAt, slowAt, loadAt, soakAt = 1.0, 11.0, 601.0, 602.0, 2600.0
	stepShare                              = .6
)

// lines writes the circuit. The hydraulic node q finds the flow in l/h; 1.16
// W/K a l/h is water.
func (r *rig) lines(i int) string {
	var b strings.Builder
	p := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	p("Vw%d w%d 0 PWL(0 %g %g %g %g %g %g %g %g %g)", i, i, r.watts*r.idle, stepAt, r.watts*r.idle, stepAt+.05, r.watts*stepShare, loadAt, r.watts*stepShare, loadAt+.5, r.watts)
	p("Bp%d 0 d%d I=V(w%d)*(0.04+0.48*(1-tanh((V(d%d)-%g)/0.8)))/1", i, i, i, i, r.limit)
	p("Cd%d d%d 0 0.5", i, i)
	p("Rp%d d%d l%d %g", i, i, i, r.pack)
	p("Cl%d l%d 0 11", i, i)
	p("Rt%d l%d b%d %g", i, i, i, r.paste)
	p("Cb%d b%d 0 75", i, i)
	p("Bq%d 0 q%d I=%g-%g*V(q%d)*abs(V(q%d))", i, i, r.head, r.against, i, i)
	p("Rq%d q%d 0 1e4", i, i)
	// Heat into the stream, and out of it.
	mcp := fmt.Sprintf("(1.16*(abs(V(q%d))+0.05))", i)
	p("Bs%d b%d m%d I=%s*(1-exp(-%g*pow((abs(V(q%d))+0.05)/%g,0.55)/%s))*(V(b%d)-V(m%d))", i, i, i, mcp, r.plate, i, r.plateAt, mcp, i, i)
	hot := fmt.Sprintf("(V(m%d)+(1-exp(-%g*pow((abs(V(q%d))+0.05)/%g,0.55)/%s))*(V(b%d)-V(m%d)))", i, r.plate, i, r.plateAt, mcp, i, i)
	p("Bh%d h%d 0 V=%s", i, i, hot)
	p("Bx%d m%d 0 I=%s*(1-exp(-%g/%s))*(V(h%d)-V(a%d))", i, i, mcp, r.radiator, mcp, i, i)
	p("Ba%d a%d 0 V=%g+%g*%s*(1-exp(-%g/%s))*(V(h%d)-V(a%d))", i, i, r.room, r.returned/r.air, mcp, r.radiator, mcp, i, i)
	p("Rl%d m%d r%d 4", i, i, i) // what the tubes lose
	p("Vr%d r%d 0 %g", i, i, r.room)
	p("Ip%d 0 m%d 3", i, i) // the pump's own heat
	p("Cm%d m%d 0 %g", i, i, r.coolant)
	return b.String()
}

// solve runs ngspice over many rigs at once and reads its answer back.
func solve(t testing.TB, program string, rigs []*rig) {
	t.Helper()
	folder := t.TempDir()
	var deck strings.Builder
	deck.WriteString("machines on the bench\n")
	for i, r := range rigs {
		deck.WriteString(r.lines(i))
		fmt.Fprintf(&deck, ".save v(d%d) v(m%d) v(h%d) v(a%d) v(q%d)\n.nodeset v(d%d)=%g v(l%d)=%g v(b%d)=%g v(m%d)=%g v(q%d)=%g\n",
			i, i, i, i, i, i, r.room+10, i, r.room+9, i, r.room+6, i, r.room+4, i, math.Sqrt(r.head/r.against))
	}
	fmt.Fprintf(&deck, ".options reltol=1e-4 abstol=1e-4 vntol=1e-4 itl1=500 itl4=100\n.tran 2 %g 0 60\n.end\n", soakAt)
	require.NoError(t, os.WriteFile(filepath.Join(folder, "deck.cir"), []byte(deck.String()), 0o600))
	cmd := exec.Command(program, "-b", "-r", "out.raw", "deck.cir")
	cmd.Dir = folder
	said, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", tailOf(said))
	raw, err := os.ReadFile(filepath.Join(folder, "out.raw"))
	require.NoError(t, err, "%s", tailOf(said))
	names, points := readRaw(t, raw)
	require.GreaterOrEqual(t, points[len(points)-1][0], soakAt-1, "%s", tailOf(said))
	column := map[string]int{}
	for i, n := range names {
		column[n] = i
	}
	at := func(name string, time float64) float64 {
		c := column[name]
		k, _ := slices.BinarySearchFunc(points, time, func(p []float64, t float64) int {
			if p[0] < t {
				return -1
			}
			return 1
		})
		k = min(max(k, 1), len(points)-1)
		a, b := points[k-1], points[k]
		return a[c] + (b[c]-a[c])*(time-a[0])/(b[0]-a[0])
	}
	for i, r := range rigs {
		for k, time := range []float64{stepAt, fastAt, slowAt, soakAt} {
			r.die[k] = at(fmt.Sprintf("v(d%d)", i), time)
			load := r.watts * []float64{r.idle, stepShare, stepShare, 1}[k]
			r.power[k] = load * (.04 + .48*(1-math.Tanh((r.die[k]-r.limit)/.8)))
		}
		r.in, r.out, r.intake = at(fmt.Sprintf("v(m%d)", i), soakAt), at(fmt.Sprintf("v(h%d)", i), soakAt), at(fmt.Sprintf("v(a%d)", i), soakAt)
		r.flow = at(fmt.Sprintf("v(q%d)", i), soakAt)
	}
}

// machinesADeck keeps a deck small: ngspice's time grows faster than the deck.
const machinesADeck = 15

func tailOf(out []byte) []byte { return out[max(0, len(out)-1500):] }

// readRaw reads ngspice's binary file: names, then rows of doubles.
func readRaw(t testing.TB, raw []byte) (names []string, points [][]float64) {
	head, body, ok := bytes.Cut(raw, []byte("Binary:\n"))
	require.True(t, ok, "a binary raw file")
	_, list, ok := strings.Cut(string(head), "Variables:\n")
	require.True(t, ok)
	for line := range strings.Lines(list) {
		if f := strings.Fields(line); len(f) == 3 {
			names = append(names, f[1])
		}
	}
	width := 8 * len(names)
	for ; len(body) >= width; body = body[width:] {
		row := make([]float64, len(names))
		require.NoError(t, binary.Read(bytes.NewReader(body[:width]), binary.LittleEndian, row))
		points = append(points, row)
	}
	require.NotEmpty(t, points)
	return names, points
}

func TestCampaignCircuit(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("runs ngspice for a minute")
	}
	program := peer.Program(t, "ngspice")
	sets, seed := campaign(t, heldOut{whole: 25971406, part: 81126202})
	random := rand.New(rand.NewPCG(seed, 2))
	var s score
	for s.sets < sets {
		var batch []*circuit
		var rigs []*rig
		for range machinesADeck {
			c := newCircuit(random)
			batch = append(batch, c)
			rigs = append(rigs, c.rigs()...)
		}
		solve(t, program, rigs)
		for _, c := range batch {
			if s.sets < sets && c.complained() {
				s.judge(t, c)
			}
		}
	}
	s.hold(t)
}
