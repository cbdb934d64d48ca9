"""Validates the datapackage.json of a run of `jogaudit batch` with frictionless, then damages a table and expects that it says so.

Argument: the run's folder. Every table must be in the package with the columns, units and meanings of its Parquet twin.
"""

import json
import pathlib
import sys

import frictionless
import pyarrow.parquet


def main():
    folder = pathlib.Path(sys.argv[1])
    path = folder / "datapackage.json"
    document = json.loads(path.read_text())
    told = {resource["path"]: resource["schema"]["fields"] for resource in document["resources"]}
    for resource in document["resources"]:
        if resource["format"] == "parquet":
            schema = pyarrow.parquet.read_schema(folder / resource["path"])
            known = [(f.name, (f.metadata or {}).get(b"unit", b"").decode(), f.metadata[b"about"].decode()) for f in schema]
            assert known == [(f["name"], f.get("unit", ""), f["description"]) for f in told[resource["path"]]]
    report = frictionless.validate(str(path))
    assert report.valid, report.flatten(["type", "message"])
    rows = {task.name: task.stats.get("rows") for task in report.tasks}
    print(f"frictionless {frictionless.__version__}: valid: {rows}")
    damaged = folder / document["resources"][0]["path"]
    damaged.write_bytes(damaged.read_bytes() + b"x")
    assert not frictionless.validate(str(path)).valid, "a damaged table is noticed"


main()
