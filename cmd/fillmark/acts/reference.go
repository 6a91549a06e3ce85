// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fmt"
	"slices"
	"strings"
)

// Reference is the table of all acts and their fields as doc/acts.md has it, in
// Markdown.
func Reference() string {
	var out strings.Builder
	out.WriteString(`# Acts

Everything that is done to a loop, with its fields: the flag, the key in JSON, what
it takes and what it means. Written by ` + "`fillmark docs acts`" + ` from the definitions.
An act is ` + "`fillmark loop NAME TAG`" + ` or ` + "`POST /api/v1/loops/TAG/acts/NAME`" + `.

On the command line what belongs together is typed together: ` + "`--mass 40%±1%:label`" + ` for
strength, uncertainty and how it is known, ` + "`--inhibitor azole:2ml/l:24:Clear B`" + ` for family,
dose, months and product, ` + "`--before die=81C`" + ` for a reading from before. Their own flags,
which are listed below, say the same.

Every act also takes:

`)
	all := All()
	common := all[0].Fields[len(all[0].Fields)-len(doingFields(func(a *Note) *Doing { return &a.Doing })):]
	writeFields(&out, common)
	for _, d := range all {
		fmt.Fprintf(&out, "\n## %s\n\n%s.", d.Name, d.Short)
		if d.Long != "" {
			out.WriteString(" " + strings.ReplaceAll(d.Long, "\n", " "))
		}
		out.WriteString("\n\n")
		own := slices.DeleteFunc(slices.Clone(d.Fields), func(f Field) bool {
			return slices.ContainsFunc(common, func(c Field) bool { return c.Name == f.Name })
		})
		if len(own) > 0 {
			writeFields(&out, own)
		}
	}
	return out.String()
}

func writeFields(out *strings.Builder, fields []Field) {
	out.WriteString("| flag | JSON | takes | what it is |\n| --- | --- | --- | --- |\n")
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
		fmt.Fprintf(out, "| `--%s` | `%s` | %s | %s |\n", f.Name, f.JSONKey(), takes, strings.ReplaceAll(what, "|", `\|`))
	}
}
