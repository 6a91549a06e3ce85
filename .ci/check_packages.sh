#!/usr/bin/env bash
# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
#
# Installs, upgrades and removes the packages of two releases for linux/amd64 as dpkg and rpm do it, in folders of their own in which they
# change the root: .ci/check_packages.sh OLDER NEWER. The newer release has a later schema. Wants root, dpkg, rpm and systemctl.
set -euo pipefail
older=$(cd "$1" && pwd) newer=$(cd "$2" && pwd)
export SYSTEMD_OFFLINE=1 # systemctl writes what it would, and asks nobody who runs
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

wrong() {
	echo "$*" >&2
	exit 1
}

# with_libraries copies a program and what it loads into a root.
with_libraries() {
	local root=$1 program=$2 library
	install -D "$program" "$root$program"
	ldd "$program" | grep -o '/[^ )]*' | while read -r library; do install -D "$library" "$root$library"; done
}

# a_root makes a root in which the scripts of a package run: a shell, and a systemctl that knows it is in a changed root.
a_root() {
	local root=$work/$1
	mkdir -p "$root"/{etc,tmp,usr/bin,var/lib,run/systemd/system,dev}
	ln -s usr/bin "$root/bin"
	mknod "$root/dev/null" c 1 3
	with_libraries "$root" /usr/bin/dash
	ln -s dash "$root/usr/bin/sh"
	with_libraries "$root" /usr/bin/systemctl
	echo "$root"
}

# fillmark runs the program that is installed in a root, on the register and configuration where the service has them.
fillmark() {
	env -i "FILLMARK_STORE=$1/var/lib/fillmark/register.db" "$1/usr/bin/fillmark" --config "$1/etc/fillmark/fillmark.yaml" "${@:2}"
}

# files lists what is in a root: files, and folders of ours.
files() { find "$1" ! -type d -o -path "$1/*fillmark*" | sort; }

# life takes a root through install, work, upgrade and removal by the functions put and take of a package format.
life() {
	local root=$1 format=$2
	files "$root" >"$work/before"

	put "$root" "$older"
	[ "$(fillmark "$root" version)" = "fillmark $(version_of "$older")" ] || wrong "$format: another version is installed"
	[ ! -e "$root/etc/systemd/system/multi-user.target.wants/fillmark.service" ] || wrong "$format: it starts by itself"
	chroot "$root" systemctl enable --quiet fillmark.service
	fillmark "$root" config check >/dev/null
	fillmark "$root" owner add --name 'Ana Ruizado' --email ana@garden.example >/dev/null
	fillmark "$root" machine add --owner 1 --kind desktop --name 'the grey tower' >/dev/null
	fillmark "$root" loop add --machine 1 --holds 480ml --open --wetted 'cold plate:copper/nickel' --wall -10C >/dev/null
	fillmark "$root" shelf instrument --kind refractometer --name 'hand refractometer' >/dev/null
	fillmark "$root" shelf check 1 --against 'water at 20C' --expected 0 --read 0.1 --unit brix >/dev/null
	echo 'workshop: {name: The corner bench}' >>"$root/etc/fillmark/fillmark.yaml"

	put "$root" "$newer"
	[ "$(fillmark "$root" version)" = "fillmark $(version_of "$newer")" ] || wrong "$format: the upgrade left another version"
	grep -q 'The corner bench' "$root/etc/fillmark/fillmark.yaml" || wrong "$format: the upgrade overwrote the configuration"
	[ -L "$root/etc/systemd/system/multi-user.target.wants/fillmark.service" ] || wrong "$format: the upgrade turned the service off"
	fillmark "$root" sweep >/dev/null
	fillmark "$root" check >/dev/null
	fillmark "$root" loop list | grep -q 'grey tower' || wrong "$format: the loop is gone after the upgrade"
	fillmark "$root" shelf list instruments --json | grep -q '"certificate"' || wrong "$format: the register was not brought up to date"
	[ -e "$root/var/lib/fillmark/register.db.schema-1" ] || wrong "$format: no copy from before is beside the register"

	local said
	said=$(take "$root" 2>&1)
	grep -q 'stay in /var/lib/fillmark' <<<"$said" || wrong "$format: nobody is told where the register stays: $said"
	[ -s "$root/var/lib/fillmark/register.db" ] || wrong "$format: the register is gone"
	[ ! -L "$root/etc/systemd/system/multi-user.target.wants/fillmark.service" ] || wrong "$format: the service is still enabled"
	files "$root" | comm -13 "$work/before" - | grep -vE "^$root/(var/lib/(fillmark|dpkg|rpm|systemd)|usr/lib/sysimage|etc/systemd)(/|$)" |
		grep -vE '/(etc/fillmark(/fillmark.yaml.rpmsave)?|var/(log|cache).*)$' >"$work/left" || true
	[ ! -s "$work/left" ] || wrong "$format: left behind: $(head -n 5 "$work/left")"
	echo "$format: installed, upgraded with its register, removed"
}

version_of() { tar -xOf "$1"/fillmark_*_linux_amd64.tar.gz --wildcards '*/fillmark' >"$work/program" && go version -m "$work/program" | awk '$1 == "mod" { print $3 }'; }

# By dpkg; a purge keeps the register too, and takes the configuration.
put() { dpkg --root="$1" --force-confold --log=/dev/null --install "$2"/fillmark_*_amd64.deb >"$work/log" 2>&1 || wrong "dpkg: $(tail -n 5 "$work/log")"; }
take() {
	dpkg --root="$1" --log=/dev/null --remove fillmark
	[ -e "$1/etc/fillmark/fillmark.yaml" ] || wrong 'deb: a removal takes the configuration'
	dpkg --root="$1" --log=/dev/null --purge fillmark
}
root=$(a_root deb)
mkdir -p "$root"/var/lib/dpkg/{info,updates}
touch "$root"/var/lib/dpkg/{status,available}
life "$root" deb

# By rpm, which keeps a configuration that was changed under another name.
put() { rpm --root "$1" --dbpath /var/lib/rpm --nodeps --upgrade "$2"/fillmark-*.x86_64.rpm; }
take() { rpm --root "$1" --dbpath /var/lib/rpm --nodeps --erase fillmark; }
root=$(a_root rpm)
life "$root" rpm

# What both hold: the same files with the same bytes and rights, all of root, but for what has another place.
dpkg-deb --fsys-tarfile "$newer"/fillmark_*_amd64.deb | tar -tv --numeric-owner >"$work/deb.list"
[ "$(awk '{print $2}' "$work/deb.list" | sort -u)" = 0/0 ] || wrong 'deb: a file is not of root'
rpm -qp --qf '[%{FILEUSERNAME}/%{FILEGROUPNAME}\n]' "$newer"/fillmark-*.x86_64.rpm | sort -u | grep -vx root/root && wrong 'rpm: a file is not of root'
mkdir "$work/deb.files" "$work/rpm.files"
dpkg-deb -x "$newer"/fillmark_*_amd64.deb "$work/deb.files"
(cd "$work/rpm.files" && rpm2cpio "$newer"/fillmark-*.x86_64.rpm | cpio -idm --quiet)
for files in deb rpm; do
	(cd "$work/$files.files" && find . -type f ! -name copyright ! -path '*/licenses/fillmark/LICENSE' ! -name _fillmark -printf '%m ' -exec sha256sum {} +) |
		sort >"$work/$files.sums"
done
diff "$work/deb.sums" "$work/rpm.sums" || wrong 'the .deb and the .rpm hold different files'
echo "both hold the same $(wc -l <"$work/deb.sums") files, all of root"
