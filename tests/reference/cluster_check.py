"""Compares the table of one machine with that of a cluster, and tries what the cluster script does when a worker fails.

    cluster_check.py ONE.parquet MANY.parquet EVENTS     same columns, types and rows; both executors worked. Columns of MANY
                                                         that are folders, and a `file:` before its paths, are fine
    cluster_check.py failures SCRIPT JOGAUDIT            a worker that exits with an error, dies, or gives too few rows
"""

import importlib.util
import json
import os
import sys

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq


def equal(one, many, events):
    tables = [pq.read_table(path) for path in (one, many)]
    tables[1] = tables[1].select(tables[0].schema.names)
    path = pc.replace_substring_regex(tables[1]["path"], "^file:", "")
    tables[1] = tables[1].set_column(tables[1].schema.names.index("path"), "path", path)
    is_text = lambda kind: pa.types.is_large_string(kind) or pa.types.is_string_view(kind) or pa.types.is_dictionary(kind)
    text = lambda kind: pa.string() if is_text(kind) else kind
    tables = [t.cast(pa.schema([(f.name, text(f.type)) for f in t.schema])).sort_by([("path", "ascending"), ("activity", "ascending")]) for t in tables]
    assert tables[0].schema == tables[1].schema, f"{tables[0].schema}\n{tables[1].schema}"
    left, right = (table.to_pylist() for table in tables)
    for a, b in zip(left, right, strict=True):
        assert a == b, [(key, a[key], b[key]) for key in a if a[key] != b[key]]

    workers = {}
    for name in os.listdir(events):
        with open(os.path.join(events, name), encoding="utf-8") as log:
            for event in map(json.loads, log):
                if event["Event"] == "SparkListenerTaskEnd" and event["Task End Reason"]["Reason"] == "Success":
                    who = event["Task Info"]["Executor ID"]
                    workers[who] = workers.get(who, 0) + 1
    assert len(workers) == 2, workers
    parts = [name for _, _, names in os.walk(many) for name in names if name.endswith(".parquet")]
    print(f"{len(left)} equal rows of {len(tables[0].schema)} columns in {len(parts)} parts; tasks by worker: {workers}")


def failures(script, jogaudit):
    spec = importlib.util.spec_from_file_location("spark_batch", script)
    batch = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(batch)
    batch.SparkFiles.get = staticmethod(lambda name: name)
    schema = batch.schema_of(jogaudit, "plan.toml", "first")

    def rows(lines):
        with open("fake", "w", encoding="utf-8") as fake:
            fake.write("#!/bin/sh\n" + lines)
        os.chmod("fake", 0o755)
        frames = iter([pd.DataFrame({"path": ["/a.fit"]}), pd.DataFrame({"path": ["/b.fit"]})])
        return [row for frame in batch.worker("./fake", "plan.toml", "first", schema)(frames) for row in frame["path"]]

    row = 'while read -r path; do echo "{\\"path\\":\\"$path\\"}"; done\n'
    assert rows(row) == ["/a.fit", "/b.fit"]
    seen = 0
    for lines, said in [
        (row + "echo no more room >&2; exit 2\n", "ended with 2 after 2 rows of 2 paths:\nno more room"),
        (row + "kill -9 $$\n", "ended with -9"),
        ("head -n 1 > /dev/null; echo '{\"path\":\"/a.fit\"}'\n", "ended with 0 after 1 rows of 2 paths"),
    ]:
        try:
            rows(lines)
        except RuntimeError as error:
            assert said in str(error), error
            seen += 1
    print(f"{seen} kinds of failure are seen")


failures(*sys.argv[2:]) if sys.argv[1] == "failures" else equal(*sys.argv[1:])
