// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package words_test

import (
	"bytes"
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/notify/words"
)

// sentences are those of one file by id, each with all its forms, and the ids in
// the order of the file.
func sentences(t *testing.T, l loops.Language) (forms map[string]map[string]string, ids []string) {
	t.Helper()
	raw, err := os.ReadFile(string(l) + ".json")
	require.NoError(t, err)
	d := json.NewDecoder(bytes.NewReader(raw))
	_, err = d.Token()
	require.NoError(t, err)
	forms = map[string]map[string]string{}
	for d.More() {
		id, err := d.Token()
		require.NoError(t, err)
		var entry json.RawMessage
		require.NoError(t, d.Decode(&entry))
		var text string
		of := map[string]string{}
		if json.Unmarshal(entry, &text) == nil {
			of[""] = text
		} else {
			require.NoError(t, json.Unmarshal(entry, &of), id)
		}
		ids, forms[id.(string)] = append(ids, id.(string)), of
	}
	return forms, ids
}

var places = regexp.MustCompile(`%(\[\d\][sd])`)

func placesOf(forms map[string]string) []string {
	var found []string
	for _, text := range forms {
		for _, p := range places.FindAllString(text, -1) {
			if !slices.Contains(found, p) {
				found = append(found, p)
			}
		}
	}
	slices.Sort(found)
	return found
}

// Each language has each sentence, once and in order, with the same places and
// the forms that its grammar counts with.
func TestEveryLanguageHasEverySentence(t *testing.T) {
	t.Parallel()
	english, all := sentences(t, loops.English)
	for _, l := range loops.Languages() {
		forms, ids := sentences(t, l)
		assert.True(t, slices.IsSorted(ids), "%s: ids are sorted", l)
		assert.Equal(t, all, ids, "%s: the same ids, each once", l)
		for id, of := range forms {
			assert.Equal(t, placesOf(english[id]), placesOf(of), "%s: places of %s", l, id)
			for _, text := range of {
				assert.NotContains(t, places.ReplaceAllString(strings.ReplaceAll(text, "%%", ""), ""), "%", "%s: %s has a place of another kind", l, id)
				assert.Equal(t, strings.TrimSpace(text), text, "%s: %s", l, id)
			}
			if _, counts := english[id][""]; !counts {
				assert.Contains(t, of, "one", "%s: %s", l, id)
				assert.Contains(t, of, "other", "%s: %s", l, id)
			}
		}
	}
}

// stiff are turns that no workshop would say to an owner.
var stiff = regexp.MustCompile(`(?i)\b(we get in touch|and get in touch|we write no more|the next morning|against growth|made up|the die|like work|such as letters|` +
	`wants to|settles what|that nobody knows|gave your machine back|pressed a button|does not open anything|whether that was kept|` +
	`what is right here|where something cannot wait|soon is good|room about|as it mostly is|so that the true|tell us of)\b`)

// What owners read is said as a workshop would say it.
func TestEnglishIsSpoken(t *testing.T) {
	t.Parallel()
	for _, offender := range []string{"We get in touch with you.", "It is on our list for the next morning.", "The liquid is made up.", "Soon is good."} {
		assert.Regexp(t, stiff, offender)
	}
	english, _ := sentences(t, loops.English)
	for id, forms := range english {
		for _, text := range forms {
			assert.NotRegexp(t, stiff, text, id)
		}
	}
}

// families are the ids that the code puts together.
func families() []string {
	var ids []string
	add := func(lead string, ends ...string) {
		for _, end := range ends {
			ids = append(ids, lead+end)
		}
	}
	add("stage.", "ahead", "due", "late", "last")
	for i := range 7 {
		add("weekday.", strconv.Itoa(i))
	}
	for i := range 12 {
		add("month.", strconv.Itoa(i+1))
	}
	add("span.", "day", "month")
	add("every.", "day", "month")
	add("far.in.", "days", "months", "years")
	add("far.ago.", "days", "months", "years")
	for _, lead := range []string{"subject.", "intro."} {
		add(lead, "handover", "welcome")
	}
	for _, lead := range []string{"understood.", "now."} {
		add(lead, "fine", "looked", "off", "call", "call-whom", "pause", "pause-until", "day", "moved", "passed-on", "elsewhere")
	}
	for _, says := range []string{"fine", "off", "call", "pause", "stop"} {
		add("reply."+says, ".subject", ".body")
	}
	for _, role := range loops.AdditiveRoles() {
		add("charge.unknown-", string(role))
	}
	return ids
}

