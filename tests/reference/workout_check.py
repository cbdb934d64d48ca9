"""Reads FIT workouts with an independent open library, for tests/outside/src/export_python.rs.

workout_check.py FILE…  writes a line a file: a JSON array of [message, {field: value}] of file_id, workout and workout_step;
                        fields without a value are left out, times are text

FIT: fitdecode, which also checks both checksums.
"""

import datetime
import json
import sys

import fitdecode

WANTED = ("file_id", "workout", "workout_step")


def messages(path):
    with fitdecode.FitReader(path, check_crc=fitdecode.CrcCheck.RAISE) as reader:
        for frame in reader:
            if isinstance(frame, fitdecode.FitDataMessage) and frame.name in WANTED:
                fields = {}
                for field in frame.fields:
                    if field.value is not None:
                        value = field.value
                        is_time = isinstance(value, datetime.datetime)
                        fields[field.name] = value.isoformat() if is_time else value
                yield [frame.name, fields]


for path in sys.argv[1:]:
    print(json.dumps(list(messages(path))))
