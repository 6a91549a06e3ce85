#!/usr/bin/env bash
# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
#
# Measures the pages of a running daemon over a large register, signed in, on this computer only: latency at a steady 200 requests a
# second (hey), the most that comes through (wrk), what a request costs the daemon in CPU time, which holds on a busy computer too, and
# the weight of each page. Prints the table for doc/pages.md.
#
#   doc/bench/load.sh [LOOPS]     100000 unless told otherwise; needs curl, jq, and Debian's hey and wrk
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."

loops=${1:-100000}
seconds=${LOAD_SECONDS:-10} # each page is asked, twice
work=$(mktemp -d)
daemon=''
leave() {
	if [ -n "$daemon" ]; then kill "$daemon" && wait "$daemon" || true; fi
	rm -rf "$work"
}
trap leave EXIT
for tool in curl jq hey wrk; do command -v "$tool" >/dev/null || {
	echo "$tool is missing" >&2
	exit 1
}; done

go build -o "$work/fillmark" ./cmd/fillmark
LOAD_DIR=$work LOAD_LOOPS=$loops LOAD_DAY=$(date -u +%F) go test ./cmd/fillmark/daemon -run TestCampaignLoadRegister -v -count=1 | grep -E 'loops,|^ok|FAIL'
fillmark=(env -i "HOME=$work" "$work/fillmark" --store "$work/register.db")
echo 'copper plate wet felt' | "${fillmark[@]}" technician add Bo

port=18399
"${fillmark[@]}" serve --listen "127.0.0.1:$port" 2>"$work/log" &
daemon=$!
base=http://127.0.0.1:$port
for _ in $(seq 600); do
	if curl -sf -o "$work/ready" "$base/readyz"; then break; fi
	sleep 0.5
done
cat "$work/ready"
curl -sf -o /dev/null -c "$work/jar" -d 'name=Bo' --data-urlencode 'password=copper plate wet felt' "$base/sign-in"
cookie=$(awk '$6 == "fillmark" { print "fillmark=" $7 }' "$work/jar")
tag=$(curl -sf -b "$work/jar" "$base/loops" | grep -oE '/loops/[0-9A-Z]{6}' | head -1)
tag=${tag#/loops/}
printf '{"tag":"%s","room_l":0.06,"with":["concentrate:95%%","water"]}' "$tag" >"$work/topup.json"

# ticks is the CPU time that the daemon has used.
ticks() { awk '{ print $14 + $15 }' "/proc/$daemon/stat"; }

# measure NAME PATH [BODY]: one row of the table.
measure() {
	local name=$1 url=$base$2 body=${3:-} hey wrk before cpu
	local args=(-H "Cookie: $cookie")
	local get=(-sf -b "$work/jar")
	if [ -n "$body" ]; then
		args+=(-m POST -T application/json -D "$body")
		get+=(-H 'Content-Type: application/json' --data "@$body")
		printf 'wrk.method = "POST"\nwrk.headers["Content-Type"] = "application/json"\nwrk.body = [[%s]]\n' "$(cat "$body")" >"$work/wrk.lua"
	else
		: >"$work/wrk.lua"
	fi
	hey -z "${seconds}s" -c 4 -q 50 "${args[@]}" "$url" >"$work/hey"
	before=$(ticks)
	wrk -t 2 -c 8 -d "${seconds}s" --latency -s "$work/wrk.lua" -H "Cookie: $cookie" "$url" >"$work/wrk"
	hey=$(awk '/50% in/ { a = $3 } /99% in/ { b = $3 } /Requests\/sec/ { r = $2 } END { printf "%.1f ms | %.1f ms | %.0f", a * 1000, b * 1000, r }' "$work/hey")
	cpu=$(awk -v ticks=$(($(ticks) - before)) -v hz="$(getconf CLK_TCK)" '/requests in/ { printf "%.1f ms", 1000 * ticks / hz / $1 }' "$work/wrk")
	wrk=$(awk '/Requests\/sec/ { printf "%.0f", $2 }' "$work/wrk")
	if grep -qE 'Non-2xx' "$work/wrk" || ! grep -q '\[200\]' "$work/hey"; then
		echo "$name did not answer 200 throughout" >&2
		cat "$work/hey" "$work/wrk" >&2
		exit 1
	fi
	printf '| %s | %s | %s | %s | %s | %s |\n' "$name" "$hey" "$wrk" "$cpu" \
		"$(curl "${get[@]}" "$url" | wc -c)" "$(curl "${get[@]}" "$url" | gzip -9 | wc -c)"
}

# once NAME PATH: the row of a page that reads all of the register each time, asked once.
once() {
	printf '| %s | asked once: %.1f s | | | | | %s | %s |\n' "$1" "$(curl -sf -o "$work/page" -w '%{time_total}' -b "$work/jar" "$base$2")" \
		"$(wc -c <"$work/page")" "$(gzip -9 <"$work/page" | wc -c)"
}

echo
echo "$loops loops, $(nproc) cores, register of $(du -h "$work/register.db" | cut -f1), load average $(cut -d ' ' -f 1 /proc/loadavg) before"
echo
echo '| what | p50 at 200/s | p99 at 200/s | reached | most per second | CPU a request | bytes | gzip |'
echo '|---|---|---|---|---|---|---|---|'
measure 'Due' /
measure 'Loops, first page' /loops
measure 'One loop' "/loops/$tag"
for page in /day '/loops?q=owner' "/loops/$tag/refill" "/loops/$tag/edit" "/loops/$tag/label" "/loops/$tag/handover" "/loops/$tag/card" "/loops/$tag/receipt" \
	"/topup?tag=$tag&room=40&liquid1=water" "/scan?tag=$tag" "/scan?tag=$tag&room=40" /register /intake '/intake?who=owner' /intake/units \
	/owners/1 /outbox /shelf /triage /settings; do
	measure "${page//$tag/TAG}" "$page"
done
for page in /owners /openings /openings/questions /doctor; do once "$page" "$page"; done
measure 'Top-up check (API)' /api/v1/topup "$work/topup.json"
measure 'Style sheet' "$(curl -sf "$base/sign-in" | grep -oE '/static/fillmark[^"]+css')"
