"""Tries the wheel of jogaudit in the interpreter that it is installed in.

    python_check.py rows FOLDER       the tables are those of `jogaudit batch` (t, b and r.parquet in FOLDER), to the last bit
    python_check.py uses FOLDER       other libraries take them; documents; what is wrong is said; the lock is released
    python_check.py stubs STUB        the types are those of the functions
    python_check.py document FILE     the examples of a document
"""

import ast
import concurrent.futures
import doctest
import inspect
import json
import os
import pathlib
import pickle
import subprocess
import sys
import threading

import pandas as pd
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq

import jogaudit


def plain(table):
    """With one kind of text."""
    text = lambda kind: pa.string() if pa.types.is_large_string(kind) or pa.types.is_string_view(kind) else kind
    return table.cast(pa.schema([(field.name, text(field.type)) for field in table.schema])).combine_chunks()


def bits(column):
    """Numbers as what they are stored as, so that 0 is not -0."""
    return column.view(pa.int64()) if pa.types.is_float64(column.type) else column


def same(ours, theirs, what):
    ours, theirs = plain(pa.table(ours)), plain(theirs)
    assert ours.schema == theirs.schema, f"{what}\n{ours.schema}\n{theirs.schema}"
    for name in theirs.schema.names:
        left, right = ours[name].combine_chunks(), theirs[name].combine_chunks()
        assert bits(left).equals(bits(right)), f"{what}: `{name}` differs"


def rows(folder):
    os.chdir(folder)
    command = [pq.read_table(f"{name}.parquet") for name in "tbr"]
    asked = {"roster": "roster.csv", "bouts": True, "reps": True}
    by_path = jogaudit.batch("recordings", **asked)
    paths = command[0]["path"].to_pylist()
    contents = pa.table({"path": paths, "content": [pathlib.Path(path).read_bytes() for path in paths]})
    for how, made in [
        ("folder", by_path),
        ("paths", jogaudit.batch([pathlib.Path(path) for path in paths], jobs=1, **asked)),
        ("contents", jogaudit.batch(contents, jobs=3, **asked)),
        ("contents of polars", jogaudit.batch(pl.DataFrame(contents), **asked)),
    ]:
        for table, theirs in zip((made.recordings, made.bouts, made.reps), command, strict=True):
            same(table, theirs, how)
        assert made.failed == sum(code is not None for code in command[0]["error_code"].to_pylist())
    print(f"{len(by_path)} recordings, {len(by_path.bouts)} bouts, {len(by_path.reps)} reps: equal to the last bit")


def taken(folder):
    made = jogaudit.batch("recordings", roster="roster.csv", bouts=True)
    table = pa.table(made)
    assert table.num_rows == len(made) == len(made.recordings) and made.reps is None
    assert table.schema.metadata[b"jogaudit.schema"].startswith(b"jogaudit.batch/")
    assert table.schema.field("elapsed_s").metadata[b"unit"] == b"s"
    address = lambda table: table["elapsed_s"].chunk(0).buffers()[1].address
    assert address(table) == address(pa.table(made.recordings)), "pyarrow got a copy"
    frame = pl.DataFrame(made)
    assert frame.equals(pl.from_arrow(table)) and frame["start"].dtype == pl.Datetime("us", "UTC")
    assert pd.DataFrame.from_arrow(made).shape == table.shape
    nothing = jogaudit.batch([], roster="roster.csv")
    assert pa.table(nothing).schema.names == table.schema.names and len(nothing) == 0
    # As Spark gives what it could not read.
    lost = pa.table({"path": ["x/anna/1"], "content": pa.array([None], pa.binary()), "error_code": ["file_too_large"]})
    assert pa.table(jogaudit.batch(lost, roster="roster.csv"))["error_code"].to_pylist() == ["file_too_large"]


