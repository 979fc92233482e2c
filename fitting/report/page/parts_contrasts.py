"""Parts about differences: between types, and with against without a recovery measure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import xarray as xr

from slackwater.fitting.answers.compare import SAME_WITHIN
from slackwater.fitting.answers.elements import CONTRAST, SAME_DAYS
from slackwater.fitting.report import words
from slackwater.fitting.report.page.part import Part, Table, named
from slackwater.fitting.report.page.pictures_intervals import MOST_ROWS, Row, Scale, intervals
from slackwater.fitting.report.terminal import elements as elements_report
from slackwater.fitting.report.terminal import trial_results
from slackwater.fitting.trials.ledger import ROW
from slackwater.model import names as n

_DAYS: Final = Scale(
    "difference in typical days",
    0.0,
    (-SAME_DAYS, SAME_DAYS),
    ratio=False,
    less="the second takes longer",
    more="the first",
)
_RATE: Final = Scale(
    "recovery rate, with over without",
    1.0,
    (1 / SAME_WITHIN, SAME_WITHIN),
    ratio=True,
    less="slower with it",
    more="faster with it",
)


def elements(answer: xr.Dataset) -> Part:
    """Say what types differ in, by their attributes.

    Args:
        answer: the answer "elements".
    """
    facts = answer.attrs
    rows = [answer.isel({CONTRAST: i}) for i in range(answer.sizes[CONTRAST])]
    shown = [_contrast(row) for row in rows]
    refused = [
        f"{r['attribute']}, {named(r['a'])} against {named(r['b'])}: no answer. {r['why']}"
        for r in facts["refused"]
    ]
    misses = float(answer["expected_misses"])
    return Part(
        "elements",
        "What types of training differ in",
        (elements_report.sentence(answer),),
        Table(
            "The first minus the second, each the mean over its types",
            (
                "first \N{MINUS SIGN} second",
                "days",
                "first night's dip, points",
                "half-life, days",
            ),
            tuple(_differences(row) for row in rows),
        ),
        intervals("elements", shown, _DAYS),
        _intervals_text("Difference in typical days", shown, "the half day around none is shaded"),
        (
            words.sentence(f"Shaded: {facts['same_rule']}"),
            f"Of {words.plural(len(rows), 'range')} of days, {misses:.1f} would be expected to "
            "miss; read a single one that lies off zero with that in mind.",
            *facts["entangled"],
            *refused,
        ),
    )


def _contrast(row: xr.Dataset) -> Row:
    values = row["difference_days"]
    return Row(_name(row), *words.triple(values), words.signed_range(values, 1))


def _name(row: xr.Dataset) -> str:
    return f"{row['attribute'].item()}: {row['a'].item()} \N{MINUS SIGN} {row['b'].item()}"


def _differences(row: xr.Dataset) -> tuple[str, ...]:
    return (
        named(_name(row)),
        words.signed_range(row["difference_days"], 1),
        words.signed_range(row["difference_dip_percent"], 0),
        words.signed_range(row["difference_half_life_days"], 1),
    )


def _intervals_text(what: str, rows: list[Row], region: str) -> str:
    told = "; ".join(f"{named(row.label)} {row.told}" for row in rows[:MOST_ROWS])
    return f"{what}, with ranges: {told}. In the picture, {region}."


def measures(answers: Mapping[str, xr.Dataset], refused: Mapping[str, str]) -> Part:
    """Say what each recovery measure does to the recovery rate.

    Args:
        answers: the answers "compare intervention", by measure.
        refused: why there is none, by measure.
    """
    rows = [
        Row(name, *words.triple(a["rate_ratio"]), trial_results.ratio(a["rate_ratio"]))
        for name, a in answers.items()
    ]
    rules = dict.fromkeys(a.attrs["verdict_rule"] for a in answers.values())
    return Part(
        "measures",
        "Recovery measures: with against without",
        (
            *(_verdict(name, answer) for name, answer in answers.items()),
            *(f"{named(name)}: no answer. {why}" for name, why in refused.items()),
        ),
        Table(
            "Recovery rate with the measure over without it",
            ("measure", "verdict", "rate ratio", "with", "without"),
            tuple(_measure(name, answer) for name, answer in answers.items()),
        )
        if answers
        else None,
        intervals("measures", rows, _RATE) if rows else None,
        _intervals_text("Recovery rate with over without", rows, _REGION) if rows else "",
        tuple(f"Verdict: {rule}." for rule in rules),
    )


_REGION: Final = f"rates less than {SAME_WITHIN:g} times apart are shaded"


def _verdict(name: str, answer: xr.Dataset) -> str:
    verdict = answer.attrs["verdict"]
    how = f"{verdict} with it" if verdict in ("faster", "slower") else verdict
    chance = words.chance(float(answer["chance_faster"]))
    return f"{named(name)}: {how}; the chance that recovery is faster with it is {chance}."


def _measure(name: str, answer: xr.Dataset) -> tuple[str, ...]:
    sides = [
        f"{words.plural(int(answer[f'nights_{side}']), 'night')}, "
        f"{words.plural(int(answer[f'sessions_{side}']), 'session')}"
        for side in ("with", "without")
    ]
    return (named(name), answer.attrs["verdict"], trial_results.ratio(answer["rate_ratio"]), *sides)


def measure(answer: xr.Dataset) -> Part:
    """Say how many days one measure saves, by session type.

    Args:
        answer: the answer "compare intervention".
    """
    name = named(answer.attrs["intervention"])
    saved = answer["days_saved"]
    labels = [str(t) for t in saved[n.TYPE].values]
    most = max(labels, key=lambda t: abs(float(saved.sel({n.TYPE: t, "bound": "median"}))))
    return Part(
        f"measure-{_slug(answer)}",
        f"Days that {name} saves",
        (
            f"It makes most difference for {named(most)}: "
            f"{words.signed_range(saved.sel({n.TYPE: most}), 1)} days saved.",
        ),
        Table(
            f"Days saved by {name}; below 0 means days lost",
            ("session type", "days saved"),
            tuple((named(t), words.signed_range(saved.sel({n.TYPE: t}), 1)) for t in labels),
        ),
    )


def _slug(answer: xr.Dataset) -> str:
    """Return what tells measures apart in an address, whatever their names are made of."""
    return str(answer.attrs["intervention"]).encode().hex()[:40]


def tested(answer: xr.Dataset) -> Part:
    """Say what all measures ever tested did, judged together.

    Args:
        answer: the answer "trial ledger".
    """
    told = answer.attrs["rows"]
    numbers = [answer.isel({ROW: i}) for i in range(answer.sizes[ROW])]
    shown = [
        Row(f"{row['measure']}, {how}", *words.triple(x[how]), trial_results.ratio(x[how]), kind)
        for row, x in zip(told, numbers, strict=True)
        for kind, how in enumerate(("alone", "together"))
        if np.isfinite(x[how]).all()
    ]
    return Part(
        "tested",
        "Everything that was ever tested",
        (trial_results.found(answer), *_stories(answer)),
        Table(
            "Recovery rate with the measure over without it",
            ("measure", "status", "alone", "judged together", "chance of faster, together"),
            tuple(
                (
                    named(row["measure"]),
                    row["status"],
                    trial_results.ratio(x["alone"]),
                    trial_results.ratio(x["together"]),
                    trial_results.chance(x["chance_faster_together"]) or "not yet",
                )
                for row, x in zip(told, numbers, strict=True)
            ),
        ),
        intervals("tested", shown, _RATE) if shown else None,
        _intervals_text("Recovery rate with over without", shown, _REGION) if shown else "",
        (words.sentence(answer.attrs["shrinking"]),),
    )


def _stories(answer: xr.Dataset) -> list[str]:
    return [f"{named(row['measure'])}: {trial_results.story(row)}" for row in answer.attrs["rows"]]
