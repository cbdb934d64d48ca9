"""Checks recordings in any store that Spark reads: one row a recording, written as partitioned Parquet.

    spark-submit --master MASTER spark_files.py --recordings URL... --plan PLAN [--stage NAME] [--partition-by COLUMN] --out URL

Spark's `binaryFile` source reads the recordings, the wheel of jogaudit checks them in `mapInArrow`: no list, no process, no text between
them. The workers need the wheel, `pandas` and `pyarrow`; the plan is sent along. What cannot be read is a row with an `error_code`.
"""

import argparse
import os
import re
import sys
from urllib.parse import unquote

import jogaudit
import pyarrow as pa
from pyspark import SparkFiles
from pyspark.sql import Observation, SparkSession, functions
from pyspark.sql.pandas.types import from_arrow_schema

# Larger recordings are not read, as on one machine: a row says so.
MOST_BYTES = 256 << 20
# What a worker is given at a time: recordings, and bytes beyond which no further recording is added.
BLOCK_RECORDINGS = 64
BLOCK_BYTES = 32 << 20
# Recordings of a partition unless --partition-mib says otherwise: less than a minute of work, so that a lost task costs little.
PARTITION_MIB = 4096
# What a recording counts for besides its bytes when partitions are made, so that small ones do not pile up in one.
COUNTED_BYTES = 256 << 10


def schema_of(plan, stage):
    """The table's schema, from the table of no recordings."""
    schema = pa.table(jogaudit.batch([], plan=plan, stage=stage)).schema
    return pa.schema([(field.name, field.type) for field in schema])


def worker(plan, stage):
    """Gives the function that turns a partition's recordings into its rows."""

    def rows_of(blocks):
        for block in blocks:
            checked = jogaudit.batch(block, plan=SparkFiles.get(plan), stage=stage, jobs=1)
            yield from pa.table(checked).replace_schema_metadata().to_batches()

    return rows_of


def recordings(spark, urls):
    """How many files there are below, and path and content of each; of what is too long, why there is no content."""
    files = spark.read.format("binaryFile").option("recursiveFileLookup", "true").load(urls)
    nothing = lambda kind: functions.lit(None).cast(kind)
    is_long = functions.col("length") > MOST_BYTES
    short = files.where(~is_long).select("path", "content", nothing("string").alias("error_code"))
    long = files.where(is_long).select("path", nothing("binary").alias("content"), functions.lit("file_too_large").alias("error_code"))
    # Spark lists files without a byte, but reads none of them.
    listed = {re.sub("^file:/+", "file:/", unquote(url)) for url in files.inputFiles()}
    names = spark.createDataFrame([(path,) for path in listed], "path string")
    empty = names.join(files.select("path"), "path", "left_anti")
    empty = empty.select("path", functions.lit("").cast("binary").alias("content"), nothing("string").alias("error_code"))
    return len(listed), short.union(long).union(empty)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--recordings", required=True, nargs="+", help="folders or files, with the store's name: file:, hdfs:, s3a:, …")
    parser.add_argument("--plan", required=True, help="prescription (TOML)")
    parser.add_argument("--stage", help="stage of the plan; its only one if left out")
    parser.add_argument("--out", required=True, help="folder to write; must not be there yet")
    parser.add_argument("--partition-by", nargs="*", default=[], metavar="COLUMN", help="columns that become folders of the output")
    parser.add_argument("--partition-mib", type=int, default=PARTITION_MIB, help="recordings of a task, MiB [default: %(default)s]")
    args = parser.parse_args()

    try:
        schema = schema_of(args.plan, args.stage)
    except jogaudit.JogauditError as error:
        sys.exit(f"error: {error}")
    spark = (
        SparkSession.builder.appName("jogaudit batch")
        .config("spark.sql.session.timeZone", "UTC")
        .config("spark.sql.parquet.outputTimestampType", "TIMESTAMP_MICROS")
        .config("spark.sql.execution.arrow.maxRecordsPerBatch", BLOCK_RECORDINGS)
        .config("spark.sql.execution.arrow.maxBytesPerBatch", BLOCK_BYTES)
        .config("spark.sql.files.maxPartitionBytes", f"{args.partition_mib}m")
        .config("spark.sql.files.openCostInBytes", COUNTED_BYTES)
        .config("spark.sql.files.ignoreMissingFiles", "false")
        .getOrCreate()
    )
    spark.sparkContext.addFile(os.path.abspath(args.plan))

    count, contents = recordings(spark, args.recordings)
    seen = Observation()
    rows = (
        contents.mapInArrow(worker(os.path.basename(args.plan), args.stage), from_arrow_schema(schema))
        .observe(
            seen,
            # A file of several activities is several rows, numbered from 1; one without a result has no number.
            functions.count(functions.expr("CASE WHEN activity IS NULL OR activity = 1 THEN 1 END")).alias("files"),
            functions.count("*").alias("rows"),
            functions.count("error_code").alias("failed"),
        )
    )
    rows.write.partitionBy(*args.partition_by).parquet(args.out)
    if seen.get["files"] != count:
        sys.exit(f"error: rows of {seen.get['files']} files of {count} in `{args.out}`")
    print(f"{seen.get['rows']} recordings, each a row in `{args.out}`; {seen.get['failed']} without a result (see error_code).")
    spark.stop()


if __name__ == "__main__":
    main()
