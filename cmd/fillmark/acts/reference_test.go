// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/acts"
)

var update = flag.Bool("update", false, "write doc/acts.md again")

// The reference in doc/ says what the definitions say.
func TestReferenceIsOfTheDefinitions(t *testing.T) {
	t.Parallel()
	path := filepath.Join("..", "..", "..", "doc", "acts.md")
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(reference()), 0o644))
	}
	kept, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, reference(), string(kept), "written by go test -update")
}

// reference is the table of all acts and their fields, in Markdown.
func reference() string {
	var out strings.Builder
	out.WriteString(`# Acts

Everything that is done to a loop, with its fields: the name, the key in JSON, what
it takes and what it means. Written from the definitions by their test, with -update.
An act is ` + "`fillmark loop NAME TAG`" + ` or ` + "`POST /api/v1/loops/TAG/acts/NAME`" + `.

On the command line a field is the flag of its name, and what belongs together is
typed together: ` + "`--mass 40%±1%:label`" + ` for strength, uncertainty and how it is known,
` + "`--inhibitor azole:2ml/l:24:Clear B`" + ` for family, dose, months and product,
` + "`--before die=81C`" + ` for a reading from before.

Every act also takes:

`)
	flush, _ := acts.Find("flush") // which has no fields of its own
	writeFields(&out, flush.Fields)
	for _, d := range acts.All() {
		fmt.Fprintf(&out, "\n## %s\n\n%s.", d.Name, d.Short)
		if d.Long != "" {
			out.WriteString(" " + strings.ReplaceAll(d.Long, "\n", " "))
		}
		out.WriteString("\n\n")
		own := slices.DeleteFunc(slices.Clone(d.Fields), func(f acts.Field) bool {
			_, common := flush.Field(f.Name)
			return common
		})
		if len(own) > 0 {
			writeFields(&out, own)
		}
	}
	return out.String()
}

func writeFields(out *strings.Builder, fields []acts.Field) {
	out.WriteString("| field | JSON | takes | what it is |\n| --- | --- | --- | --- |\n")
	for _, f := range fields {
		takes := string(f.Type)
		if len(f.Choices) > 0 {
			takes = strings.Join(f.Choices, ", ")
		}
		if f.Many {
			takes = "several: " + takes
		}
		what := f.Help
		if f.Example != "" {
			what += ", such as " + f.Example
		}
		if f.Needed {
			what += "; needed"
		}
		if f.Personal {
			what += "; emptied when the owner is erased"
		}
		fmt.Fprintf(out, "| `%s` | `%s` | %s | %s |\n", f.Name, f.JSONKey(), takes, strings.ReplaceAll(what, "|", `\|`))
	}
}
