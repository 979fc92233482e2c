"""What all commands share: their arguments, and how an answer is asked for and printed."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from slackwater.fitting.commands.completion import complete_folder
from slackwater.model.errors import NoAnswerError, SeasonError

if TYPE_CHECKING:
    import xarray as xr

    from slackwater.fitting.journey.next_step import NextStep
    from slackwater.fitting.state.standing import Standing

FIRST_STAGES: Final = ("begin", "rest", "read")

season_argument = click.argument(
    "season",
    type=click.Path(path_type=Path),
    metavar="SEASON_FOLDER",
    shell_complete=complete_folder,
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead.")
level_option = click.option(
    "--level",
    type=float,
    default=0.8,
    show_default=True,
    help="Credible mass of every range, between 0 and 1.",
)


def answering(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the arguments that all that answer have in common."""
    return season_argument(json_option(level_option(guided(command))))


def guided(command: Callable[..., Any]) -> Callable[..., Any]:
    """Let a command that a season is not ready for say what comes first."""

    @wraps(command)
    def guide(*given: Any, season: Path, **options: Any) -> None:
        try:
            command(*given, season=season, **options)
        except (NoAnswerError, SeasonError) as error:
            from slackwater.fitting.journey.where import next_of

            step = next_of(season, command.__name__)
            if step.stage in FIRST_STAGES:  # later, what the error says is enough
                error.add_note(f"Next: {step.sentence}:\n  {step.command}")
            raise

    return guide


def standing_of(folder: Path) -> Standing:
    """Return where the athlete of a season folder stands."""
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.sampling.posterior import Posterior
    from slackwater.fitting.state.standing import standing

    return standing(read_season(folder), Posterior.load(folder))


def print_answer(
    answer: xr.Dataset, as_json: bool, caution: bool = True, season: Path | None = None
) -> None:
    """Print an answer on standard output, as text or as one JSON object.

    Warnings to a text go to standard error; a JSON object holds its own.

    Args:
        answer: the answer.
        as_json: whether as JSON.
        caution: whether to print the caution.
        season: the season folder, whose next step is to be told.
    """
    if season is not None:
        from slackwater.fitting.journey.where import next_of

        answer = answer.assign_attrs(next=next_of(season, answer.attrs["question"]))
    if as_json:
        from slackwater.fitting.report.as_json import as_json as render

        click.echo(render(answer))
    else:
        from rich.console import Console

        from slackwater.fitting.report.terminal.show import show

        show(Console(highlight=False), answer, caution=caution, aside=Console(stderr=True))


def print_next(step: NextStep) -> None:
    """Print a next step by itself."""
    from rich.console import Console

    from slackwater.fitting.report.terminal.pieces import next_text

    Console(highlight=False).print(next_text(step))


@contextmanager
def progress_bar(task: str) -> Iterator[Callable[[int, int], None] | None]:
    """Show progress on standard error, where that is a terminal.

    Args:
        task: what is being done.

    Yields:
        What is to be called with the steps done and the steps in all, or None.
    """
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        shown = bar.add_task("getting ready", total=None)

        def tell(done: int, total: int) -> None:
            bar.update(shown, description=task, completed=done, total=total)

        yield tell
