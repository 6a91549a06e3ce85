#!/usr/bin/env bash
# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
#
# Compares what packaging/release made with the programs in it: the sums are right, and in each archive every module that is linked is in the
# SBOM and has its licence text, the manual is there, and what makes the manual is not linked. Wants jq.
set -euo pipefail
folder=$1
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

wrong() {
	echo "$name: $*" >&2
	exit 1
}

name=SHA256SUMS
(cd "$folder" && sha256sum --quiet --check SHA256SUMS)
[ "$(ls "$folder" | grep -cv SHA256SUMS)" = "$(wc -l <"$folder/SHA256SUMS")" ] || wrong 'a file has no line'

for archive in "$folder"/*.tar.gz; do
	name=$(basename "$archive" .tar.gz)
	tar -C "$work" -xf "$archive"
	tree=$work/$name program=$work/$name/fillmark
	if [[ $name = *_windows_* ]]; then program=$program.exe; fi
	linked=$(go version -m "$program" | awk '$1 == "dep" { print $2 "@" $3 }' | sort)
	[ -n "$linked" ] || wrong 'no module is linked, which cannot be'
	listed=$(jq -r '.components[] | select(.name != "std") | .name + "@" + .version' "$tree/sbom.cdx.json" | sort)
	diff <(echo "$linked") <(echo "$listed") || wrong 'the SBOM lists other modules than are linked'
	jq -e '.bomFormat == "CycloneDX" and (.components | any(.name == "std"))' "$tree/sbom.cdx.json" >/dev/null || wrong 'no CycloneDX, or without the standard library'
	without=$(jq -r '.components[] | select(.name != "std") | select((.licenses // .evidence.licenses // []) | length == 0) | .name' "$tree/sbom.cdx.json")
	[ -z "$without" ] || wrong "no licence is told of: $without"
	while read -r module; do
		[ -n "$(find "$tree/third-party/${module%@*}" -maxdepth 1 -type f -size +100c 2>/dev/null)" ] || wrong "no licence text of $module"
	done <<<"$linked"
	for unwanted in github.com/russross/blackfriday github.com/cpuguy83/go-md2man; do
		if grep -qF "$unwanted" <<<"$linked"; then wrong "$unwanted is linked"; fi
	done
	zcat "$tree/man/fillmark-mix.1.gz" | grep -q 'SH SYNOPSIS' || wrong 'no manual'
	if zcat "$tree"/man/*.gz | grep -q 'Auto generated'; then wrong 'the manual tells when it was made'; fi
	for paper in LICENSE README.md CHANGELOG.md fillmark.yaml fillmark.service fillmark.plist Containerfile completion/fillmark.bash; do
		[ -s "$tree/$paper" ] || wrong "no $paper"
	done
	echo "$name is whole: $(wc -l <<<"$linked") modules, each in the SBOM and with its licence text"
	rm -rf "$tree"
done
