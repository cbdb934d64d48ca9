"""Reads recordings and geodesics with independent open libraries, for tests/outside/src/read_python.rs.

Writes one JSON array a line, of numbers as text or null; an empty one ends each file.

read_check.py fit|gpx|tcx FILE…  [unix microseconds, latitude, longitude, altitude m, distance m, speed m/s,
                                 cadence as written, heart rate]
read_check.py laps FILE…         FIT laps: [start in unix microseconds, elapsed s]
read_check.py distances          from standard input [lat, lon, lat, lon] a line: [geodesic m]

FIT: fitdecode. GPX: gpxpy. TCX: the standard library's ElementTree. Geodesics: geographiclib.
"""

import datetime
import json
import re
import sys

UTC = datetime.timezone.utc
EPOCH = datetime.datetime(1970, 1, 1, tzinfo=UTC)


def micros(time):
    if time.tzinfo is None:
        time = time.replace(tzinfo=UTC)
    return (time - EPOCH) // datetime.timedelta(microseconds=1)


def fit_messages(path, name):
    import fitdecode

    with fitdecode.FitReader(path, check_crc=fitdecode.CrcCheck.DISABLED) as reader:
        for frame in reader:
            if isinstance(frame, fitdecode.FitDataMessage) and frame.name == name:
                yield frame


def fit_value(message, *names):
    for name in names:
        value = message.get_value(name, fallback=None)
        if value is not None:
            return value
    return None


def fit_rows(path):
    def degrees(semicircles):
        return None if semicircles is None else semicircles * 180.0 / 2**31

    for message in fit_messages(path, "record"):
        time = fit_value(message, "timestamp")
        if time is None:
            continue
        cadence = fit_value(message, "cadence")
        if cadence is not None:
            cadence += fit_value(message, "fractional_cadence") or 0.0
        yield [
            micros(time),
            degrees(fit_value(message, "position_lat")),
            degrees(fit_value(message, "position_long")),
            fit_value(message, "enhanced_altitude", "altitude"),
            fit_value(message, "distance"),
            fit_value(message, "enhanced_speed", "speed"),
            cadence,
            fit_value(message, "heart_rate") or None,
        ]


def fit_laps(path):
    for message in fit_messages(path, "lap"):
        yield [micros(message.get_value("start_time")), message.get_value("total_elapsed_time")]


def local_name(element):
    return element.tag.rpartition("}")[2].rpartition(":")[2]


def number(text):
    return None if text is None else float(text)


def gpx_rows(path):
    import gpxpy

    with open(path, encoding="utf-8-sig") as file:
        # gpxpy refuses a whole file for a kind of fix that the schema does not list.
        gpx = gpxpy.parse(re.sub(r"<fix>.*?</fix>", "", file.read()))
    for track in gpx.tracks:
        for segment in track.segments:
            for point in segment.points:
                if point.time is None:
                    continue
                extensions = {}
                for extension in point.extensions:
                    for element in extension.iter():
                        extensions[local_name(element)] = element.text
                yield [
                    micros(point.time),
                    point.latitude,
                    point.longitude,
                    point.elevation,
                    None,
                    number(extensions.get("speed")),
                    number(extensions.get("cad")),
                    number(extensions.get("hr")),
                ]


def tcx_rows(path):
    import xml.etree.ElementTree as ElementTree

    for point in ElementTree.parse(path).getroot().iter():
        if local_name(point) != "Trackpoint":
            continue
        values = {}
        for child in point.iter():
            values[local_name(child)] = child.text
        time = datetime.datetime.fromisoformat(values["Time"].replace("Z", "+00:00"))
        yield [
            micros(time),
            number(values.get("LatitudeDegrees")),
            number(values.get("LongitudeDegrees")),
            number(values.get("AltitudeMeters")),
            number(values.get("DistanceMeters")),
            number(values.get("Speed")),
            number(values.get("RunCadence", values.get("Cadence"))),
            number(values.get("Value")),
        ]


def distances():
    from geographiclib.geodesic import Geodesic

    for line in sys.stdin:
        yield [Geodesic.WGS84.Inverse(*json.loads(line), Geodesic.DISTANCE)["s12"]]


def write(rows):
    for row in rows:
        # As text, so that the other side reads exactly the same double.
        print(json.dumps([None if value is None else repr(value) for value in row]))


def main():
    command, *paths = sys.argv[1:]
    if command == "distances":
        write(distances())
        return
    rows = {"fit": fit_rows, "gpx": gpx_rows, "tcx": tcx_rows, "laps": fit_laps}[command]
    for path in paths:
        write(rows(path))
        print("[]")


if __name__ == "__main__":
    main()
