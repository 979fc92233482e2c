"""What all commands share: their arguments, and how an answer is asked for and printed."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    import xarray as xr

    from slackwater.fitting.answers.standing import Standing

season_argument = click.argument("season", type=click.Path(path_type=Path), metavar="SEASON_FOLDER")
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
    return season_argument(json_option(level_option(command)))


def standing_of(folder: Path) -> Standing:
    """Return where the athlete of a season folder stands."""
    from slackwater.fitting.answers.standing import standing
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.sampling.posterior import Posterior

    return standing(read_season(folder), Posterior.load(folder))


def print_answer(answer: xr.Dataset, as_json: bool, caution: bool = True) -> None:
    """Print an answer on standard output, as text or as one JSON object.

    Warnings to a text go to standard error; a JSON object holds its own.
    """
    if as_json:
        from slackwater.fitting.report.as_json import as_json as render

        click.echo(render(answer))
    else:
        from rich.console import Console

        from slackwater.fitting.report.terminal import show

        show(Console(highlight=False), answer, caution=caution, aside=Console(stderr=True))


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
