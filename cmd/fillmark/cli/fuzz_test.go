// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"
)

// FuzzBenchCommands types anything at the commands that need no register:
// whatever it is, the exit status is one of the documented ones, an error
// leaves standard output empty, and a success with --json prints one document.
func FuzzBenchCommands(f *testing.F) {
	for _, line := range []string{
		"mix --fluid pg --protect -20C --make 600ml --concentrate 95% --left 15ml",
		"mix --fluid eg --mass 50% --make 1e308l --step 0g",
		"mix --fluid pg --volume NaN% --make -1ml --margin 1e9K",
		"mix --fluid eg --mass 40% --make 1000000l --premix 60% --premix-available 1ml --at 100C",
		"props --fluid eg --mass 40% --at -20C --up-to 60C --every 1e-300K",
		"props --fluid water --at 20K",
		"reading --fluid pg --brix 28.4 --at 20C --compensation none --zero-age 900",
		"reading --fluid eg --density 1e308 --inhibited",
		"reading --fluid pg --freeze -20C --scale eg --instrument-uncertainty -1",
		"topup --fluid pg --mass 35% --holds 520ml --room 60ml --with concentrate:95% --with water --protect -15C",
		"topup --fluid eg --holds 0ml --room 0ml --with premix:101% --sealed --hottest -300C",
		"bench rinse --left 15ml --holds 15ml --old-liquid 0%",
		"bench wall --chiller --set-point 5C --evaporator-margin -8K",
		"bench dose --holds 480ml --per-litre 20g --by-volume 2% --spent-below 200%",
		"bench water --fluid pg --hardness 5.6dH --chloride inf --use nowhere",
		"bench clean --agent bleach --agent acid --metal mithril",
		"bench loss --fluid pg --mass 25% --tubing EPDM --tube-length 0m --bore 7mm --outer 7mm",
		"props --fluid pg --mass 40% --at 400C",
		"mix --fluid pg --premix 30% --premix-available 800ml --mass 90% --concentrate 20%",
		"rules \x00",
	} {
		f.Add(line)
	}
	pure := []string{"mix", "props", "reading", "topup", "bench", "rules"}
	f.Fuzz(func(t *testing.T, line string) {
		args := strings.Split(line, " ")
		if !slices.Contains(pure, args[0]) || (args[0] == "topup" && len(args) > 1 && !strings.HasPrefix(args[1], "-")) {
			return // commands on the register are fuzzed behind its API
		}
		var out, errOut bytes.Buffer
		code := Run(t.Context(), testNow, append(args, "--json"), nil, strings.NewReader(""), &out, &errOut)
		switch code {
		case exitDone, exitStop:
			help := strings.Contains(out.String(), "Usage:\n") // asked for, or a group without a command
			if !help && !json.Valid(out.Bytes()) {
				t.Errorf("%q: no JSON document: %s", line, out.Bytes())
			}
		case exitUsage, exitRange, exitNotFound:
			if out.Len() > 0 || !strings.HasPrefix(errOut.String(), "fillmark: error: ") {
				t.Errorf("%q: standard output %q, standard error %q", line, out.Bytes(), errOut.Bytes())
			}
		default:
			t.Errorf("%q: exit status %d: %s", line, code, errOut.Bytes())
		}
	})
}
