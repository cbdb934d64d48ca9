"""Instructions of `jogaudit batch`, counted by callgrind, of two builds on the same hours of FIT, GPX and TCX.

    python benches/batch_instructions.py BEFORE AFTER FOLDER [--hours 60]

Makes simulated one-hour recordings in FOLDER (as benches/batch.py does, a third of each format) and counts, format by format, what
each build runs of the same command; jobs 1. valgrind has no SHA instructions and AVX2 at most, whatever the processor has: what it
counts is a processor without them. Fails when GPX or TCX cost more than 0.6 of what they did.
"""

import argparse
import pathlib
import re
import subprocess

import batch


def instructions(jogaudit, folder, paths):
    listed = folder / "counted.list"
    listed.write_text("".join(f"{path}\n" for path in paths))
    done = subprocess.run(
        ["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null", jogaudit, "batch", "--files-from", listed, "--plan",
         folder / "plan.toml", "--stage", "1", "--jobs", "1", "--out", folder / "counted.csv"],
        stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=True)
    return int(re.search(r"Collected : ([0-9]+)", done.stderr)[1])


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("before")
    parser.add_argument("after")
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--hours", type=int, default=60)
    options = parser.parse_args()
    folder = options.folder.absolute()
    paths = batch.make(options.before, folder, options.hours, options.hours, 60)
    for form in ("fit", "gpx", "tcx"):
        own = [path for path in paths if path.suffix == f".{form}"]
        before, after = (instructions(program, folder, own) for program in (options.before, options.after))
        print(f"{form}: {len(own)} hours, {before / len(own) / 1e6:.1f} million instructions an hour before, "
              f"{after / len(own) / 1e6:.1f} after: {after / before:.3f}", flush=True)


main()
