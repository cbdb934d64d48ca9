"""Checks a list of recordings on Apache Spark: one row a recording, written as a folder of Parquet parts.

    spark-submit --master MASTER spark_batch.py --paths LIST --plan PLAN [--stage NAME] --jogaudit PROGRAM --out FOLDER

LIST has one path a line; every worker must see the recordings under these paths. The program and the plan are sent along.
Each partition is one process `jogaudit batch --files-from - --out - --jobs 1`. What cannot be read is a row with an
`error_code`, as on one machine; a process that fails, or gives too few rows, fails its task, and Spark tries it again.
"""

import argparse
import io
import itertools
import os
import subprocess
import sys
import tempfile

import pandas as pd
import pyarrow as pa
import pyarrow.json
import pyarrow.parquet
from pyspark import SparkFiles
from pyspark.sql import Observation, SparkSession, functions
from pyspark.sql.pandas.types import from_arrow_schema

# Rows that a worker holds at a time: about 1 MiB.
BLOCK = 512
# Paths of a partition unless --partitions says otherwise: some minutes of work, so that a lost task costs little.
PATHS_A_PARTITION = 5000
# Whole numbers and flags stay what they are where a value is missing.
NULLABLE = {pa.int64(): pd.Int64Dtype(), pa.bool_(): pd.BooleanDtype()}.get


def command(program, plan, stage, source, out):
    stage = ["--stage", stage] if stage else []
    return [program, "batch", "--files-from", source, "--plan", plan, *stage, "--jobs", "1", "--out", out]


def schema_of(program, plan, stage):
    """The table's schema, from the Parquet file that the program writes of no recordings."""
    with tempfile.TemporaryDirectory() as folder:
        out = os.path.join(folder, "empty.parquet")
        done = subprocess.run(command(program, plan, stage, os.devnull, out), stderr=subprocess.PIPE)
        if done.returncode != 0:
            sys.exit(done.stderr.decode(errors="replace"))
        fields = pyarrow.parquet.read_schema(out)
    is_text = lambda kind: pa.types.is_string_view(kind) or pa.types.is_large_string(kind)
    return pa.schema([(field.name, pa.string() if is_text(field.type) else field.type) for field in fields])


def blocks(lines):
    while block := list(itertools.islice(lines, BLOCK)):
        yield b"".join(block)


def worker(program, plan, stage, schema):
    """Gives the function that turns a partition's paths into its rows."""
    options = pyarrow.json.ParseOptions(explicit_schema=schema, unexpected_field_behavior="error")

    def rows_of(frames):
        with tempfile.TemporaryFile() as paths, tempfile.TemporaryFile() as messages:
            fed = given = 0
            for frame in frames:
                paths.writelines(os.fsencode(path) + b"\n" for path in frame["path"])
                fed += len(frame)
            if fed == 0:
                return
            paths.seek(0)
            started = command(SparkFiles.get(program), SparkFiles.get(plan), stage, "-", "-")
            process = subprocess.Popen(started, stdin=paths, stdout=subprocess.PIPE, stderr=messages)
            try:
                for block in blocks(process.stdout):
                    table = pyarrow.json.read_json(io.BytesIO(block), parse_options=options)
                    # A file of several activities has a row for each.
                    given += sum(number in (None, 1) for number in table["activity"].to_pylist())
                    yield table.select(schema.names).to_pandas(types_mapper=NULLABLE)
                code = process.wait()
            finally:
                process.kill()  # nothing once it has ended; else the task was stopped
                process.wait()
            if code != 0 or given != fed:
                messages.seek(0)
                said = messages.read()[-2000:].decode(errors="replace")
                raise RuntimeError(f"jogaudit ended with {code} after {given} rows of {fed} paths:\n{said}")

    return rows_of


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--paths", required=True, help="list of recordings, one path a line")
    parser.add_argument("--plan", required=True, help="prescription (TOML)")
    parser.add_argument("--stage", help="stage of the plan; its only one if left out")
    parser.add_argument("--jogaudit", required=True, help="the program, built for the workers' system")
    parser.add_argument("--out", required=True, help="folder to write; must not be there yet")
    parser.add_argument("--partitions", type=int, help=f"tasks [default: one for {PATHS_A_PARTITION} paths]")
    args = parser.parse_args()

    schema = schema_of(os.path.abspath(args.jogaudit), args.plan, args.stage)
    spark = (
        SparkSession.builder.appName("jogaudit batch")
        .config("spark.sql.session.timeZone", "UTC")
        .config("spark.sql.parquet.outputTimestampType", "TIMESTAMP_MICROS")
        .getOrCreate()
    )
    for file in (args.jogaudit, args.plan):
        spark.sparkContext.addFile(os.path.abspath(file))

    # Each path once, as on one machine.
    lines = spark.read.text(args.paths, lineSep="\n")
    paths = lines.select(functions.regexp_replace("value", "\r+$", "").alias("path")).where("path != ''").distinct()
    count = paths.count()
    partitions = args.partitions or -(-count // PATHS_A_PARTITION) or 1
    rows_of = worker(os.path.basename(args.jogaudit), os.path.basename(args.plan), args.stage, schema)
    seen = Observation()
    rows = (
        paths.repartition(partitions, "path")
        .mapInPandas(rows_of, from_arrow_schema(schema))
        .observe(
            seen,
            functions.count("*").alias("rows"),
            functions.count(functions.expr("CASE WHEN activity IS NULL OR activity = 1 THEN 1 END")).alias("files"),
            functions.count("error_code").alias("failed"),
        )
    )
    rows.write.parquet(args.out)
    if seen.get["files"] != count:
        sys.exit(f"error: rows of {seen.get['files']} files of {count} paths in `{args.out}`")
    print(f"{seen.get['rows']} recordings, each a row in `{args.out}`; {seen.get['failed']} without a result (see error_code).")
    spark.stop()


if __name__ == "__main__":
    main()
