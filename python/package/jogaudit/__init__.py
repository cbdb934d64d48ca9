"""Checks run-walk recordings of a graded return to running against what was prescribed.

Dictionaries are the JSON documents of the command `jogaudit`; tables are taken by polars, pyarrow and pandas as they are, by the
Arrow C data interface. Units are in the names: `_s` seconds, `_m` metres, `_mps` metres a second, `_spm` steps a minute of both
feet, `_bpm` beats a minute, `_s_per_km` seconds a kilometre. What is not known is None or null, never 0.

It judges recordings, not bodies: pain, swelling, a limp or pain at night mean stop and see a health professional.
"""

from ._native import Batch, Table, __version__, agree, batch, bouts, check, review, simulate
from .errors import (
    ArgumentError,
    FileError,
    InternalError,
    JogauditError,
    PlanError,
    RecordingError,
    TableError,
)

__all__ = [
    "ArgumentError",
    "Batch",
    "FileError",
    "InternalError",
    "JogauditError",
    "PlanError",
    "RecordingError",
    "Table",
    "TableError",
    "__version__",
    "agree",
    "batch",
    "bouts",
    "check",
    "review",
    "simulate",
]
