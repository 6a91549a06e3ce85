// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"

	"github.com/go-viper/mapstructure/v2"
	"github.com/spf13/viper"
	"go.yaml.in/yaml/v3"

	"fillmark/loops"
)

// configError is a configuration that stops the start: file, key, value and
// what would be right, one line a problem.
type configError struct {
	file     string
	problems []error
}

func (e *configError) Error() string {
	lines := make([]string, len(e.problems))
	for i, p := range e.problems {
		lines[i] = e.file + ": " + strings.ReplaceAll(p.Error(), "\n", "\n"+e.file+": ") // the policy joins its own
	}
	return strings.Join(lines, "\n")
}

func (e *configError) Unwrap() []error { return e.problems }

// LoadConfig reads the file (none where the name is empty) and the FILLMARK_…
// variables over the defaults, strictly: a key that does not exist, a value of
// the wrong type or an impossible one is an error.
func LoadConfig(file string, env map[string]string) (Config, error) {
	c := DefaultConfig(env)
	v := viper.NewWithOptions(viper.KeyDelimiter("."))
	defaults := map[string]any{}
	if err := mapstructure.Decode(c, &defaults); err != nil {
		return c, fmt.Errorf("config: defaults: %w", err)
	}
	if err := v.MergeConfigMap(defaults); err != nil {
		return c, fmt.Errorf("config: defaults: %w", err)
	}
	known := v.AllKeys()
	name := "environment"
	if file != "" {
		name = file
		if err := checkFileKeys(file, known); err != nil {
			return c, err
		}
		v.SetConfigFile(file)
		v.SetConfigType("yaml")
		if err := v.MergeInConfig(); err != nil {
			return c, &configError{file, []error{fmt.Errorf("is no YAML that can be read: %w", err)}}
		}
	}
	if err := mergeEnvironment(v, env, known); err != nil {
		return c, err
	}
	if err := v.UnmarshalExact(&c, strictTypes); err != nil {
		return c, &configError{name, typeProblems(err)}
	}
	if problems := c.Problems(); len(problems) > 0 {
		return c, &configError{name, problems}
	}
	return c, nil
}

func strictTypes(d *mapstructure.DecoderConfig) {
	d.WeaklyTypedInput = false
	d.ErrorUnused = true
	d.DecodeHook = mapstructure.ComposeDecodeHookFunc(d.DecodeHook, wholeNumbers)
}

// wholeNumbers refuses 6.5 where a whole number belongs: the decoder by itself
// would cut it to 6 in silence.
func wholeNumbers(from, to reflect.Value) (any, error) {
	if from.Kind() == reflect.Float64 && to.CanInt() && from.Float() != math.Trunc(from.Float()) {
		return nil, &mapstructure.UnconvertibleTypeError{Expected: to, Value: from.Interface()}
	}
	return from.Interface(), nil
}

// checkFileKeys refuses keys that do not exist, and keys that differ only in
// case, before viper folds them: viper would ignore the first of such a pair.
func checkFileKeys(file string, known []string) error {
	raw, err := os.ReadFile(file)
	if err != nil {
		return &configError{file, []error{fmt.Errorf("cannot be read: %w", err)}}
	}
	if twice := keysTwice(raw); len(twice) > 0 {
		return &configError{file, twice}
	}
	var tree map[string]any
	if err := yaml.Unmarshal(raw, &tree); err != nil {
		return &configError{file, []error{notYAML(raw, err)}}
	}
	var problems []error
	walkKeys(tree, "", func(key string) {
		if !slices.Contains(known, key) {
			problems = append(problems, fmt.Errorf("%s: there is no such key; config example lists them all", key))
		}
	})
	if len(problems) > 0 {
		return &configError{file, problems}
	}
	return nil
}

// notYAML says why a file is not read. Most often a tab is why, of which the
// decoder says that no token can begin with it.
func notYAML(raw []byte, err error) error {
	number := 0
	for line := range bytes.Lines(raw) {
		number++
		if text := bytes.TrimSpace(line); len(text) == 0 || text[0] == '#' {
			continue
		}
		if indent := line[:len(line)-len(bytes.TrimLeft(line, " \t"))]; bytes.ContainsRune(indent, '\t') {
			return fmt.Errorf("line %d begins with a tab: spaces are right (%w)", number, err)
		}
	}
	return fmt.Errorf("is no YAML that can be read: %w", err)
}

