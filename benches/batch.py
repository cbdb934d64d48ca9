"""Speed and memory of `jogaudit batch`, beside general-purpose Python libraries on the same files in the same run.

    python benches/batch.py JOGAUDIT FOLDER [--files 20000] [--distinct 500] [--minutes 60] [--rival 60]

Makes DISTINCT simulated recordings of MINUTES (FIT, GPX and TCX in turn, seeds from 3,000,000) in FOLDER and hard-links them
until there are FILES paths, of which one in a hundred is broken (empty, cut in the head, or text). Prints what it measured:
files, rows, files and samples a second, processor time, peak memory, opens of each file, one job against two, and the
rival's files a second of processor time. The interpreter that runs this needs the libraries of
benches/python_batch.py.
"""

import argparse
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import sys
import time

PLAN = """title = "To measure by"
[limits]
pace_ceiling = "6:00 /km"
[[stage]]
name = "1"
session = "{} x (run 2:00, walk 1:00)"
"""


def make(jogaudit, folder, files, distinct, minutes):
    """Gives the list of paths; what is there is taken again."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "plan.toml").write_text(PLAN.format(minutes // 3))
    seeds = folder / f"distinct-{minutes}"
    seeds.mkdir(exist_ok=True)
    made = []
    for n in range(distinct):
        path = seeds / f"{n:05}.{('fit', 'gpx', 'tcx')[n % 3]}"
        if not path.exists():
            subprocess.run([jogaudit, "simulate", "--plan", folder / "plan.toml", "--stage", "1", "--seed",
                            str(3_000_000 + n), "--out", path], check=True, capture_output=True)
        made.append(path)
    broken = [seeds / "empty.broken", seeds / "cut.broken", seeds / "text.broken"]
    broken[0].write_bytes(b"")
    broken[1].write_bytes(made[0].read_bytes()[:40])
    broken[2].write_text("not a recording\n")
    shutil.rmtree(folder / "cohort", ignore_errors=True)
    paths = []
    for n in range(files):
        source = broken[n // 100 % 3] if n % 100 == 99 else made[n % distinct]
        path = folder / "cohort" / f"{n // 1000:03}" / f"{n:06}{source.suffix}"
        path.parent.mkdir(parents=True, exist_ok=True)
        os.link(source, path)
        paths.append(path)
    print(f"{files} paths, hard links to {distinct} distinct recordings of {minutes} min (FIT, GPX, TCX in turn) and, one in 100, "
          f"to 3 broken files")
    return paths


def run(arguments, prefix=()):
    """Runs a command; gives wall seconds, processor seconds, peak memory in MiB, standard error."""
    begun = time.monotonic()
    child = subprocess.Popen([*prefix, *map(str, arguments)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    error = child.stderr.read()
    _, status, used = os.wait4(child.pid, 0)
    assert status == 0, error
    return time.monotonic() - begun, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, error


def batch(jogaudit, folder, paths, jobs, name):
    listed = folder / f"{name}.list"
    listed.write_text("".join(f"{path}\n" for path in paths))
    out = folder / f"{name}.ndjson"
    wall, cpu, peak, error = run([jogaudit, "batch", "--files-from", listed, "--plan", folder / "plan.toml", "--stage", "1",
                                  "--jobs", jobs, "--out", out])
    rows = sum(1 for _ in open(out))
    samples = float(re.search(r"([0-9]+) samples a second", error)[1]) * wall
    print(f"{len(paths)} files, {jobs} job(s): {rows} rows, {wall:.1f} s, {len(paths) / wall:.1f} files/s, "
          f"{samples / wall:.0f} samples/s, {cpu:.1f} s of processor, peak {peak:.0f} MiB")
    assert rows == len(paths), "rows = files"
    return wall, cpu, peak


def opens(jogaudit, folder, paths):
    """How often each file is opened."""
    listed, trace = folder / "traced.list", folder / "trace"
    listed.write_text("".join(f"{path}\n" for path in paths))
    run([jogaudit, "batch", "--files-from", listed, "--plan", folder / "plan.toml", "--stage", "1", "--jobs", 2, "--out",
         folder / "traced.ndjson"], prefix=("strace", "-f", "-e", "trace=open,openat", "-o", str(trace)))
    counts = {str(path): 0 for path in paths}
    for line in open(trace):
        named = re.search(r'"([^"]*)"', line)
        if named and named[1] in counts and "= -1" not in line:
            counts[named[1]] += 1
    print(f"opens of {len(paths)} files, by strace: least {min(counts.values())}, most {max(counts.values())} each")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("jogaudit")
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--files", type=int, default=20000)
    parser.add_argument("--distinct", type=int, default=500)
    parser.add_argument("--minutes", type=int, default=60)
    parser.add_argument("--rival", type=int, default=60)
    parser.add_argument("--repeats", type=int, default=3)
    options = parser.parse_args()
    jogaudit, folder = options.jogaudit, options.folder.absolute()
    paths = make(jogaudit, folder, options.files, options.distinct, options.minutes)

    tenth = options.files // 10
    small_peak = batch(jogaudit, folder, paths[:tenth], 2, "small")[2]
    large_peak = batch(jogaudit, folder, paths, 2, "large")[2]
    print(f"peak of {options.files} files is {large_peak / small_peak:.2f} x that of {tenth}")

    walls = {1: [], 2: []}
    some = paths[:max(tenth // 4, 60)]
    for _ in range(options.repeats):
        for jobs in (1, 2):
            walls[jobs].append(batch(jogaudit, folder, some, jobs, f"jobs{jobs}")[0])
        same = (folder / "jobs1.ndjson").read_bytes() == (folder / "jobs2.ndjson").read_bytes()
        assert same, "the rows depend on the number of jobs"
    speedup = min(walls[1]) / min(walls[2])
    print(f"2 jobs are {speedup:.2f} x 1 job (best of {options.repeats} each; load average {os.getloadavg()[0]:.1f})")
    if shutil.which("strace"):
        opens(jogaudit, folder, paths[:300])

    whole = [path for path in paths if path.suffix != ".broken"]
    sample = random.Random(1).sample(whole, options.rival)
    _, cpu, _ = batch(jogaudit, folder, sample, 1, "rival")
    rival = pathlib.Path(__file__).with_name("python_batch.py")
    out = subprocess.run([sys.executable, rival, folder / "rival.list"], check=True, capture_output=True, text=True).stdout
    theirs = json.loads(out)
    our_rate, their_rate = options.rival / cpu, theirs["files"] / theirs["seconds"]
    print(f"same {options.rival} files, one core, files a second of processor: jogaudit {our_rate:.1f} (with start and end), "
          f"Python {their_rate:.2f} ({theirs['read']} read, {theirs['failed']} failed): {our_rate / their_rate:.0f} x")


if __name__ == "__main__":
    main()
