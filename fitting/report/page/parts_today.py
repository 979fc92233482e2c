"""Parts about today and tomorrow: where one stands, what a reading is made of, the next one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import xarray as xr

from slackwater.fitting.answers.explain import NOISE, PART
from slackwater.fitting.report import words
from slackwater.fitting.report.page import pictures_time
from slackwater.fitting.report.page.part import Part, Table, named
from slackwater.fitting.report.page.pictures_intervals import Row, Scale, intervals
from slackwater.fitting.report.terminal import explain as told
from slackwater.fitting.state.past import SESSION, STRESSOR
from slackwater.model import names as n

_ROWS: Final = 4  # coming mornings in the table


def today(baseline: xr.Dataset, coming: xr.Dataset, course: xr.Dataset) -> Part:
    """Say where the athlete is this morning and when back.

    Args:
        baseline: the answer "baseline".
        coming: the answer "forecast", at rest.
        course: the answer "course".
    """
    facts = baseline.attrs
    chance = float(baseline["chance_at_baseline"])
    dip = words.percent_dip(baseline["dip_left_ln"])
    usual = words.milliseconds(baseline["baseline_rmssd_ms"])
    back = f"{words.whole_days(coming['days_to_baseline'])}, {resting(coming)}"
    mornings = coming[n.NIGHT].values[:_ROWS]
    rows = [_morning(coming.sel({n.NIGHT: morning})) for morning in mornings]
    return Part(
        "today",
        f"The morning of {words.day_name(facts['last_night'])}",
        (
            headline(baseline, coming),
            f"The dip that is left is {dip}, under a baseline of {usual}. The chance of being at "
            f"baseline this morning is {words.chance(chance)}.",
            *([] if chance >= facts["level"] else [f"Back at baseline in {back}."]),
        ),
        Table(
            _caption(coming, f"The coming mornings {resting(coming)}"),
            ("morning", "state", "chance of baseline"),
            tuple(rows),
        ),
        pictures_time.recent(course, coming),
        _recent_text(course, coming),
        (*_logged(coming), *_not_marked(course)),
    )


def headline(baseline: xr.Dataset, coming: xr.Dataset) -> str:
    """Return the one sentence that the page begins with."""
    level = baseline.attrs["level"]
    chance = float(baseline["chance_at_baseline"])
    if chance >= level and not coming.attrs["sessions"]:
        return "You are likely at baseline this morning."
    back = back_by(coming, level)
    rest = words.capital(resting(coming))
    when = f"likely by {words.day_name(back)}" if back else f"likely not before {_end(coming)}"
    if chance >= level:
        return f"You are likely at baseline this morning. {rest}, {when} again."
    if chance <= 1 - level:
        return f"You are likely not at baseline yet. {rest}, {when}."
    return f"You may be at baseline, or nearly. {rest}, {when}."


def resting(coming: xr.Dataset) -> str:
    """Say what the forecast without further sessions is about."""
    return "with what is logged" if coming.attrs["sessions"] else "if you rest"


def back_by(coming: xr.Dataset, level: float) -> str:
    """Return the first morning from which on the athlete is likely at baseline; "" for none."""
    found = ""
    for night, chance in zip(
        coming[n.NIGHT].values[::-1], coming["chance_at_baseline"].values[::-1], strict=True
    ):
        if chance < level:
            break
        found = str(night)[:10]
    return found


def _end(coming: xr.Dataset) -> str:
    return words.day_name(str(coming[n.NIGHT].values[-1])[:10])


def _caption(coming: xr.Dataset, told: str) -> str:
    return f"{told}, as foreseen on {words.day_name(coming.attrs['last_night'])}"


def _logged(coming: xr.Dataset) -> tuple[str, ...]:
    sessions = [named(session) for session in coming.attrs["sessions"]]
    if not sessions:
        return ()
    return (f"Already logged, and taken in: {', '.join(sessions)}.",)


def _not_marked(course: xr.Dataset) -> tuple[str, ...]:
    nights = course[n.NIGHT].values[-pictures_time.NIGHTS_SHOWN :]
    count = len(pictures_time.sessions_since(course, nights[0].astype("datetime64[D]")))
    if count <= pictures_time.MOST_LANES:
        return ()
    most = pictures_time.MOST_LANES
    return (f"Of {count} types trained in these weeks, the {most} most trained are marked.",)


def _morning(row: xr.Dataset) -> tuple[str, ...]:
    return (
        words.day_name(str(row[n.NIGHT].values)[:10]),
        words.milliseconds(row["state_ms"]),
        words.chance(float(row["chance_at_baseline"])),
    )


def _recent_text(course: xr.Dataset, coming: xr.Dataset) -> str:
    shown = course.isel({n.NIGHT: slice(-pictures_time.NIGHTS_SHOWN, None)})
    first, until = shown[n.NIGHT].values[[0, -1]].astype("datetime64[D]")
    last = shown.isel({n.NIGHT: -1})
    lanes = pictures_time.sessions_since(course, first)
    trained = [f"{named(t)} {words.times(len(days))}" for t, days in lanes.items()]
    chances = [
        f"{words.day_name(str(night)[:10])} {words.chance(float(chance))}"
        for night, chance in zip(
            coming[n.NIGHT].values, coming["chance_at_baseline"].values, strict=True
        )
    ]
    return (
        f"Readings from {words.day_name(str(first))} to {words.day_name(str(until))} as dots, "
        "with the state under them and baseline as lines with bands. On the last morning "
        f"the state is {words.milliseconds(last['state_ms'])} and baseline "
        f"{words.milliseconds(last['baseline_ms'])}. Trained in this time: "
        f"{', '.join(trained) or 'nothing'}. To the right, the state to come {resting(coming)}; "
        f"the chance of being at baseline: {', '.join(chances)}."
    )


def tomorrow(rest: xr.Dataset, training: Mapping[str, xr.Dataset]) -> Part:
    """Say what the next reading will be, at rest and after a session of each type.

    Args:
        rest: the answer "forecast".
        training: the same after a session on the day of the last reading, by type.
    """
    facts = rest.attrs
    day = words.day_name(str(rest[n.NIGHT].values[0])[:10])
    first = {label: answer.isel({n.NIGHT: 0}) for label, answer in training.items()}
    without = resting(rest)
    said = [f"{words.capital(without)}: {_likely_ms(rest.isel({n.NIGHT: 0})['rmssd_ms'])}."]
    told = {without: rest}
    too = " too" if facts["sessions"] else ""
    if first:
        lowest = min(first, key=lambda t: float(first[t]["rmssd_ms"].sel(bound="median")))
        said.append(
            f"After {named(lowest)} today{too}: {_likely_ms(first[lowest]['rmssd_ms'])}. Of your "
            "types it takes most off the next reading."
        )
        told[f"after {lowest} today{too}"] = training[lowest]
    rows = [
        _ahead("nothing more" if too else "rest", rest),
        *(_ahead(named(t), answer) for t, answer in training.items()),
    ]
    return Part(
        "tomorrow",
        f"The next reading, on {day}",
        tuple(said),
        Table(
            f"If today, {words.day_name(facts['last_night'])}, is for",
            ("today", "next reading", "at baseline then", "days until back"),
            tuple(rows),
        ),
        pictures_time.fan(told),
        " ".join(_fan_text(what, answer) for what, answer in told.items()),
        ("The next reading holds the night's own noise, so its range is wider than that of the "
         "state.", *_logged(rest)),
    )  # fmt: skip


def _likely_ms(values: xr.DataArray) -> str:
    low, median, high = words.triple(values)
    return f"{median:.0f} ms, likely {low:.0f} to {high:.0f}"


def _ahead(label: str, answer: xr.Dataset) -> tuple[str, ...]:
    row = answer.isel({n.NIGHT: 0})
    return (
        label,
        words.milliseconds(row["rmssd_ms"]),
        words.chance(float(row["chance_at_baseline"])),
        words.days_range(answer["days_to_baseline"]),
    )


def _fan_text(what: str, answer: xr.Dataset) -> str:
    each = [
        f"{words.day_name(str(night.values)[:10])} "
        f"{words.milliseconds(answer['rmssd_ms'].sel({n.NIGHT: night}))}"
        for night in answer[n.NIGHT]
    ]
    return f"Coming readings {named(what)}: {', '.join(each)}."


def explain(explained: xr.Dataset) -> Part:
    """Say what the last reading is made of.

    Args:
        explained: the answer "explain".
    """
    every = [explained.isel({PART: i}) for i in range(explained.sizes[PART])]
    parts = [part for part in every if told.counts(part)]
    nothing = ", ".join(part_name(part) for part in every if not told.counts(part))
    return Part(
        "explain",
        f"What the reading of {words.day_name(explained.attrs['night'])} is made of",
        tuple(told.sentences(explained)),
        Table(
            "What lies between baseline and the reading",
            ("part", "in ms", "in percent"),
            (
                ("baseline", words.milliseconds(explained["baseline_rmssd_ms"]), ""),
                *(
                    (part_name(p), _milliseconds(p), words.percent_change(p["share_ln"]))
                    for p in parts
                ),
            ),
        ),
        intervals("explain", [_share(p) for p in parts], _SHARES),
        f"What each part adds to the reading: {_listed(parts)}.",
        (
            *([f"Come to nothing: {nothing}."] if nothing else []),
            *(words.sentence(explained.attrs[key]) for key in ("share_rule", "older_rule")),
        ),
    )


_SHARES: Final = Scale(
    "ms added to the reading", 0.0, None, ratio=False, less="lowers it", more="raises it"
)


def _listed(parts: list[xr.Dataset]) -> str:
    return "; ".join(f"{part_name(p)} {_milliseconds(p)}" for p in parts)


def part_name(part: xr.Dataset, short: bool = False) -> str:
    """Return what a part of a reading is called: a session with its date, or what it is."""
    kind, label, date = (str(part[f"part_{key}"].item()) for key in ("kind", "label", "date"))
    if date and kind in (SESSION, STRESSOR):
        return f"{named(label)}, {words.short_date(date) if short else words.day_name(date)}"
    return {NOISE: "noise of the night", "sensor": f"sensor {named(label)}"}.get(kind, named(label))


def _share(part: xr.Dataset) -> Row:
    noise = str(part["part_kind"].item()) == NOISE
    ends = words.triple(part["share_ms"])
    return Row(part_name(part, short=True), *ends, _milliseconds(part), int(noise))


def _milliseconds(part: xr.Dataset) -> str:
    return words.signed_range(part["share_ms"], 0, " ms")
