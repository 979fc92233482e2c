"""The commands for squads: a folder of season folders."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from slackwater.fitting.commands.completion import complete_folder
from slackwater.fitting.commands.shared import (
    NO_ANSWER,
    details_option,
    explain_option,
    json_option,
    level_option,
    print_text,
    progress_bar,
)
from slackwater.fitting.questions import question
from slackwater.fitting.squads.settings import SHOWN
from slackwater.model.errors import QuestionError

if TYPE_CHECKING:
    from slackwater.fitting.answers.answer import Answer
    from slackwater.fitting.squads.folder import SquadFolder

_FITTING = "athletes fitted"


@click.group()
def squad() -> None:
    """Many athletes, each the better for what the others show.

    A squad is a folder of season folders; squad.toml beside them may name it.

    \b
    In this order:
      slackwater squad fit my-squad        each athlete, then all of them together
      slackwater squad today my-squad      who is at baseline this morning
      slackwater squad recovery my-squad   days to recover, own and the group's
    """


def _on_squad(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the arguments that all of a squad have, and its folder as `squad`."""

    @wraps(command)
    def on_squad(*, folder: Path, shown: str, **options: Any) -> None:
        from slackwater.fitting.squads.folder import SquadFolder

        command(SquadFolder(folder, shown or ""), **options)

    argument = click.argument(
        "folder",
        type=click.Path(path_type=Path),
        metavar="SQUAD_FOLDER",
        shell_complete=complete_folder,
    )
    named = click.option(
        "--shown",
        type=click.Choice(SHOWN),
        help="Call athletes by names, initials or numbers; as squad.toml has it if left out.",
    )
    told = explain_option(details_option(on_squad))
    return argument(json_option(level_option(named(told))))


@squad.command(short_help="Fit every athlete who changed, then all of them together.")
@_on_squad
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    default="",
    help="Fit on the workers of this Dask scheduler; on this machine's cores if left out.",
)
@click.option(
    "--tls",
    nargs=3,
    type=click.Path(),
    metavar="CA CERT KEY",
    help="Certificate files for a scheduler whose address begins with tls://.",
)
@click.option("--workers", type=click.IntRange(1), help="Athletes fitted at once on this machine.")
@click.option("--draws", type=int, default=1000, show_default=True, help="Draws in each chain.")
@click.option("--chains", type=int, default=4, show_default=True, help="Number of chains.")
def fit(
    squad: SquadFolder,
    as_json: bool,
    level: float,
    scheduler: str,
    tls: tuple[str, str, str] | None,
    workers: int | None,
    draws: int,
    chains: int,
) -> None:
    """Fit every athlete whose season changed, each alone and into its own folder.

    It can be stopped at any moment: the same command goes on where it was. A season that cannot
    be read is named and holds up nobody. Seasons go to no other machine but to the workers of the
    scheduler that is named; name none that you do not trust, and give it certificates.

    \b
    Examples:
      slackwater squad fit my-squad
      slackwater squad fit my-squad --workers 2
      slackwater squad fit my-squad --scheduler tcp://desk:8786
    """
    row = question("squad fit")
    _ = squad.settings, squad.folders  # told what is wrong before a cluster is opened
    where, cluster = _cluster(scheduler, tls, workers)
    with progress_bar(_FITTING, lines=True) as tell, cluster(where) as opened:
        how = {"draws": draws, "chains": chains}
        answer = row.ask(squad, opened, how, level=level, tell=tell)
    _print(row, answer, as_json)
    if answer.unanswered:
        sys.exit(NO_ANSWER)


def _cluster(
    scheduler: str, tls: tuple[str, str, str] | None, workers: int | None
) -> tuple[Any, Callable[..., Any]]:
    """Return which cluster, and what opens it."""
    try:
        from slackwater.fitting.squads.cluster import Where, cluster
    except ModuleNotFoundError as error:
        raise QuestionError(
            f"Fitting a squad needs the library {error.name}: pip install 'slackwater[squad]'."
        ) from None
    return Where(scheduler, tls or None, workers), cluster


@squad.command(short_help="Tell who is at baseline this morning, and who is not.")
@_on_squad
@click.option(
    "--chance",
    type=float,
    metavar="SHARE",
    default=0.8,
    show_default=True,
    help="The chance to be recovered that is asked for.",
)
@click.option(
    "--date",
    metavar="DATE",
    help="The morning asked about; today's, or the squad's last reading's where that lies over "
    "60 days back.",
)
def today(squad: SquadFolder, as_json: bool, level: float, chance: float, date: str | None) -> None:
    """Tell who is at baseline this morning, who is not and until when, who was not read.

    By the same rule and the same numbers as `today` has for each athlete.

    \b
    Examples:
      slackwater squad today my-squad
      slackwater squad today my-squad --shown initials
      slackwater squad today my-squad --date 2031-05-02 --json
    """
    from slackwater.fitting.intake.dates import parse_date

    row = question("squad today")
    morning = None if date is None else parse_date(date)
    with progress_bar("athletes read") as tell:
        answer = row.ask(squad, chance, morning, dt.date.today(), level=level, tell=tell)
    _print(row, answer, as_json)


def _print(row: Any, answer: Answer, as_json: bool) -> None:
    if as_json:
        from slackwater.fitting.report.objects import as_json as render

        click.echo(render(answer))
    else:
        print_text(row, answer)
