from collections.abc import Iterable, Sequence
from datetime import date
from os import PathLike
from typing import Any, Literal, Protocol, TypeAlias, overload

from typing_extensions import Buffer

Path: TypeAlias = str | PathLike[str]
File: TypeAlias = Path | Buffer

class ArrowTable(Protocol):
    """Any table with the Arrow C data interface: of polars, pyarrow, pandas, or ours."""

    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object: ...

__version__: str

class Table:
    @property
    def column_names(self) -> list[str]: ...
    def __len__(self) -> int: ...
    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object: ...

class Batch:
    @property
    def recordings(self) -> Table: ...
    @property
    def bouts(self) -> Table | None: ...
    @property
    def reps(self) -> Table | None: ...
    @property
    def failed(self) -> int: ...
    @property
    def notices(self) -> list[tuple[str, str]]: ...
    def __len__(self) -> int: ...
    def __arrow_c_stream__(self, requested_schema: object | None = None) -> object: ...

@overload
def bouts(recording: File, *, activity: int | None = None, as_table: Literal[False] = False) -> dict[str, Any]: ...
@overload
def bouts(recording: File, *, activity: int | None = None, as_table: Literal[True]) -> Table: ...
def check(recording: File, plan: File, stage: str | None = None, *, activity: int | None = None) -> dict[str, Any]: ...
def review(case: Path, *, as_of: date | str | None = None) -> dict[str, Any]: ...
def batch(
    recordings: Path | Iterable[Path] | ArrowTable,
    *,
    plan: Path | None = None,
    stage: str | None = None,
    roster: Path | None = None,
    jobs: int | None = None,
    bouts: bool = False,
    reps: bool = False,
) -> Batch: ...
def simulate(
    plan: File,
    stage: str | None = None,
    *,
    seed: int | None = None,
    runner_seed: int | None = None,
    format: Literal["fit", "gpx", "tcx"] | None = None,
    start: str | None = None,
    realism: Literal["ideal", "realistic"] | None = None,
    profile: Literal["steady", "overlapping", "indistinct"] | None = None,
    in_range: Literal["least", "inside", "most"] | None = None,
    gps: Literal["clean", "typical", "bad", "coarse"] | None = None,
    sampling: Literal["1s", "smart", "slow", "drawn"] | None = None,
    laps: Literal["whole", "steps", "km"] | None = None,
    hills: bool = False,
    cadence: bool = True,
    treadmill: bool = False,
    faults: Sequence[str] | None = None,
) -> tuple[bytes, dict[str, Any]]: ...
def agree(
    reference: Path | dict[str, Any] | ArrowTable,
    other: Path | dict[str, Any] | ArrowTable,
    *,
    key: Sequence[str] | None = None,
    columns: Sequence[str] | None = None,
) -> dict[str, Any]: ...
