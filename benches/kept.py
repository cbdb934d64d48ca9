"""What `batch` says of made-up sessions that were done as prescribed: anything but `kept` is a false alarm, or open.

    python benches/kept.py JOGAUDIT FOLDER [--seeds 100] [--first 7000000]

Simulates SEEDS sessions of each of three stages in each condition into FOLDER (what is there is taken again), scores them, and
prints a table with the number of each outcome. Typical reception. "positions" have no speed, cadence or altitude.
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
"""
STAGES = ("short", "middle", "long")
COLUMNS = {"cadence": [], "no cadence": ["--no-cadence"], "positions": ["--positions-only"]}
PROFILES = ("steady", "overlapping")
SAMPLINGS = ("1s", "smart")
GROUNDS = {"level": [], "hills": ["--hills"]}
OUTCOMES = ("kept", "undecided", "underdone", "overdone")


def outcomes(jogaudit, plan, folder, stage, options, seeds):
    folder.mkdir(parents=True, exist_ok=True)
    for seed in seeds:
        path = folder / f"{seed}.fit"
        if not path.exists():
            subprocess.run([jogaudit, "simulate", "--plan", plan, "--stage", stage, "--seed", str(seed), *options,
                            "--out", path], check=True, capture_output=True)
    out = folder.with_suffix(".ndjson")
    listed = folder.with_suffix(".list")
    listed.write_text("".join(f"{folder / f'{seed}.fit'}\n" for seed in seeds))
    subprocess.run([jogaudit, "batch", "--files-from", listed, "--plan", plan, "--stage", stage, "--out", out],
                   check=True, capture_output=True)
    return collections.Counter(json.loads(row)["outcome"] for row in open(out))


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("jogaudit")
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--seeds", type=int, default=100)
    parser.add_argument("--first", type=int, default=7_000_000)
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.seeds)
    options.folder.mkdir(parents=True, exist_ok=True)
    plan = options.folder / "plan.toml"
    plan.write_text(PLAN)
    print(f"{options.seeds} sessions of each of {len(STAGES)} stages a condition, seeds from {options.first}.\n")
    print("| condition | " + " | ".join(OUTCOMES) + " |\n|---|" + "---|" * len(OUTCOMES))
    for columns, profile, ground, sampling in itertools.product(COLUMNS, PROFILES, GROUNDS, SAMPLINGS):
        flags = [*COLUMNS[columns], *GROUNDS[ground], "--profile", profile, "--sampling", sampling]
        all_stages = collections.Counter()
        for stage in STAGES:
            name = "-".join((stage, columns.replace(" ", "_"), profile, ground, sampling))
            all_stages += outcomes(options.jogaudit, plan, options.folder / name, stage, flags, seeds)
        share = [f"{100 * all_stages[outcome] / all_stages.total():.1f} %" for outcome in OUTCOMES]
        print(f"| {columns}, {profile}, {ground}, {sampling} | " + " | ".join(share) + " |", flush=True)


main()
