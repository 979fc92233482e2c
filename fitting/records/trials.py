"""The record of a season's trials, `trials.json`: what was planned, looked at and found.

    {"schema": 1, "events": [{"event": "planned", …}, {"event": "looked", …}, …]}

Events are only ever added, in the order in which they happened. The file is meant to be
read by people, kept, and shown to whoever doubts a result.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from slackwater.fitting.records.lots import ASSIGNMENT, ASSIGNMENT_RECOVERED, RECOVERED, pairs
from slackwater.model.errors import NoAnswerError, QuestionError, Reason, SeasonError

SCHEMA: Final = 1

Order = Literal["with, without", "without, with"]
Share = Annotated[float, Field(ge=0, le=1)]


class _Kept(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Entry(_Kept):
    """What all events have.

    Attributes:
        trial: number of the trial in this season, from 1.
        written: when the event was written down.
        event: what happened, in a word.
    """

    trial: int = Field(ge=1)
    written: dt.datetime
    event: str


class Design(_Kept):
    """How a trial will be done and judged, fixed before any of its days.

    Attributes:
        measure: the recovery measure, as it will be logged in interventions.csv.
        start: the first day on which a session belongs to the trial.
        sessions_per_arm: how many sessions with a readable recovery end the trial.
        smallest_days: the smallest effect worth having, in days saved for a typical session.
        threshold_percent: the dip under which days to recover end, where it was fixed.
        wanted_chance: the chance of the verdict "faster" asked for, if that effect is true.
        expected_chance: the chance that the plan has of it.
        types: the trial's session types, longest recovery first, and each one's share.
        recovered_after: days from a session of each type until it is recovered from; days after
            that without another session are drawn one by one. Empty where none are.
        seed: the seed of the assignment.
        assignment: how the assignment follows from it.
        pairs: for each type, the order of each pair of its sessions; of recovered days likewise.
        verdict_rule: the rule by which the trial will be judged.
    """

    measure: str = Field(min_length=1)
    start: dt.date
    sessions_per_arm: int = Field(ge=2)
    smallest_days: float = Field(gt=0)
    threshold_percent: float | None = None
    wanted_chance: Share
    expected_chance: Share
    types: dict[str, Share] = Field(min_length=1)
    recovered_after: dict[str, int] = Field(default_factory=dict)
    seed: int = Field(ge=0)
    assignment: str
    pairs: dict[str, list[Order]]
    verdict_rule: str


class Planned(Design, Entry):
    """A trial was planned."""

    event: Literal["planned"] = "planned"


class _Seen(Entry):
    last_night: dt.date
    sessions_with: int
    sessions_without: int


class Looked(_Seen):
    """Interim results were looked at before the planned number was reached."""

    event: Literal["looked"] = "looked"


class Analysed(_Seen):
    """The trial reached its planned number and was judged.

    Attributes:
        last_night: the last reading that the analysis used.
        log_rate_ratio_mean: posterior mean of the log rate ratio, as assigned.
        log_rate_ratio_sd: its posterior standard deviation.
        prior_mean, prior_sd: what was believed of it beforehand.
        chance_worth_having: the chance that it saves at least the smallest effect.
        p_value: of the randomisation test, None where there was too little for one.
    """

    event: Literal["analysed"] = "analysed"
    verdict: str
    log_rate_ratio_mean: float
    log_rate_ratio_sd: float = Field(gt=0)
    prior_mean: float = 0.0  # as believed where a record does not say
    prior_sd: float = Field(default=0.3, gt=0)
    chance_worth_having: Share
    p_value: Share | None


class Stopped(Entry):
    """The trial was given up."""

    event: Literal["stopped"] = "stopped"
    because: str = Field(min_length=1)


AnyEvent = Annotated[Planned | Looked | Analysed | Stopped, Field(discriminator="event")]
_EVENTS: Final[TypeAdapter[list[AnyEvent]]] = TypeAdapter(list[AnyEvent])


@dataclass
class Trial:
    """One trial, as its events tell it."""

    plan: Planned
    looks: list[Looked] = field(default_factory=list)
    analysed: Analysed | None = None
    stopped: Stopped | None = None

    @property
    def open(self) -> bool:
        """Whether it is neither analysed nor stopped."""
        return self.analysed is None and self.stopped is None

    def status(self, last_night: dt.date) -> str:
        """Return planned, running, analysed or stopped, as of the last reading."""
        if self.stopped is not None:
            return "stopped"
        if self.analysed is not None:
            return "analysed"
        return "running" if last_night >= self.plan.start else "planned"


def read_trials(content: bytes, where: str) -> list[Trial]:
    """Return the trials of a record, in the order in which they were planned.

    Args:
        content: what the file holds.
        where: its path, for messages.

    Raises:
        SeasonError: the record cannot be read, or was changed by hand.
    """
    trials: dict[int, Trial] = {}
    for event in _events(content, where):
        if isinstance(event, Planned):
            _prove(where, event)
            trials[event.trial] = Trial(event)
            continue
        if event.trial not in trials:
            raise SeasonError(f"{where}: trial {event.trial} has events but no plan; {_RESTORE}.")
        trial = trials[event.trial]
        if isinstance(event, Looked):
            trial.looks.append(event)
        elif isinstance(event, Analysed):
            trial.analysed = event
        else:
            trial.stopped = event
    return list(trials.values())


def open_trial(trials: Sequence[Trial]) -> Trial:
    """Return the trial that is planned or running.

    Raises:
        NoAnswerError: there is none.
    """
    for trial in trials:
        if trial.open:
            return trial
    raise NoAnswerError(Reason("no open trial"))


def stop_trial(trials: Sequence[Trial], because: str, written: dt.datetime) -> Stopped:
    """Return the event by which the open trial is given up.

    Args:
        trials: the season's.
        because: why.
        written: when.

    Raises:
        QuestionError: no reason is named.
        NoAnswerError: no trial is open.
    """
    if not because.strip():
        raise QuestionError("Say why the trial is stopped; the record keeps it.")
    return Stopped(trial=open_trial(trials).plan.trial, written=written, because=because)


def this_moment() -> dt.datetime:
    """Return the time, to the second, as records keep it."""
    return dt.datetime.now(dt.UTC).replace(microsecond=0)


def latest_trial(trials: Sequence[Trial]) -> Trial:
    """Return the trial to analyse: the open one, else the last one planned.

    Raises:
        NoAnswerError: none was ever planned.
    """
    if not trials:
        raise NoAnswerError(Reason("no trial yet"))
    return next((t for t in trials if t.open), trials[-1])


def with_event(content: bytes | None, event: AnyEvent, where: str) -> bytes:
    """Return the record's new content, with an event added.

    Of results that several processes bring, the first is kept.

    Args:
        content: what the record holds, None where there is none yet.
        event: what happened.
        where: its path, for messages.

    Raises:
        SeasonError: the record that is there cannot be read.
        QuestionError: a plan's number was taken while it was made.
    """
    events = [] if content is None else _events(content, where)
    same = [each for each in events if each.trial == event.trial]
    if isinstance(event, Planned) and same:
        raise QuestionError(
            f"{where}: another trial was registered meanwhile. One measure at a time: finish it, "
            "or stop it."
        )
    if content and isinstance(event, Analysed) and any(isinstance(e, Analysed) for e in same):
        return content
    kept = {"schema": SCHEMA, "events": _EVENTS.dump_python([*events, event], mode="json")}
    return f"{json.dumps(kept, ensure_ascii=False, indent=1)}\n".encode()


_RESTORE: Final = "put the file back as it was written, from a copy"


def orders(seed: int, types: Sequence[str], count: int) -> dict[str, list[Order]]:
    """Return each type's pairs as the record writes them."""
    drawn = pairs(seed, types, count)
    return {
        label: ["with, without" if p[0] == "with" else "without, with" for p in each]
        for label, each in drawn.items()
    }


