"""The commands for squads: a folder of season folders."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from slackwater.fitting.commands.completion import complete_folder
from slackwater.fitting.commands.shared import (
    DEFAULT_LEVEL,
    NO_ANSWER,
    details_option,
    explain_option,
    json_option,
    level_option,
    print_text,
    progress_bar,
)
from slackwater.fitting.questions import question
from slackwater.fitting.squads.extra import needed
from slackwater.fitting.squads.settings import SHOWN
from slackwater.fitting.text import escaped
from slackwater.model.errors import NoAnswerError

if TYPE_CHECKING:
    from slackwater.fitting.answers.answer import Answer
    from slackwater.fitting.squads.folder import SquadFolder

_FITTING: Final = "athletes fitted"
_REPORT: Final = "report.html"


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

        with needed():
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
    how = {"draws": draws, "chains": chains}
    answer = _fit(squad, level, scheduler, tls, workers, how)
    _print(question("squad fit"), answer, as_json)
    if answer.unanswered:
        sys.exit(NO_ANSWER)


def _fit(
    squad: SquadFolder,
    level: float,
    scheduler: str,
    tls: tuple[str, str, str] | None,
    workers: int | None,
    how: dict[str, int],
) -> Any:
    """Fit a squad on a cluster."""
    if sys.modules.get("dask") is None:  # kept out of processes that only answer
        sys.modules.pop("dask", None)
    from slackwater.fitting.squads.cluster import Where, cluster

    _ = squad.settings, squad.folders  # told what is wrong before a cluster is opened
    where = Where(scheduler, tls or None, workers)
    with progress_bar(_FITTING, lines=True) as tell, cluster(where) as opened:
        return question("squad fit").ask(squad, opened, how, level=level, tell=tell)


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


@squad.command(short_help="Tell the days to recover, each athlete's own and the group's.")
@_on_squad
def recovery(squad: SquadFolder, as_json: bool, level: float) -> None:
    """Tell the days to recover, each athlete's own and the group's, and who differs from it.

    \b
    Examples:
      slackwater squad recovery my-squad
      slackwater squad recovery my-squad --shown numbers --json
    """
    row = question("squad recovery")
    _print(row, row.ask(squad, level), as_json)


@squad.command(short_help="Tell whether a recovery measure works across the squad.")
@_on_squad
@click.option("--intervention", required=True, metavar="NAME", help="The measure, as it is logged.")
def compare(squad: SquadFolder, as_json: bool, level: float, intervention: str) -> None:
    """Tell whether a recovery measure works across the squad, how athletes differ, and for whom.

    \b
    Examples:
      slackwater squad compare my-squad --intervention "ice bath"
      slackwater squad compare my-squad --intervention "ice bath" --json
    """
    row = question("squad compare")
    _print(row, row.ask(squad, intervention, level), as_json)


@squad.command(short_help="Write one file: the squad's morning, and a page for each athlete.")
@_on_squad
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Where to write it; report.html in the squad folder if left out.",
)
def report(squad: SquadFolder, as_json: bool, level: float, out: Path | None) -> None:
    """Write the squad's morning, the group and a page for each athlete into one HTML file.

    With --shown initials or numbers no name stands in it. With --json, also print the answers
    that it is made from.

    \b
    Examples:
      slackwater squad report my-squad
      slackwater squad report my-squad --shown numbers --out club.html
    """
    today, recovery = _morning(squad, level), question("squad recovery").ask(squad, level)
    measures = _measures(squad, level)
    path = _write(squad, today, recovery, measures, out)
    if as_json:
        _print_report(today, recovery, measures)
    else:
        click.echo(f"Wrote {escaped(str(path))}.")


def run_all(folder: Path) -> None:
    """Fit a squad on this machine, print its answers and write its report."""
    from slackwater.fitting.squads.folder import SquadFolder

    with needed():
        _run_all(SquadFolder(folder))


def _run_all(squad: SquadFolder) -> None:
    _print(question("squad fit"), _fit(squad, DEFAULT_LEVEL, "", None, None, {}), as_json=False)
    today = _morning(squad, DEFAULT_LEVEL)
    recovery = question("squad recovery").ask(squad)
    measures = _measures(squad, DEFAULT_LEVEL)
    told = {
        "squad today": [today],
        "squad recovery": [recovery],
        "squad compare": measures.values(),
    }
    for name, answers in told.items():
        for answer in answers:
            click.echo()
            print_text(question(name), answer, caution=False)
    path = _write(squad, today, recovery, measures, None)
    click.echo(f"\nWrote the squad and a page for each athlete into {escaped(str(path))}.")


def _write(
    squad: SquadFolder, today: Any, recovery: Any, measures: dict[str, Any], out: Path | None
) -> Path:
    from slackwater.fitting.files import write_whole
    from slackwater.fitting.report.squads.page import page

    content = page(today, recovery, [*measures.values()]).encode()
    if out is not None:
        write_whole(out, content)
        return out
    squad.write({_REPORT: content})
    return squad.path / _REPORT


def _morning(squad: SquadFolder, level: float) -> Any:
    with progress_bar("athletes read") as tell:
        return question("squad today").ask(squad, clock=dt.date.today(), level=level, tell=tell)


def _measures(squad: SquadFolder, level: float) -> dict[str, Any]:
    """Return each measure's comparison, or why there is none."""
    from slackwater.fitting.squads.compare import measures_of

    found: dict[str, Any] = {}
    for name in measures_of(squad):
        try:
            found[name] = question("squad compare").ask(squad, name, level)
        except NoAnswerError as error:
            found[name] = error
    return found


def _print_report(today: Answer, recovery: Answer, measures: dict[str, Any]) -> None:
    import json

    from slackwater.fitting.report.objects import about_object, as_object
    from slackwater.fitting.report.reasons import told

    refused = {n: told(found) for n, found in measures.items() if isinstance(found, NoAnswerError)}
    answers = {"today": as_object(today), "recovery": as_object(recovery)}
    compared = {n: as_object(found) for n, found in measures.items() if n not in refused}
    whole = about_object(today.about) | {
        "answers": answers | {f"compare {name}": each for name, each in compared.items()},
        "refused": {f"compare {name}": each for name, each in refused.items()},
    }
    click.echo(json.dumps(whole, indent=2, allow_nan=False))


def _print(row: Any, answer: Answer, as_json: bool) -> None:
    if as_json:
        from slackwater.fitting.report.objects import as_json as render

        click.echo(render(answer))
    else:
        print_text(row, answer)
