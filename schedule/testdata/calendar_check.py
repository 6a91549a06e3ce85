# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
"""Reads JSON lines {"ics": ..., "events": [{"uid", "sequence", "day", "summary",
"description"}]} from standard input and compares what python3-icalendar and
python3-vobject make of each calendar with what was meant."""
import datetime
import json
import sys

import icalendar
import vobject


def with_icalendar(case):
    calendar = icalendar.Calendar.from_ical(case["ics"])
    assert calendar.errors == [], calendar.errors
    events = calendar.walk("VEVENT")
    assert len(events) == len(case["events"]), len(events)
    allowed = {"UID", "DTSTAMP", "LAST-MODIFIED", "SEQUENCE", "DTSTART", "DTEND", "ORGANIZER", "SUMMARY",
               "DESCRIPTION", "LOCATION", "URL", "TRANSP"}
    for event, want in zip(events, case["events"]):
        assert event.errors == [], event.errors
        assert set(event.keys()) <= allowed, event.keys()
        assert event["UID"] == want["uid"]
        assert int(event["SEQUENCE"]) == want["sequence"]
        assert event.decoded("DTSTART") == datetime.date.fromisoformat(want["day"])
        for name, text in ("SUMMARY", want["summary"]), ("DESCRIPTION", want["description"]):
            # This reader undoes escapes one kind after the other, and twice, so a
            # backslash of the text itself comes back wrong; vobject reads it right.
            if "\\" not in text and "%" not in text:
                assert str(event.get(name, "")) == text, (event.get(name), text)


def with_vobject(case):
    calendar = vobject.readOne(case["ics"])
    if case["events"]:
        calendar.validate(raiseException=True)
    events = getattr(calendar, "vevent_list", [])
    assert len(events) == len(case["events"]), len(events)
    for event, want in zip(events, case["events"]):
        assert event.uid.value == want["uid"]
        assert event.dtstart.value == datetime.date.fromisoformat(want["day"])
        assert event.summary.value == want["summary"], (event.summary.value, want["summary"])
        assert event.description.value == want["description"], (event.description.value, want["description"])


count = 0
for line in sys.stdin:
    case = json.loads(line)
    with_icalendar(case)
    with_vobject(case)
    count += 1
print(count, "calendars")
