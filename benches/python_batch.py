"""The same job put together from general-purpose Python libraries, as a researcher would: read every recording
(fitdecode, gpxpy, ElementTree), resample to a second (pandas), segment (hmmlearn), count runs. One core.

    python benches/python_batch.py LIST

Prints a JSON line: files, read, failed, seconds (process time), runs.
"""

import json
import os
import sys
import time
import xml.etree.ElementTree as ElementTree

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[threads] = "1"

import fitdecode
import gpxpy
import numpy
import pandas
from hmmlearn.hmm import GaussianHMM


def local(tag):
    return tag.rsplit("}", 1)[-1]


def read_fit(path):
    rows = []
    with fitdecode.FitReader(path) as reader:
        for frame in reader:
            if isinstance(frame, fitdecode.FitDataMessage) and frame.name == "record":
                speed = frame.get_value("enhanced_speed", fallback=None)
                rows.append((frame.get_value("timestamp"), speed, frame.get_value("cadence", fallback=None)))
    return rows


def read_gpx(path):
    with open(path) as file:
        gpx = gpxpy.parse(file)
    rows, before = [], None
    for point in points(gpx):
        speed = before.distance_2d(point) / max((point.time - before.time).total_seconds(), 1e-3) if before else None
        cadence = None
        for extension in point.extensions:
            for child in extension.iter():
                if local(child.tag) == "cad":
                    cadence = float(child.text)
        rows.append((point.time, speed, cadence))
        before = point
    return rows


def points(gpx):
    return [point for track in gpx.tracks for segment in track.segments for point in segment.points]


def read_tcx(path):
    rows = []
    for point in ElementTree.parse(path).iter():
        if local(point.tag) == "Trackpoint":
            values = {local(child.tag): child.text for child in point.iter()}
            speed, cadence = values.get("Speed"), values.get("RunCadence")
            rows.append((pandas.Timestamp(values["Time"]), speed and float(speed), cadence and float(cadence)))
    return rows


def read(path):
    with open(path, "rb") as file:
        head = file.read(1024)
    if head[8:12] == b".FIT":
        return read_fit(path)
    if b"<gpx" in head:
        return read_gpx(path)
    if b"<TrainingCenterDatabase" in head:
        return read_tcx(path)
    raise ValueError("unknown format")


def runs(rows):
    table = pandas.DataFrame(rows, columns=["time", "speed", "cadence"]).set_index("time").astype(float)
    table = table[~table.index.duplicated()].resample("1s").mean().interpolate(limit=5)
    table = table.dropna(axis="columns", how="all").dropna()
    table["speed"] = table["speed"].rolling(5, center=True, min_periods=1).mean()
    model = GaussianHMM(n_components=3, covariance_type="diag", n_iter=20, random_state=0)
    values = table.to_numpy()
    model.fit(values)
    states = model.predict(values)
    running = int(numpy.argmax(model.means_[:, list(table.columns).index("speed")]))
    is_running = states == running
    return int(numpy.sum(is_running[1:] & ~is_running[:-1]) + is_running[0])


def main():
    paths = [line.strip() for line in open(sys.argv[1]) if line.strip()]
    begun, counts, failed = time.process_time(), [], 0
    for path in paths:
        try:
            counts.append(runs(read(path)))
        except Exception:
            failed += 1
    seconds = time.process_time() - begun
    print(json.dumps({"files": len(paths), "read": len(counts), "failed": failed, "seconds": seconds,
                      "runs": sum(counts)}))


main()
