"""Time and memory of `review` of one case with very many recordings.

    python benches/large_case.py JOGAUDIT FOLDER [--recordings 5000] [--distinct 100]

Makes DISTINCT simulated sessions of 10 minutes (gzipped GPX, one sample a second, cadence, heart rate and positions) and from them
RECORDINGS files that differ in their day: every second day, so that the case covers 27 years. Each file is read, its hash is its
own. Prints how long a review of all takes, the processor's time, and the greatest memory, beside the bounds; the second run finds
the files in the system's cache, and both are printed. Ends with an error when a review fails, or takes more than 20 s by the clock or
512 MiB. The bounds are those of the build that users get (`cargo build --release`) on two cores with nothing else to do.
"""

import argparse
import datetime
import gzip
import os
import pathlib
import subprocess

from batch import run

PLAN = """title = "To measure by"
[limits]
pace_ceiling = "6:00 /km"
sessions_per_week = 4
rest_days_between = 1
[[stage]]
name = "1"
session = "walk 1:00, 4 x (run 1:00, walk 1:00), walk 1:00"
"""
FIRST = datetime.date(1998, 1, 1)
MOST_S, MOST_MIB = 20.0, 512.0


def make(jogaudit, folder, recordings, distinct):
    case = folder / "case"
    (case / "recordings").mkdir(parents=True, exist_ok=True)
    (case / "plan.toml").write_text(PLAN)
    texts = []
    for n in range(distinct):
        path = folder / f"{n:04}.gpx"
        if not path.exists():
            subprocess.run([jogaudit, "simulate", "--plan", case / "plan.toml", "--stage", "1", "--seed", str(9_000_000 + n),
                            "--start", "2026-03-02T07:10:00Z", "--out", path], check=True, capture_output=True)
        texts.append(path.read_bytes())
    lines = ["date,pain_during,pain_pattern,pain_next_morning,effort,note"]
    for n in range(recordings):
        day = FIRST + datetime.timedelta(days=2 * n)
        lines.append(f"{day},0,,0,3,")
        path = case / "recordings" / f"{day}.gpx.gz"
        if not path.exists():
            text = texts[n % distinct].replace(b"2026-03-02", str(day).encode())
            path.write_bytes(gzip.compress(text, compresslevel=1, mtime=0))
    (case / "diary.csv").write_text("\n".join(lines) + "\n")
    return case, day


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("jogaudit")
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--recordings", type=int, default=5000)
    parser.add_argument("--distinct", type=int, default=100)
    options = parser.parse_args()
    case, last = make(options.jogaudit, options.folder, options.recordings, options.distinct)
    print(f"{options.recordings} recordings of 10 min, gzipped GPX, from {options.distinct} simulated sessions moved to days of their "
          f"own; {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    worst = 0.0, 0.0
    for turn in ("first", "second"):
        seconds, cpu, mib, _ = run([options.jogaudit, "review", case, "--as-of", last, "--format", "json"])
        print(f"{turn}: {seconds:.1f} s by the clock (at most {MOST_S:.0f}), {cpu:.1f} s of the processor, {mib:.0f} MiB (at most "
              f"{MOST_MIB:.0f})", flush=True)
        worst = max(worst[0], seconds), max(worst[1], mib)
    if worst[0] > MOST_S or worst[1] > MOST_MIB:
        raise SystemExit(f"more than {MOST_S:.0f} s or {MOST_MIB:.0f} MiB")


if __name__ == "__main__":
    main()