def _events(content: bytes, where: str) -> list[AnyEvent]:
    try:
        kept: Any = json.loads(content)
        if not isinstance(kept, dict) or kept.get("schema") != SCHEMA:
            raise SeasonError(f"{where}: this is no record of trials, schema {SCHEMA}; {_RESTORE}.")
        return _EVENTS.validate_python(kept.get("events"))
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"])
        raise SeasonError(f"{where}: events.{place}: {first['msg']}; {_RESTORE}.") from None
    except RecursionError:
        raise SeasonError(
            f"{where}: cannot be read as JSON (nested too deeply); {_RESTORE}."
        ) from None
    except ValueError as error:
        if isinstance(error, SeasonError):
            raise
        raise SeasonError(f"{where}: cannot be read as JSON ({error}); {_RESTORE}.") from None


def _prove(where: str, plan: Planned) -> None:
    """Refuse a record whose assignment does not follow from its seed."""
    count = max(len(each) for each in plan.pairs.values()) if plan.pairs else 0
    labels = [*plan.types, *([RECOVERED] if plan.recovered_after else [])]
    assignment = ASSIGNMENT_RECOVERED if plan.recovered_after else ASSIGNMENT
    derived = orders(plan.seed, labels, count)
    if plan.assignment != assignment or plan.pairs != derived:
        raise SeasonError(
            f"{where}: the assignment of trial {plan.trial} does not follow from its seed "
            f"{plan.seed}, so it was changed after it was drawn; {_RESTORE}."
        )
