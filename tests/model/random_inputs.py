"""Random inputs of the likelihood, and its value and gradient as plain numbers."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from hypothesis import strategies as st
from numpy.typing import NDArray

from slackwater.model.levels import Motion, State, Steps, start_state
from slackwater.model.likelihood import N_DATA, LikelihoodInputs, loglik_and_gradient

Floats = NDArray[np.float64]

PARAMETERS = LikelihoodInputs._fields[N_DATA:]


class Evaluated(NamedTuple):
    value: float
    gradient: dict[str, Floats]


def evaluate(inputs: LikelihoodInputs) -> Evaluated:
    value, *gradient = loglik_and_gradient(*inputs)
    return Evaluated(float(value), dict(zip(PARAMETERS, gradient, strict=True)))


def random_inputs(
    seed: int, nights: int, readings: int, groups: int = 3, events: int = 8
) -> LikelihoodInputs:
    """Draw inputs of these sizes: the first event is the start, the second is the last night's.

    Half of the speeds repeat the one before, since the likelihood then keeps its decay.
    """
    rng = np.random.default_rng(seed)
    event_nights = rng.integers(0, nights, events)
    event_nights[:2] = [0, nights - 1][:events]
    speed = rng.choice([1.0, 1.0, 1.5, 0.6], nights) * np.where(
        rng.random(nights) < 0.3, rng.uniform(0.5, 2.0, nights), 1.0
    )
    starts, lasts, levels = np.zeros((3, nights))
    if seed % 3:  # two stretches of what nobody logged, where there is room, and a new level
        for first in rng.integers(1, nights, 2) if nights > 1 else ():
            last = min(nights, first + rng.integers(1, 12))
            starts[first], lasts[first + 1 : last] = rng.uniform(0.05, 0.4) ** 2, 1.0
            starts[first + 1 : last] = 0.02**2
        levels[rng.integers(0, nights)] = 0.3**2
    return LikelihoodInputs(
        readings=rng.normal(4.0, 0.3, readings),
        reading_nights=np.sort(rng.choice(nights, readings, replace=False)),
        event_nights=event_nights,
        event_groups=rng.integers(0, max(groups, 1), events),
        new_level=levels,
        carried=lasts,
        jump=starts,
        event_dips=rng.uniform(0.02, 0.7, events),
        rates=rng.uniform(0.1, 1.5, groups),
        speed=speed,
        shift=rng.normal(0.0, 0.1, readings),
        noise_variance=rng.uniform(0.05, 0.4, readings) ** 2,
        drift_variance=np.asarray(rng.uniform(0.002, 0.05) ** 2),
        transient_variance=np.asarray(rng.uniform(0.02, 0.2) ** 2),
        persistence=np.asarray(rng.uniform(0.05, 0.9)),
        start_mean=np.asarray(rng.normal(3.9, 0.3)),
        start_variance=np.asarray(rng.uniform(0.1, 0.8) ** 2),
    )


def moving(inputs: LikelihoodInputs, draws: int = 1) -> tuple[Motion, Steps, State]:
    """Return what the filter in numpy takes for these inputs, the same for each draw."""

    def each(name: str) -> Floats:
        return np.full(draws, float(getattr(inputs, name)))

    motion = Motion(each("drift_variance"), each("transient_variance"), each("persistence"))
    steps = Steps(inputs.new_level, inputs.carried, inputs.jump)
    return motion, steps, start_state(each("start_mean"), each("start_variance"), motion, steps)


@st.composite
def likelihood_inputs(draw: st.DrawFn) -> LikelihoodInputs:
    nights = draw(st.integers(1, 30))
    return random_inputs(
        seed=draw(st.integers(0, 2**32 - 1)),
        nights=nights,
        readings=draw(st.one_of(st.just(nights), st.integers(1, nights))),
        groups=draw(st.integers(1, 4)),
        events=draw(st.integers(1, 20)),
    )


def _at_the_edges() -> dict[str, LikelihoodInputs]:
    gap = random_inputs(5, nights=40, readings=20)
    two = random_inputs(6, nights=10, readings=8, groups=1, events=3)
    return {
        "one night": random_inputs(1, nights=1, readings=1, events=2),
        "one reading": random_inputs(2, nights=20, readings=1),
        "nothing but the start": random_inputs(3, nights=20, readings=15, groups=1, events=1),
        "no group": random_inputs(4, nights=20, readings=15, groups=0, events=0),
        "long gap": gap._replace(reading_nights=np.r_[:10, 30:40]),
        "two events at once": two._replace(event_nights=np.array([0, 4, 4])),
    }


EDGES = _at_the_edges()
