"""The command line: exit status, what goes where, and what is said to each wrong question."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from contextlib import redirect_stdout
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from slackwater.fitting import Posterior, fit
from slackwater.fitting.cli import answer
from slackwater.fitting.commands.shared import progress_bar
from slackwater.fitting.sampling import fit as fit_module
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.conftest import Fitted, Ran, run
from tests.fitting.report import folders

ANSWERING = [
    ["recovery"],
    ["baseline"],
    ["explain"],
    ["forecast", "--nights", "3"],
    ["compare", "--intervention", "river dip"],
    ["compare", "--types", "hill run", "steady row"],
    ["compare", "--attribute", "mode", "lift", "row"],
]
each_answer = pytest.mark.parametrize("arguments", ANSWERING, ids=lambda a: " ".join(a)[:30])


def ask(folder: Path, arguments: list[str], *more: str) -> Ran:
    command, *options = arguments
    return run(command, folder, *options, *more)


def edit(folder: Path, file: str, old: str, new: str) -> None:
    path = folder / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def add(folder: Path, file: str, *rows: str) -> None:
    with (folder / file).open("a", encoding="utf-8") as opened:
        opened.writelines(f"{row}\n" for row in rows)


@each_answer
def test_an_answer_is_on_standard_output_with_a_caution(demo: Fitted, arguments: list[str]) -> None:
    ran = ask(demo.folder, arguments)
    assert ran.status == 0
    assert ran.out.startswith("demo: ")
    caution = " ".join(ran.out.split())
    assert caution.count("no diagnosis: how you feel and licensed practice come first.") == 1
    assert "Mind:" not in ran.out
    alone = "Only 'heavy lifting' has mode 'lift'" if "--attribute" in arguments else ""
    assert ran.err.startswith(f"Mind: {alone}" if alone else "")
    assert bool(ran.err) == bool(alone)


def test_warnings_are_on_standard_error_or_in_the_json(demo_copy: Path) -> None:
    add(demo_copy, "sessions.csv", "2031-07-06,river swim,1.0")
    said = (
        "'river swim' is new and no reading shows it yet: until one does, it counts as a session "
        "like any of the others."
    )
    ran = run("forecast", demo_copy)
    assert (ran.status, " ".join(ran.err.split())) == (0, f"Mind: {said}")
    assert "with 2031-07-06 river swim" in " ".join(ran.out.split())
    ran = run("forecast", demo_copy, "--json")
    assert (ran.status, ran.err) == (0, "")
    assert said in ran.out


@pytest.mark.parametrize("option", [["--help"], ["-h"]])
def test_help_lists_the_commands(option: list[str]) -> None:
    ran = run(*option)
    assert (ran.status, ran.err) == (0, "")
    for command in ("demo", "check", "fit", "recovery", "forecast", "compare", "report"):
        assert f"\n  {command} " in ran.out


@pytest.mark.parametrize(
    "command", ["demo", "check", "fit", "recovery", "baseline", "forecast", "compare", "report"]
)
def test_each_command_has_help(command: str) -> None:
    ran = run(command, "--help")
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith(f"Usage: slackwater {command} ")


def test_version_is_the_installed_one() -> None:
    assert run("--version") == Ran(0, "slackwater, version 0.1.0\n", "")


def python(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    env = {key: value for key, value in os.environ.items() if key != "COLUMNS"}
    return subprocess.run(
        [sys.executable, *arguments],
        capture_output=True,
        stdin=subprocess.DEVNULL,
        encoding="utf-8",
        env=env | environment,
    )


def test_the_module_runs_too() -> None:
    ran = python("-m", "slackwater.fitting", "--help")
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.startswith("Usage: slackwater ")


HEAVY = ["pymc", "pytensor", "numba", "nutpie", "arviz", "arviz_stats", "arviz_base"]
HEAVY += ["arviz_plots", "matplotlib", "statsmodels", "scipy.stats"]


def test_answering_imports_neither_sampler_nor_arviz(demo: Fitted, tmp_path: Path) -> None:
    newer = tmp_path / "newer"
    newer.mkdir()
    for file in demo.folder.iterdir():
        (newer / file.name).write_bytes(file.read_bytes())
    add(newer, "readings.csv", "2031-07-07,66.0,chest strap")  # weights are smoothed too
    asked = [[a[0], str(demo.folder), *a[1:]] for a in ANSWERING] + [["recovery", str(newer)]]
    script = f"""
