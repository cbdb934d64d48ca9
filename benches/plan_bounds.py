"""Measures what the worst plans of up to 1 MB cost to look at.

    python3 benches/plan_bounds.py PROGRAM

Runs `plan check` on each and prints processor time, greatest memory and what was said. Where a plan is refused at once, that is what
is measured.
"""

import os
import subprocess
import sys
import tempfile


def stages(session, count=500):
    return "".join(f"[[stage]]\nname = '{n}'\nsession = '{session}'\n" for n in range(count))


KINDS = "".join(
    f"[[stage.session]]\nname='{k}'\ndo='1 to 14 x (run {k + 1}:00, walk 1:00)'\na_week='0 to 1'\n" for k in range(14)
)
KIND_OF_MANY = "[[stage.session]]\nname='k'\ndo='1 to 150 x (run 1:00, walk 1:00)'\n"
PLANS = {
    "a hundred thousand stages without anything": "[[stage]]\n" * 100_000,
    "1000 x (1000 x (1000 x ( … )))": stages("1000 x (1000 x (1000 x (run 1 s)))"),
    "sessions of 10,000 runs": stages("10 x (1000 x (run 1 s))"),
    "for, cut into 10,000": stages("for 2:46:40 (run 1 s, walk 1 s)"),
    "200 counts each": stages("1 to 200 x (run 1 s, walk 1 s)"),
    "200 ends each": stages("for 1:00 to 4:19 (run 1 s, walk 1 s)"),
    "a whole by distance, steps by time": stages("for 1 km to 200 km (run 1 s, walk 1 s)"),
    "1000 open parts each": stages("1000 x (for 100 m (run 1 s, walk 1 s))"),
    "counts in counts": stages("1 to 2 x (" * 7 + "run 1 s" + ")" * 7),
    "14 kinds of 14 ways each": "".join(f"[[stage]]\nname='{n}'\n{KINDS}" for n in range(500)),
    "a session of 100,000 items": stages("run 1 s, " * 100_000 + "run 1 s", 1),
    "brackets 100,000 deep": stages("1 x (" * 100_000, 1),
    "500 stages of 200 items": stages("walk 2:00, " * 180 + "run 1 s"),
    "the longest that is taken": stages("10 to 24 x (run 1:00, walk 1:00)", 135),
    "wholes without a most": stages("for 1:30:00 or more (run 1:00, walk 1:00)", 6),
    "500 stages, each with remarks of its own": "".join(
        f"[[stage]]\nname = '{n}'\nsession = 'run {n % 97 + 2}:{n % 60:02}'\npace_ceiling = '{n % 9 + 12}:{n % 60:02} /km'\n"
        for n in range(500)
    ),
    "500 counts that rise": stages("4 rising to 103 x (run 1 s, walk 1 s)", 4) + "sessions = 100\n",
    "two kinds of 150 ways": f"[[stage]]\nname = '1'\n{2 * KIND_OF_MANY}".replace("name='k'", "name='j'", 1),
    "comments of 1 MB": "[[stage]]\nname = '1'\nsession = 'run 20:00'\n" + "# nothing\n" * 95_000,
    "a note of 1 MB": "note = '" + "a" * 1_000_000 + "'\n[[stage]]\nname = '1'\nsession = 'run 20:00'\n",
}
MOST_S = 0.1
MOST_MIB = 64


def measured(program, path):
    done = subprocess.run(
        ["/usr/bin/time", "-f", "%U %S %M", program, "plan", "check", path], capture_output=True, text=True, check=False
    )
    if "cannot run" in done.stderr:
        sys.exit(done.stderr)
    user, system, memory = done.stderr.strip().splitlines()[-1].split()
    said = (done.stdout or done.stderr).strip().splitlines()[0]
    return float(user) + float(system), int(memory) / 1024, said


def main(program):
    is_within = True
    for name, text in PLANS.items():
        with tempfile.NamedTemporaryFile("w", suffix=".toml", delete=False) as file:
            file.write(text)
        rounds = [measured(program, file.name) for _ in range(3)]
        os.unlink(file.name)
        cpu, memory = min(r[0] for r in rounds), max(r[1] for r in rounds)
        is_within &= cpu <= MOST_S and memory <= MOST_MIB
        print(f"{name:45} {len(text) / 1e6:5.2f} MB  {cpu:5.2f} s  {memory:5.1f} MiB  {rounds[0][2][:60]}")
    return 0 if is_within else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
