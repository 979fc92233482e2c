"""Rest as the log tells it: how long it has lasted, and what would spoil it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from slackwater.model import names as n
from slackwater.model.dynamics import Floats, Ints
from slackwater.model.errors import Reason
from slackwater.model.season import THE_SENSOR, Season

MET: Final = "met"
NOT_MET: Final = "not met"
OPEN: Final = "open"


class Logged(NamedTuple):
    """A session or a stressor as it was logged.

    Attributes:
        label: session type or stressor.
        date: ISO.
    """

    label: str
    date: str


class Rest(NamedTuple):
    """The stretch of rest that leads up to a season's last reading.

    Attributes:
        after: the last sessions that a reading shows, all of one day; none where there is none.
        first: index of the first night of rest: the one after the night that first shows the
            session, or the season's first.
        nights: nights of rest, read or not.
        read: how many of them were read.
        missing: how many were not, from the season's first reading on.
        quiet: index of the night that first shows the last session or stressor, or 0.
        coming: sessions that no reading shows yet.
        reach: nights from the last reading until the last event logged is first felt; 0 if none.
        stressors: stressor days since the last session.
        measures: interventions in use since then.
    """

    after: list[Logged]
    first: int
    nights: int
    read: int
    missing: int
    quiet: int
    coming: list[Logged]
    reach: int
    stressors: list[Logged]
    measures: list[str]

    @property
    def warnings(self) -> list[Reason]:
        """What to mind where rest has not begun."""
        return [Reason("rest not begun", **_named_facts(self.coming))] if self.coming else []


@dataclass(frozen=True)
class RestSoFar:
    """How long rest has lasted.

    Attributes:
        after: the last session before it, if a reading shows one.
        nights: nights of rest, read or not.
        nights_read: how many of them were read.
    """

    after: Reason
    nights: int
    nights_read: int


@dataclass(frozen=True)
class Condition:
    """One thing that makes a washout valid, held against the log.

    Attributes:
        condition: what it is.
        state: `MET`, `NOT_MET`, or `OPEN` where the log cannot tell.
        detail: what the log says of it, or what to ask oneself.
    """

    condition: Reason
    state: str
    detail: Reason


def rest_of(season: Season) -> Rest:
    """Return the stretch of rest that leads up to a season's last reading."""
    data, last = season.data, len(season.nights) - 1
    sessions, stressors = season.session_nights(), season.stressor_nights()
    done = np.flatnonzero((sessions >= 0) & (sessions <= last))
    shown = int(sessions[done].max(initial=-1))
    felt = np.concatenate([sessions, stressors])
    named = _named(data[n.SESSION_TYPE].values, data[n.SESSION_DATE].values)
    weighed = _named(data[n.STRESSOR_LABEL].values, data[n.STRESSOR_DATE].values)
    used = [bool(acts.any()) for acts in season.applied()[:, shown + 1 :]]
    return Rest(
        after=[named[i] for i in done[sessions[done] == shown]],
        first=shown + 1,
        nights=last - shown,
        read=int(season.read[shown + 1 :].sum()),
        missing=int((~season.read[max(shown + 1, int(np.argmax(season.read))) :]).sum()),
        quiet=int(felt[(felt >= 0) & (felt <= last)].max(initial=0)),
        coming=[named[i] for i in np.flatnonzero(sessions > last)],
        reach=max(0, int(felt.max(initial=0)) - last),
        stressors=[weighed[i] for i in np.flatnonzero(stressors > shown)],
        measures=[name for name, acts in zip(season.interventions, used, strict=True) if acts],
    )


def rest_so_far(rest: Rest) -> RestSoFar:
    """Return what an answer tells of a stretch of rest."""
    return RestSoFar(Reason("rest after", **_named_facts(rest.after)), rest.nights, rest.read)


def rise(readings: Floats, sensors: Ints) -> Floats:
    """Return how far the last three readings' mean lies above that of the three before.

    Args:
        readings: ln RMSSD of the mornings of rest, NaN where not read, shape (H,).
        sensors: the sensor of each.

    Returns:
        One number a morning, ln; NaN where it was not read, or where its six readings are not
        there or not by one sensor.
    """
    out = np.full(len(readings), np.nan)
    read = np.flatnonzero(np.isfinite(readings))
    for end in range(6, len(read) + 1):
        six = read[end - 6 : end]
        if len(set(sensors[six])) == 1:
            out[six[-1]] = readings[six[3:]].mean() - readings[six[:3]].mean()
    return out


def conditions(season: Season, rest: Rest) -> tuple[Condition, ...]:
    """Return what makes a washout valid, against the log."""
    unread = Reason("nights not read", count=rest.missing)
    measured = Reason("logged", names=rest.measures)
    trained, weighed = (
        Reason("logged, with dates", **_named_facts(logged))
        for logged in (rest.coming, rest.stressors)
    )
    return (
        _condition(Reason("no training"), Reason("none logged"), trained if rest.coming else None),
        _condition(
            Reason("every night read"), Reason("none missing"), unread if rest.missing else None
        ),
        _condition(
            Reason("no recovery measure"),
            Reason("none logged"),
            measured if rest.measures else None,
        ),
        _same_sensor(season, rest),
        _condition(
            Reason("nothing else that weighs"),
            Reason("no stressor logged"),
            weighed if rest.stressors else None,
            OPEN,
        ),
        _condition(Reason("slept as usual"), Reason("asked about sleep"), None, OPEN),
        _condition(Reason("fed as usual"), Reason("asked about food"), None, OPEN),
    )


def _condition(what: Reason, fine: Reason, spoilt: Reason | None, state: str = MET) -> Condition:
    """Return a condition that the log shows to be spoilt, or else its state."""
    return Condition(what, NOT_MET if spoilt else state, spoilt or fine)


def _same_sensor(season: Season, rest: Rest) -> Condition:
    resting = season.data[n.NIGHT_SENSOR].values[rest.first :]
    sensors = [season.sensors[int(s)] for s in dict.fromkeys(resting)]
    what = Reason("the same sensor")
    if "".join(sensors) in ("", THE_SENSOR):
        return Condition(what, OPEN, Reason("no sensor named"))
    return Condition(what, MET if len(sensors) == 1 else NOT_MET, Reason("logged", names=sensors))


def _named(labels: NDArray[np.str_], dates: NDArray[np.datetime64]) -> list[Logged]:
    return [Logged(str(label), str(day)[:10]) for label, day in zip(labels, dates, strict=True)]


def _named_facts(logged: Sequence[Logged]) -> dict[str, list[str]]:
    """Return what was logged, and when, as a reason has it."""
    return {"labels": [x.label for x in logged], "dates": [x.date for x in logged]}
