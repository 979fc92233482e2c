"""The directive `run`: a command of the page, with what it prints at build time below it.

    ```{run}
    :from: Sensors
    :until: Since

    slackwater history slackwater-demo
    ```

With `from` or `until`, only the lines from the first that begins so, up to the next that begins so,
are shown. Commands run in one folder with six seasons, made anew for each
build: the demo season, fitted; the same again, to be logged into; its first five mornings; its
first fifteen, fitted, which are a rest of two weeks; the demo season with mistakes at its end; and
its first fourteen mornings, for which there are the beats of the nights after.
"""

import datetime as dt
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from docutils import nodes
from docutils.parsers.rst.directives import unchanged
from sphinx.application import Sphinx
from sphinx.util import logging
from sphinxcontrib.programoutput import Command, ProgramOutputDirective, program_output

from slackwater.fitting.demo import copy_demo
from tests.fitting.beats.nights import night, with_artefacts, write_stamped

DEMO = "slackwater-demo"
LOGGED = "july"
CUT_SHORT = {"first-mornings": 5, "two-weeks": 15, "with-beats": 14}
MISTYPED = {
    "readings": "2031-07-07,660,chest strap\n2031-07-08,66,4\n",
    "sessions": "2031-07-07,hill run,60\n",
}
ON_PAPER = {"COLUMNS": "80", "NO_COLOR": "1", "PYTHONUNBUFFERED": "1"}
BEFORE_PROGRAMOUTPUT = 400  # its own handler has Sphinx's default priority, 500

logger = logging.getLogger(__name__)


class Run(ProgramOutputDirective):
    """A command, its lines joined where they end in a backslash, and its output."""

    has_content = True
    required_arguments = 0
    option_spec = ProgramOutputDirective.option_spec | {"from": unchanged, "until": unchanged}

    def run(self) -> list[nodes.Node]:
        """Return the node that the command's output will replace."""
        self.arguments = ["\n".join(self.content).replace("\\\n", " ")]
        config = self.state.document.settings.env.config
        self.options["cwd"] = "/" + os.path.relpath(config.examples_folder, self.env_srcdir())
        self.options.setdefault("prompt", None)
        [node] = super().run()
        for end in ("from", "until"):
            if end in self.options:
                node[end] = self.options[end]
        return [node]

    def env_srcdir(self) -> Path:
        """Return the folder of the pages."""
        return Path(self.state.document.settings.env.srcdir)


def show_excerpts(app: Sphinx, doctree: nodes.document) -> None:
    """Replace each node that asks for some lines by these lines of its command's output."""
    for node in list(doctree.findall(program_output)):
        if "from" not in node and "until" not in node:
            continue
        command = Command.from_program_output_node(node)
        status, output = app.env.programoutput_cache[command]
        lines = list(_between(output.splitlines(), node.get("from", ""), node.get("until")))
        if status != node["returncode"] or not lines:
            logger.warning("%s: status %s, no such lines in\n%s", command, status, output)
        shown = "\n".join(lines if "from" in node else [f"$ {node['command']}", *lines])
        block = nodes.literal_block(shown, shown)
        block["language"] = "text"
        node.replace_self(block)


def _between(lines: list[str], first: str, until: str | None) -> Iterator[str]:
    begun = False
    for line in lines:
        if begun and until is not None and line.startswith(until):
            return
        begun = begun or line.startswith(first)
        if begun:
            yield line.rstrip()


def make_seasons(app: Sphinx) -> None:
    """Make the seasons that the pages' commands are about."""
    os.environ.update(ON_PAPER)
    folder = Path(app.config.examples_folder)
    shutil.rmtree(folder, ignore_errors=True)
    copy_demo(folder / DEMO)
    header, *rows = (folder / DEMO / "readings.csv").read_text(encoding="utf-8").splitlines()
    for name, mornings in CUT_SHORT.items():
        (folder / name).mkdir()
        readings = "\n".join([header, *rows[:mornings], ""])
        (folder / name / "readings.csv").write_text(readings, encoding="utf-8")
    (folder / "diary.csv").write_bytes(_diary(rows).encode("cp1252"))
    (folder / "next-week.csv").write_bytes(_diary(rows[20:27]).encode("cp1252"))
    (folder / "two-readings.csv").write_text(
        "Date,RMSSD\n03/04/2031,57.6\n04/04/2031,56.8\n", encoding="utf-8"
    )
    copy_demo(folder / "mistyped")
    for name, lines in MISTYPED.items():
        with (folder / "mistyped" / f"{name}.csv").open("a", encoding="utf-8") as file:
            file.write(lines)
    make_nights(folder)
    for name in (DEMO, "two-weeks"):
        subprocess.run(
            ["slackwater", "fit", name], cwd=folder, check=True, stdout=subprocess.DEVNULL
        )
    shutil.copytree(folder / DEMO, folder / LOGGED)


def _diary(rows: list[str]) -> str:
    """Return mornings as a spreadsheet saves them in a country of decimal commas."""
    lines = ["Mein Tagebuch", "", "Datum;HRV (ms);Training;Müdigkeit"]
    for number, row in enumerate(rows[:20]):
        date, reading, *_ = row.split(",")
        day = dt.date.fromisoformat(date)
        training = ("", "", "Hügellauf", "Ruhetag")[number % 4]
        lines.append(f"{day:%d.%m.%Y};{reading.replace('.', ',')};{training};3")
    return "\r\n".join([*lines, "Mittelwert;57,9;;3", ""])


def make_nights(folder: Path) -> None:
    """Make invented beats: a night, a folder of three more, and one of the week of logging."""
    rng = np.random.default_rng(2)
    (folder / "nights").mkdir()
    names = ["night.csv", *(f"nights/2031-01-{day}.csv" for day in (21, 22, 23))]
    for name, evening, rmssd_ms in zip(names, (19, 20, 21, 22), (62, 47, 55, 60), strict=True):
        rr_ms = with_artefacts(night(rng, rmssd_ms=rmssd_ms), rng)
        write_stamped(folder / name, rr_ms, dt.datetime(2031, 1, evening, 22, 48))
    rr_ms = with_artefacts(night(np.random.default_rng(3), rmssd_ms=65), rng)
    write_stamped(folder / "saturday.csv", rr_ms, dt.datetime(2031, 7, 11, 22, 31))
    drawing = ["slackwater", "beats", names[0], "with-beats", "--draft", "--picture", "night.png"]
    subprocess.run(drawing, cwd=folder, check=True, stdout=subprocess.DEVNULL)


def setup(app: Sphinx) -> dict[str, bool]:
    """Register the directive with Sphinx."""
    app.add_config_value("examples_folder", None, "env", (str,))
    app.add_directive("run", Run)
    app.connect("builder-inited", make_seasons)
    app.connect("doctree-read", show_excerpts, priority=BEFORE_PROGRAMOUTPUT)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
