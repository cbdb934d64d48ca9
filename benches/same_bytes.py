"""Holds the outputs of two builds against each other, byte for byte.

    python3 benches/same_bytes.py OLD NEW [FOLDER]

OLD and NEW are two `jogaudit` programs. OLD makes the demo and 200 simulated recordings in FOLDER (kept and used again when
it is there), then both run `bouts`, `check`, `review`, `batch`, `plan` and `agree` on them. Prints each difference and counts
them; exits with 1 when there is one. What `batch` says of its speed is left out.
"""

import concurrent.futures
import difflib
import itertools
import pathlib
import re
import subprocess
import sys

RECORDINGS = 200
FORMATS = ["fit", "gpx", "tcx"]
# Each recording takes the next of each row.
WAYS = [
    [[], ["--profile", "overlapping"], ["--profile", "indistinct"]],
    [[], ["--gps", "bad"], ["--gps", "clean"], ["--sampling", "smart"]],
    [[], ["--no-cadence"], ["--positions-only"], ["--treadmill"], ["--hills"]],
    [
        [],
        ["--fault", "run-longer:40:2"],
        ["--fault", "walk-cut:40"],
        ["--fault", "run-faster:15"],
        ["--fault", "walk-missing"],
        ["--fault", "rep-extra:1"],
        ["--fault", "stop:30"],
    ],
    [
        [],
        ["--laps", "steps"],
        ["--pause", "60@500"],
        ["--hole", "40@600"],
        ["--missing", "10"],
        ["--cadence-fault", "half:120@300"],
        ["--cadence-fault", "drop-out:60@400"],
        ["--cadence-fault", "held:60@400"],
        ["--laps", "km"],
        ["--gzip"],
        ["--lag", "6"],
    ],
]


def run(program, args, cwd):
    done = subprocess.run([program, *map(str, args)], cwd=cwd, capture_output=True, check=False, timeout=600)
    return done.returncode, done.stdout, done.stderr


def make(program, folder):
    folder.mkdir(parents=True)
    run(program, ["demo", "case"], folder)
    (folder / "sim").mkdir()
    for number, ways in zip(range(RECORDINGS), itertools.islice(zip(*map(itertools.cycle, WAYS)), RECORDINGS)):
        kind = FORMATS[number % 3]
        stage = str(1 + number % 4)
        args = ["simulate", "--plan", "case/plan.toml", "--stage", stage, "--seed", 5000 + number, "--format", kind]
        args += ["--out", f"sim/{number:03}-{stage}.{kind}", "--truth", f"sim/{number:03}-{stage}.json"]
        if "--treadmill" in ways[2]:
            args[args.index("--format") + 1] = "fit"
        code, _, said = run(program, args + list(itertools.chain(*ways)), folder)
        assert code == 0, said


def jobs(folder):
    for path in sorted(folder.glob("sim/*.[fgt]*")):
        name = path.relative_to(folder)
        stage = path.stem.split("-")[1].split(".")[0]
        for form in ["text", "json", "csv"]:
            yield ["bouts", name, "--format", form]
        for form in ["text", "json", "html"]:
            yield ["check", name, "--plan", "case/plan.toml", "--stage", stage, "--format", form, "--strict"]
    for form in ["text", "json", "html"]:
        yield ["review", "case", "--as-of", "2026-05-10", "--format", form]
        yield ["review", "case", "--as-of", "2026-04-01", "--format", form]
        yield ["plan", "show", "case/plan.toml", "--stage", "2", "--format", form]
    for form in ["text", "json"]:
        yield ["plan", "show", "case/plan.toml", "--format", form]
        yield ["plan", "check", "case/plan.toml", "--format", form]
    yield ["plan", "draft", "--help"]
    for end in ["csv", "ndjson"]:
        tables = [f"--bouts=bouts-NEW.{end}", f"--reps=reps-NEW.{end}", f"--summary=summary-NEW.{end}"]
        stage = ["--plan", "case/plan.toml", "--stage", "2"]
        yield ["batch", "sim", "case/recordings", *stage, f"--out=rows-NEW.{end}", *tables, "--jobs", "2"]
    truths = sorted(folder.glob("sim/*.json"))[:40]
    for truth in truths:
        bouts = folder / "agree" / truth.name
        yield ["agree", truth.relative_to(folder), bouts.relative_to(folder)]
        yield ["agree", truth.relative_to(folder), bouts.relative_to(folder), "--format", "json"]


def outputs(program, folder, args):
    """What a job prints and writes; files that it writes have NEW in their name."""
    written = [a.split("=", 1)[1] for a in map(str, args) if "-NEW." in str(a)]
    code, out, said = run(program, args, folder)
    files = [(name, (folder / name).read_bytes() if (folder / name).exists() else b"") for name in written]
    for name in written:
        (folder / name).unlink(missing_ok=True)
    said = re.sub(rb"\n.*samples a second.*\n", b"\n", said)
    return [("exit code", str(code).encode()), ("standard output", out), ("standard error", said), *files]


def main():
    old, new = (str(pathlib.Path(p).resolve()) for p in sys.argv[1:3])
    folder = pathlib.Path(sys.argv[3] if len(sys.argv) > 3 else "target/same-bytes").resolve()
    if not folder.exists():
        make(old, folder)
    if not (folder / "agree").exists():
        (folder / "agree").mkdir()
        for truth in sorted(folder.glob("sim/*.json"))[:40]:
            recording = next(folder.glob(f"sim/{truth.stem}.[fgt]*"))
            (folder / "agree" / truth.name).write_bytes(run(old, ["bouts", recording, "--format", "json"], folder)[1])
    todo = list(jobs(folder))
    both = [a for a in todo if a[0] != "batch"]
    differences = compared = 0
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        pairs = pool.map(lambda a: (a, outputs(old, folder, a), outputs(new, folder, a)), both)
        batches = ((a, outputs(old, folder, a), outputs(new, folder, a)) for a in todo if a[0] == "batch")
        for args, before, after in itertools.chain(pairs, batches):
            for (what, one), (_, two) in zip(before, after):
                compared += 1
                if one != two:
                    differences += 1
                    print("DIFFERS:", " ".join(map(str, args)), "-", what)
                    lines = [t.decode(errors="replace").splitlines() for t in (one, two)]
                    for line in itertools.islice(difflib.unified_diff(*lines, lineterm="", n=0), 2, 12):
                        print("   ", line[:200])
    print(f"{len(todo)} commands, {compared} outputs compared, {differences} differ")
    return differences > 0


if __name__ == "__main__":
    sys.exit(main())
