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
}


def main(program):
    for name, text in PLANS.items():
        with tempfile.NamedTemporaryFile("w", suffix=".toml", delete=False) as file:
            file.write(text)
        done = subprocess.run(
            ["/usr/bin/time", "-f", "%U %S %M", program, "plan", "check", file.name], capture_output=True, text=True, check=False
        )
        os.unlink(file.name)
        user, system, memory = done.stderr.strip().splitlines()[-1].split()
        said = (done.stdout or done.stderr).strip().splitlines()[0]
        cpu = float(user) + float(system)
        print(f"{name:45} {len(text) / 1e6:5.2f} MB  {cpu:5.2f} s  {int(memory) / 1024:5.1f} MiB  {said[:60]}")


if __name__ == "__main__":
    main(sys.argv[1])
