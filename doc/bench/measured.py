#!/usr/bin/env python3
# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
"""Makes doc/measured.md: every figure beside a peer's, and every count, in one run on one machine.

    doc/bench/measured.py [DAY]     DAY is put on the page; writes doc/measured.md

Needs what .ci/run installs (gcc, R with survival, Postfix's smtp-sink and smtp-source, openssl, PostgreSQL).
A line that cannot be made fails the run: nothing is carried over from an earlier page.
"""
import os
import platform
import re
import subprocess
import sys
from pathlib import Path

root = Path(__file__).resolve().parents[2]
environment = dict(os.environ, CI="true")
LONG = {"FILLMARK_CAMPAIGN": "full", "FILLMARK_TRIAGE_SETS": "400", "FILLMARK_HISTORIES": "1000"}


def run(command, **variables):
    """Returns what a command prints; it must succeed."""
    shown = " ".join([f"{k}={v}" for k, v in variables.items()] + [command])
    print(shown, file=sys.stderr, flush=True)
    done = subprocess.run(command, shell=True, cwd=root, env=dict(environment, **variables), text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    if done.returncode != 0:
        sys.exit(f"{shown}\n{done.stdout[-4000:]}")
    return shown, done.stdout


def bench(package, pattern, **variables):
    """Returns the command, and each benchmark's metrics by its name without the count of processors."""
    command, said = run(f"go test ./{package} -run '^$' -bench '{pattern}' -timeout 60m", **variables)
    metrics = {}
    for line in said.splitlines():
        if found := re.match(r"Benchmark(\S+?)(?:-\d+)?\s+\d+\s+(.*)", line):
            words = found[2].split()
            metrics[found[1]] = {unit: float(value) for value, unit in zip(words[::2], words[1::2])}
    return command, metrics


def campaign(package, test, pattern, **variables):
    """Returns the command and what the test logs of its counts."""
    command, said = run(f"go test -count=1 -v -run '{test}$' -timeout 60m ./{package}", **variables)
    found = re.search(pattern, said)
    if not found:
        sys.exit(f"{command}: nothing like {pattern}\n{said[-4000:]}")
    return command, "; ".join(group.strip() for group in found.groups())


rows, counts = [], []


def compared(what, ours, peer, ratio, command):
    rows.append(f"| {what} | {ours} | {peer} | {ratio} | `{command}` |")


def properties():
    command, m = bench("chemistry", "DensityBesideC")
    m = m["DensityBesideC"]
    compared("a density, its range checked", f"{m['cpu-ns']:.0f} ns", f"{m['c-ns']:.0f} ns, the bare polynomial in C (gcc -O2)", f"{m['ratio']:.2f} of its time", command)


def lives():
    command, said = run("go test -count=1 -v -run TestCampaignSpeedAgainstR -timeout 60m ./loops/findings", **LONG)
    for months, name, ours, method, theirs, times in re.findall(r"whole months (\w+), (.+): here ([\d.]+) s, R's (.+) ([\d.]+) s, ([\d.]+) times", said):
        ages = "ages in whole months" if months == "true" else "ages that never repeat"
        compared(f"{name} of 10^6 lives, {ages}", f"{ours} s", f"{theirs} s, R's {method}", f"{times} times as fast", command)


def mail():
    command, m = bench("notify", "Transport|BesideOpenSSL")
    for name, x in sorted(m.items()):
        if name.startswith("Transport"):
            sessions = name.partition("/")[2].replace("=", " ").replace("_", " ")
            compared(f"transport, {sessions}, 4 KB mails", f"{x['mails/s']:.0f}/s", f"{x['smtp-source/s']:.0f}/s, smtp-source to the same smtp-sink", f"{x['ratio']:.2f} of its time", command)
    sign = m["SignBesideOpenSSL"]
    compared("signing a letter, RSA 2048", f"{sign['openssl-ms'] * sign['ratio']:.2f} ms", f"{sign['openssl-ms']:.2f} ms, openssl's bare operation", f"{sign['ratio']:.1f} times its time", command)
    command, m = bench("cmd/fillmark/workshop", "LettersLeave")
    for name, x in sorted(m.items()):
        how = name.partition("/")[2].replace("_", " ")
        compared(f"a letter from the register to the relay, {how}", f"{x['letters/s']:.0f}/s", "its signature alone, on all processors", f"{x['way/signing']:.2f} times its time", command)


def store():
    for package, test, peer in [("loops/store", "Store", "bbolt, bare"), ("loops/store", "Database", "PostgreSQL, a bare INSERT transaction")]:
        command, m = bench(package, f"{test}$/loops=10000$/write")
        x = m[f"{test}/loops=10000/write"]
        compared(f"a commit of an entry, {test.lower()}", f"{x['commit-µs']:.0f} µs", f"{x['bare-update-µs']:.0f} µs, {peer}, the same bytes", f"{x['commit/bare']:.2f} times its time", command)


def alone():
    """What has no peer."""
    for what, package, pattern, limit in [
        ("a triage answer", "loops/inspection/triage", "Judge", "5 ms"),
        ("a log of a million lines", "loops/inspection", "ReadSeries/.*", "1 s"),
        ("a report on 100,000 lives, three in four joined late", "loops/findings", "Register/.*", "50 ms"),
        ("a job sheet", "cmd/fillmark/web", "JobSheet", "20 ms"),
        ("Due after a write", "cmd/fillmark/web", "DueAfterAWrite", "50 ms"),
    ]:
        command, m = bench(package, pattern)
        for name, x in m.items():
            if "ns/op" in x:
                compared(f"{what}, {name}", f"{x['ns/op'] / 1e6:.2f} ms", "none", f"asked: {limit}", command)


def killed():
    # Of triage 400 sets a campaign and of mail 1,000 histories, for the time they take: doc/triage.md has 2,000, doc/mail.md 10,000.
    for what, package, test, pattern in [
        ("mails under kills", "notify", "TestCampaignEveryMailArrives", r"(\d+ mails, .*)"),
        ("a register under kills while writing", "loops/store", "TestCampaignKillWhileWriting", r"acknowledged and found: (.*)"),
        ("flipped bits", "loops/store", "TestCampaignFlippedBits", r"(of \d+ flipped bits.*)"),
        ("hostile commands", "cmd/fillmark/cli", "TestCampaignHostileCommands", r"(\d+ lines to \d+ commands.*)"),
        ("hostile requests", "cmd/fillmark/web", "TestCampaignHostileInputs", r"(\d+ inputs to \d+ calls.*)"),
        ("random histories of mail", "cmd/fillmark/workshop", "TestCampaignHistoriesOfMail", r"(\d+ histories.*)"),
        ("triage, thermal network", "loops/inspection/triage", "TestCampaignNetwork", r"(?s)(\d+ sets), .*?(right first [^\n]*)\n\s*(in the first two [^\n]*)"),
        ("triage, circuit", "loops/inspection/triage", "TestCampaignCircuit", r"(?s)(\d+ sets), .*?(right first [^\n]*)\n\s*(in the first two [^\n]*)"),
    ]:
        command, said = campaign(package, test, pattern, **LONG)
        counts.append(f"| {what} | {said} | `{command}` |")


def main():
    load = f"{os.getloadavg()[0]:.0f}"
    for part in [properties, lives, mail, store, alone, killed]:
        part()
    day = sys.argv[1] if len(sys.argv) > 1 else "a day not said"
    model = re.search(r"model name\s*:\s*(.*)", Path("/proc/cpuinfo").read_text())
    _, go = run("go env GOVERSION")
    page = f"""# Measured

One run of `doc/bench/measured.py` on {day}, load {load} when it began: {os.cpu_count()} cores ({model[1].strip() if model else platform.machine()}), {go.strip()}, {platform.system()}. Both
sides of a ratio ran by turns in that run; where others use the machine, ratios hold and figures do not. What each measures, and what it does not show,
stands beside it in the tests and on the pages of its subject.

| what | here | peer | ratio | command |
|---|---|---|---|---|
{chr(10).join(rows)}

What was tried to break it, with counts:

| what | what came of it | command |
|---|---|---|
{chr(10).join(counts)}
"""
    (root / "doc" / "measured.md").write_text(page)


main()
