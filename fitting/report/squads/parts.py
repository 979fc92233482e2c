"""The parts of a squad's report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from slackwater.fitting.report import words
from slackwater.fitting.report.page.part import Part, Table, named
from slackwater.fitting.report.page.pictures_intervals import Ground, Row, intervals
from slackwater.fitting.report.reasons import sentence, sentences
from slackwater.fitting.report.squads import compare as compared
from slackwater.fitting.report.squads import recovery as recovered
from slackwater.fitting.report.squads import today as told
from slackwater.fitting.report.squads.unanswered import left_out as unanswered
from slackwater.fitting.squads.answer import Unanswered
from slackwater.fitting.squads.compare import SquadCompared
from slackwater.fitting.squads.recovery import (
    AthleteRecovery,
    SquadRecovery,
    TypeOfAthlete,
    TypeOfGroup,
)
from slackwater.fitting.squads.today import AthleteToday, SquadToday

_ATHLETE, _GROUP = 0, 1
_DAYS: Final = ("athlete", "sessions", "days", "alone, days", "own part", "takes longer")


def morning(answer: SquadToday) -> Part:
    """Say who is at baseline, who is not, who was not read."""
    caption = "Each athlete's morning, and from when training may come again"
    return Part(
        "this-morning",
        "This morning",
        tuple(told.said(answer)),
        Table(caption, told.HEAD, tuple(map(_named, told.rows(answer)))),
    )


def group(answer: SquadRecovery) -> Part:
    """Say what the group takes to recover, and who differs."""
    head = ("session type", "athletes", "a typical one, days", "athletes differ by", "one more")
    rows = tuple(
        (
            named(each.type),
            str(each.athletes),
            words.tight(each.typical_days),
            words.tight(each.spread_days),
            words.tight(each.another_days),
        )
        for each in answer.group
    )
    minds = tuple(sentences(answer.about.warnings))
    lines = (*recovered.said(answer), *recovered.of_one_athlete(answer))
    notes = (
        "Days from a typical session. Athletes differ by about so many days, as a standard "
        "deviation. One more is an athlete of whom nothing is known yet.",
    )
    return Part("group", "", lines, Table("The group", head, rows), notes=notes, minds=minds)


def of_group(answer: SquadRecovery, typical: TypeOfGroup) -> Part:
    """Show each athlete's days for one type against the group's."""
    mine = [
        (each.athlete, row)
        for each in answer.athletes
        for row in each.types
        if row.type == typical.type
    ]
    number = [each.type for each in answer.group].index(typical.type)
    rows = [
        _row("the group", typical.typical_days, _GROUP),
        *(_row(named(name), row.typical_days) for name, row in mine),
    ]
    shown = tuple(map(_named, recovered.rows(answer.athletes, typical.type)))
    return Part(
        f"type-{number}",
        named(typical.type),
        (),
        Table(f"{named(typical.type)}: days from a typical session", _DAYS, shown),
        intervals(f"type-{number}", rows, _ground(typical)),
        " ".join(f"{row.label}: {row.told} days." for row in rows),
    )


def measure(answer: SquadCompared) -> Part:
    """Say what is known of a measure across the squad."""
    facts = tuple(f"{name}: {value}." for name, value in compared.facts(answer))
    return Part(
        "measure-" + "".join(c if c.isalnum() else "-" for c in answer.intervention),
        named(answer.intervention),
        tuple(compared.said(answer)),
        Table(
            "Sessions with and without it, and the recovery rate with over without",
            compared.HEAD,
            tuple(map(_named, compared.rows(answer))),
        ),
        notes=(*map(words.capital, facts), words.sentence(sentence(answer.verdict_rule))),
    )


def athletes_morning(each: AthleteToday, answer: SquadToday) -> Part:
    """Say where one athlete stands, and from when training may come again."""
    return Part("", "", tuple(told.of_athlete(each, answer)), minds=tuple(sentences(each.mind)))


def athletes_days(each: AthleteRecovery, typical: Mapping[str, TypeOfGroup], key: str) -> Part:
    """Show one athlete's days by type, beside the group's."""
    rows: list[Row] = []
    for row in each.types:
        rows.append(_row(named(row.type), row.typical_days))
        if row.type in typical:
            rows.append(_row("the group", typical[row.type].typical_days, _GROUP))
    head = ("session type", *_DAYS[1:])
    shown = tuple((named(row.type), *recovered.cells(row)) for row in each.types)
    ground = Ground("days", 1.0, None, ratio=True, less="sooner", more="later")
    return Part(
        "",
        "",
        tuple(map(_own, each.types)),
        Table("Days from a typical session", head, shown),
        intervals(key, rows, ground) if rows else None,
        " ".join(f"{row.label}: {row.told} days." for row in rows),
        minds=tuple(sentences(each.mind)),
    )


def left_out(each: Unanswered) -> Part:
    """Say why there is no answer for an athlete."""
    return Part("", "", tuple(unanswered([each])))


def _own(row: TypeOfAthlete) -> str:
    share = f"{100 * row.own_share:.0f} %"
    return (
        f"{named(row.type)}: {words.days_range(row.typical_days)} days; {share} of what the group "
        "leaves open is settled by the athlete's own readings."
    )


def _ground(typical: TypeOfGroup) -> Ground:
    low, middle, high = typical.typical_days
    return Ground("days", middle, (low, high), ratio=True, less="sooner", more="later")


def _row(label: str, days: words.Bounds, kind: int = _ATHLETE) -> Row:
    low, middle, high = words.triple(days)
    return Row(label, low, middle, high, words.tight(days), kind)


def _named(cells: Sequence[str]) -> tuple[str, ...]:
    first, *others = cells
    return (named(first), *others)
