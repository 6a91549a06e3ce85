// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"encoding/json"
	"maps"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// jsonRow is a row of the table of JSON keys in doc/commands.md.
type jsonRow struct{ label, text string }

func jsonRows(t *testing.T) (rows []jsonRow) {
	t.Helper()
	_, section, found := strings.Cut(documents(t)["commands.md"], "## JSON")
	require.True(t, found)
	section, _, _ = strings.Cut(section, "\n## ")
	for _, row := range regexp.MustCompile("(?m)^\\| (`.*?) \\| (.*) \\|$").FindAllStringSubmatch(section, -1) {
		rows = append(rows, jsonRow{strings.ReplaceAll(row[1], "`", ""), row[2]})
	}
	require.Greater(t, len(rows), 20)
	return rows
}

// commands are the paths of the commands that a row is about; a name in a list
// may leave out the group of the one before.
func (r jsonRow) commands(root *cobra.Command) (paths []string) {
	group := ""
	for name := range strings.SplitSeq(r.label, ", ") {
		for _, full := range []string{name, group + name} {
			if cmd, _ := commandOf(root, full); cmd != nil && !cmd.HasSubCommands() {
				paths = append(paths, cmd.CommandPath())
				group = strings.TrimPrefix(cmd.Parent().CommandPath()+" ", "fillmark ")
			}
		}
	}
	return paths
}

// keys are the keys that a row names, at any depth. What is in brackets and
// the values behind a colon are none.
func (r jsonRow) keys() map[string]bool {
	text := regexp.MustCompile("as (the traits of |a trait of )?`[^`]*`|with `show` only|`show` also").ReplaceAllString(r.text, "")
	text = regexp.MustCompile(`\([^)]*\)`).ReplaceAllString(text, "")
	text = regexp.MustCompile("`: (`[^`]+`, )*`[^`]+` or `[^`]+`").ReplaceAllString(text, "`")
	keys := map[string]bool{}
	for _, found := range regexp.MustCompile("`([a-z0-9_]+)`").FindAllStringSubmatch(text, -1) {
		keys[found[1]] = true
	}
	return keys
}

// printedKeys are the keys of a document, at any depth.
func printedKeys(into map[string]bool, value any) {
	switch v := value.(type) {
	case map[string]any:
		for key, below := range v {
			into[key] = true
			printedKeys(into, below)
		}
	case []any:
		for _, below := range v {
			printedKeys(into, below)
		}
	}
}

// typed are the command lines that show what a row of the table promises, on
// the invented workshop; {name} is the tag of a loop of that machine.
type typed struct {
	lines []string
	// record: the answer is a record with all its own keys, or more than the row
	// spells out; the row's keys are among them.
	record bool
	// atTimes are keys that are there in cases that the workshop has not.
	atTimes []string
	// exit is the status besides those of an answer.
	exit int
	// why this row's command is not run here.
	why string
}

const mixed = "mix --fluid pg --wall -20C --make 600ml --concentrate 95%"