import sys
from slackwater.fitting.cli import main
for arguments in {asked!r}:
    sys.argv = ["slackwater", *arguments]
    try:
        main()
    except SystemExit as end:
        assert not end.code
print([name for name in {HEAVY!r} if name in sys.modules], file=sys.stderr)
"""
    ran = python("-c", script)
    assert ran.returncode == 0, ran.stderr
    assert ran.stderr.splitlines()[-1] == "[]"


def test_help_imports_nothing_that_answers() -> None:
    script = """
import sys
from slackwater.fitting.cli import main
sys.argv = ["slackwater", "--help"]
try:
    main()
except SystemExit:
    heavy = {"numpy", "pandas", "xarray", "pydantic", "rich", "h5py"}
    print(sorted(heavy & set(sys.modules)), file=sys.stderr)
"""
    assert python("-c", script).stderr == "[]\n"


def test_one_real_answer_from_the_installed_script(demo: Fitted) -> None:
    script = Path(sys.executable).parent / "slackwater"
    if not script.exists():
        pytest.skip(f"{script} is not there: slackwater runs from its source here")
    ran = subprocess.run(
        [script, "baseline", str(demo.folder)], capture_output=True, encoding="utf-8"
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.startswith("demo: Where you stand on the morning of 2031-07-06\n")


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "cp437", "utf-8"])
def test_a_terminal_that_cannot_show_all_shows_the_rest(
    demo: Fitted, monkeypatch: pytest.MonkeyPatch, encoding: str
) -> None:
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "argv", ["slackwater", "recovery", str(demo.folder)])
    with redirect_stdout(io.TextIOWrapper(raw, encoding=encoding)) as out:
        with pytest.raises(SystemExit) as end:
            answer()
        out.flush()
        assert not end.value.code
        assert "hill run: " in raw.getvalue().decode(encoding)


WRONG: list[tuple[list[str], str]] = [
    (["compare"], "Give one of --intervention, --types and --attribute."),
    (["compare", "--types", "a", "b", "--intervention", "c"], "Give one of --intervention"),
    (["compare", "--types", "hill run"], "Option '--types' requires 2 arguments."),
    (["compare", "--attribute", "mode", "row"], "Option '--attribute' requires 3 arguments."),
    (
        ["compare", "--intervention", "river dipp"],
        "Unknown intervention 'river dipp'. This season has: 'beet juice', 'river dip'. Did you "
        "mean 'river dip'?",
    ),
    (
        ["compare", "--types", "hil run", "steady row"],
        "Unknown session type 'hil run'. This season has: 'easy paddle', 'heavy lifting', "
        "'hill run', 'row intervals', 'steady row'. Did you mean 'hill run'?",
    ),
    (["compare", "--attribute", "mood", "row", "run"], "Unknown attribute 'mood'."),
    (["compare", "--attribute", "mode", "row", "rnu"], "Unknown value of 'mode' 'rnu'."),
    (["forecast", "--nights", "0"], "A forecast reaches 1 to 60 nights ahead, not 0."),
    (["forecast", "--nights", "61"], "A forecast reaches 1 to 60 nights ahead, not 61."),
    (["forecast", "--nights", "two"], "'two' is not a valid integer"),
    (
        ["forecast", "--session", "tomorrow:hill run"],
        "'tomorrow:hill run' names no session; write it as DATE:TYPE, such as 2031-05-02:easy "
        "paddle",
    ),
    (["forecast", "--session", "2031-07-08"], "'2031-07-08' names no session;"),
    (["forecast", "--session", "2031-07-08:hil run"], "Did you mean 'hill run'?"),
    (
        ["forecast", "--session", "2031-07-05:hill run"],
        "A session planned for 2031-07-05 lies before the last reading (2031-07-06); log it in "
        "sessions.csv instead.",
    ),
    (["forecast", "--session", "9999-12-31:hill run"], "farther than a forecast reaches"),
    (["recovery", "--level", "80"], "The level 80.0 is no share between 0 and 1; 0.8 is the"),
    (["recovery", "--level", "0"], "The level 0.0 is no share between 0 and 1"),
    (["recovery", "--level", "most"], "'most' is not a valid float"),
    (["baseline", "--level", "1"], "The level 1.0 is no share between 0 and 1"),
    (["forecast", "--level", "-0.5"], "The level -0.5 is no share between 0 and 1"),
    (["recovery", "--nights", "3"], "No such option"),
    (["recover"], "No such command 'recover'"),
    (["fit", "--draws", "99"], "A fit needs at least 100 draws and 2 chains to be judged by."),
    (["fit", "--chains", "1"], "A fit needs at least 100 draws and 2 chains to be judged by."),
    (["fit", "--seed", "-1"], "-1 is not in the range"),
]


@pytest.mark.parametrize(("arguments", "said"), WRONG, ids=[" ".join(a) for a, _ in WRONG])
def test_wrong_usage_is_status_2_and_says_what_is_right(
    demo: Fitted, arguments: list[str], said: str
) -> None:
    ran = ask(demo.folder, arguments)
    assert (ran.status, ran.out) == (2, "")
    assert said in ran.err
    assert "Traceback" not in ran.err


def test_wrong_usage_without_a_folder() -> None:
    ran = run("recovery")
    assert (ran.status, ran.out) == (2, "")
    assert "Missing argument 'SEASON_FOLDER'" in ran.err


@pytest.mark.parametrize("command", ["check", "fit", "recovery", "baseline", "forecast"])
def test_a_missing_folder_is_status_2(tmp_path: Path, command: str) -> None:
    ran = run(command, tmp_path / "nowhere")
    assert ran.status == 2
    assert "there is no such folder" in ran.err
    said = " ".join((ran.out + ran.err).split())
    assert "such as date,rmssd_ms 2031-01-06,57.6 and then: slackwater check" in said
    first = ran.out.splitlines()[:1]
    assert first == ([] if command != "check" else ["Not read: 1 problem to mend first."])


@pytest.mark.parametrize("command", ["check", "fit", "recovery"])
def test_unreadable_input_is_status_2_with_file_line_and_column(
    demo_copy: Path, command: str
) -> None:
    edit(demo_copy, "readings.csv", "2031-01-08,53.8", "2031-01-08,-53.8")
    edit(demo_copy, "sessions.csv", "2031-01-22,", "22.01.2031,")
    ran = run(command, demo_copy)
    assert ran.status == 2
    assert "readings.csv:4:2: " in ran.err
    assert "sessions.csv:3:1: " in ran.err


@each_answer
def test_without_a_posterior_is_status_1_with_the_mend(
    demo_copy: Path, arguments: list[str]
) -> None:
    (demo_copy / "posterior.nc").unlink()
    for form in ([], ["--json"]):
        ran = ask(demo_copy, arguments, *form)
        assert (ran.status, ran.out) == (1, "")
        assert ran.err == (
            f"{demo_copy / 'posterior.nc'}: this season was not fitted yet; fit it first.\n"
            f"  slackwater fit {demo_copy}\n"
        )


def test_a_damaged_posterior_is_status_1_with_the_mend(demo_copy: Path) -> None:
    (demo_copy / "posterior.nc").write_bytes(b"not one")
    ran = run("recovery", demo_copy)
    assert (ran.status, ran.out) == (1, "")
    assert "posterior.nc: this is no fit that slackwater wrote; fit again." in ran.err
    assert ran.err.endswith(f"\n  slackwater fit {demo_copy}\n")


@each_answer
def test_a_posterior_of_an_edited_season_is_status_1(demo_copy: Path, arguments: list[str]) -> None:
    edit(demo_copy, "sessions.csv", "2031-01-22,steady row,1.0", "2031-01-22,steady row,1.1")
    ran = ask(demo_copy, arguments)
    assert (ran.status, ran.out) == (1, "")
    assert ran.err == (
        "The season was edited in what had already been fitted (readings, sessions, types, "
        "interventions or stressors up to 2031-07-06); fit again.\n"
        f"  slackwater fit {demo_copy}\n"
    )


NEW_MORNING = "2031-07-07,66.0,chest strap"
NOT_SUPPORTED: list[tuple[list[str], dict[str, list[str]], str]] = [
    (
        ["recovery"],
        {"readings.csv": [NEW_MORNING], "sessions.csv": ["2031-07-06,river swim,1"]},
        "New since the fit: 'river swim'; fit again to learn it.",
    ),
    (
        ["baseline"],
        {"readings.csv": ["2031-07-07,66.0,arm band"]},
        "New since the fit: 'arm band'; fit again to learn it.",
    ),
    (
        ["forecast"],
        {"readings.csv": [NEW_MORNING], "interventions.csv": ["2031-07-06,early night"]},
        "New since the fit: 'early night'; fit again to learn it.",
    ),
    (
        ["forecast"],
        {"readings.csv": [NEW_MORNING], "stressors.csv": ["2031-07-06,night train"]},
        "New since the fit: 'night train'; fit again to learn it.",
    ),
    (
        ["recovery"],
        {"readings.csv": [f"2031-07-{day:02},{value},chest strap" for day, value in
                          enumerate([20, 200, 15, 300, 10, 400, 8, 500, 20, 300], start=7)]},
        "The readings since the fit tell another story than the fit did (",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("arguments", "added", "said"), NOT_SUPPORTED)
def test_what_the_fit_does_not_support_is_status_1(
    demo_copy: Path, arguments: list[str], added: dict[str, list[str]], said: str
) -> None:
    for file, rows in added.items():
        add(demo_copy, file, *rows)
    for form in ([], ["--json"]):
        ran = ask(demo_copy, arguments, *form)
        assert (ran.status, ran.out) == (1, "")
        assert ran.err.startswith(said)


TYPES = {"row": (0.2, 1.0), "lift": (0.1, 1.0)}
TOGETHER = [(day, kind) for day in (3, 9, 15, 21) for kind in TYPES]
APART = [(3, "row"), (6, "lift"), (9, "row"), (12, "lift"), (15, "row"), (18, "lift")]
REFUSED: list[tuple[list[str], dict[str, Any], str]] = [
    (["recovery"], {"sessions": []}, "No session is logged that a reading could show"),
    (["recovery"], {"sessions": TOGETHER}, "'lift' and 'row' were always trained on the same"),
    (
        ["compare", "--types", "row", "lift"],
        {"sessions": TOGETHER},
        "'lift' and 'row' were always trained on the same days",
    ),
    (
        ["compare", "--attribute", "place", "gym", "water"],
        {
            "attributes": {
                "row": {"place": "water"},
                "lift": {"place": ""},
                "bench": {"place": "gym"},
            }
        },
        "No type with place 'gym' has been trained yet.",
    ),
    (
        ["compare", "--intervention", "bath"],
        {"interventions": [(day, "bath") for day in (4, 10, 16)]},
        "There are 3 nights and 3 sessions with 'bath': too few to compare.",
    ),
    (
        ["compare", "--intervention", "bath"],
        {"interventions": [(day + more, "bath") for day in (3, 9, 15) for more in (0, 1)]},
        "'bath' was always used after some types and never after the others",
    ),
]


@pytest.mark.parametrize(("arguments", "logged", "said"), REFUSED)
def test_what_the_season_does_not_support_is_status_1(
    tmp_path: Path, arguments: list[str], logged: dict[str, Any], said: str
) -> None:
    season = by_hand.season(30, **{"sessions": APART, **logged})
    known = Known(
        TYPES if logged.get("sessions", APART) else {},
        rate_ratios={"bath": 1.2} if "interventions" in logged else {},
    )
    folders.write_season(tmp_path, season, known)
    for form in ([], ["--json"]):
        ran = ask(tmp_path, arguments, *form)
        assert (ran.status, ran.out) == (1, "")
        assert ran.err.startswith(said)


def test_a_new_morning_is_answered_without_a_new_fit(demo_copy: Path) -> None:
    before = (demo_copy / "posterior.nc").read_bytes()
    add(demo_copy, "readings.csv", NEW_MORNING)
    ran = run("baseline", demo_copy)
    assert (ran.status, ran.err) == (0, "")
    assert ran.out.startswith("demo: Where you stand on the morning of 2031-07-07\n")
    assert (demo_copy / "posterior.nc").read_bytes() == before


def fitted_as(posterior: Posterior, monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """Let `slackwater fit` find this posterior at once; return what it will be asked for."""
    asked: list[dict[str, Any]] = []

    def sample(season: object, **options: Any) -> Posterior:
        asked.append(options)
        return posterior

    monkeypatch.setattr(fit_module, "fit", sample)
    return asked


def test_fit_writes_the_posterior_and_says_what_it_did(
    demo: Fitted, demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (demo_copy / "posterior.nc").unlink()
    asked = fitted_as(demo.posterior, monkeypatch)
    ran = run("fit", demo_copy, "--seed", "5", "--draws", "300", "--chains", "3")
    told, next_step = ran.out.split("Next: ")
    assert ran._replace(out=told) == Ran(
        0,
        "Fitted 171 readings and 78 sessions up to 2031-07-06.\n"
        f"Wrote {demo_copy / 'posterior.nc'}.\n",
        "".join(f"{c}\n" for c in demo.posterior.checks.complaints),
    )
    assert "slackwater recovery" in next_step
    assert asked == [{"seed": 5, "draws": 300, "chains": 3, "progress": None}]
    assert Posterior.load(demo_copy).fingerprint == demo.posterior.fingerprint
    run("fit", demo_copy)
    assert asked[1] == {"seed": None, "draws": 1000, "chains": 4, "progress": None}


def test_a_doubtful_fit_is_complained_of_and_answered_with_a_warning(
    demo: Fitted, demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    checks = replace(demo.posterior.checks, worst_rhat=1.03, divergences=0)
    fitted_as(replace(demo.posterior, checks=checks), monkeypatch)
    said = "The fit's runs disagree (by 1.030; it should be 1.01 or less)."
    ran = run("fit", demo_copy)
    assert (ran.status, ran.err) == (0, f"{said}\n")
    ran = run("recovery", demo_copy)
    assert (ran.status, ran.err) == (0, f"Mind: {said}\n")


def test_a_bad_fit_is_status_1_and_so_is_every_answer_from_it(
    demo: Fitted, demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    checks = replace(demo.posterior.checks, worst_rhat=1.3, divergences=0)
    fitted_as(replace(demo.posterior, checks=checks), monkeypatch)
    said = "The fit's runs disagree (by 1.300; it should be 1.01 or less)."
    ran = run("fit", demo_copy)
    assert ran.status == 1
    assert ran.err == f"{said}\nNo answer will be given from this fit; see above.\n"
    for arguments in ANSWERING:
        ran = ask(demo_copy, arguments)
        assert (ran.status, ran.out) == (1, "")
        assert ran.err.startswith(f"{said} No answer is given from such a fit;")


def test_too_few_readings_are_status_1(tmp_path: Path) -> None:
    rows = [f"2031-03-{day:02},60" for day in range(1, 14)]
    (tmp_path / "readings.csv").write_text("date,rmssd_ms\n" + "\n".join(rows) + "\n")
    ran = run("fit", tmp_path)
    assert (ran.status, ran.out) == (1, "")
    assert "has 13 readings; a fit needs at least 14. Go on logging" in ran.err
    assert not (tmp_path / "posterior.nc").exists()


def test_a_folder_that_cannot_be_written_is_status_2(
    demo: Fitted, demo_copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fitted_as(demo.posterior, monkeypatch)

    def refuse(**kwargs: object) -> None:
        raise PermissionError(13, "Permission denied", "hidden")

    monkeypatch.setattr("tempfile.mkstemp", refuse)
    ran = run("fit", demo_copy)
    assert (ran.status, ran.out) == (2, "")
    assert ran.err == (
        f"{demo_copy / 'posterior.nc'}: it was not written (Permission denied); make "
        "room or allow writing\n"
    )


class Terminal:
    """Standard error as a terminal would be."""

    def __init__(self) -> None:
        self.text = ""
        self.encoding = "utf-8"

    def write(self, text: str) -> int:
        self.text += text
        return len(text)

    def flush(self) -> None:
        pass

    def isatty(self) -> bool:
        return True


def test_progress_shows_on_a_terminal_alone(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with progress_bar("sampling") as tell:
        assert tell is None
    monkeypatch.setenv("TERM", "xterm")
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with progress_bar("sampling") as tell:
        assert tell is not None
        tell(50, 100)
    assert "sampling" in terminal.text
    assert capsys.readouterr().out == ""


def test_check_tells_what_it_understood(demo: Fitted) -> None:
    ran = run("check", demo.folder)
    assert (ran.status, ran.err) == (0, "")
    assert "demo: 171 readings on 182 nights, 2031-01-06 to 2031-07-06\n" in ran.out
    assert "demo: hill run: 15 sessions\n" in ran.out
    assert "demo: 1 stressor: head cold\n" in ran.out


HEADINGS = [
    "river: Days to recover, counted from the session's date",
    "river: Where you stand on the morning of 2031-07-06",
    "river: The coming readings, at rest",
    "river: Recovery with and without river dip",
    "river: Recovery with and without beet juice",
    "river: mode: lift against row",
]


def assert_whole_job(ran: Ran, folder: Path) -> None:
    assert ran.status == 0, ran.err
    lines = ran.out.splitlines()
    assert [line for line in lines if line in HEADINGS] == HEADINGS
    assert ran.out.count("no diagnosis") == 1
    assert f"Wrote {folder / 'posterior.nc'}." in lines
    assert f"Wrote every answer and its pictures into {folder / 'report.html'}." in lines
    assert lines[-1] == f"  slackwater open {folder}"
    assert (folder / "report.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert all(len(line) <= 80 for line in lines if str(folder) not in line)
    assert "Mind: Only 'heavy lifting' has mode 'lift'" in ran.err
    assert Posterior.load(folder).season_name == "river"


def test_the_demo_copies_fits_and_answers(
    demo: Fitted, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fitted_as(replace(demo.posterior, season_name="river"), monkeypatch)
    folder = tmp_path / "new" / "river"
    for _ in range(2):  # again, over its own files
        assert_whole_job(run("demo", folder), folder)


@pytest.mark.slow
def test_the_demo_does_so_in_a_process_of_its_own(tmp_path: Path) -> None:
    folder = tmp_path / "river"
    ran = python("-m", "slackwater.fitting", "demo", str(folder))
    assert_whole_job(Ran(ran.returncode, ran.stdout, ran.stderr), folder)


def test_the_demo_overwrites_nothing_that_is_not_its_own(demo_copy: Path) -> None:
    edit(demo_copy, "readings.csv", "2031-01-08,53.8", "2031-01-08,53.9")
    before = {path.name: path.read_bytes() for path in demo_copy.iterdir()}
    ran = run("demo", demo_copy)
    assert (ran.status, ran.out) == (2, "")
    assert ran.err == (
        f"{demo_copy / 'readings.csv'} is there already and is not the demo's; name another "
        "folder: slackwater demo FOLDER\n"
    )
    assert {path.name: path.read_bytes() for path in demo_copy.iterdir()} == before


def test_fit_is_still_the_real_one() -> None:
    assert fit_module.fit is fit  # no test above left its stand-in behind


@pytest.mark.parametrize("command", ["check", "fit", "recovery", "trial ledger", "report"])
def test_a_misspelt_folder_is_told_its_like_and_a_file_its_folder(
    tmp_path: Path, command: str
) -> None:
    (tmp_path / "demo").mkdir()
    readings = tmp_path / "demo" / "readings.csv"
    readings.write_text("date,rmssd_ms\n")
    ran = run(*command.split(), tmp_path / "dmeo")
    said = f"dmeo:1:1: there is no such folder; did you mean {tmp_path / 'demo'}?\n"
    assert (ran.status, ran.err.endswith(said)) == (2, True)
    ran = run(*command.split(), readings)
    said = f"{readings}:1:1: this is a file, not a folder; give the folder that holds it\n"
    assert (ran.status, ran.err) == (2, said)
