"""What is kept of a squad's athletes, in Parquet: a row for each athlete and type, or measure.

Parquet holds such tables in one file, which is written whole or not at all as all our files are,
and which any program for tables opens; rows are read a group at a time, so that thousands of
athletes never stand in memory together.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from io import BytesIO
from typing import Any, Final, NamedTuple, TypeVar, get_type_hints

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from slackwater.fitting.answers.intervals import Interval, check_level
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.model.dynamics import Floats
from slackwater.model.errors import NoAnswerError, Reason

POPULATION: Final = "population.json"
TYPES: Final = "squad-types.parquet"
MEASURES: Final = "squad-measures.parquet"
GRID: Final = np.linspace(0, 1, 401)  # the shares whose quantiles are kept
_ROWS: Final = 500  # read and written at once


class TypeRow(NamedTuple):
    """One athlete's recovery from one type.

    Attributes:
        athlete: the athlete's folder.
        key: of what the folder held.
        last_night: the morning of the last reading fitted.
        type: by the squad's name.
        values: the attribute values that it has.
        sessions: how many the readings can show.
        days: days to recover as one of the group, their quantiles at `GRID`.
        alone_days: the same from the athlete's own fit; empty where that gives no answer.
        own_share: how much of what the group leaves open the athlete's own readings settle.
        pareto_k: how far the athlete's draws had to be weighed for the group.
        again: whether that is too far.
    """

    athlete: str
    key: str
    last_night: str
    type: str
    values: list[str]
    sessions: int
    days: list[float]
    alone_days: list[float]
    own_share: float
    pareto_k: float
    again: bool


class MeasureRow(NamedTuple):
    """One athlete's use of one recovery measure.

    Attributes:
        athlete: the athlete's folder.
        key: of what the folder held.
        last_night: the morning of the last reading fitted.
        measure: its name.
        nights_with: nights on which it acted.
        nights_without: the others.
        sessions_with: sessions on whose second night it acted.
        sessions_without: the others.
        log_ratio: log of the recovery rate with over without it, as one of the group: quantiles.
        alone_log_ratio: the same from the athlete's own fit.
        own_share: as for types.
    """

    athlete: str
    key: str
    last_night: str
    measure: str
    nights_with: int
    nights_without: int
    sessions_with: int
    sessions_without: int
    log_ratio: list[float]
    alone_log_ratio: list[float]
    own_share: float


Row = TypeVar("Row", TypeRow, MeasureRow)
_KINDS: Final = {
    str: pa.string(), int: pa.int32(), float: pa.float64(), bool: pa.bool_(),
    list[str]: pa.list_(pa.string()), list[float]: pa.list_(pa.float64()),
}  # fmt: skip


def kept_draws(draws: Floats) -> list[float]:
    """Return the quantiles that are kept of draws."""
    return [float(q) for q in np.quantile(draws, GRID)]


def interval_kept(quantiles: Iterable[float], level: float) -> Interval:
    """Return the equal-tailed interval and the median of what was kept."""
    check_level(level)
    shares = ((1 - level) / 2, 0.5, (1 + level) / 2)
    return Interval(*(float(q) for q in np.interp(shares, GRID, np.asarray(quantiles))))


def chance_above(quantiles: Iterable[float], draws: Floats) -> float:
    """Return the chance that what was kept lies above what draws say, both drawn independently."""
    ordered = np.sort(draws)
    middles = np.interp((GRID[1:] + GRID[:-1]) / 2, GRID, np.asarray(quantiles))
    under = np.searchsorted(ordered, middles, "left") + np.searchsorted(ordered, middles, "right")
    return float(under.mean() / 2 / len(ordered))


def file_of(kind: type[Row], rows: Iterable[Row]) -> bytes:
    """Return the file that holds rows.

    Args:
        kind: of the rows.
        rows: one after another; no more than some hundred are held at once.
    """
    schema = pa.schema([(name, _KINDS[of]) for name, of in get_type_hints(kind).items()])
    content = BytesIO()
    with pq.ParquetWriter(content, schema, compression="zstd") as writer:
        for some in _by(rows, _ROWS):
            writer.write_table(pa.Table.from_pylist([r._asdict() for r in some], schema=schema))
    return content.getvalue()


def read_rows(squad: SquadFolder, kind: type[Row]) -> Iterator[Row]:
    """Yield a squad's rows, no more than some hundred of them in memory at once.

    Raises:
        NoAnswerError: the squad was not fitted, or its file is damaged.
    """
    path = squad.path / (TYPES if kind is TypeRow else MEASURES)
    try:
        with pq.ParquetFile(path) as file:
            for some in file.iter_batches(_ROWS, columns=[*get_type_hints(kind)]):
                yield from (kind(**row) for row in some.to_pylist())
    except FileNotFoundError:
        raise NoAnswerError(Reason("squad not fitted")) from None
    except (OSError, pa.ArrowException, KeyError, TypeError) as error:
        raise NoAnswerError(
            Reason("squad's file damaged", file=path.name, why=str(error))
        ) from None


def _by(rows: Iterable[Row], count: int) -> Iterator[list[Row]]:
    some: list[Any] = []
    for row in rows:
        some.append(row)
        if len(some) == count:
            yield some
            some = []
    if some:
        yield some
