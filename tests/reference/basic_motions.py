"""Cadence of the walking and running windows of the open BasicMotions set, for tests/basic_motions.rs.

The set comes with the package aeon, whose code is not used: only its data files are read. Writes one JSON array of
[activity, steps a minute] in the set's order. An arm swings once in two steps, so the cadence is twice the strongest
frequency of the turning rate (three axes of the gyroscope, Hann window) between 0.5 and 1.7 Hz, that is 60 to 204
steps/min: wide enough for both gaits, and the same for both.
"""

import importlib.util
import json
import pathlib

import numpy as np

RATE_HZ = 10.0


def windows(path):
    data = False
    for line in path.read_text().splitlines():
        if data and line:
            *columns, activity = line.split(":")
            yield activity.lower(), np.array([[float(value) for value in column.split(",")] for column in columns])
        data = data or line.startswith("@data")


def cadence_spm(window):
    turning = window[3:] - window[3:].mean(axis=1, keepdims=True)
    power = np.abs(np.fft.rfft(turning * np.hanning(turning.shape[1]), 4096)) ** 2
    frequency = np.fft.rfftfreq(4096, 1.0 / RATE_HZ)
    stride = (frequency >= 0.5) & (frequency <= 1.7)
    return 120.0 * float(frequency[stride][power.sum(axis=0)[stride].argmax()])


package = pathlib.Path(importlib.util.find_spec("aeon").submodule_search_locations[0])
folder = package / "datasets" / "data" / "BasicMotions"
print(json.dumps([
    [activity, cadence_spm(window)]
    for part in ("TRAIN", "TEST")
    for activity, window in windows(folder / f"BasicMotions_{part}.ts")
    if activity in ("walking", "running")
]))
