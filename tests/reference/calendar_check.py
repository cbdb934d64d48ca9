"""Reads calendars with an independent open library, for tests/outside/src/export_python.rs.

calendar_check.py FILE…  writes a line a file: a JSON array of events, each with uid, sequence, status, summary, description, start
                         (ISO, as on the clock of its zone), utc (the start as an instant by the file's own VTIMEZONE, null for
                         a day or a floating time), zoneinfo (the same by Python's zoneinfo from the clock's time), end

iCalendar: icalendar, with the zone definitions of the file. Zones: the standard library's zoneinfo.
"""

import datetime
import json
import sys
import zoneinfo

import icalendar

UTC = datetime.timezone.utc


def instant(time):
    return time.astimezone(UTC).isoformat()


def own_zones(calendar):
    return {str(zone["TZID"]): zone.to_tz(lookup_tzid=False) for zone in calendar.walk("VTIMEZONE")}


def event(component, zones):
    start, end = component["DTSTART"], component.get("DTEND")
    clock = start.dt
    name = start.params.get("TZID")
    by_file = by_zoneinfo = None
    if name is not None:
        naive = clock.replace(tzinfo=None)
        by_file = instant(naive.replace(tzinfo=zones[name]))
        by_zoneinfo = instant(naive.replace(tzinfo=zoneinfo.ZoneInfo(name)))
        clock = naive
    return {
        "uid": str(component["UID"]),
        "sequence": int(component["SEQUENCE"]),
        "status": str(component["STATUS"]),
        "summary": str(component["SUMMARY"]),
        "description": str(component["DESCRIPTION"]),
        "start": clock.isoformat(),
        "end": None if end is None else end.dt.replace(tzinfo=None).isoformat(),
        "utc": by_file,
        "zoneinfo": by_zoneinfo,
    }


for path in sys.argv[1:]:
    with open(path, "rb") as file:
        calendar = icalendar.Calendar.from_ical(file.read())
    zones = own_zones(calendar)
    print(json.dumps([event(component, zones) for component in calendar.walk("VEVENT")]))
