"""Measures what docs/scale.md reckons with: processor time, memory and bytes of recordings and rows.

    python benches/scale.py JOGAUDIT [RECORDINGS]

Makes one-hour recordings, a third each of FIT, GPX and TCX, checks them on one core and turns the rows into what Spark takes; then the same
with the wheel, as a worker of docs/cluster/spark_files.py does, block by block. Needs the wheel, pandas, pyarrow and pyspark
(tests/reference/requirements.txt). Processor time, since others may share the machine.
"""

import io
import os
import pathlib
import resource
import subprocess
import sys
import tempfile
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent.parent / "docs/cluster"))
import spark_batch  # noqa: E402
import spark_files  # noqa: E402
import pyarrow.json  # noqa: E402

PLAN = 'title = "One hour"\n[[stage]]\nname = "1"\nsession = "walk 5:00, 10 x (run 3:00, walk 2:00), walk 5:00"\n'
FORMATS = ["fit", "gpx", "tcx"]


def processor_s(command, **options):
    """Runs a command; gives its processor time, s, and its greatest memory, MiB."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    child, peak_kib = subprocess.Popen(command, **options), 0
    # By the child's own account: what the system says of children counts this interpreter's memory at the fork.
    while child.poll() is None:
        try:
            status = pathlib.Path(f"/proc/{child.pid}/status").read_text()
            if f"Name:\t{os.path.basename(command[0])[:15]}" in status:
                peak_kib = max(peak_kib, int(status.split("VmHWM:")[1].split()[0]))
        except (OSError, IndexError):
            pass
        time.sleep(0.005)
    assert child.returncode == 0, command
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, peak_kib / 1024


def partition(names):
    """Checks recordings with the wheel as a worker does that gets them from Spark."""
    spark_files.SparkFiles.get = staticmethod(lambda name: name)

    def blocks():
        part, size = [], 0
        for name in names:
            part.append((name, pathlib.Path(name).read_bytes()))
            size += len(part[-1][1])
            if len(part) == spark_files.BLOCK_RECORDINGS or size > spark_files.BLOCK_BYTES:
                yield record_batch(part)
                part, size = [], 0
        if part:
            yield record_batch(part)

    assert sum(len(rows) for rows in spark_files.worker("plan.toml", "1")(blocks())) == len(names)


def record_batch(part):
    paths, contents = zip(*part)
    return pyarrow.record_batch({"path": list(paths), "content": list(contents)})


def main():
    program = os.path.abspath(sys.argv[1])
    script = os.path.abspath(__file__)
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 150
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        pathlib.Path("plan.toml").write_text(PLAN)
        names = [f"{n}.{FORMATS[n % 3]}" for n in range(count)]
        for n, name in enumerate(names):
            made = ["simulate", "--plan", "plan.toml", "--stage", "1", "--seed", str(n), "--out", name, "--truth", "truth"]
            subprocess.run([program, *made], check=True, stderr=subprocess.DEVNULL)
        for ending in FORMATS:
            sizes = [os.path.getsize(name) for name in names if name.endswith(ending)]
            print(f"{ending}: {sum(sizes) / len(sizes) / 1024:.0f} KiB a recording")
        quiet = {"stderr": subprocess.DEVNULL}

        lists = {ending: [name for name in names if name.endswith(ending)] for ending in FORMATS} | {"all": names}
        nothing, _ = processor_s(spark_batch.command(program, "plan.toml", "1", os.devnull, "none.ndjson"), **quiet)
        print(f"process without a recording: {1000 * nothing:.0f} ms of processor time")
        for what, some in lists.items():
            pathlib.Path("list").write_text("\n".join(some) + "\n")
            spent, most = processor_s(spark_batch.command(program, "plan.toml", "1", "list", f"{what}.ndjson"), **quiet)
            each = (spent - nothing) / len(some)
            print(f"{what}: {1000 * each:.2f} ms of processor time a recording, {1 / each:.0f} a second and core; {most:.0f} MiB")
        subprocess.run(spark_batch.command(program, "plan.toml", "1", "list", "all.parquet"), check=True, **quiet)
        for name in ("all.ndjson", "all.parquet"):
            print(f"{name}: {os.path.getsize(name) / count:.0f} bytes a row")

        schema = spark_batch.schema_of(program, "plan.toml", "1")
        options = pyarrow.json.ParseOptions(explicit_schema=schema, unexpected_field_behavior="error")
        lines = pathlib.Path("all.ndjson").read_bytes().splitlines(keepends=True) * (5000 // count + 1)
        begun = time.process_time()
        for block in spark_batch.blocks(iter(lines)):
            pyarrow.json.read_json(io.BytesIO(block), parse_options=options).to_pandas(types_mapper=spark_batch.NULLABLE)
        print(f"rows for Spark: {1000 * (time.process_time() - begun) / len(lines):.3f} ms of processor time a row")

        alone = [sys.executable, script, "partition"]
        pathlib.Path("list").write_text("")
        nothing, _ = processor_s([*alone, "list"], **quiet)
        print(f"worker with the wheel without a recording: {1000 * nothing:.0f} ms of processor time")
        for what, some in (lists | {"all ten times": 10 * names}).items():
            pathlib.Path("list").write_text("\n".join(some) + "\n")
            spent, most = processor_s([*alone, "list"], **quiet)
            each = (spent - nothing) / len(some)
            print(f"wheel, {what}: {1000 * each:.2f} ms of processor time a recording; {most:.0f} MiB")
        print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


if __name__ == "__main__":
    if sys.argv[1] == "partition":
        partition(pathlib.Path(sys.argv[2]).read_text().splitlines())
    else:
        main()
