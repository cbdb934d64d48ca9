"""What `batch` says of made-up sessions that were done as prescribed: anything but `kept` is a false alarm, or open.

    python benches/kept.py JOGAUDIT FOLDER [--seeds 100] [--first 7000000] [--realistic]
                           [--rests | --brief | --metres | --wholes | --clock] [--fault FAULT | --faults | --paces] [--only TEXT]

Simulates SEEDS sessions of each of three stages in each condition into FOLDER (what is there is taken again), scores them, and
prints a table with the number of each outcome. Typical reception. Where there is no word of cadence there is none; "positions" have no
speed, distance or altitude either. With `--realistic` runners and recorders are as real ones (`docs/simulator.md`), and sampled as
those; with `--rests` the stages have rests between runs and walks, with `--brief` runs or walks of 20 or 30 s, with `--metres` runs or
walks by distance, with `--wholes` a whole by distance of runs and walks by time, with `--clock` a whole by time of runs or walks by
distance. `--fault` orders one fault in every session; with `--faults` each is ordered in each session of a stage with limits, and the
outcome that it should have stands beside it; with `--paces` a run at 1 to 20 % above its ceiling. `--only` takes the conditions with
TEXT in their name. A simulator that has changed needs a new FOLDER.
"""

import argparse
import collections
import itertools
import json
import pathlib
import subprocess

PLAN = """title = "Done as prescribed"
[[stage]]
name = "short"
session = "walk 5:00, 12 x (run 0:30, walk 1:00), walk 3:00"
[[stage]]
name = "middle"
session = "walk 5:00, 6 x (run 2:00, walk 1:30), walk 3:00"
[[stage]]
name = "long"
session = "walk 5:00, 3 x (run 8:00, walk 2:00), walk 3:00"
[[stage]]
name = "limits"
session = "walk 5:00, 6 x (run 2:00, walk 1:30), walk 3:00"
pace_ceiling = "6:20 /km"
heart_rate_ceiling = "155 bpm"
session_ceiling = "32:00"
[[stage]]
name = "rests"
session = "walk 5:00, 6 x (run 2:00, rest 1:00), walk 0:20"
[[stage]]
name = "rest-walk"
session = "walk 5:00, 5 x (run 2:20, rest 0:40, walk 1:30), walk 2:00"
[[stage]]
name = "rest-walk-rest"
session = "walk 5:00, 4 x (run 3:00, rest 0:30, walk 0:30, rest 0:30), walk 3:00"
[[stage]]
name = "brief-runs"
session = "walk 5:00, 15 x (run 0:20, walk 0:40), walk 3:00"
[[stage]]
name = "brief-walks"
session = "walk 5:00, 8 x (run 2:00, walk 0:20), walk 3:00"
[[stage]]
name = "brief-breaks"
session = "walk 2:00, 8 x (run 4:30, walk 0:30)"
[[stage]]
name = "short-metres"
session = "walk 400 m, 10 x (run 100 m, walk 100 m), walk 400 m"
[[stage]]
name = "metres"
session = "walk 400 m, 6 x (run 400 m, walk 200 m), walk 400 m"
[[stage]]
name = "run-metres"
session = "walk 5:00, 3 x (run 1200 m, walk 2:00), walk 3:00"
[[stage]]
name = "short-whole"
session = "walk 5:00, for 2 km (run 0:40, walk 0:50), walk 3:00"
[[stage]]
name = "whole"
session = "walk 5:00, for 3 km (run 2:00, walk 1:00), walk 3:00"
[[stage]]
name = "long-whole"
session = "walk 5:00, for 5 km (run 5:00, walk 1:00), walk 3:00"
[[stage]]
name = "short-clock"
session = "walk 5:00, for 15:00 (run 100 m, walk 100 m), walk 3:00"
[[stage]]
name = "clock"
session = "walk 5:00, for 20:00 (run 400 m, walk 200 m), walk 3:00"
[[stage]]
name = "walk-clock"
session = "walk 5:00, for 25:00 (run 2:00, walk 150 m), walk 3:00"
"""
STAGES = ("short", "middle", "long")
OTHER_STAGES = {
    "--rests": ("rests", "rest-walk", "rest-walk-rest"),
    "--brief": ("brief-runs", "brief-walks", "brief-breaks"),
    "--metres": ("short-metres", "metres", "run-metres"),
    "--wholes": ("short-whole", "whole", "long-whole"),
    "--clock": ("short-clock", "clock", "walk-clock"),
}
COLUMNS = {
    "cadence": [],
    "speed and heart rate": ["--no-cadence"],
    "speed alone": ["--no-cadence", "--no-heart-rate"],
    "positions and heart rate": ["--positions-only"],
    "positions alone": ["--positions-only", "--no-heart-rate"],
}
PROFILES = ("steady", "overlapping")
SAMPLINGS = ("1s", "smart")
GROUNDS = {"level": [], "hills": ["--hills"]}
OUTCOMES = ("kept", "undecided", "underdone", "overdone")
# Each fault with its usual size, a larger one for times and paces, and what it makes of the session.
FAULTS = {
    "none": "kept",
    "run-longer:25": "overdone",
    "run-longer:60": "overdone",
    "run-faster:10": "overdone",
    "run-faster:20": "overdone",
    "rep-extra": "overdone",
    "run-unplanned:60": "overdone",
    "walk-cut:40": "overdone",
    "walk-missing": "overdone",
    "heart-rate-high": "overdone",
    "session-longer": "overdone",
    "run-shorter:25": "underdone",
    "run-shorter:60": "underdone",
    "rep-missing": "underdone",
}
# A run that is so far above its ceiling, in percent: up to 3 are let pass.
PACES = {
    "none": "kept",
    "run-faster:1": "kept",
    "run-faster:5": "overdone",
    "run-faster:10": "overdone",
    "run-faster:15": "overdone",
    "run-faster:20": "overdone",
}


