"""The command that opens the page."""

from __future__ import annotations

import threading
from pathlib import Path

import click

from slackwater.fitting.commands.completion import complete_folder


@click.command("open", short_help="Open the page: log, look and plan in a browser.")
@click.argument(
    "season",
    type=click.Path(path_type=Path),
    metavar="[SEASON_FOLDER]",
    shell_complete=complete_folder,
    default=".",
)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    metavar="N",
    help="Where to listen; 0 for any that is free. One of the page's own if left out.",
)
@click.option("--no-browser", is_flag=True, help="Print the link, and open no browser.")
@click.option(
    "--on-network",
    is_flag=True,
    help="Also let a phone on your network in, by a one-time code that the page shows.",
)
def open_(season: Path, port: int | None, no_browser: bool, on_network: bool) -> None:
    """Open the page: log, see where you stand, learn and plan, in a browser.

    SEASON_FOLDER is a season, a new one, or a folder of several; the folder you are in if left
    out. The page is served by this machine to itself alone, to whoever has the link that is
    printed, until you end it with Ctrl-C.

    \b
    Examples:
      slackwater open my-season
      slackwater open my-season --port 0 --no-browser
    """
    from slackwater.fitting.serving.server import serve

    def ready(link: str) -> None:
        where = "on your network too, see Phone" if on_network else "on this machine alone"
        click.echo(f"The page is open, {where}; Ctrl-C ends it. Its link:")
        click.echo(link)
        if not no_browser:
            import webbrowser

            threading.Thread(target=webbrowser.open, args=(link,), daemon=True).start()

    serve(season, port, on_network, ready)
