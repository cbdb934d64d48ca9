"""Reads the Parquet tables of `jogaudit batch` with pyarrow and polars and holds them against docs/columns.md.

Arguments: docs/columns.md, a folder with t.parquet, b.parquet, r.parquet and the same tables as .ndjson.
"""

import json
import sys

import polars
import pyarrow
import pyarrow.parquet

ARROW = {
    "text": ("string", "large_string", "string_view"),
    "whole number": ("int64",),
    "number": ("double",),
    "true or false": ("bool",),
    "instant": ("timestamp[us, tz=UTC]",),
}
POLARS = {
    "text": polars.String,
    "whole number": polars.Int64,
    "number": polars.Float64,
    "true or false": polars.Boolean,
    "instant": polars.Datetime("us", "UTC"),
}


def documented(page):
    """Gives {option: (schema, [(column, unit, kind, about)])}."""
    tables, rows = {}, None
    for line in page.splitlines():
        if line.startswith("## `--"):
            option, rest = line[4:].split("`: ")
            rows = []
            tables[option] = (rest.split(",")[0], rows)
        elif line.startswith("## "):
            rows = None
        elif rows is not None and line.startswith("| `"):
            name, unit, kind, about = (cell.strip() for cell in line.strip("|").split(" | "))
            rows.append((name.strip("`"), unit, kind, about))
    return tables


def plain(value):
    return value.isoformat().replace("+00:00", "Z") if hasattr(value, "isoformat") else value


def main():
    page, folder = open(sys.argv[1]).read(), sys.argv[2]
    for option, name in (("--out", "t"), ("--bouts", "b"), ("--reps", "r")):
        schema, columns = documented(page)[option]
        path = f"{folder}/{name}.parquet"
        table = pyarrow.parquet.read_table(path)
        meta = {key.decode(): text.decode() for key, text in pyarrow.parquet.read_metadata(path).metadata.items()}
        assert meta["jogaudit.schema"] == schema, (meta["jogaudit.schema"], schema)
        told = [(c["name"], c["unit"], c["kind"], c["about"]) for c in json.loads(meta["jogaudit.columns"])]
        assert told == columns, [pair for pair in zip(told, columns) if pair[0] != pair[1]]
        assert table.schema.names == [column[0] for column in columns]
        # Units and meanings stand in the Arrow schema, too.
        assert json.loads(table.schema.metadata[b"jogaudit.columns"]) == json.loads(meta["jogaudit.columns"])
        shown = [{key.decode(): text.decode() for key, text in (field.metadata or {}).items()} for field in table.schema]
        assert [(known.get("unit", ""), known["about"]) for known in shown] == [(c[1], c[3]) for c in columns], shown
        for field, column in zip(table.schema, columns):
            assert str(field.type) in ARROW[column[2]], (field, column)
        frame = polars.read_parquet(path)
        assert dict(frame.schema) == {column[0]: POLARS[column[2]] for column in columns}, frame.schema
        rows = [json.loads(line) for line in open(f"{folder}/{name}.ndjson")]
        for read in (table.to_pylist(), frame.to_dicts()):
            assert [{key: plain(value) for key, value in row.items()} for row in read] == rows
        units = sum("unit" in known for known in shown)
        print(f"{option}: {len(rows)} rows, {len(columns)} columns, {units} with a unit, the same by pyarrow {pyarrow.__version__}, "
              f"polars {polars.__version__} and as NDJSON")


main()
