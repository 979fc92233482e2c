"""Parts about differences: between types, and with against without a recovery measure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from slackwater.fitting.answers.elements import SAME_DAYS, Contrast, Elements
from slackwater.fitting.measures.compare import MeasureCompared
from slackwater.fitting.measures.verdicts import SAME_WITHIN
from slackwater.fitting.report import words
from slackwater.fitting.report.page.part import Part, Table, named
from slackwater.fitting.report.page.pictures_intervals import MOST_ROWS, Ground, Row, intervals
from slackwater.fitting.report.reasons import sentence, sentences
from slackwater.fitting.report.terminal import compare as compare_report
from slackwater.fitting.report.terminal import elements as elements_report
from slackwater.fitting.report.terminal import trial_results
from slackwater.fitting.text import plural
from slackwater.fitting.trials.ledger import TrialLedger
from slackwater.model import names as n

_DAYS: Final = Ground(
    "difference in typical days",
    0.0,
    (-SAME_DAYS, SAME_DAYS),
    ratio=False,
    less="the second takes longer",
    more="the first",
)
_RATE: Final = Ground(
    "recovery rate, with over without",
    1.0,
    (1 / SAME_WITHIN, SAME_WITHIN),
    ratio=True,
    less="slower with it",
    more="faster with it",
)


def elements(answer: Elements) -> Part:
    """Say what types differ in, by their attributes."""
    shown = [_contrast(row) for row in answer.contrasts]
    refused = [
        f"{pair.attribute}, {named(pair.a)} against {named(pair.b)}: no answer. "
        f"{sentence(pair.why)}"
        for pair in answer.refused
    ]
    return Part(
        "elements",
        "What types of training differ in",
        (elements_report.finding(answer),),
        Table(
            "The first minus the second, each the mean over its types",
            (
                "first \N{MINUS SIGN} second",
                "days",
                "first night's dip, points",
                "half-life, days",
            ),
            tuple(_differences(row) for row in answer.contrasts),
        ),
        intervals("elements", shown, _DAYS),
        _intervals_text("Difference in typical days", shown, "the half day around none is shaded"),
        (
            words.sentence(f"Shaded: {sentence(answer.same_rule)}"),
            f"Of {plural(len(shown), 'range')} of days, {answer.expected_misses:.1f} would be "
            "expected to miss; read a single one that lies off zero with that in mind.",
            *sentences(answer.entangled),
            *refused,
        ),
    )


def _contrast(row: Contrast) -> Row:
    return Row(_name(row), *row.difference_days, words.signed_range(row.difference_days, 1))


def _name(row: Contrast) -> str:
    return f"{row.attribute}: {row.a} \N{MINUS SIGN} {row.b}"


def _differences(row: Contrast) -> tuple[str, ...]:
    return (
        named(_name(row)),
        words.signed_range(row.difference_days, 1),
        words.signed_range(row.difference_dip_percent, 0),
        words.signed_range(row.difference_half_life_days, 1),
    )


def _intervals_text(what: str, rows: list[Row], region: str) -> str:
    told = "; ".join(f"{named(row.label)} {row.told}" for row in rows[:MOST_ROWS])
    return f"{what}, with ranges: {told}. In the picture, {region}."


def measures(answers: Mapping[str, MeasureCompared], refused: Mapping[str, str]) -> Part:
    """Say what each recovery measure does to the recovery rate.

    Args:
        answers: the answers "compare intervention", by measure.
        refused: why there is none, by measure.
    """
    rows = [
        Row(name, *a.rate_ratio, trial_results.ratio(a.rate_ratio)) for name, a in answers.items()
    ]
    rules = dict.fromkeys(a.verdict_rule for a in answers.values())
    return Part(
        "measures",
        "Recovery measures: with against without",
        (
            *(_found(name, answer) for name, answer in answers.items()),
            *(f"{named(name)}: no answer. {why}" for name, why in refused.items()),
        ),
        Table(
            "Recovery rate with the measure over without it",
            ("measure", "verdict", "rate ratio", "a reading by itself", "with", "without"),
            tuple(_measure(name, answer) for name, answer in answers.items()),
        )
        if answers
        else None,
        intervals("measures", rows, _RATE) if rows else None,
        _intervals_text("Recovery rate with over without", rows, _REGION) if rows else "",
        tuple(words.sentence(sentence(rule)) for rule in rules),
    )


_REGION: Final = f"rates less than {SAME_WITHIN:g} times apart are shaded"


def _found(name: str, answer: MeasureCompared) -> str:
    return f"{named(name)}: {' '.join(compare_report.finding(answer))}"


def _measure(name: str, answer: MeasureCompared) -> tuple[str, ...]:
    sides = [
        f"{plural(nights, 'night')}, {plural(sessions, 'session')}"
        for nights, sessions in (
            (answer.nights_with, answer.sessions_with),
            (answer.nights_without, answer.sessions_without),
        )
    ]
    lift = words.signed_range(answer.lift_percent, 0, " %")
    return (named(name), answer.verdict, trial_results.ratio(answer.rate_ratio), lift, *sides)


def measure(answer: MeasureCompared) -> Part:
    """Say how many days one measure saves, by session type.

    Args:
        answer: the answer "compare intervention".
    """
    name, saved = named(answer.intervention), answer.days_saved
    labels = [str(t) for t in saved[n.TYPE].values]
    most = max(labels, key=lambda t: abs(float(saved.sel({n.TYPE: t, "bound": "median"}))))
    return Part(
        f"measure-{_slug(answer.intervention)}",
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


def _slug(name: str) -> str:
    """Return what tells measures apart in an address, whatever their names are made of."""
    return name.encode().hex()[:40]


def tested(answer: TrialLedger) -> Part:
    """Say what all measures ever tested did, judged together.

    Args:
        answer: the answer "trial ledger".
    """
    shown = [
        Row(f"{row.measure}, {how}", *values, trial_results.ratio(values), kind)
        for row in answer.rows
        for kind, (how, values) in enumerate(
            (("alone", row.rate_ratio_alone), ("together", row.rate_ratio_together))
        )
        if np.isfinite(values).all()
    ]
    return Part(
        "tested",
        "Everything that was ever tested",
        (
            trial_results.found(answer),
            *(f"{named(row.measure)}: {trial_results.story(row)}" for row in answer.rows),
        ),
        Table(
            "Recovery rate with the measure over without it",
            ("measure", "status", "alone", "judged together", "chance of faster, together"),
            tuple(
                (
                    named(row.measure),
                    row.status,
                    trial_results.ratio(row.rate_ratio_alone),
                    trial_results.ratio(row.rate_ratio_together),
                    trial_results.chance(row.chance_faster_together) or "not yet",
                )
                for row in answer.rows
            ),
        ),
        intervals("tested", shown, _RATE) if shown else None,
        _intervals_text("Recovery rate with over without", shown, _REGION) if shown else "",
        (words.sentence(sentence(answer.shrinking)),),
    )
