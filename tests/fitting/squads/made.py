"""A squad on disk, its athletes' posteriors made by hand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

import numpy as np

from slackwater.fitting.files import new_folder
from slackwater.fitting.squads.each import Done, Task
from slackwater.model.dynamics import Floats
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.report import folders

NAMES: Final = folders.Names(
    "hill run", "easy paddle", "river dip", "effort", ("hard", "easy"), "head cold", "lifting"
)


def squad(folder: Path, *athletes: str, settings: str = "") -> Path:
    """Write a squad whose athletes are all fitted."""
    for name in athletes:
        new_folder(folder / name)
        folders.write(folder / name, NAMES)
    if settings:
        (folder / "squad.toml").write_text(settings, encoding="utf-8")
    return folder


def unfitted(folder: Path, *athletes: str) -> Path:
    """Write a squad of which nobody is fitted."""
    squad(folder, *athletes)
    for name in athletes:
        (folder / name / "posterior.nc").unlink()
    return folder


class ByHand:
    """Workers who fit nothing: they hand out posteriors made by hand, and remember for whom."""

    def __init__(self, stops_after: int = 10**6) -> None:
        self.asked: list[str] = []
        self._stops_after = stops_after

    def do(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, Done]]:
        for task in tasks:
            if len(self.asked) == self._stops_after:
                raise KeyboardInterrupt
            self.asked.append(task.folder)
            types = dict.fromkeys(task.season.types, (0.3, 1.0))
            known = Known(
                types,
                stressors=dict.fromkeys(task.season.stressors, (0.1, 1.0)),
                rate_ratios=dict.fromkeys(task.season.interventions, 1.0),
            )
            made = by_hand.posterior(task.season, known, draws=100)
            yield task, Done(made.content(), (), 1.0)


SLOW: Final = "david"  # who takes far longer to recover from hills than the others
ALONE_IN_IT: Final = "lifting"  # a type that only one of them does
GROUP: Final = ("ada", "bruno", "carla", "david")


def drawn(folder: Path) -> Path:
    """Write a squad of four who can be pooled: their posteriors have a width in everything."""
    for number, name in enumerate(GROUP):
        rng = np.random.default_rng(number)

        def about(middle: float, sd: float, rng: np.random.Generator = rng) -> Floats:
            return np.asarray(middle * np.exp(sd * rng.standard_normal(200)))

        types = ["hill run", "easy paddle", *([ALONE_IN_IT] if name == "ada" else [])]
        sessions = [(3 * i, types[i % len(types)]) for i in range(12)]
        uses = [(day, "river dip") for day in range(10, 20)] if name != "carla" else []
        half_lives = {"hill run": 6.0 if name == SLOW else 1.2 + 0.1 * number}
        known = Known(
            {t: (about(0.3, 0.1), about(half_lives.get(t, 0.8), 0.1)) for t in types},
            level=4.0 + 0.1 * number,
            noise_sd=about(0.1, 0.1),
            lingering_odds=about(0.3, 1.0),
            noise_tail=about(0.5, 0.5),
            drift_sd=about(0.008, 0.4),
            session_sd=about(0.2, 0.4),
            first_night=about(0.8, 0.1),
            rate_ratios={"river dip": about(1.4, 0.2)} if uses else {},
            lifts={"river dip": 0.05 * rng.standard_normal(200)} if uses else {},
        )
        season = by_hand.season(
            40, sessions, interventions=uses, name=name,
            readings=4.0 + 0.1 * rng.standard_normal(40),
        )  # fmt: skip
        new_folder(folder / name)
        folders.write_season(folder / name, season, known)
    return folder