// keysTwice finds the keys that stand twice in one section: which of the two was
// meant nobody can tell. What is no YAML is for the decoder to say.
func keysTwice(raw []byte) (found []error) {
	var document yaml.Node
	if yaml.Unmarshal(raw, &document) != nil {
		return nil
	}
	var walk func(n *yaml.Node, prefix string)
	walk = func(n *yaml.Node, prefix string) {
		if n.Kind != yaml.MappingNode {
			for _, below := range n.Content {
				walk(below, prefix)
			}
			return
		}
		lines := map[string]int{}
		for i := 0; i+1 < len(n.Content); i += 2 {
			key := n.Content[i]
			if before, ok := lines[key.Value]; ok {
				found = append(found, fmt.Errorf("%s%s: it stands twice, in lines %d and %d; one of them is right", prefix, key.Value, before, key.Line))
			}
			lines[key.Value] = key.Line
			walk(n.Content[i+1], prefix+key.Value+".")
		}
	}
	walk(&document, "")
	return found
}

// walkKeys calls visit with the dotted name of every leaf, in order.
func walkKeys(tree map[string]any, prefix string, visit func(string)) {
	for _, name := range slices.Sorted(maps.Keys(tree)) {
		if branch, ok := tree[name].(map[string]any); ok {
			walkKeys(branch, prefix+name+".", visit)
			continue
		}
		visit(prefix + name)
	}
}

// mergeEnvironment lays FILLMARK_MAIL_FROM over mail.from and so on, and
// refuses a FILLMARK_ variable that means no key: a misspelt one would
// otherwise be ignored in silence.
func mergeEnvironment(v *viper.Viper, env map[string]string, known []string) error {
	names := map[string]string{}
	for _, key := range known {
		names["FILLMARK_"+strings.ToUpper(strings.ReplaceAll(key, ".", "_"))] = key
	}
	var problems []error
	for name, value := range env {
		if !strings.HasPrefix(name, "FILLMARK_") || value == "" || slices.Contains(foreignVariables, name) {
			continue
		}
		key, ok := names[name]
		if !ok {
			problems = append(problems, fmt.Errorf("%s: no key has this name; config example lists them all", name))
			continue
		}
		var typed any = value
		switch reflect.TypeOf(v.Get(key)).Kind() {
		case reflect.Slice:
			typed = strings.Split(value, ",")
		case reflect.Int, reflect.Float64, reflect.Bool:
			if err := yaml.Unmarshal([]byte(value), &typed); err != nil {
				typed = value
			}
		}
		v.Set(key, typed)
	}
	if len(problems) > 0 {
		return &configError{"environment", problems}
	}
	return nil
}

// foreignVariables begin with FILLMARK_ but are no keys: they name the file
// itself and what tests use.
var foreignVariables = []string{"FILLMARK_CONFIG", "FILLMARK_CAMPAIGN", "FILLMARK_CAMPAIGN_SEED", "FILLMARK_BROWSER"}

// typeProblems makes one error a key of what mapstructure found, in words that
// say what would be right.
func typeProblems(err error) []error {
	joined, ok := err.(interface{ Unwrap() []error })
	if !ok {
		if inner := errors.Unwrap(err); inner != nil && !errors.As(err, new(*mapstructure.DecodeError)) {
			return typeProblems(inner)
		}
		joined = oneProblem{err}
	}
	var found []error
	for _, problem := range joined.Unwrap() {
		if several := severalIn(problem); several != nil {
			found = append(found, typeProblems(several)...)
			continue
		}
		var decode *mapstructure.DecodeError
		var kind *mapstructure.UnconvertibleTypeError
		if !errors.As(problem, &decode) || !errors.As(problem, &kind) {
			found = append(found, problem)
			continue
		}
		right := "a whole number"
		switch kind.Expected.Kind() {
		case reflect.Float64:
			right = "a number"
		case reflect.Bool:
			right = "true or false"
		case reflect.String:
			right = "a text; in quotation marks where it looks like a number"
		case reflect.Slice, reflect.Struct:
			right = "a list as config example shows it, in the file"
		}
		found = append(found, &loops.InvalidError{Field: decode.Name(), Value: fmt.Sprint(kind.Value), Reason: right})
	}
	return found
}

// severalIn returns the joined problems that an error of one section wraps; nil
// where it is a single one.
func severalIn(problem error) error {
	for ; problem != nil; problem = errors.Unwrap(problem) {
		if _, ok := problem.(interface{ Unwrap() []error }); ok {
			return problem
		}
	}
	return nil
}

// oneProblem is an error that stands alone where several are expected.
type oneProblem struct{ error }

func (p oneProblem) Unwrap() []error { return []error{p.error} }
