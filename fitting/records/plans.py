"""The plans that were kept, as `plans.json` in the season folder holds them.

    [{"schema": 1, "season": "spring", "made_from": "2031-07-06", "start": …, "days": 14,
      "threshold_percent": null, "rest": […], "logged": [{"date", "type"}, …],
      "sessions": [{"date", "type", "fixed", "chance", "asked"}, …]}, …]

A list in the order in which plans were kept, only ever added to. A plan holds from its first
day on until a later one begins: what an earlier plan said of those days is then replaced.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from typing import Annotated, Final, Literal, NamedTuple

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from slackwater.model.errors import SeasonError

SCHEMA: Final = 1

Chance = Annotated[float, Field(ge=0, le=1)]


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class LoggedSession(_Strict):
    """A session that the log already held when the plan was made."""

    date: dt.date
    type: str = Field(min_length=1)


class Session(LoggedSession):
    """One session of a plan.

    Attributes:
        fixed: whether the day was given.
        chance: the chance to be recovered on that morning, as promised.
        asked: the chance asked for.
    """

    fixed: bool
    chance: Chance
    asked: Chance


class KeptPlan(_Strict):
    """One plan.

    Attributes:
        schema_: version of this record, written as `schema`.
        season: the season's name.
        made_from: morning of the last reading that the plan was made from.
        start: its first day.
        days: how many days it has.
        threshold_percent: the dip under which a morning counted as recovered, where it was fixed.
        rest: dates and weekdays asked to be without a session.
        logged: sessions from that morning on that the plan took as given.
        sessions: in order of time.
    """

    schema_: Literal[1] = Field(SCHEMA, alias="schema")
    season: str
    made_from: dt.date
    start: dt.date
    days: int = Field(ge=1)
    threshold_percent: float | None = None
    rest: list[str]
    logged: list[LoggedSession]
    sessions: list[Session] = Field(min_length=1)


class Holding(NamedTuple):
    """The planned sessions that hold, in order of date.

    Attributes:
        sessions: the sessions.
        plans: the plan that each is of.
        replaced: how many others a later plan replaced.
    """

    sessions: list[Session]
    plans: list[KeptPlan]
    replaced: int


_PLANS: Final = TypeAdapter(list[KeptPlan])


def read_plans(text: bytes, where: str) -> list[KeptPlan]:
    """Return the plans of a file's text.

    Args:
        text: what the file holds, JSON in UTF-8.
        where: its path, for messages.

    Raises:
        SeasonError: it is not a list of plans; says where.
    """
    mend = "mend it, or move the file away to begin a new one"
    try:
        return _PLANS.validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        place = ", ".join(_place(part) for part in first["loc"])
        at = f" at {place}" if place else ""
        raise SeasonError(f"{where}: not a list of plans{at} ({first['msg']}); {mend}.") from None


def with_plan(content: bytes | None, plan: KeptPlan, where: str) -> bytes:
    """Return the file's new content, with a plan added unless it is the latest already.

    Args:
        content: what the file holds, None where there is none yet.
        plan: the plan to add.
        where: the file's path, for messages.

    Raises:
        SeasonError: what the file holds is not a list of plans.
    """
    plans = [] if content is None else read_plans(content, where)
    kept = plans if plans and plans[-1] == plan else [*plans, plan]
    rows = [p.model_dump(mode="json", by_alias=True) for p in kept]
    return f"{json.dumps(rows, ensure_ascii=False, indent=1)}\n".encode()


def holding(plans: Sequence[KeptPlan]) -> Holding:
    """Return the planned sessions that no later plan has replaced."""
    held: list[tuple[Session, KeptPlan]] = []
    replaced = 0
    for plan in plans:
        before = [(s, p) for s, p in held if s.date < plan.start]
        replaced += len(held) - len(before)
        held = [*before, *((s, plan) for s in plan.sessions)]
    held.sort(key=lambda row: row[0].date)
    return Holding([s for s, _ in held], [p for _, p in held], replaced)


def _place(part: int | str) -> str:
    return f"plan {part + 1}" if isinstance(part, int) else repr(part)
