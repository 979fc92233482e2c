"""What a night's reading is made of: baseline, dips, measures, sensor and noise."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from slackwater.fitting.answers.answer import Answer, about
from slackwater.fitting.answers.intervals import DEFAULT_LEVEL, Interval, interval
from slackwater.fitting.state.athlete import Athlete
from slackwater.fitting.state.past import SESSION, STRESSOR, UNLOGGED, Past, ending_in
from slackwater.model import names as n
from slackwater.model.dynamics import Floats
from slackwater.model.errors import QuestionError, Reason
from slackwater.model.paths import noise_variance
from slackwater.model.season import DAY, weekdays

SENSOR: Final = "sensor"
MEASURE: Final = "intervention"
WEEKDAY: Final = "weekday"
NOISE: Final = "noise"
UNEXPLAINED: Final = "unexplained"
OLDER: Final = {
    SESSION: "older sessions",
    STRESSOR: "older stressors",
    UNLOGGED: n.UNLOGGED,
}
NEGLIGIBLE: Final = 0.01  # ln, so 1 %
NEGLIGIBLE_CHANCE: Final = 0.9


@dataclass(frozen=True)
class ReadingPart:
    """One part of a reading.

    Attributes:
        kind: "session", "stressor", "start", "unlogged" (what may have been done in a gap of the
            log that is longer than usual), "sensor", "weekday" (what that day of the week adds
            by itself), "intervention" (what one adds to the reading of a night of its use by
            itself), "unexplained" (what passes over some nights and is
            not in the log) or "noise" (of this night alone).
        label: session type, stressor, sensor, day of the week, intervention, or what it is.
        date: the day it is logged under; None where there is none.
        share_ln: what it adds to the reading, ln; below 0 for what lowers it.
        share_ms: the same in ms.
        counts: whether it comes to anything: may reach 1 % of the reading, or is its noise.
        weighs: whether it lowers the reading, by all of its range and by 1 % or more in the middle,
            and is not its noise. A measure's own share may lie on either side.
    """

    kind: str
    label: str
    date: np.datetime64 | None
    share_ln: Interval
    share_ms: Interval
    counts: bool
    weighs: bool


@dataclass(frozen=True)
class Explanation(Answer):
    """What a night's reading is made of.

    Attributes:
        night: the morning that is explained.
        reading_rmssd_ms: its reading; NaN where it was not read.
        baseline_rmssd_ms: on the scale of the latest sensor fitted.
        expected_rmssd_ms: the reading without its noise.
        under_baseline_percent: how far the reading lies under baseline, or what was expected
            where there is no reading.
        noise_chance: how often a night's noise is at least as large, up or down; NaN where the
            night was not read.
        parts: in order of size, the noise last.
        most_of_it: whether the first part that weighs is most of what the reading lies under
            baseline.
        share_rule: how shares are shared out.
        older_rule: what is summed as older.
    """

    night: np.datetime64
    reading_rmssd_ms: float
    baseline_rmssd_ms: Interval
    expected_rmssd_ms: Interval
    under_baseline_percent: Interval
    noise_chance: float
    parts: tuple[ReadingPart, ...]
    most_of_it: bool
    share_rule: Reason = Reason("shares add up")
    older_rule: Reason = Reason(
        "older are summed", percent=100 * NEGLIGIBLE, chance=NEGLIGIBLE_CHANCE
    )

    @property
    def read(self) -> bool:
        """Whether the night was read; its last part is the noise then."""
        return math.isfinite(self.reading_rmssd_ms)


class Share(NamedTuple):
    """One part of a reading, draw by draw.

    Attributes:
        kind: as in `ReadingPart`.
        label: as there.
        date: as there.
        draws: what it adds to the reading, ln, shape (S,).
    """

    kind: str
    label: str
    date: np.datetime64 | None
    draws: Floats


def explain(
    athlete: Athlete,
    night: np.datetime64 | None = None,
    level: float = DEFAULT_LEVEL,
) -> Explanation:
    """Answer what a night's reading is made of.

    Baseline and dips are judged by all readings, those of later nights included.

    Args:
        athlete: the season and what was learnt of it.
        night: the date of the morning; that of the last reading if left out.
        level: credible mass of every interval.

    Raises:
        QuestionError: the night lies outside the readings.
    """
    now = athlete.now
    meant, past = about(now, level), ending_in(athlete.past, now)
    at = _index(past, now.night if night is None else night)
    shares = shares_of(past, at)
    baseline = past.level[:, at]
    expected = baseline + sum(share.draws for share in shares if share.kind != NOISE)
    reading = past.readings[at]
    read = bool(np.isfinite(reading))
    end = np.full(len(baseline), reading) if read else expected
    per_ln = logarithmic_mean(np.exp(baseline), np.exp(end))
    parts = tuple(_part(share, per_ln, level) for share in shares)
    under = interval(-100 * np.expm1(end - baseline), level)
    return Explanation(
        meant,
        night=past.season.nights[at],
        reading_rmssd_ms=float(np.exp(reading)),
        baseline_rmssd_ms=interval(np.exp(baseline), level),
        expected_rmssd_ms=interval(np.exp(expected), level),
        under_baseline_percent=under,
        noise_chance=_noise_chance(past, at, shares[-1].draws) if read else math.nan,
        parts=parts,
        most_of_it=_most_of_it(parts, under.median),
    )


def shares_of(past: Past, at: int) -> list[Share]:
    """Return all parts of a night but baseline, in order of size, the noise last.

    With baseline they add up to the reading in each draw, or to what was expected where there
    is none.
    """
    shares = _dips(past, at)
    sensor = past.season.sensors[int(past.season.data[n.NIGHT_SENSOR].values[at])]
    if past.sensor[:, at].any():
        shares.append(Share(SENSOR, sensor, None, past.sensor[:, at]))
    if past.rhythm[:, at].any():
        day = n.WEEKDAYS[weekdays(past.season.nights[[at]])[0]]
        shares.append(Share(WEEKDAY, day, None, past.rhythm[:, at]))
    used_on = past.season.nights[at] - DAY
    shares += [
        Share(MEASURE, name, used_on, lift[:, at])
        for name, lift in past.lifts.items()
        if lift[:, at].any()
    ]
    shares.append(
        Share(UNEXPLAINED, UNEXPLAINED, None, past.transient[:, at] + past.unexplained[:, at])
    )
    shares.sort(key=lambda share: -abs(float(np.median(share.draws))))
    reading = past.readings[at]
    if np.isfinite(reading):
        known = past.level[:, at] + sum(share.draws for share in shares)
        shares.append(Share(NOISE, NOISE, None, reading - known))
    return shares


def logarithmic_mean(a: Floats, b: Floats) -> Floats:
    """Return (b - a) / ln(b / a), and a where the two are equal; both above 0."""
    log_ratio = np.log(b / a)
    near = np.abs(log_ratio) < 1e-6  # where rounding is worse than the series' second term
    return np.where(near, (a + b) / 2, (b - a) / np.where(near, 1.0, log_ratio))


def _index(past: Past, night: np.datetime64) -> int:
    nights = past.season.nights
    if not nights[0] <= night <= nights[-1]:
        raise QuestionError(
            f"{night} lies outside the readings; give a night from {nights[0]} to {nights[-1]}. "
            "For nights to come, ask for a forecast."
        )
    return int(np.searchsorted(nights, night))


def _dips(past: Past, at: int) -> list[Share]:
    left = past.shown_on(at)
    small = (left < NEGLIGIBLE).mean(axis=0) >= NEGLIGIBLE_CHANCE
    shares: list[Share] = []
    older: dict[str, list[int]] = {}
    for event in np.flatnonzero(past.felt_on <= at):
        felt = past.events[event]
        if felt.kind in OLDER and (felt.kind == UNLOGGED or small[event]):
            older.setdefault(felt.kind, []).append(int(event))
        else:
            shares.append(Share(felt.kind, felt.label, felt.date, -left[:, event]))
    for kind, which in older.items():
        shares.append(Share(kind, OLDER[kind], None, -left[:, which].sum(axis=1)))
    return shares


def _part(share: Share, per_ln: Floats, level: float) -> ReadingPart:
    noise = share.kind == NOISE
    share_ln = interval(share.draws, level)
    return ReadingPart(
        kind=share.kind,
        label=share.label,
        date=share.date,
        share_ln=share_ln,
        share_ms=interval(share.draws * per_ln, level),
        counts=noise or max(abs(math.expm1(bound)) for bound in share_ln) >= NEGLIGIBLE,
        weighs=not noise and share_ln.high < 0 and math.expm1(share_ln.median) <= -NEGLIGIBLE,
    )


def _most_of_it(parts: tuple[ReadingPart, ...], under: float) -> bool:
    """Say whether what weighs most is at least half of the gap, and not undone by the noise."""
    weighing = [part for part in parts if part.weighs]
    if not weighing:
        return False
    first = -100 * math.expm1(weighing[0].share_ln.median)
    noise = sum(abs(100 * math.expm1(p.share_ln.median)) for p in parts if p.kind == NOISE)
    return noise <= under / 2 <= first <= under + 0.5  # percent; a rounding more than the gap


def _noise_chance(past: Past, at: int, noise: Floats) -> float:
    """Return the chance that a night's noise is at least as large, up or down.

    Over the draws, and over the night's own scale on Gauss-Hermite nodes.
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(15)
    sd = np.sqrt(noise_variance(past.draws, nodes[None, :], past.season.reading_ln_sd[at]))
    erfc = np.vectorize(math.erfc, otypes=[float])  # SciPy's takes longer to import than to ask
    chance = erfc(np.abs(noise)[:, None] / (sd * math.sqrt(2.0))) @ (weights / weights.sum())
    return float(chance.mean())
