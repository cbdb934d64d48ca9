"""How often the outcome of `check` changes when a recording is changed in a way that tells nothing new.

    python benches/stable.py JOGAUDIT FOLDER [--sessions 300] [--first 8000000] [--each]

Simulates SESSIONS sessions of a stage with limits: half of them as prescribed, half with one ordered fault after another, half
with an ideal and half with a realistic runner and recorder, one in three each with cadence, without, and with positions alone.
Each is checked as it is, without its first sample, with every second sample, with one sample more between each two (straight
lines), and a second later. Printed by change: how many outcomes differ, and between which; of those that differ how many were
decided by findings of a certainty of at least 0.9 before or after, and which findings came or went; and how many decided
outcomes were wrong before and after, by what was ordered. `--each` adds a line a change. A simulator that has changed needs a
new FOLDER. What holds here holds of the simulator.
"""

import argparse
import collections
import datetime
import json
import pathlib
import re
import subprocess

import kept
from kept import COLUMNS

FAULTS = {fault: ordered for fault, ordered in kept.FAULTS.items() if fault not in ("none", "run-faster:10")}
SURE = 0.9
# Codes of findings that can make an outcome of `underdone`; the others that count are overdoing.
LESS = {"run_too_short", "rep_missing"}
POINT = re.compile(r"[ \t]*<trkpt.*?</trkpt>\n?", re.DOTALL)
TIME = re.compile(r"<time>([^<]*)</time>")
# Numbers that lie between tags, and those of the position.
NUMBER = re.compile(r'(?<=lat=")[^"]*|(?<=lon=")[^"]*|(?<=>)-?[0-9.]+(?=</)')


def time_of(point):
    return datetime.datetime.fromisoformat(TIME.search(point)[1].replace("Z", "+00:00"))


def at(point, time):
    text = time.isoformat(timespec="milliseconds" if time.microsecond else "seconds").replace("+00:00", "Z")
    return TIME.sub(f"<time>{text}</time>", point)


def between(one, two):
    """The point half-way; `None` where something was not recorded at both."""
    numbers = [NUMBER.findall(TIME.sub("", point)) for point in (one, two)]
    times = time_of(one), time_of(two)
    if len(numbers[0]) != len(numbers[1]) or (times[1] - times[0]).total_seconds() > 10:
        return None
    means = iter([f"{(float(a) + float(b)) / 2:.7f}" for a, b in zip(*numbers)])
    time = TIME.search(one)[0]
    text = NUMBER.sub(lambda _: next(means), one.replace(time, "<time></time>"))
    return at(text, times[0] + (times[1] - times[0]) / 2)


def doubled(points):
    made = [[one, between(one, two)] for one, two in zip(points, points[1:])]
    return [point for pair in made for point in pair if point] + points[-1:]


CHANGES = {
    "first sample dropped": lambda points: points[1:],
    "every second sample": lambda points: points[::2],
    "twice as many samples": doubled,
    "a second later": lambda points: [at(point, time_of(point) + datetime.timedelta(seconds=1)) for point in points],
}


def check(jogaudit, plan, path):
    run = subprocess.run([jogaudit, "check", path, "--plan", plan, "--stage", "limits", "--format", "json"],
                         check=True, capture_output=True)
    document = json.loads(run.stdout)
    return document["outcome"], document["findings"]


def decided_by(outcome, findings):
    """The greatest certainty of a finding that makes this outcome; `None` of one that no finding makes."""
    wanted = {"overdone": lambda code: code not in LESS, "underdone": lambda code: code in LESS}.get(outcome)
    return max((f["certainty"] for f in findings if wanted and wanted(f["code"])), default=None)


def findings_text(findings):
    return ", ".join(f"{f['code']} {f['certainty']:.2f}" for f in findings) or "no findings"


def sessions(options, plan):
    """Name, path and what was ordered of each session."""
    faults = list(FAULTS)
    for number in range(options.sessions):
        realism = ("ideal", "realistic")[number % 2]
        columns = list(COLUMNS)[number // 4 % 3]
        fault = faults[number // 12 % len(faults)] if number // 2 % 2 else None
        seed = options.first + number
        path = options.folder / f"{seed}.gpx"
        flags = ["--realism", realism, *COLUMNS[columns], *(["--fault", fault] if fault else [])]
        kept.simulate(options.jogaudit, plan, "limits", seed, path, flags)
        yield f"{seed}, {realism}, {columns}, {fault or 'as prescribed'}", path, FAULTS.get(fault, "kept")


def changed(options, plan, path):
    """Outcome and findings of the recording as it is, and by change."""
    text = path.read_text()
    points = POINT.findall(text)
    head, tail = text[:text.index(points[0])], text[text.rindex(points[-1]) + len(points[-1]):]
    other = options.folder / "changed.gpx"
    results = {"": check(options.jogaudit, plan, path)}
    for name, change in CHANGES.items():
        other.write_text(head + "".join(change(points)) + tail)
        results[name] = check(options.jogaudit, plan, other)
    return results


class Tally:
    def __init__(self):
        self.outcomes = collections.Counter()
        self.sure = 0
        self.codes = collections.Counter()
        self.wrong = collections.Counter()

    def add(self, before, after, ordered):
        (was, old), (now, new) = before, after
        decided = ("kept", "underdone", "overdone")
        self.wrong["before"] += was in decided and was != ordered
        self.wrong["after"] += now in decided and now != ordered
        if was == now:
            return
        self.outcomes[f"{was} to {now}"] += 1
        certain = [c for c in (decided_by(was, old), decided_by(now, new)) if c is not None]
        self.sure += any(c >= SURE for c in certain)
        count = lambda findings: collections.Counter(f["code"] for f in findings if f["certainty"] >= SURE)
        gone, come = count(old) - count(new), count(new) - count(old)
        self.codes.update({code for code in gone} | {code for code in come})


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("jogaudit")
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--sessions", type=int, default=300)
    parser.add_argument("--first", type=int, default=8_000_000)
    parser.add_argument("--each", action="store_true")
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    plan = options.folder / "plan.toml"
    plan.write_text(kept.PLAN)
    tallies = {(realism, change): Tally() for realism in ("ideal", "realistic") for change in CHANGES}
    count = collections.Counter()
    for name, path, ordered in sessions(options, plan):
        realism = name.split(", ")[1]
        count[realism] += 1
        results = changed(options, plan, path)
        for change in CHANGES:
            tallies[realism, change].add(results[""], results[change], ordered)
            if options.each and results[change][0] != results[""][0]:
                (was, old), (now, new) = results[""], results[change]
                print(f"{name}; {change}: {was} ({findings_text(old)}) to {now} ({findings_text(new)})", flush=True)
    print("| runner and recorder, change | sessions | outcome changed | kept and overdone | decided by a finding ≥ 0.9 | which change | "
          "findings ≥ 0.9 that came or went | decided wrongly before, after |\n|---|---|---|---|---|---|---|---|")
    for (realism, change), tally in tallies.items():
        listed = lambda counter: ", ".join(f"{name} {n}" for name, n in counter.most_common()) or "–"
        flipped = tally.outcomes["kept to overdone"] + tally.outcomes["overdone to kept"]
        print(f"| {realism}, {change} | {count[realism]} | {sum(tally.outcomes.values())} | {flipped} | {tally.sure} | "
              f"{listed(tally.outcomes)} | {listed(tally.codes)} | {tally.wrong['before']}, {tally.wrong['after']} |")


main()
