"""Two ways to notice what nobody logged, side by side on the same nights.

    python -m tests.studies.watches [--seasons 60]

The watch of `slackwater.model.unexplained` against a filter in which every night may bring a
sudden fall that heals: a Gaussian mixture over falls and far nights, kept to its likeliest parts
(Harrison & Stevens 1976, J. R. Stat. Soc. B 38:205-247; from memory). Both know how ordinary
nights are. The filter's alarm is set to be wrong as often as the watch where nothing happens, so
that what differs is how soon each tells a fall, and how each bears heavier tails.
"""

from __future__ import annotations

import argparse
import sys
from typing import Final

import numpy as np
from numpy.typing import NDArray

from slackwater.model.levels import Floats
from slackwater.model.priors import Priors
from slackwater.model.unexplained import Watched, watch

SD, LINGERING, PERSISTENCE, DRIFT, TAIL = 0.12, 0.25, 0.5, 0.008, 0.5
TWO_YEARS: Final = 730
BEFORE: Final = 120  # nights before a fall
LASTS: Final = 14
PERCENTS: Final = (15, 25, 40)
PARTS: Final = 60  # of the mixture
FALLS: Final = 1 / 300  # chance a night
FALL: Final = (-0.3, 0.15)  # mean and SD of a fall, ln
KEPT: Final = 0.5 ** (1 / 5)  # of a fall after a night: half-life 5 days
FAR: Final = (0.06, 6.0)  # chance of a far night, and by how much its variance is larger
APART: Final = 7  # nights without an alarm between two that count


def main() -> None:
    """Run both and print what each tells."""
    parser = argparse.ArgumentParser(description="Hold two ways to watch against one another.")
    parser.add_argument("--seasons", type=int, default=60, help="seasons of each kind")
    count = parser.parse_args().seasons
    quiet = [levels(seed, TWO_YEARS) for seed in range(count)]
    heavy = [levels(1000 + seed, TWO_YEARS, tail=2 * TAIL) for seed in range(count)]
    fallen = {
        p: [levels(2000 + s, BEFORE + LASTS, percent=p) for s in range(count)] for p in PERCENTS
    }
    vain = np.array([len(watch(_watched(y), np.zeros(len(y)), Priors()).stretches) for y in quiet])
    chances = [chance_of_fall(y) for y in quiet]
    limit = matched([*chances], float(vain.mean()))
    sys.stdout.write(
        f"{count} seasons of each; noise {SD}, {LINGERING} of it lingering, drift {DRIFT}; an "
        f"alarm of the mixture at a chance of {limit:.3f}\n"
    )
    tails = [len(watch(_watched(y), np.zeros(len(y)), Priors()).stretches) for y in heavy]
    as_well = [alarms(chance_of_fall(y), limit) for y in heavy]
    sys.stdout.write(
        f"wrong in two years: watch {vain.mean():.2f}, mixture "
        f"{np.mean([alarms(c, limit) for c in chances]):.2f}; tails twice as heavy: watch "
        f"{np.mean(tails):.2f}, mixture {np.mean(as_well):.2f}\n"
    )
    for percent, seasons in fallen.items():
        soon = {
            "watch": [_watch_tells(y) for y in seasons],
            "mixture": [_first(chance_of_fall(y)[BEFORE:] > limit) for y in seasons],
        }
        for name, nights in soon.items():
            told = np.array(nights)
            sys.stdout.write(
                f"{percent} % lower: {name} within 3 {np.mean(told <= 3):.2f}, within 5 "
                f"{np.mean(told <= 5):.2f}, within 10 {np.mean(told <= 10):.2f}\n"
            )


def levels(seed: int, nights: int, *, tail: float = TAIL, percent: int = 0) -> Floats:
    """Draw readings without dips, ln; the last `LASTS` are lower where a percentage is given."""
    rng = np.random.default_rng([31, seed])
    baseline = 4.0 + np.cumsum(DRIFT * rng.standard_normal(nights))
    fresh = rng.standard_normal(nights)
    transient = np.empty(nights)
    transient[0] = fresh[0]
    for night in range(1, nights):
        rest = np.sqrt(1 - PERSISTENCE**2) * fresh[night]
        transient[night] = PERSISTENCE * transient[night - 1] + rest
    scale = np.exp(tail / 2 * rng.standard_normal(nights))
    noise = np.sqrt(1 - LINGERING) * scale * rng.standard_normal(nights)
    y = baseline + SD * (np.sqrt(LINGERING) * transient + noise)
    if percent:
        y[-LASTS:] += np.log(1 - percent / 100)
    return np.asarray(y)


