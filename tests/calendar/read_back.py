"""Reads due.ics with the parser of the Python package `icalendar` and writes what it found to read_back.csv.

    pip install icalendar==6.3.1
    UPDATE_CALENDAR=1 cargo test --release --test calendar; python3 tests/calendar/read_back.py
"""

import csv
import datetime
import pathlib

import icalendar

here = pathlib.Path(__file__).parent
calendar = icalendar.Calendar.from_ical((here / "due.ics").read_bytes())
assert calendar["version"] == "2.0" and calendar["prodid"].startswith("-//clampbook//")
with open(here / "read_back.csv", "w", newline="", encoding="utf-8") as file:
    out = csv.writer(file, lineterminator="\n")
    out.writerow(["uid", "date", "is_whole_day", "summary", "description", "categories"])
    for event in calendar.walk("VEVENT"):
        assert not event.errors, event.errors
        assert isinstance(event["dtstamp"].dt, datetime.datetime)
        start = event["dtstart"].dt
        whole = type(start) is datetime.date and "dtend" not in event
        categories = ",".join(str(one) for one in event["categories"].cats)
        out.writerow([event["uid"], start.isoformat()[:10], "yes" if whole else "no", event["summary"], event["description"], categories])
