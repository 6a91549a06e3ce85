#!/usr/bin/env bash
# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
#
# Holds a release that packaging/release made against the program in it: every module that is linked is in the SBOM and has its licence
# text, the manual is there, and what makes the manual is not linked. Wants jq.
set -euo pipefail
folder=$1
linked=$(go version -m "$folder/fillmark" | awk '$1 == "dep" { print $2 "@" $3 }' | sort)
[ -n "$linked" ] || { echo 'no module is linked, which cannot be' >&2; exit 1; }
listed=$(jq -r '.components[] | select(.name != "std") | .name + "@" + .version' "$folder/sbom.cdx.json" | sort)
diff <(echo "$linked") <(echo "$listed") || { echo 'the SBOM lists other modules than are linked' >&2; exit 1; }
jq -e '.bomFormat == "CycloneDX" and (.components | any(.name == "std"))' "$folder/sbom.cdx.json" >/dev/null || { echo 'no CycloneDX, or without the standard library' >&2; exit 1; }
without=$(jq -r '.components[] | select(.name != "std") | select((.licenses // .evidence.licenses // []) | length == 0) | .name' "$folder/sbom.cdx.json")
[ -z "$without" ] || { printf 'no licence is told of:\n%s\n' "$without" >&2; exit 1; }
while read -r module; do
	[ -n "$(find "$folder/third-party/${module%@*}" -maxdepth 1 -type f -size +100c 2>/dev/null)" ] || { echo "no licence text of $module" >&2; exit 1; }
done <<<"$linked"
for unwanted in github.com/russross/blackfriday github.com/cpuguy83/go-md2man; do
	if grep -qF "$unwanted" <<<"$linked"; then echo "$unwanted is linked" >&2; exit 1; fi
done
grep -q 'SH SYNOPSIS' "$folder/man/fillmark-mix.1"
if grep -q 'Auto generated' "$folder/man/fillmark-mix.1"; then echo 'the manual tells when it was made' >&2; exit 1; fi
echo "the release is whole: $(wc -l <<<"$linked") modules, each in the SBOM and with its licence text"