def _watched(y: Floats) -> Watched:
    return Watched(
        y,
        noise_variance=(1 - LINGERING) * SD**2 * float(np.exp(TAIL**2 / 2)),
        transient_variance=LINGERING * SD**2,
        persistence=PERSISTENCE,
    )


def _watch_tells(y: Floats) -> float:
    """Return on which night of the fall the watch tells it, counted from 1; infinity: never."""
    for nights in range(1, LASTS + 1):
        known = y[: BEFORE + nights]
        found = watch(_watched(known), np.zeros(len(known)), Priors()).stretches
        if found and found[-1][1] is None:
            return nights
    return np.inf


def _first(told: NDArray[np.bool_]) -> float:
    return float(np.argmax(told)) + 1 if told.any() else np.inf


def alarms(chance: Floats, limit: float) -> int:
    """Count the stretches of alarm, parted by `APART` nights without."""
    on = np.flatnonzero(chance > limit)
    return int((np.diff(on) > APART).sum()) + bool(len(on))


def matched(chances: list[Floats], wanted: float) -> float:
    """Return the limit at which the alarms are as many as wanted, on average."""
    limits = 1 / (1 + np.exp(-np.linspace(-6.0, 9.0, 150)))
    counts = [np.mean([alarms(c, limit) for c in chances]) for limit in limits]
    return float(limits[np.argmin(np.abs(np.array(counts) - wanted))])


def chance_of_fall(y: Floats) -> Floats:
    """Return for each night the chance that a fall weighs by 0.1 or more, from readings so far.

    States: baseline, transient, fall; each night every part of the mixture goes on in four ways:
    a fall or none, a far night or none.
    """
    noise = (1 - LINGERING) * SD**2
    kept = np.array([1.0, PERSISTENCE, KEPT])
    moved = np.diag([DRIFT**2, LINGERING * SD**2 * (1 - PERSISTENCE**2), 0.0])
    mean, covariance = np.array([[y[0], 0.0, 0.0]]), np.diag([SD**2, LINGERING * SD**2, 0.0])[None]
    log_weight = np.zeros(1)
    out = np.zeros(len(y))
    for night in range(1, len(y)):
        mean, covariance = mean * kept, covariance * np.outer(kept, kept) + moved
        falls = covariance.copy()
        falls[:, 2, 2] += FALL[1] ** 2
        mean = np.concatenate([mean, mean + np.array([0.0, 0.0, FALL[0]])])
        covariance = np.concatenate([covariance, falls])
        log_weight = np.concatenate([log_weight + np.log(1 - FALLS), log_weight + np.log(FALLS)])
        parts = []
        for share, variance in ((1 - FAR[0], noise), (FAR[0], FAR[1] * noise)):
            towards = covariance.sum(axis=2)
            f = towards.sum(axis=1) + variance
            error = y[night] - mean.sum(axis=1)
            gain = towards / f[:, None]
            parts.append(
                (
                    log_weight + np.log(share) - 0.5 * (np.log(f) + error**2 / f),
                    mean + gain * error[:, None],
                    covariance - gain[:, :, None] * towards[:, None, :],
                )
            )
        log_weight, mean, covariance = (np.concatenate(each) for each in zip(*parts, strict=True))
        best = np.argsort(log_weight)[-PARTS:]
        log_weight, mean, covariance = log_weight[best], mean[best], covariance[best]
        log_weight -= np.logaddexp.reduce(log_weight)
        sd = np.sqrt(np.maximum(covariance[:, 2, 2], 1e-12))
        below = 1 / (1 + np.exp(np.clip(1.702 * (mean[:, 2] + 0.1) / sd, -50, 50)))
        out[night] = np.exp(log_weight) @ below
    return out


if __name__ == "__main__":
    main()
