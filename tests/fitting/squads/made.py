"""A squad on disk, its athletes' posteriors made by hand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from slackwater.fitting.files import new_folder
from slackwater.fitting.squads.each import Done, Task
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