// parsed are the Go files of folders, their tests left out.
func parsed(t *testing.T, folders ...string) []*ast.File {
	t.Helper()
	var files []*ast.File
	for _, folder := range folders {
		paths, err := filepath.Glob(filepath.Join(folder, "*.go"))
		require.NoError(t, err)
		require.NotEmpty(t, paths, folder)
		for _, path := range paths {
			if strings.HasSuffix(path, "_test.go") {
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
			require.NoError(t, err)
			files = append(files, file)
		}
	}
	return files
}

func literal(e ast.Expr) (string, bool) {
	lit, ok := e.(*ast.BasicLit)
	if !ok || lit.Kind != token.STRING {
		return "", false
	}
	text, err := strconv.Unquote(lit.Value)
	return text, err == nil
}

// What the code says is in the catalogue, and the catalogue has nothing that it
// does not say.
func TestEverySentenceIsSaid(t *testing.T) {
	t.Parallel()
	_, ids := sentences(t, loops.English)
	said := map[string]bool{}
	for _, id := range families() {
		said[id] = true
		assert.Contains(t, ids, id)
	}
	for _, file := range parsed(t, ".", "..", "../../cmd/fillmark/web", "../../cmd/fillmark/workshop") {
		ast.Inspect(file, func(n ast.Node) bool {
			if lit, ok := n.(*ast.BasicLit); ok {
				text, _ := literal(lit)
				said[text] = true
			}
			call, ok := n.(*ast.CallExpr)
			if !ok || len(call.Args) == 0 {
				return true
			}
			if sel, ok := call.Fun.(*ast.SelectorExpr); ok && sel.Sel.Name == "Say" {
				if id, ok := literal(call.Args[0]); ok {
					assert.Contains(t, ids, id, "what the code says")
				}
			}
			return true
		})
	}
	templates, err := filepath.Glob("../../cmd/fillmark/web/templates/*.html")
	require.NoError(t, err)
	require.NotEmpty(t, templates)
	for _, path := range templates {
		page, err := os.ReadFile(path)
		require.NoError(t, err)
		for _, found := range regexp.MustCompile(`\.Say "([^"]+)"`).FindAllStringSubmatch(string(page), -1) {
			said[found[1]] = true
			assert.Contains(t, ids, found[1], path)
		}
	}
	for _, id := range ids {
		if !strings.HasPrefix(id, "recorded.") {
			assert.True(t, said[id], "nothing says %s", id)
		}
	}
}

// ownersTexts are what a package writes on record for owners to read, a day in
// place of what is worked out.
func ownersTexts(t *testing.T, folder string) []string {
	t.Helper()
	const sample = "Thu 3 Dec 2026"
	var said func(e ast.Expr) string
	said = func(e ast.Expr) string {
		switch e := e.(type) {
		case *ast.BasicLit:
			text, _ := literal(e)
			return text
		case *ast.BinaryExpr:
			return said(e.X) + said(e.Y)
		case *ast.CallExpr:
			if sel, ok := e.Fun.(*ast.SelectorExpr); ok && sel.Sel.Name == "Sprintf" {
				return strings.ReplaceAll(said(e.Args[0]), "%s", sample)
			}
		}
		return sample
	}
	var texts []string
	for _, file := range parsed(t, folder) {
		ast.Inspect(file, func(n ast.Node) bool {
			var value ast.Expr
			switch n := n.(type) {
			case *ast.KeyValueExpr:
				if key, ok := n.Key.(*ast.Ident); ok && key.Name == "OwnerText" {
					value = n.Value
				}
			case *ast.AssignStmt:
				for i, left := range n.Lhs {
					if sel, ok := left.(*ast.SelectorExpr); ok && sel.Sel.Name == "OwnerText" && len(n.Rhs) > i {
						value = n.Rhs[i]
					}
				}
			}
			if value == nil {
				return true
			}
			if text := said(value); strings.HasSuffix(text, ".") && len(text) > len(sample)+1 {
				texts = append(texts, text)
			}
			return true
		})
	}
	return texts
}

// onRecord is all that other packages write for owners, in English.
func onRecord(t *testing.T) []string {
	t.Helper()
	texts := slices.Concat(ownersTexts(t, "../../loops"), ownersTexts(t, "../../schedule"))
	require.Greater(t, len(texts), 15, "the sentences of conditions and clauses are found")
	for _, about := range loops.Tasks() {
		texts = append(texts, about.OwnerTitle, strings.ToLower(about.OwnerTitle), about.OwnerNeeds, about.OwnerThen, about.OwnerEvery(loops.Interval{Months: 6}))
	}
	for _, n := range loops.Notices(false) {
		texts = append(texts, string(n))
	}
	for _, kind := range append(loops.AnswerKinds(), loops.Unclear) {
		if kind != loops.ProposeDay { // that one always has its day
			texts = append(texts, loops.Answer{Answer: kind}.Said())
		}
	}
	for _, kind := range []loops.AnswerKind{loops.Pause, loops.ProposeDay} {
		texts = append(texts, loops.Answer{Answer: kind, On: loops.Day{Year: 2026, Month: time.December, Dom: 3}}.Said())
	}
	for _, ran := range loops.RanAll() {
		texts = append(texts, ran.Sentence())
	}
	for _, h := range loops.Hows() {
		texts = append(texts, h.Word())
	}
	for _, c := range []loops.Charge{{Fluid: "eg"}, {Fluid: "pg"}, {Fluid: "water"}, {Fluid: "deionised"}} {
		require.True(t, c.Fluid.Valid())
		texts = append(texts, c.Fluid.Name())
	}
	for _, c := range []loops.Clause{
		{Kind: loops.ByEvidence}, {Source: "common practice, no source"}, {Source: "this loop's record"}, {Source: "setting of this loop"},
		{Source: "owner's answer"}, {Source: "level in this loop's history"}, {Source: "this workshop's configuration"}, {Source: "label of the coolant"},
	} {
		texts = append(texts, c.SourceForOwner())
	}
	// What schedule puts together from a label.
	for _, what := range []string{"the cooling liquid", "the corrosion protection", "the protection against algae and slime"} {
		life := "The label gives " + what + " 24 months."
		texts = append(texts, life, life+" The workshop does not open a sealed machine for that; it checks whether it cools as before.")
	}
	// How it runs against the day of its return, which workshop puts together.
	texts = append(texts, "On Thu 3 Dec 2026 it ran as on the day you got it back.")
	for _, how := range []string{"warmer", "cooler"} {
		texts = append(texts, "You got it back on Thu 3 Dec 2026. On Fri 4 Dec 2026 it ran 6 ± 3 K "+how+" than on that day, at similar work in a similar room.")
	}
	// What the card that goes home says of a proof; web's test has the figures of inspection.
	at := "At 90 W in a room at 20.0 °C the processor shows 60.0 °C; before the repair it would have been 85.0 °C."
	unlike := "The conditions differed: 90 W and 29.0 °C before, 90 W and 20.0 °C after: that adds 0.014 K/W to the uncertainty."
	climbing := "It was still climbing then, so the true gain is larger."
	leaves := "At 500 W it leaves at 15.0 °C with 15.0 °C asked for; before the repair, at 500 W, it left at 22.0 °C with 15.0 °C asked for."
	flows := "The coolant warms by 78 % less on its way for the same heat: more flows."
	texts = append(texts, "The repair is proved. From die to room 0.722 ± 0.074 K/W before, 0.444 ± 0.046 K/W after. "+at,
		"The repair is proved. Above its set point by 7.0 ± 1.0 K before, by 0.0 ± 1.0 K after. "+leaves,
		at, at+" "+unlike, unlike, unlike+" "+climbing, climbing, leaves, leaves+" "+flows, flows)
	// Rules that somebody may set aside, as a hand-over says them; notify's test has
	// those of chemistry.
	texts = append(texts, "Nothing may be added: the loop runs on water.", "This coolant would corrode the loop.", "The coolant is too thin and would grow slime.",
		"The coolant may freeze where the machine gets coldest.", "What is in the coolant and a part that it wets do not suit each other.", "Two things in the coolant do not suit each other.",
		"no leak check of 24 hours has stayed dry since the loop was filled.", "no leak check of 24 hours has stayed dry since the loop was opened.",
		"no leak check of 24 hours has stayed dry since the loop was swapped for another.", "you had not agreed to the loop being opened.")
	return append(texts, "A setting of this loop.") // what is left of one after an erasure
}

// Every sentence that stands on record is said in the reader's language, and no
// translation waits for one that nothing writes.
func TestWhatIsOnRecordIsTranslated(t *testing.T) {
	t.Parallel()
	english, ids := sentences(t, loops.English)
	texts := onRecord(t)
	for _, l := range loops.Languages()[1:] {
		w := words.In(l)
		for _, text := range texts {
			assert.NotEqual(t, text, w.Recorded(text), "%s has it in English", l)
		}
		assert.Equal(t, "Nobody wrote this.", w.Recorded("Nobody wrote this."), "what is not known stays as it was written")
	}
	for _, id := range ids {
		if strings.HasPrefix(id, "recorded.") {
			parts := places.Split(english[id][""], -1)
			for i, part := range parts {
				parts[i] = regexp.QuoteMeta(strings.ReplaceAll(part, "%%", "%"))
			}
			matches := regexp.MustCompile("^" + strings.Join(parts, ".+") + "$").MatchString
			assert.True(t, slices.ContainsFunc(texts, matches), "nothing writes what %s is for", id)
		}
	}
	for _, text := range texts {
		assert.Equal(t, text, words.In(loops.English).Recorded(text))
	}
}

func TestDaysInTheirLanguage(t *testing.T) {
	t.Parallel()
	first := loops.Day{Year: 2026, Month: time.January, Dom: 1}
	for n := range 800 {
		day := first.AddDays(n)
		require.Equal(t, day.Long(), words.In("").Day(day))
	}
	want := map[loops.Language][]string{
		loops.English:    {"Fri 1 May 2026", "Sun 31 Jan 2027"},
		loops.German:     {"Fr., 1. Mai 2026", "So., 31. Jan. 2027"},
		loops.Spanish:    {"vie 1 may 2026", "dom 31 ene 2027"},
		loops.French:     {"ven. 1er mai 2026", "dim. 31 janv. 2027"},
		loops.Portuguese: {"sex., 1 de maio de 2026", "dom., 31 de jan. de 2027"},
	}
	for _, l := range loops.Languages() {
		w := words.In(l)
		assert.Equal(t, want[l], []string{w.Day(loops.Day{Year: 2026, Month: time.May, Dom: 1}), w.Day(loops.Day{Year: 2027, Month: time.January, Dom: 31})}, l)
		assert.Equal(t, string(l), w.Language())
		days := map[string]bool{}
		for n := range 365 {
			days[w.Day(first.AddDays(n))] = true
		}
		assert.Len(t, days, 365, "%s: no two days look alike", l)
	}
}

func TestOneAndMany(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		id   string
		n    int
		says []string // in the order of the languages
	}{
		{"span.day", 1, []string{"1 day", "1 Tag", "1 día", "1 jour", "1 dia"}},
		{"span.day", 2, []string{"2 days", "2 Tage", "2 días", "2 jours", "2 dias"}},
		{"span.month", 1, []string{"1 month", "1 Monat", "1 mes", "1 mois", "1 mês"}},
		{"span.month", 12, []string{"12 months", "12 Monate", "12 meses", "12 mois", "12 meses"}},
		{"far.in.days", 1, []string{"in 1 day", "in 1 Tag", "dentro de 1 día", "dans 1 jour", "daqui a 1 dia"}},
		{"far.in.days", 2, []string{"in 2 days", "in 2 Tagen", "dentro de 2 días", "dans 2 jours", "daqui a 2 dias"}},
		{"far.ago.years", 2, []string{"about 2 years ago", "vor etwa 2 Jahren", "hace unos 2 años", "il y a environ 2 ans", "há cerca de 2 anos"}},
		{"every.month", 1, []string{"every month", "jeden Monat", "cada mes", "tous les mois", "todos os meses"}},
		{"every.month", 3, []string{"every 3 months", "alle 3 Monate", "cada 3 meses", "tous les 3 mois", "de 3 em 3 meses"}},
		{"intro.more", 1, []string{
			"One more thing is due; it is below.", "Noch etwas ist fällig; es steht unten.", "Queda una cosa más por hacer; está más abajo.",
			"Une autre chose est à faire\u202f; voyez plus bas.", "Há mais uma coisa por fazer; está mais abaixo.",
		}},
		{"intro.more", 3, []string{
			"3 more things are due; they are below.", "3 weitere Dinge sind fällig; sie stehen unten.", "Quedan 3 cosas más por hacer; están más abajo.",
			"3 autres choses sont à faire\u202f; voyez plus bas.", "Há mais 3 coisas por fazer; estão mais abaixo.",
		}},
	} {
		var says []string
		for _, l := range loops.Languages() {
			says = append(says, words.In(l).Say(tt.id, tt.n))
		}
		assert.Equal(t, tt.says, says)
	}
}

