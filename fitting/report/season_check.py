"""What a season folder was understood to hold, as text and as JSON."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any, Final

from slackwater.fitting.doubts.season import Found
from slackwater.fitting.intake import SeasonCheck
from slackwater.fitting.report.described import verdict
from slackwater.fitting.report.objects import SCHEMA, plain
from slackwater.fitting.report.reasons import sentence, sentences
from slackwater.fitting.report.reasons.doubts import told_of
from slackwater.fitting.report.terminal.spacing import no_longer_holds
from slackwater.fitting.text import plural
from slackwater.model import names as n
from slackwater.model.design import long_gaps
from slackwater.model.errors import Reason
from slackwater.model.season import Season

MOST_GAPS: Final = 3  # named

Departures = tuple[Reason, ...] | None


def check_as_text(
    check: SeasonCheck,
    doubts: Sequence[Found],
    departures: Departures,
    overtaken: Sequence[Reason] = (),
) -> str:
    """Return what was understood, noted and doubted; the problems are printed apart.

    Args:
        check: the folder, as it was read.
        doubts: rows that may be slips.
        departures: what of the fitted season the model does not describe; None if not known.
        overtaken: why the plan to come no longer holds; empty where it does.
    """
    lines = [" ".join(said)] if (said := no_longer_holds(overtaken)) else []
    if check.season is None:
        lines.append(f"Not read: {plural(len(check.problems), 'problem')} to mend first.")
    else:
        lines += [f"{check.season.name}: {line}" for line in _understood(check.season)]
    if departures is not None:
        lines += verdict(departures)
    lines += [f"Note: {note}." for note in check.notes]
    lines += [f"Note: {said}" for said in _gaps(check.season)]
    lines += [f"Note: {sentence(found.reason)}" for found in doubts]
    return "\n".join(lines)


def check_as_json(
    check: SeasonCheck,
    doubts: Sequence[Found],
    departures: Departures,
    step: dict[str, str],
    overtaken: Sequence[Reason] = (),
) -> str:
    """Return the same as one JSON object, with the next step."""
    season = check.season
    facts: dict[str, Any] = {
        "schema": SCHEMA,
        "season": season and season.name,
        "first_night": season and str(season.first_night),
        "last_night": season and str(season.last_night),
        "readings": season and int(season.read.sum()),
        "sessions_by_type": season and _sessions_by_type(season),
        "described": None if departures is None else not departures,
        "departures": departures and sentences(departures),
        "overtaken": sentences(overtaken),
        "warnings": [
            *map(str, check.notes),
            *_gaps(season),
            *(sentence(found.reason) for found in doubts),
        ],
        "doubts": [_doubt(found.reason) for found in doubts],
        "problems": [
            {name: fact for name, fact in asdict(problem).items() if name != "kind"}
            for problem in check.problems
        ],
        "next": step,
    }
    return json.dumps(facts, indent=2)


def _doubt(reason: Reason) -> dict[str, Any]:
    return {"code": reason.code, **plain(reason.facts), **told_of(reason)._asdict()}


def _gaps(season: Season | None) -> list[str]:
    """Return what is said of the latest gaps in which a session may be missing."""
    if season is None:
        return []
    seen = season.observed()
    told = long_gaps(seen).told(seen)
    more = [f"There are {len(told)} such gaps; the latest are named."] if told[MOST_GAPS:] else []
    return [*sentences(told[-MOST_GAPS:]), *more]


def _understood(season: Season) -> list[str]:
    nights, read = len(season.nights), int(season.read.sum())
    lines = [
        f"{plural(read, 'reading')} on {plural(nights, 'night')}, "
        f"{season.first_night} to {season.last_night}",
    ]
    if len(season.sensors) > 1:
        lines.append(f"sensors in order: {', '.join(season.sensors)}")
    lines += [
        f"{label}: {plural(count, 'session')}" for label, count in _sessions_by_type(season).items()
    ]
    for kind, labels in (("intervention", season.interventions), ("stressor", season.stressors)):
        if labels:
            lines.append(f"{plural(len(labels), kind)}: {', '.join(labels)}")
    return lines


def _sessions_by_type(season: Season) -> dict[str, int]:
    done = [str(t) for t in season.data[n.SESSION_TYPE].values]
    return {label: done.count(label) for label in season.types}
