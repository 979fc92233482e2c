"""Parts about residuals: whether the model describes the season, and where not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from slackwater.fitting.describing.held import AfterSession, OnWeekday
from slackwater.fitting.describing.residuals import Residuals
from slackwater.fitting.report import residual_words, words
from slackwater.fitting.report.described import verdict
from slackwater.fitting.report.page import pictures_season
from slackwater.fitting.report.page.part import Part, Table, named
from slackwater.fitting.report.page.pictures_season import Off
from slackwater.fitting.report.reasons import sentence
from slackwater.fitting.report.reasons.residuals import morning
from slackwater.model import names as n
from slackwater.model.names import WEEKDAYS
from slackwater.model.season import DAY

Row = tuple[str, str, OnWeekday | AfterSession]  # its name, the same in short, what was found


def described(answer: Residuals) -> Part:
    """Say whether the model describes the season, beside each night's residual and the next's.

    Args:
        answer: the answer "residuals".
    """
    rows = residual_words.others(answer)
    dates, off = answer.nights[n.NIGHT].values, answer.nights["residual_percent"].values
    first = np.flatnonzero(np.diff(dates) == DAY)
    lag_1 = rows[0]
    return Part(
        "described",
        "Does the model describe this season?",
        tuple(verdict(answer.found)),
        Table("What residuals are like", ("what", "found", "by chance"), tuple(rows)),
        pictures_season.night_pairs(off[first], off[first + 1]),
        f"{len(first)} pairs of nights, the residual of each over that of the night before. "
        f"Autocorrelation {lag_1[1]}, by chance {lag_1[2]}; residuals lie from "
        f"{words.signed(off.min(), 0)} to {words.signed(off.max(), 0)} %.",
        (
            words.sentence(sentence(answer.rule)),
            "By chance: of 20 seasons that the model describes, 1 has anything outside such a "
            "range, in this part and in the next ones together.",
        ),
    )


def by_weekday(answer: Residuals) -> Part:
    """Show residuals by weekday.

    Args:
        answer: the answer "residuals".
    """
    rows = [(on.weekday, _short_day(on.weekday), on) for on in answer.by_weekday]
    return _means("by-weekday", "Residuals by weekday", "morning", rows)


def after_sessions(answer: Residuals) -> Part:
    """Show residuals by nights since a session, and in the table by its type.

    Args:
        answer: the answer "residuals".
    """
    rows = [
        (residual_words.after(at), _short_morning(at), at) for at in answer.by_nights_since_session
    ]
    by_type = [(residual_words.after(at), "", at) for at in answer.by_type]
    title = "Residuals by nights since a session"
    return _means("after-sessions", title, "after a session", rows, by_type)


def _means(id: str, title: str, first: str, rows: Sequence[Row], more: Sequence[Row] = ()) -> Part:
    """Return the part about means of residuals.

    Args:
        id: its anchor.
        title: its title.
        first: what its rows are called by.
        rows: the ones that are drawn.
        more: the ones that only the table has.
    """
    lines = [
        (named(name), str(found.readings), *residual_words.percent(found))
        for name, _, found in (*rows, *more)
    ]
    told = "; ".join(
        f"{name} {residual_words.percent(found)[0]} %, by chance {residual_words.percent(found)[1]}"
        for name, _, found in rows
    )
    return Part(
        id,
        title,
        (_furthest(rows),),
        Table(title, (first, "read", "residual, %", "by chance, %"), tuple(lines)),
        pictures_season.residual_means(id, [Off(s, f.value, f.by_chance) for _, s, f in rows]),
        f"Mean residual in percent, with its range, over what chance makes: {told}.",
    )


def _furthest(rows: Sequence[Row]) -> str:
    """Say which kind of readings lies furthest off for its range by chance."""
    name, _, found = max(rows, key=lambda row: abs(row[2].z))
    value, by_chance = residual_words.percent(found)
    outside = "more than chance makes" if found.departs else "within what chance makes"
    return f"Furthest off: {name}, by {value} %, which is {outside} ({by_chance})."


def _short_day(weekday: str) -> str:
    return weekday[:3] if weekday in WEEKDAYS else "Sat,\nSun"


def _short_morning(at: AfterSession) -> str:
    return morning(at.first_night).split()[0] + ("" if at.last_night else "+")