// answers are for each row of the table, by its label.
var answers = map[string]typed{
	"props":                          {lines: []string{"props --fluid pg --mass 40% --at 20C"}},
	"props … --up-to":                {lines: []string{"props --fluid pg --mass 40% --at 20C --up-to 30C --every 5K"}, record: true},
	"reading":                        {lines: []string{"reading --fluid pg --brix 28.4 --at 20C --product blue --label 30%:-12C:22bx --label 50%:-33C:34bx"}},
	"rules":                          {lines: []string{"rules", "rules --source all"}},
	"bench identify":                 {lines: []string{"bench identify --brix 16 --density 940"}},
	"bench balance":                  {lines: []string{"bench balance --fluid pg --filled-mass 35% --mass 37.9%±0.4% --held 1kg --missing 160g"}},
	"bench clean":                    {lines: []string{"bench clean --agent vinegar --metal copper"}},
	"bench wall":                     {lines: []string{"bench wall --running 18C --storage -5C"}},
	"bench rinse":                    {lines: []string{"bench rinse --left 15ml --holds 90ml --old-liquid 1%"}},
	"bench dew":                      {lines: []string{"bench dew --room 25C --humidity 50%", "bench dew --room 25C --humidity 50% --tube 12C"}},
	"bench dose":                     {lines: []string{"bench dose --product inhibitor --per-litre 20g --holds 480ml --after-topup 60ml --spent-below 50%"}},
	"bench loss":                     {lines: []string{"bench loss --fluid pg --mass 25% --tubing epdm --tube-length 0.7m --bore 7mm --outer 12mm"}},
	"bench water":                    {lines: []string{"bench water --fluid pg --hardness 5.6dH --chloride 18mg/l --sulfate 30mg/l --ph 7.6"}},
	"mix":                            {lines: []string{mixed + " --left 15ml", "mix --fluid pg --volume 40% --make 1l --product blue --label 30%:-12C --label 50%:-33C"}},
	"topup":                          {lines: []string{"topup {the grey tower} --gap 20ml --with water", "topup --fluid deionised --holds 1l --metal copper --metal aluminium --gap 20ml --with deionised", "topup --fluid pg --mass 30% --holds 1l --gap 100ml --with pg:95% --wall -5C"}},
	"triage":                         {lines: []string{"triage {the grey tower} --die 92C --room 22C --power 100W", "triage --open --die 92C --room 22C --power 100W --pump stopped --fins dusty"}, atTimes: []string{"both", "own"}},
	"loop show":                      {lines: []string{"loop weigh {the grey tower} --stage dry --weight 1400g", "loop weigh {the grey tower} --stage drained --weight 1490g", "loop weigh {the grey tower} --stage filled --weight 1530g", "loop show {the grey tower}"}, record: true, atTimes: []string{"warning", "loss", "from", "to", "lost_kg", "lost_uncertainty_kg", "lost_kg_per_year", "lost_kg_per_year_uncertainty", "weighings"}},
	"owner list, outbox list":        {lines: []string{"owner list", "outbox list"}, record: true},
	"loop list":                      {lines: []string{"loop list"}, record: true},
	"machine list":                   {lines: []string{"machine list"}, record: true},
	"owner show":                     {lines: []string{"owner show 1"}, record: true},
	"machine show":                   {lines: []string{"machine show 1"}, record: true},
	"loop log":                       {why: "it reads a file"},
	"loop step TAG alone":            {lines: []string{"loop step {the test bench PC}"}, atTimes: []string{"done", "by", "entry", "value", "found", "left_out", "note"}},
	"due":                            {lines: []string{"due"}, atTimes: []string{"cause", "trait", "failed", "of", "agreed", "reached", "remedy", "since"}},
	"config check":                   {lines: []string{"config check"}},
	"opening pattern":                {lines: []string{"opening pattern"}, atTimes: []string{"firmer"}},
	"opening list, opening list TAG": {lines: []string{"opening list", "opening list {the blue midi}"}, record: true},
	"opening lives":                  {lines: []string{"opening lives"}, record: true, atTimes: []string{"entry_months"}},
	"opening howlong":                {lines: []string{"opening howlong --by metals"}, record: true},
	"opening evidence":               {lines: []string{"opening evidence"}, atTimes: []string{"version", "made", "notices", "cause", "failed", "of", "text", "reason", "ages", "failures", "loop_months", "since", "origin", "sealed", "months", "shape", "lives"}},
	"opening whenlook":               {lines: []string{"opening whenlook"}},
	"opening summary":                {lines: []string{"opening summary --trait metal=aluminium"}, record: true},
	"opening watch":                  {lines: []string{"opening watch metal=aluminium --cause clog", "opening watch"}, record: true, atTimes: []string{"reading"}},
	"shelf list, shelf list instruments, shelf list samples, shelf list waste": {lines: []string{"shelf sample {the grey tower} --place rack", "shelf list", "shelf list instruments", "shelf list samples", "shelf list waste"}, record: true, atTimes: []string{"struck"}},
	"shelf add, shelf show, shelf edit, shelf use":                             {lines: []string{"shelf show 1", "shelf use 1 --out 10ml --went spilt"}, record: true},
	"shelf recall":          {lines: []string{"shelf recall {lot}"}, record: true},
	"check":                 {lines: []string{"check"}, record: true},
	"compact":               {lines: []string{"compact"}},
	"doctor":                {lines: []string{"doctor"}, exit: exitFailed, atTimes: []string{"do", "from"}},
	"backup --list":         {lines: []string{"backup --list"}, atTimes: []string{"path", "made", "encrypted", "gone_by"}},
	"backup --new-key":      {lines: []string{"backup --new-key {identity}"}},
	"dkim new, dkim rotate": {lines: []string{"dkim new", "dkim rotate"}},
	"dkim records":          {lines: []string{"dkim records"}},
	"dkim check":            {why: "needs the DNS"},
	"bounce":                {why: "needs a mail that came back"},
	"restore":               {why: "needs a folder in which there is no register"},
	"import":                {why: "needs a folder in which there is no register"},
	"import --table":        {why: "needs a file"},
	"outbox show TAG":       {lines: []string{"outbox show {the grey tower}"}},
	"sweep":                 {lines: []string{"sweep"}, atTimes: []string{"key", "owner", "stage", "subject"}},
	"intake, owner add, owner edit, machine add, machine edit, loop add, loop edit": {lines: []string{
		"intake --who Ilse --kind desktop --complaint loud", "owner add --name Lotte", "owner edit 1 --phone 5550100", "machine add --owner 1 --kind desktop --name spare", "machine edit 1 --model X", "loop add --like {the grey tower} --machine 2 --name second", "loop edit {the grey tower} --hottest 55C",
	}, record: true, atTimes: []string{"tag"}},
	"shelf instrument, shelf check, shelf sample, shelf discard, shelf waste": {lines: []string{
		"shelf instrument --kind scale --name small", "shelf check 1 --against water --expected 0 --read 0.1", "shelf waste --fluid pg --out 1l --went contractor",
	}, record: true},
	"loop fill, poured, dose, drain, intake, readings, open, step, weigh, clean, flush, leakcheck, proof, work, handover, return, swap, transfer, retire, plan, call, strike, note ([acts.md](acts.md))": {
		lines: []string{"loop note {the grey tower} --note rang", "loop weigh {the grey tower} --stage later --weight 1528g"}, record: true, atTimes: []string{"mailed", "repeated", "warnings", "reasons"},
	},
	"owner end-links":                         {lines: []string{"owner end-links 2"}, record: true},
	"owner erase":                             {lines: []string{"owner erase 8 --name {owner 8} --prove"}, record: true},
	"backup":                                  {lines: []string{"backup --to {copied}"}, atTimes: []string{"second", "lines_compared", "removed"}},
	"technician add, technician password":     {lines: []string{"technician add Bo --link"}, atTimes: []string{"name", "revision", "added", "password_set"}},
	"technician list":                         {lines: []string{"technician list"}, record: true},
	"technician remove":                       {lines: []string{"technician remove Bo"}},
	"outbox show, hold, release, retry, drop": {lines: []string{"outbox show 1/2026-11-27/reminder"}, record: true},
	"outbox allow":                            {lines: []string{"outbox allow"}, atTimes: []string{"address", "reason", "since", "status"}},
	"outbox allow ADDRESS":                    {why: "needs an address that was given up"},
}

