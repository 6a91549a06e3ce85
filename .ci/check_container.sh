#!/usr/bin/env bash
# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
#
# Builds the container of a release as its Containerfile says, and looks at the image: .ci/check_container.sh ARCHIVE. The program is
# run on the image's files, as root; whether it runs as a container depends on what the machine allows, and is not tried. Wants root, buildah and jq.
set -euo pipefail
work=$(mktemp -d)
store=(--storage-driver vfs --root "$work/images" --runroot "$work/run")
trap 'buildah "${store[@]}" umount --all >/dev/null 2>&1 || true; rm -rf "$work"' EXIT

tar -C "$work" --strip-components=1 -xf "$1"
cd "$work"
cp /etc/ssl/certs/ca-certificates.crt .
mkdir register
buildah "${store[@]}" build --isolation chroot --quiet --tag fillmark . >/dev/null
container=$(buildah "${store[@]}" from fillmark)
buildah "${store[@]}" inspect --type image fillmark | jq -e '.OCIv1.config | .User == "65532:65532" and .Entrypoint == ["/fillmark"] and .Cmd == ["serve"]' >/dev/null
root=$(buildah "${store[@]}" mount "$container")
[ "$(stat -c %u "$root/var/lib/fillmark")" = 65532 ]
cmp fillmark "$root/fillmark"
env -i "FILLMARK_STORE=$root/var/lib/fillmark/register.db" "$root/fillmark" owner add --name 'Ana Ruizado' >/dev/null
[ "$(stat -c %a "$root/var/lib/fillmark/register.db")" = 600 ]
echo "the image holds the program, which keeps a register in it: $(du -sm "$root" | cut -f1) MB"
