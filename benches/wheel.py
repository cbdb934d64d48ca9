"""Measures the wheel of jogaudit beside the command: files a second, and what four threads gain.

    python benches/wheel.py JOGAUDIT FOLDER [RECORDINGS] [REPEATS]

Run by an interpreter in which the wheel is installed; both are to be built as released. It makes one-hour recordings, a third each of FIT,
GPX and TCX, in FOLDER, checks them on one core by the command and by the wheel in turn, each in a process of its own, and prints processor time,
since others may share the machine, and time by the clock. Then it works out their bouts in one thread and in four.
"""

import concurrent.futures
import os
import pathlib
import resource
import statistics
import subprocess
import sys
import time

import jogaudit

PLAN = b'title = "One hour"\n[[stage]]\nname = "1"\nsession = "walk 5:00, 10 x (run 3:00, walk 2:00), walk 5:00"\n'
FORMATS = ["fit", "gpx", "tcx"]
IN_ONE_CALL = "import jogaudit, sys; jogaudit.batch('recordings', plan='plan.toml', jobs=1)"


def spent(command):
    """Processor time and time by the clock of a command, s."""
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, time.monotonic() - begun


def median(pairs):
    return [statistics.median(values) for values in zip(*pairs)]


def main():
    program, folder = os.path.abspath(sys.argv[1]), pathlib.Path(sys.argv[2])
    count = int(sys.argv[3]) if len(sys.argv) > 3 else 300
    repeats = int(sys.argv[4]) if len(sys.argv) > 4 else 5
    (folder / "recordings").mkdir(parents=True, exist_ok=True)
    os.chdir(folder)
    pathlib.Path("plan.toml").write_bytes(PLAN)
    paths = [pathlib.Path("recordings") / f"{n}.{FORMATS[n % 3]}" for n in range(count)]
    for n, path in enumerate(paths):
        if not path.exists():
            path.write_bytes(jogaudit.simulate(PLAN, seed=n, format=FORMATS[n % 3])[0])

    command = [program, "batch", "recordings", "--plan", "plan.toml", "--jobs", "1", "--out"]
    ways = {
        "command": command + ["-"],
        "wheel": [sys.executable, "-c", IN_ONE_CALL],
        "nothing by the command": [program, "batch", "--files-from", os.devnull, "--plan", "plan.toml", "--out", "-"],
        "nothing by the wheel": [sys.executable, "-c", "import jogaudit"],
    }
    runs = {way: [] for way in ways}
    for _ in range(repeats):
        for way, started in ways.items():
            runs[way].append(spent(started))
    rates = {}
    for way in ("command", "wheel"):
        processor_s, clock_s = median(runs[way])
        processor_s -= median(runs[f"nothing by the {way}"])[0]
        rates[way] = count / processor_s
        print(f"{way}: {1000 * processor_s / count:.2f} ms of processor time a recording, {rates[way]:.0f} files a second of processor; "
              f"{count / clock_s:.0f} by the clock, start included")
    print(f"wheel / command: {rates['wheel'] / rates['command']:.3f} (median of {repeats} runs each, in turn)")

    for threads in (1, 4):
        begun, before = time.monotonic(), time.process_time()
        with concurrent.futures.ThreadPoolExecutor(threads) as pool:
            assert len(list(pool.map(jogaudit.bouts, paths))) == count
        clock_s, processor_s = time.monotonic() - begun, time.process_time() - before
        print(f"{threads} threads: {count / clock_s:.0f} files a second by the clock, {processor_s / clock_s:.2f} cores kept busy, "
              f"{1000 * processor_s / count:.2f} ms of processor time a recording")
    print(f"{len(os.sched_getaffinity(0))} cores; load {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