def simulate(jogaudit, plan, stage, seed, path, options):
    """Makes a session; what is there is taken again."""
    if not path.exists():
        subprocess.run([jogaudit, "simulate", "--plan", plan, "--stage", stage, "--seed", str(seed), *options, "--out", path],
                       check=True, capture_output=True)


def outcomes(jogaudit, plan, folder, stage, options, seeds):
    folder.mkdir(parents=True, exist_ok=True)
    for seed in seeds:
        simulate(jogaudit, plan, stage, seed, folder / f"{seed}.fit", options)
    out = folder.with_suffix(".ndjson")
    out.unlink(missing_ok=True)
    listed = folder.with_suffix(".list")
    listed.write_text("".join(f"{folder / f'{seed}.fit'}\n" for seed in seeds))
    subprocess.run([jogaudit, "batch", "--files-from", listed, "--plan", plan, "--stage", stage, "--out", out],
                   check=True, capture_output=True)
    return collections.Counter(json.loads(row)["outcome"] for row in open(out))


def order(fault):
    return [] if fault == "none" else ["--fault", fault]


def row(name, counted, *more):
    shares = [f"{100 * counted[outcome] / counted.total():.1f} %" for outcome in OUTCOMES]
    print("| " + " | ".join([name, *shares, *more]) + " |", flush=True)


def as_prescribed(options, plan, realism, samplings, seeds):
    print("| condition | " + " | ".join(OUTCOMES) + " |\n|---|" + "---|" * len(OUTCOMES))
    for columns, profile, ground, sampling in itertools.product(COLUMNS, PROFILES, GROUNDS, samplings):
        condition = f"{columns}, {profile}, {ground}, {sampling}"
        if options.only not in condition:
            continue
        ordered = order(options.fault)
        flags = [*realism, *COLUMNS[columns], *GROUNDS[ground], "--profile", profile, "--sampling", sampling, *ordered]
        all_stages = collections.Counter()
        for stage in options.stages:
            name = "-".join((stage, columns.replace(" ", "_"), profile, ground, sampling, *realism[1:], *ordered[1:]))
            all_stages += outcomes(options.jogaudit, plan, options.folder / name, stage, flags, seeds)
        row(condition, all_stages)


def with_faults(options, faults, plan, realism, sampling, seeds):
    print("| condition, fault | " + " | ".join(OUTCOMES) + " | should be |\n|---|" + "---|" * (len(OUTCOMES) + 1))
    # The stage has a ceiling of the heart rate: without one nothing is kept.
    with_heart = [(columns, flags) for columns, flags in COLUMNS.items() if "--no-heart-rate" not in flags]
    for (columns, flags), (fault, expected) in itertools.product(with_heart, faults.items()):
        condition = f"{columns}, {fault}"
        if options.only not in condition:
            continue
        name = "-".join(("fault", columns.replace(" ", "_"), fault.replace(":", "_"), *realism[1:]))
        flags = [*realism, *flags, "--sampling", sampling, *order(fault)]
        row(condition, outcomes(options.jogaudit, plan, options.folder / name, "limits", flags, seeds), expected)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("jogaudit")
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--seeds", type=int, default=100)
    parser.add_argument("--first", type=int, default=7_000_000)
    parser.add_argument("--realistic", action="store_true")
    for option, stages in OTHER_STAGES.items():
        parser.add_argument(option, dest="stages", action="store_const", const=stages, default=STAGES)
    parser.add_argument("--fault", default="none")
    parser.add_argument("--faults", action="store_const", const=FAULTS)
    parser.add_argument("--paces", dest="faults", action="store_const", const=PACES)
    parser.add_argument("--only", default="")
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.seeds)
    options.folder.mkdir(parents=True, exist_ok=True)
    plan = options.folder / "plan.toml"
    plan.write_text(PLAN)
    realism = ["--realism", "realistic"] if options.realistic else []
    samplings = ("drawn",) if options.realistic else SAMPLINGS
    if options.faults:
        print(f"{options.seeds} sessions a fault, seeds from {options.first}.\n")
        with_faults(options, options.faults, plan, realism, samplings[0], seeds)
    else:
        print(f"{options.seeds} sessions of each of {len(options.stages)} stages a condition, seeds from {options.first}.\n")
        as_prescribed(options, plan, realism, samplings, seeds)


if __name__ == "__main__":
    main()