// Every row of the table is held against what the command prints on the invented
// workshop: no key less, and none more where the row spells all of them out.
func TestDocumentedJSONKeys(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), "demo")
	code, _, errOut := runHere(t, t.TempDir(), "try", "--once", folder, "--today", "2026-11-28")
	require.Zero(t, code, errOut)
	fill := placeholders(t, folder)
	for _, row := range jsonRows(t) {
		how, there := answers[row.label]
		if !assert.True(t, there, "the row %q is not tried", row.label) {
			continue
		}
		if how.why != "" {
			continue
		}
		real := map[string]bool{}
		for _, line := range how.lines {
			code, out, errOut := runHere(t, folder, append(fill(line), "--json")...)
			var document any
			if assert.Contains(t, []int{exitDone, exitStop, how.exit}, code, "%s: %s", line, errOut) {
				require.NoError(t, json.Unmarshal([]byte(out), &document), line)
			}
			printedKeys(real, document)
		}
		for _, key := range how.atTimes {
			real[key] = true
		}
		documented := row.keys()
		if !how.record {
			assert.Equal(t, slices.Sorted(maps.Keys(real)), slices.Sorted(maps.Keys(documented)), row.label)
		}
		for key := range documented {
			assert.True(t, real[key], "%s: no answer has the key %q", row.label, key)
		}
	}
}

// placeholders returns how a line's {name} becomes the tag of the loop of that
// machine, and the line its words.
func placeholders(t *testing.T, folder string) func(line string) []string {
	t.Helper()
	of := map[string]string{}
	var loopList struct {
		Items []struct {
			Tag     string
			Machine string `json:"machine_name"`
		}
	}
	code, out, errOut := runHere(t, folder, "loop", "list", "--json")
	require.Zero(t, code, errOut)
	require.NoError(t, json.Unmarshal([]byte(out), &loopList))
	for _, l := range loopList.Items {
		of[l.Machine] = l.Tag
	}
	var shelf struct{ Items []struct{ Lot string } }
	code, out, errOut = runHere(t, folder, "shelf", "list", "--json")
	require.Zero(t, code, errOut)
	require.NoError(t, json.Unmarshal([]byte(out), &shelf))
	of["copied"], of["identity"] = filepath.Join(folder, "copied"), filepath.Join(folder, "identity")
	of["lot"], of["owner 8"] = shelf.Items[0].Lot, "Callum Reidhaven"
	return func(line string) (words []string) {
		for part := range strings.FieldsFuncSeq(line, func(r rune) bool { return r == '{' || r == '}' }) {
			if known, ok := of[part]; ok {
				words = append(words, known)
			} else {
				words = append(words, strings.Fields(part)...)
			}
		}
		return words
	}
}