def documents(program):
    one = next(path for path in sorted(pathlib.Path("recordings").rglob("*.rec")) if path.stat().st_size > 1000)
    run = lambda *args: json.loads(subprocess.run([program, *args], check=True, stdout=subprocess.PIPE).stdout)
    bouts = jogaudit.bouts(one)
    assert bouts == run("bouts", one, "--format", "json")
    for content in (one.read_bytes(), bytearray(one.read_bytes()), memoryview(one.read_bytes())):
        assert jogaudit.bouts(content) == bouts
    assert pa.table(jogaudit.bouts(str(one), as_table=True)).to_pylist() == bouts["bouts"]
    assert jogaudit.check(one, "plan.toml", "1") == run("check", one, "--plan", "plan.toml", "--stage", "1", "--format", "json")
    subprocess.run([program, "demo", "case"], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    assert jogaudit.review("case", as_of="2026-04-01") == run("review", "case", "--as-of", "2026-04-01", "--format", "json")

    recording, truth = jogaudit.simulate("plan.toml", "1", seed=5, format="tcx", faults=["run-longer:40:2"])
    made = ["--seed", "5", "--out", "5.tcx", "--truth", "5.json", "--fault", "run-longer:40:2"]
    subprocess.run([program, "simulate", "--plan", "plan.toml", "--stage", "1", *made], check=True, stderr=subprocess.DEVNULL)
    assert recording == pathlib.Path("5.tcx").read_bytes() and truth == json.loads(pathlib.Path("5.json").read_text())
    found = jogaudit.bouts(recording)
    pathlib.Path("found.json").write_text(json.dumps(found))
    agreed = run("agree", "5.json", "found.json", "--format", "json")
    assert jogaudit.agree("5.json", "found.json") == agreed == jogaudit.agree(truth, found)
    assert jogaudit.agree(truth, jogaudit.bouts(recording, as_table=True)) == agreed
    scores = pl.DataFrame({"path": ["a", "b", "c", "d"], "x_s": [1.0, 2.5, 3.0, 4.0], "y_s": [1.5, 2.0, None, 4.5]})
    scores.write_csv("x.csv")
    assert jogaudit.agree(scores, "x.csv") == run("agree", "x.csv", "x.csv", "--format", "json")


def refused():
    one = str(next(pathlib.Path("recordings").rglob("*.rec")))
    bad_plan = b"title = 'x'\n[[stage]]\nname = '1'\nsession = 'ran 1:00'\n"
    contents = pa.table({"path": ["a"], "content": [b"x"]})
    scores = pa.table({"path": ["a", "b"], "x": [1, 2]})
    fails = jogaudit
    for call, kind, code, said in [
        (lambda: jogaudit.bouts("none.fit"), fails.FileError, "not_found", "could not read `none.fit`"),
        (lambda: jogaudit.bouts("-"), fails.FileError, "not_found", "./-"),
        (lambda: jogaudit.bouts("."), fails.FileError, "is_folder", "could not read `.`"),
        (lambda: jogaudit.bouts("a\0b"), fails.FileError, "not_readable", "could not read"),
        (lambda: jogaudit.bouts(b""), fails.RecordingError, "empty", "the input is empty"),
        (lambda: jogaudit.bouts(b"not a recording"), fails.RecordingError, "unknown_format", "not a FIT, GPX or TCX"),
        (lambda: jogaudit.bouts(3), fails.ArgumentError, "wrong_argument", "recording: a path or bytes is expected, not 3"),
        (lambda: jogaudit.bouts(None), fails.ArgumentError, "wrong_argument", "recording: "),
        (lambda: jogaudit.bouts(one, activity=0), fails.ArgumentError, "wrong_argument", "activity: a whole number from 1"),
        (lambda: jogaudit.bouts(one, activity=9), fails.RecordingError, "no_such_activity", "has no activity 9"),
        (lambda: jogaudit.check(one, bad_plan), fails.PlanError, "plan_mistake", "the plan has a mistake"),
        (lambda: jogaudit.check(one, "plan.toml", "9"), fails.PlanError, "no_such_stage", "the plan has no stage `9`"),
        (lambda: jogaudit.check(one, "plan.toml"), fails.PlanError, "no_such_stage", "hint: add `stage=` with one of `1`, `2`"),
        (lambda: jogaudit.check(one, "plan.toml", 1), fails.ArgumentError, "wrong_argument", "stage: a text is expected, not 1"),
        (lambda: jogaudit.review("none"), fails.JogauditError, None, "none"),
        (lambda: jogaudit.review(".", as_of="soon"), fails.ArgumentError, "wrong_argument", "as_of: a date as 2026-03-02"),
        (lambda: jogaudit.batch("none", plan="plan.toml", stage="1"), fails.FileError, "not_found", "could not read `none`"),
        (lambda: jogaudit.batch(one), fails.JogauditError, "refused", "hint: add `plan=`"),
        (lambda: jogaudit.batch(7, plan="plan.toml"), fails.ArgumentError, "wrong_argument", "recordings: a path, a list"),
        (lambda: jogaudit.batch([one, 7], plan="plan.toml"), fails.ArgumentError, "wrong_argument", "recordings: a path is"),
        (lambda: jogaudit.batch(b"x", plan="plan.toml"), fails.ArgumentError, "wrong_argument", "recordings: "),
        (lambda: jogaudit.batch(one, roster="plan.toml"), fails.JogauditError, "refused", "there is no column `path`"),
        (lambda: jogaudit.batch(one, roster="roster.csv", stage="1"), fails.ArgumentError, "wrong_argument", "stage: "),
        (lambda: jogaudit.batch(one, roster="roster.csv", jobs=-1), fails.ArgumentError, "wrong_argument", "jobs: "),
        (lambda: jogaudit.batch(contents.drop_columns("content"), roster="roster.csv"), fails.TableError, "no_such_column",
         "the table has no column `content`, only `path`"),
        (lambda: jogaudit.batch(contents.set_column(0, "path", [[1]]), roster="roster.csv"), fails.TableError,
         "wrong_column_type", "column `path` holds Int64; texts are expected"),
        (lambda: jogaudit.batch(contents.set_column(1, "content", [["text"]]), roster="roster.csv"), fails.TableError,
         "wrong_column_type", "bytes are expected"),
        (lambda: jogaudit.agree(scores, scores, columns=["z"]), fails.TableError, "not_comparable", "has no column `z`"),
        (lambda: jogaudit.agree(scores, scores, key=["who"]), fails.TableError, "not_comparable", "has no column `who`"),
        (lambda: jogaudit.agree({}, {}), fails.TableError, "not_comparable", ""),
        (lambda: jogaudit.agree({1: {2}}, {}), fails.ArgumentError, "wrong_argument", "reference: "),
        (lambda: jogaudit.agree(1, {}), fails.ArgumentError, "wrong_argument", "reference: "),
        (lambda: jogaudit.simulate("plan.toml", "1", profile="quick"), fails.ArgumentError, "wrong_argument",
         'profile: one of "steady", "overlapping", "indistinct" is expected, not \'quick\''),
        (lambda: jogaudit.simulate("plan.toml", "1", seed=-1), fails.ArgumentError, "wrong_argument", "seed: "),
        (lambda: jogaudit.simulate("plan.toml", "1", faults=["fly"]), fails.ArgumentError, "wrong_argument", "faults: "),
        (lambda: jogaudit.simulate("plan.toml", "1", format="gpx", treadmill=True), fails.JogauditError, None, "GPX"),
        (lambda: jogaudit.simulate("plan.toml", "1", start="soon"), fails.ArgumentError, "wrong_argument", "start: "),
    ]:
        try:
            call()
        except kind as error:
            assert code in (None, error.code), (error.code, str(error))
            assert said in str(error) and isinstance(error, jogaudit.JogauditError), str(error)
            again = pickle.loads(pickle.dumps(error))
            assert (str(again), again.code, again.place, again.hint) == (str(error), error.code, error.place, error.hint)
        else:
            raise AssertionError(said)
    try:
        jogaudit.check(one, bad_plan)
    except jogaudit.PlanError as error:
        assert error.place == "<bytes>:4:12" and "ran 1:00" in str(error), (error.place, str(error))
    try:
        jogaudit.bouts(3)
    except TypeError as error:
        assert error.place == "recording"


def released():
    """A call that waits for a pipe leaves the lock to the thread that will fill it."""
    one = next(path for path in sorted(pathlib.Path("recordings").rglob("*.rec")) if path.stat().st_size > 1000)
    os.mkfifo("pipe")
    with concurrent.futures.ThreadPoolExecutor(1) as pool:
        waiting = pool.submit(jogaudit.bouts, "pipe")
        pathlib.Path("pipe").write_bytes(one.read_bytes())
        assert waiting.result()["bouts"] == jogaudit.bouts(one)["bouts"]
    paths = [path for path in sorted(pathlib.Path("recordings").rglob("*.rec")) if path.stat().st_size > 1000][:40]
    each = [jogaudit.bouts(path) for path in paths]
    with concurrent.futures.ThreadPoolExecutor(4) as pool:
        assert list(pool.map(jogaudit.bouts, paths)) == each
    assert threading.active_count() == 1


def uses(folder, program):
    os.chdir(folder)
    taken(folder)
    documents(program)
    refused()
    released()
    print("tables, documents, errors and threads are as promised")


def stubs(path):
    """Names and order of the arguments, which of them may be left out, and that all is documented."""
    tree = ast.parse(pathlib.Path(path).read_text())
    seen = 0
    for function in (node for node in tree.body if isinstance(node, ast.FunctionDef)):
        ours = getattr(jogaudit, function.name)
        named = inspect.signature(ours).parameters.values()
        both = lambda names, kind: [p.name for p in named if p.kind == kind] == [arg.arg for arg in names]
        assert both(function.args.args, inspect.Parameter.POSITIONAL_OR_KEYWORD), function.name
        assert both(function.args.kwonlyargs, inspect.Parameter.KEYWORD_ONLY), function.name
        assert len(ours.__doc__) > 200 and "Raises" in ours.__doc__, function.name
        seen += 1
    for kind in (node for node in tree.body if isinstance(node, ast.ClassDef) and node.name != "ArrowTable"):
        for member in (node.name for node in kind.body if isinstance(node, ast.FunctionDef)):
            assert hasattr(getattr(jogaudit, kind.name), member), (kind.name, member)
    assert jogaudit.__doc__ and (pathlib.Path(jogaudit.__file__).parent / "py.typed").exists()
    print(f"{seen} signatures agree; version {jogaudit.__version__}")


def document(path):
    failed, tried = doctest.testfile(path, module_relative=False)
    assert failed == 0 and tried > 20, (failed, tried)
    print(f"{tried} examples of {os.path.basename(path)} run")


{"rows": rows, "uses": uses, "stubs": stubs, "document": document}[sys.argv[1]](*sys.argv[2:])
