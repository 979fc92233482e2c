"""The command that writes the report, and what `demo` shares with it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from slackwater.fitting.commands.shared import answering

if TYPE_CHECKING:
    from slackwater.fitting.report.everything import Everything

FILE_NAME: Final = "report.html"


@click.command()
@answering
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Where to write it; report.html in the season folder if left out.",
)
def report(season: Path, as_json: bool, level: float, out: Path | None) -> None:
    """Write every answer and its pictures into one HTML file.

    The file needs no network and no script: open it, print it, send it. With --json, also
    print the answers that it is made from.

    \b
    Examples:
      slackwater report my-season
      slackwater report my-season --out spring.html
    """
    asked = _ask(season, level)
    path = _write(out or season / FILE_NAME, asked)
    if as_json:
        from slackwater.fitting.report.page.json_of import page_json

        click.echo(page_json(asked))
    else:
        click.echo(f"Wrote {path}.")


def write_report(season: Path, level: float = 0.8) -> Path:
    """Write a season's report into its folder and return the file's path."""
    return _write(season / FILE_NAME, _ask(season, level))


def _ask(season: Path, level: float) -> Everything:
    from slackwater.fitting.intake import read_season
    from slackwater.fitting.records.plans import FILE_NAME as PLANS
    from slackwater.fitting.records.plans import read_plans
    from slackwater.fitting.records.trials import read_trials
    from slackwater.fitting.report.everything import ask_everything
    from slackwater.fitting.sampling.posterior import Posterior

    kept = season / PLANS
    plans = read_plans(kept.read_bytes(), str(kept)) if kept.exists() else []
    return ask_everything(
        read_season(season), Posterior.load(season), read_trials(season), plans, level
    )


def _write(path: Path, asked: Everything) -> Path:
    from slackwater.fitting.report.calendar_file import write_whole
    from slackwater.fitting.report.page.page import page

    write_whole(path, page(asked).encode(), replace=True)
    return path