// French sets some marks apart by a narrow space that does not break, and writes
// its apostrophe round.
func TestFrenchMarks(t *testing.T) {
	t.Parallel()
	forms, _ := sentences(t, loops.French)
	for id, of := range forms {
		for _, text := range of {
			assert.NotRegexp(t, `[^\x{202f}][:;!?»]|[^\x{202f}]%%|«[^\x{202f}]|'|\x{00a0}`, text, id)
		}
	}
}

// What stands inside a sentence on record is said in its language too.
func TestInsideASentenceOnRecord(t *testing.T) {
	t.Parallel()
	german := words.In(loops.German)
	for l, says := range map[loops.Language]string{
		loops.Spanish:    "Antes de la primera helada, hacia el 15 oct, el taller comprueba que el líquido no se pueda helar.",
		loops.French:     "Avant les premières gelées, vers le 15 oct., l’atelier vérifie que le liquide ne peut pas geler.",
		loops.Portuguese: "Antes da primeira geada, por volta de 15 de out., a oficina verifica que o líquido não pode congelar.",
	} {
		assert.Equal(t, says, words.In(l).Recorded("Before the first frost, about 15 Oct, the workshop checks that the liquid cannot freeze."))
		assert.Contains(t, words.In(l).Recorded("Cooling liquid was missing, 0.050 l, when the workshop looked on Thu 3 Dec 2026."), "0,050 l")
	}
	for text, want := range map[string]string{
		"The repair is proved. From die to room 0.722 ± 0.074 K/W before, 0.444 ± 0.046 K/W after. At 90 W in a room at 20.0 °C the processor shows 60.0 °C; before the repair it would have been 85.0 °C.": "Die Reparatur ist nachgewiesen. Vom Chip zum Raum: vorher 0,722 ± 0,074 K/W, nachher 0,444 ± 0,046 K/W. Bei 90 W und 20,0 °C im Raum zeigt der Prozessor 60,0 °C; vor der Reparatur wären es 85,0 °C gewesen.",
		"A first look-over 14 days after new liquid went in shows whether all is well.":                                                                              "Eine erste Durchsicht zeigt, ob alles gut ist: 14 Tage nachdem neue Flüssigkeit hineinkam.",
		"The cooling liquid is changed every month.":                                                                                                                 "Die Kühlflüssigkeit wird jeden Monat gewechselt.",
		"We were told on Thu 3 Dec 2026 that something is off.":                                                                                                      "Am Do., 3. Dez. 2026 wurde uns gesagt, dass etwas nicht stimmt.",
		"Before the first frost, about 15 Oct, the workshop checks that the liquid cannot freeze.":                                                                   "Vor dem ersten Frost, um den 15. Okt., prüft die Werkstatt, dass die Flüssigkeit nicht gefrieren kann.",
		"Cooling liquid was missing, 0.050 l, when the workshop looked on Thu 3 Dec 2026.":                                                                           "Als die Werkstatt am Do., 3. Dez. 2026 nachsah, fehlte Kühlflüssigkeit: 0,050 l.",
		"The label gives the corrosion protection 24 months.":                                                                                                        "Das Etikett nennt für den Korrosionsschutz 24 Monate.",
		"It leaked when the workshop last checked it, on Thu 3 Dec 2026. Leave it switched off and unplugged, and keep children and animals away from anything wet.": "Es leckte, als die Werkstatt es zuletzt prüfte, am Do., 3. Dez. 2026. Lassen Sie es aus und vom Netz getrennt, und halten Sie Kinder und Tiere von allem Nassen fern.",
	} {
		assert.Equal(t, want, german.Recorded(text))
	}
	assert.Equal(t, "ethylene glycol, propylene glycol and water", words.In("").List([]string{"ethylene glycol", "propylene glycol", "water"}))
	assert.Equal(t, "„Lämpchen“", german.Quoted("Lämpchen"))
}
