#!/usr/bin/python3
# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
"""A calendar client subscribes to an owner's feed, as the owner would.

It runs `fillmark try`, follows the link of a mail to the owner's page and takes the calendar's address from there. vdirsyncer fetches the
feed into a folder of its own, and khal lists every due day of the register with the machine. Both come from Debian and get an empty HOME.

    check_calendar.py PROGRAM [--today DAY]     PROGRAM is the fillmark to run, DAY the day it takes for today
"""

import datetime
import email
import email.policy
import json
import os
import pathlib
import re
import socket
import subprocess
import sys
import tempfile
import urllib.request

VDIRSYNCER = """
[general]
status_path = "{home}/status/"

[pair subscription]
a = "feed"
b = "folder"
collections = null

[storage feed]
type = "http"
url = "{feed}"

[storage folder]
type = "filesystem"
path = "{folder}"
fileext = ".ics"
"""

KHAL = """
[calendars]
[[owner]]
path = {folder}
readonly = True

[locale]
local_timezone = UTC
default_timezone = UTC
timeformat = %H:%M
dateformat = %Y-%m-%d
longdateformat = %Y-%m-%d
datetimeformat = %Y-%m-%d %H:%M
longdatetimeformat = %Y-%m-%d %H:%M

[sqlite]
path = {home}/khal.db
"""


def fail(words):
    print(f"FAILED: {words}", file=sys.stderr)
    sys.exit(1)


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())


def fetch(url):
    with browser.open(url, timeout=20) as answer:
        return answer.read().decode()


def start(program, port, today):
    """Starts `fillmark try` and returns it with the folder of its mail, once its pages are there."""
    server = subprocess.Popen([program, "try", "--listen", f"127.0.0.1:{port}", *today], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    said, start_link, mail = [], None, None
    for line in server.stdout:
        said.append(line)
        if found := re.search(r"Pages: (\S+) .*Mail: (\S+)", line):
            start_link, mail = found[1], pathlib.Path(found[2])
        if mail and any("Fillmark serves http" in s for s in said):
            fetch(start_link)  # from then on the bench is shown to us
            return server, mail
    fail("fillmark try ended:\n" + "".join(said))


def owner_links(mail):
    """The addresses of owners' pages, from the letters that they got, with the names of the owners."""
    for name in sorted((mail / "new").iterdir()):
        letter = email.message_from_bytes(name.read_bytes(), policy=email.policy.default)
        text = letter.get_body(("plain",)).get_content()
        page = re.search(r"(http://\S+/o/[\w-]+)\?answer=", text)
        greeting = re.search(r"Good day (.+),", text)
        if page and greeting:
            yield greeting[1], page[1]


def run(home, *command):
    env = {"HOME": str(home), "PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8", "TZ": "UTC"}
    done = subprocess.run(command, env=env, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60)
    if done.returncode != 0:
        fail(f"{' '.join(command)}: exit {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout


def subscribe(home, feed):
    """Lets vdirsyncer fetch the feed and returns the folder with an event a file."""
    folder = home / "calendar"
    folder.mkdir()
    config = home / "vdirsyncer.conf"
    config.write_text(VDIRSYNCER.format(home=home, feed=feed, folder=folder))
    (home / "khal.conf").write_text(KHAL.format(home=home, folder=folder))
    run(home, "vdirsyncer", "-c", str(config), "discover")
    run(home, "vdirsyncer", "-c", str(config), "sync")
    return folder


def contents(folder):
    return {f.name: f.read_bytes() for f in folder.iterdir()}


def listed(home, day):
    return run(home, "khal", "-c", str(home / "khal.conf"), "list", "--day-format", "", "--format", "{start-date} {title}", day, "1d").splitlines()


def days_after(day):
    start = datetime.date.fromisoformat(day)
    return ((start + datetime.timedelta(days=n)).isoformat() for n in range(1, 10_000))


def check(home, base, owner, page):
    """Holds what the client shows against what is on record for the owner."""
    found = re.search(r'href="(/o/[\w-]+/calendar\.ics)"', fetch(page))
    if not found:
        fail(f"the page of {owner} has no calendar")
    folder = subscribe(home, base + found[1])
    loops = [l for l in json.loads(fetch(f"{base}/api/v1/loops"))["items"] if l.get("owner_name") == owner]
    due = [(task["due"], l["machine_name"]) for l in loops for task in l["plan"]["tasks"] if not task.get("paused")]
    if not due:
        fail(f"nothing is planned for {owner}: there is nothing to compare")
    events = contents(folder)
    if len(events) != len(due):
        fail(f"{owner}: vdirsyncer has {len(events)} events, the register {len(due)} tasks")
    for day, machine in due:
        shown = listed(home, day)
        if not any(line.startswith(day) and machine.lower() in line.lower() for line in shown):
            fail(f"{owner}: khal does not show “{machine}” on {day}, but {shown}")
    free = next(day for day in days_after(min(due)[0]) if day not in dict(due))
    if shown := listed(home, free):
        fail(f"{owner}: khal shows {shown} on {free}, on which nothing is due")
    # The client asks again and again: a feed that has not changed changes nothing.
    run(home, "vdirsyncer", "-c", str(home / "vdirsyncer.conf"), "sync")
    if contents(folder) != events:
        fail(f"{owner}: the second fetch changed events")
    return len(due)


def main(program, today):
    port = free_port()
    server, mail = start(program, port, today)
    try:
        owners = dict(owner_links(mail))
        if len(owners) < 2:
            fail(f"{len(owners)} owners have a page; two at least were expected")
        total = 0
        for owner, page in owners.items():
            with tempfile.TemporaryDirectory() as home:
                total += check(pathlib.Path(home), f"http://127.0.0.1:{port}", owner, page)
        print(f"vdirsyncer fetched and khal showed {total} due days of {len(owners)} owners")
    finally:
        server.terminate()
        server.wait(timeout=20)


if __name__ == "__main__":
    if len(sys.argv) not in (2, 4) or sys.argv[2:3] not in ([], ["--today"]):
        sys.exit("usage: check_calendar.py PROGRAM [--today DAY]")
    main(sys.argv[1], sys.argv[2:])
