"""What `check` says of even speeds without cadence, when the second of two runs lasts 2:00 instead of 1:00: `docs/method.md`, "Known failures".

    python benches/even_pairs.py JOGAUDIT FOLDER

Walks at 0.8 to 1.8 m/s, jogs 0.20 to 0.70 m/s faster, on ground that is known to be level; the recordings are written to FOLDER, one
sample a second. With two other recordings of the runner, as prescribed and with cadence, a case is made of each pair and checked as such too.
Prints how many are called what, the pairs that are `kept`, and those that are called otherwise with the others.
"""

import collections
import json
import pathlib
import subprocess
import sys

PLAN = """title = "Back on the path"
timezone = "Europe/Oslo"
[[stage]]
name = "first"
session = "walk 5:00, 2 x (run 1:00, walk 2:00), walk 5:00"
"""
DEGREE_M = 111_400.0


def recording(day, walk_mps, jog_mps, second_run_s, with_cadence):
    points, second, distance_m = [], 0, 0.0
    for length_s, speed_mps, strides in (
        (300, walk_mps, 53), (60, jog_mps, 74), (120, walk_mps, 53), (second_run_s, jog_mps, 74), (420, walk_mps, 53)
    ):
        for _ in range(length_s):
            cadence = f"<RunCadence>{strides}</RunCadence>" if with_cadence else ""
            minute, at = divmod(second, 60)
            points.append(
                f"<Trackpoint><Time>2026-03-{day:02}T07:{10 + minute:02}:{at:02}Z</Time><Position><LatitudeDegrees>{60 + distance_m / DEGREE_M:.7f}"
                f"</LatitudeDegrees><LongitudeDegrees>10.7</LongitudeDegrees></Position><AltitudeMeters>20.0</AltitudeMeters>"
                f"<DistanceMeters>{distance_m:.2f}</DistanceMeters><Extensions>"
                f'<TPX xmlns="http://www.garmin.com/xmlschemas/ActivityExtension/v2"><Speed>{speed_mps:.2f}</Speed>{cadence}</TPX>'
                f"</Extensions></Trackpoint>"
            )
            second, distance_m = second + 1, distance_m + speed_mps
    return (
        '<?xml version="1.0" encoding="UTF-8"?><TrainingCenterDatabase xmlns="http://www.garmin.com/xmlschemas/TrainingCenterDatabase/v2">'
        f'<Activities><Activity Sport="Running"><Id>2026-03-{day:02}T07:10:00Z</Id><Lap StartTime="2026-03-{day:02}T07:10:00Z">'
        f"<TotalTimeSeconds>{second}</TotalTimeSeconds><DistanceMeters>{distance_m:.2f}</DistanceMeters><Intensity>Active</Intensity>"
        f"<TriggerMethod>Manual</TriggerMethod><Track>{''.join(points)}</Track></Lap></Activity></Activities></TrainingCenterDatabase>"
    )


def main():
    jogaudit, folder = sys.argv[1], pathlib.Path(sys.argv[2])
    (folder / "case" / "recordings").mkdir(parents=True, exist_ok=True)
    plan, run = folder / "plan.toml", folder / "run.tcx"
    plan.write_text(PLAN)

    def outcome(*more):
        command = [jogaudit, "check", run, "--plan", plan, "--stage", "first", "--format", "json", *more]
        return json.loads(subprocess.run(command, check=True, capture_output=True).stdout)["outcome"]

    alone, known, kept, changed = collections.Counter(), collections.Counter(), [], []
    for walk in range(80, 181, 10):
        for faster in range(20, 71, 5):
            walk_mps, jog_mps = walk / 100, (walk + faster) / 100
            run.write_text(recording(6, walk_mps, jog_mps, 120, False))
            for day in (2, 4):
                (folder / "case" / "recordings" / f"{day}.tcx").write_text(recording(day, walk_mps, jog_mps, 60, True))
            by_itself, with_case = outcome(), outcome("--case", folder / "case")
            alone[by_itself] += 1
            known[with_case] += 1
            pair = f"{walk_mps:.1f}/{jog_mps:.2f}"
            if by_itself == "kept":
                kept.append(f"{pair} ({with_case})")
            elif by_itself != with_case:
                changed.append(f"{pair} ({by_itself}, {with_case})")
    print(f"{alone.total()} pairs. Alone: {dict(alone)}. With two others of the runner: {dict(known)}.")
    print(f"Kept alone, walk/jog in m/s (with the others): {', '.join(kept) or 'none'}.")
    print(f"Not kept alone, and called otherwise with the others (alone, with them): {', '.join(changed) or 'none'}.")


if __name__ == "__main__":
    main()
