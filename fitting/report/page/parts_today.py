"""Parts about today and tomorrow: where one stands, what a reading is made of, the next one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import xarray as xr

from slackwater.fitting.answers.course import Course
from slackwater.fitting.answers.explain import NOISE, SENSOR, WEEKDAY, Explanation, ReadingPart
from slackwater.fitting.answers.forecast import Forecast
from slackwater.fitting.journey.today import Today
from slackwater.fitting.report import today as morning_in_words
from slackwater.fitting.report import words
from slackwater.fitting.report.page import pictures_time
from slackwater.fitting.report.page.part import Part, Table, named
from slackwater.fitting.report.page.pictures_intervals import Ground, Row, intervals
from slackwater.fitting.report.reasons import sentence, sentences
from slackwater.fitting.report.terminal import explain as explain_in_words
from slackwater.fitting.text import times
from slackwater.model import names as n

_ROWS: Final = 4  # coming mornings in the table


def today(morning: Today, coming: Forecast, course: Course) -> Part:
    """Say what the morning means, and from when training may come again.

    Args:
        morning: the answer "today".
        coming: the answer "forecast", at rest.
        course: the answer "course".
    """
    return Part(
        "today",
        f"The morning of {words.day_name(str(morning.morning))}",
        (
            *words.unexplained(morning.unexplained),
            *morning_in_words.headline(morning),
            morning_in_words.reading(morning),
            *(" ".join(said) for said in (morning_in_words.plan(morning),) if said),
            *morning_in_words.trial(morning),
            *sentences(morning.missing),
        ),
        Table(
            "From when each may come again, and what is left of its own dip",
            ("session type", "last", "dip", "from"),
            tuple((named(label), *cells) for label, *cells in morning_in_words.rows(morning)),
            slim=True,
        )
        if morning.types
        else None,
        pictures_time.recent(course, coming),
        _recent_text(course, coming),
        (*_logged(coming), *_not_marked(course)),
    )


def coming_mornings(coming: Forecast) -> Part:
    """Say what the coming mornings are like without more training.

    Args:
        coming: the answer "forecast", at rest.
    """
    night = coming.about.last_night
    return Part(
        "coming",
        f"The coming mornings {resting(coming)}",
        (words.back(coming.back_by, night, resting(coming)),),
        Table(
            f"As foreseen on {words.day_name(str(night))}",
            ("morning", "state", "chance of baseline"),
            tuple(_morning(row) for row in _mornings(coming)[:_ROWS]),
        ),
    )


def resting(coming: Forecast) -> str:
    """Say what the forecast without further sessions is about."""
    return "with what is logged" if coming.sessions else "if you rest"


def _mornings(coming: Forecast) -> list[xr.Dataset]:
    """Return the coming mornings one by one."""
    return [coming.nights.sel({n.NIGHT: morning}) for morning in coming.nights[n.NIGHT].values]


def _name(morning: xr.Dataset) -> str:
    return words.day_name(str(morning[n.NIGHT].values)[:10])


def _logged(coming: Forecast) -> tuple[str, ...]:
    if not coming.sessions:
        return ()
    return (f"Already logged, and taken in: {', '.join(map(named, coming.sessions))}.",)


def _not_marked(course: Course) -> tuple[str, ...]:
    count, most = len(pictures_time.lanes_of(course)), pictures_time.MOST_LANES
    if count <= most:
        return ()
    return (f"Of {count} types trained in these weeks, the {most} most trained are marked.",)


def _morning(morning: xr.Dataset) -> tuple[str, ...]:
    chance = words.chance(float(morning["chance_at_baseline"]))
    return (_name(morning), words.milliseconds(morning["state_ms"]), chance)


def _recent_text(course: Course, coming: Forecast) -> str:
    shown = pictures_time.latest(course)
    first, last = (shown.isel({n.NIGHT: place}) for place in (0, -1))
    lanes = pictures_time.lanes_of(course)
    trained = [f"{named(t)} {times(len(days))}" for t, days in lanes.items()]
    chances = [
        f"{_name(morning)} {words.chance(float(morning['chance_at_baseline']))}"
        for morning in _mornings(coming)
    ]
    return (
        f"Readings from {_name(first)} to {_name(last)} as dots, "
        "with the state under them and baseline as lines with bands. On the last morning "
        f"the state is {words.milliseconds(last['state_ms'])} and baseline "
        f"{words.milliseconds(last['baseline_ms'])}. Trained in this time: "
        f"{', '.join(trained) or 'nothing'}. To the right, the state to come {resting(coming)}; "
        f"the chance of being at baseline: {', '.join(chances)}."
    )


def tomorrow(rest: Forecast, training: Mapping[str, Forecast]) -> Part:
    """Say what the next reading will be, at rest and after a session of each type.

    Args:
        rest: the answer "forecast".
        training: the same after a session on the day of the last reading, by type.
    """
    without = resting(rest)
    said = [f"{words.capital(without)}: {_likely_ms(rest)}."]
    told = {without: rest}
    too = " too" if rest.sessions else ""
    if training:
        lowest = min(
            training, key=lambda label: words.triple(_next_reading(training[label])).median
        )
        said.append(
            f"After {named(lowest)} today{too}: {_likely_ms(training[lowest])}. Of your types it "
            "takes most off the next reading."
        )
        told[f"after {lowest} today{too}"] = training[lowest]
    rows = [
        _ahead("nothing more" if too else "rest", rest),
        *(_ahead(named(t), answer) for t, answer in training.items()),
    ]
    return Part(
        "tomorrow",
        f"The next reading, on {_name(_mornings(rest)[0])}",
        tuple(said),
        Table(
            f"If today, {words.day_name(str(rest.about.last_night))}, is for",
            ("today", "next reading", "at baseline then", "days until back"),
            tuple(rows),
        ),
        pictures_time.fan(told),
        " ".join(_fan_text(what, answer) for what, answer in told.items()),
        ("The next reading holds the night's own noise, so its range is wider than that of the "
         "state.", *_logged(rest)),
    )  # fmt: skip


def _next_reading(answer: Forecast) -> xr.DataArray:
    return answer.nights["rmssd_ms"].isel({n.NIGHT: 0})


def _likely_ms(answer: Forecast) -> str:
    low, median, high = words.triple(_next_reading(answer))
    return f"{median:.0f} ms, likely {low:.0f} to {high:.0f}"


def _ahead(label: str, answer: Forecast) -> tuple[str, ...]:
    return (
        label,
        words.milliseconds(_next_reading(answer)),
        words.chance(float(answer.nights["chance_at_baseline"].isel({n.NIGHT: 0}))),
        words.days_range(answer.days_to_baseline),
    )


def _fan_text(what: str, answer: Forecast) -> str:
    each = [f"{_name(m)} {words.milliseconds(m['rmssd_ms'])}" for m in _mornings(answer)]
    return f"Coming readings {named(what)}: {', '.join(each)}."


def explain(explained: Explanation) -> Part:
    """Say what the last reading is made of.

    Args:
        explained: the answer "explain".
    """
    parts = [part for part in explained.parts if part.counts]
    nothing = ", ".join(part_name(part) for part in explained.parts if not part.counts)
    rules = (explained.share_rule, explained.older_rule)
    return Part(
        "explain",
        f"What the reading of {words.day_name(str(explained.night))} is made of",
        tuple(explain_in_words.sentences(explained)),
        Table(
            "What lies between baseline and the reading",
            ("part", "in ms", "in percent"),
            (
                ("baseline", words.milliseconds(explained.baseline_rmssd_ms), ""),
                *(
                    (part_name(p), _milliseconds(p), words.percent_change(p.share_ln))
                    for p in parts
                ),
            ),
        ),
        intervals("explain", [_share(p) for p in parts], _SHARES),
        f"What each part adds to the reading: {_each_share(parts)}.",
        (
            *([f"Come to nothing: {nothing}."] if nothing else []),
            *(words.sentence(sentence(rule)) for rule in rules),
        ),
    )


_SHARES: Final = Ground(
    "ms added to the reading", 0.0, None, ratio=False, less="lowers it", more="raises it"
)


def _each_share(parts: list[ReadingPart]) -> str:
    return "; ".join(f"{part_name(p)} {_milliseconds(p)}" for p in parts)


def part_name(part: ReadingPart, short: bool = False) -> str:
    """Return what a part of a reading is called: a session with its date, or what it is."""
    label = named(part.label)
    if part.date is not None:
        date = str(part.date)
        return f"{label}, {words.short_date(date) if short else words.day_name(date)}"
    names = {NOISE: "noise of the night", SENSOR: f"sensor {label}", WEEKDAY: f"{label}s"}
    return names.get(part.kind, label)


def _share(part: ReadingPart) -> Row:
    shown = _milliseconds(part)
    return Row(part_name(part, short=True), *part.share_ms, shown, int(part.kind == NOISE))


def _milliseconds(part: ReadingPart) -> str:
    return words.signed_range(part.share_ms, 0, " ms")
