# Copyright 2026 The Fillmark Authors
# SPDX-License-Identifier: Apache-2.0
#
# Works out due days and sending instants with zoneinfo and dateutil, one JSON
# line in, one out: the day of an instant in a zone, that day plus months and
# days, and the first instant at or after an hour of the due day.
import json
import sys
from datetime import date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta


def first_at(day, hour, zone):
    """The first whole second at or after hour:00 of the day in the zone."""
    def reached(t):
        local = datetime.fromtimestamp(t, zone)
        return (local.date(), local.hour) >= (day, hour)

    # Local time may step back and reach it twice. Clocks change on quarters of
    # an hour, so the first quarter that reached it holds the instant, which
    # bisection then finds.
    middle = int(datetime(day.year, day.month, day.day, hour, tzinfo=timezone.utc).timestamp())
    t = middle - 27 * 3600
    while not reached(t):
        t += 900
    before = t - 900
    while t - before > 1:
        between = (t + before) // 2
        if reached(between):
            t = between
        else:
            before = between
    return t


for line in sys.stdin:
    q = json.loads(line)
    zone = ZoneInfo(q["zone"])
    day = datetime.fromtimestamp(q["instant"], zone).date()
    due = day + relativedelta(months=q["months"]) + timedelta(days=q["days"])
    print(json.dumps({
        "day": day.isoformat(),
        "due": due.isoformat(),
        "past": (date.fromisoformat(q["other"]) - due).days,
        "sendable": first_at(due, q["hour"], zone),
    }))
