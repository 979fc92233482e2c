"""The house in order: imports go backwards alone, no room is crowded, and tests mirror rooms.

Imports are read from the syntax trees, so that one inside a function, or for type checkers alone,
counts like any other.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Final

import pytest

ROOT: Final = Path(__file__).parents[2]
HOMES: Final = {"slackwater.model": ROOT / "model", "slackwater.fitting": ROOT / "fitting"}
FITTING: Final = "slackwater.fitting"
# Each line may import from the lines above it and from its own.
ORDER: Final = (
    ("slackwater.model",),
    (f"{FITTING}.files", f"{FITTING}.text", f"{FITTING}.apart"),
    (f"{FITTING}.intake",),
    (f"{FITTING}.doubts",),
    (f"{FITTING}.importing",),
    (f"{FITTING}.keeping",),
    (f"{FITTING}.logbook", f"{FITTING}.mornings"),
    (f"{FITTING}.records",),
    (f"{FITTING}.sampling",),
    (f"{FITTING}.state",),
    (f"{FITTING}.pooling",),
    (f"{FITTING}.answers",),
    (f"{FITTING}.measures",),
    (f"{FITTING}.beats",),
    (f"{FITTING}.describing",),
    (f"{FITTING}.repeating",),
    (f"{FITTING}.spacing",),
    (f"{FITTING}.trials",),
    (f"{FITTING}.folder",),
    (f"{FITTING}.daily", f"{FITTING}.foreign"),
    (f"{FITTING}.journey",),
    (f"{FITTING}.squads",),
    (f"{FITTING}.report",),
    (f"{FITTING}.questions",),
    (f"{FITTING}.demo",),
    (f"{FITTING}.serving",),
    (f"{FITTING}.commands",),
    (f"{FITTING}.cli",),
)
EXEMPT: Final = {FITTING, f"{FITTING}.__main__"}  # the list of names, and the way in
MOST_IN_A_ROOM: Final = 16
# Tests of more than one module, or of one under a better name.
OTHER_TESTS: Final = {
    "fitting": {"api", "broken", "contract", "layers", "threshold"},
    "fitting/answers": {"demo_truth"},
    "fitting/commands": {"help"},
    "fitting/state": {"unexplained"},
    "fitting/intake": {
        "cell_problems",
        "file_problems",
        "many_problems",
        "round_trip",
        "settings_problems",
        "sturdiness",
        "units",
    },
    "fitting/report": {"answers_page", "one_story"},
    "fitting/report/page": {"command", "in_browser"},
    "fitting/report/terminal": {"80_columns"},
    "fitting/serving": {"in_browser"},
    "fitting/sampling": {"fit_checks", "hostile", "pymc_agrees", "saved"},
    "model": {"hierarchy", "likelihood_op", "model_page", "nile", "purity"},
}

Arrows = Mapping[str, set[str]]


def modules() -> dict[str, Path]:
    """Return every module of the program, by its name."""
    found = {}
    for name, home in HOMES.items():
        for path in sorted(home.rglob("*.py")):
            parts = [*name.split("."), *path.relative_to(home).with_suffix("").parts]
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


MODULES: Final = modules()


def imported(source: str, known: Iterable[str]) -> set[str]:
    """Return the modules of the program that a source imports, wherever it does."""
    known = set(known)
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.module
            assert node.level == 0, "write imports out"
            for alias in node.names:
                whole = f"{node.module}.{alias.name}"
                found.add(whole if whole in known else node.module)
    return {name for name in found if name.partition(".")[0] == "slackwater"}


def place(module: str) -> int:
    """Return the number of the module's line in the order."""
    for number, line in enumerate(ORDER):
        if any(module == room or module.startswith(f"{room}.") for room in line):
            return number
    raise AssertionError(f"{module} is in no room; name its place in the order")


def forward(arrows: Arrows) -> list[str]:
    """Return the imports that go to a later room, in words."""
    return sorted(
        f"{module} imports {other}, which comes after it"
        for module, others in arrows.items()
        for other in others
        if place(other) > place(module)
    )


def circles(arrows: Arrows) -> list[str]:
    """Return the circles among modules, each once."""

    def walk(module: str, way: list[str]) -> Iterator[list[str]]:
        if module in way:
            yield way[way.index(module) :]
        elif module not in done:
            for other in sorted(arrows.get(module, ())):
                yield from walk(other, [*way, module])
            done.add(module)

    done: set[str] = set()
    found = {min(turns(circle)) for start in arrows for circle in walk(start, [])}
    return [" imports ".join([*circle, circle[0]]) for circle in sorted(found)]


def turns(circle: list[str]) -> list[tuple[str, ...]]:
    return [(*circle[i:], *circle[:i]) for i in range(len(circle))]


@pytest.fixture(scope="module")
def arrows() -> Arrows:
    return {
        module: imported(path.read_text(encoding="utf-8"), MODULES) - {module}
        for module, path in MODULES.items()
        if module not in EXEMPT
    }


def test_every_import_goes_to_the_same_room_or_to_one_before(arrows: Arrows) -> None:
    offending = forward(arrows)
    assert not offending, "\n" + "\n".join(offending)


def test_no_modules_import_each_other_in_a_circle(arrows: Arrows) -> None:
    found = circles(arrows)
    assert not found, "\n" + "\n".join(found)


def test_imports_name_modules_that_there_are(arrows: Arrows) -> None:
    unknown = set().union(*arrows.values()) - set(MODULES)
    assert unknown <= {"slackwater.demo_data"}


def test_every_room_of_the_order_is_there() -> None:
    rooms = {room for line in ORDER for room in line}
    assert all(any(m == room or m.startswith(f"{room}.") for m in MODULES) for room in rooms)


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("import slackwater.fitting.cli", {f"{FITTING}.cli"}),
        ("from slackwater.fitting import cli", {f"{FITTING}.cli"}),
        ("from slackwater.fitting import fit", {FITTING}),
        ("def f():\n    from slackwater.fitting.cli import main", {f"{FITTING}.cli"}),
        ("if TYPE_CHECKING:\n    from slackwater.model import names", {"slackwater.model.names"}),
        ("import numpy\nfrom pathlib import Path", set()),
    ],
)
def test_imports_are_found_wherever_they_stand(source: str, found: set[str]) -> None:
    assert imported(source, MODULES) == found


def test_an_import_of_a_later_room_is_caught() -> None:
    wrong = {
        f"{FITTING}.state.past": {f"{FITTING}.answers.forecast", "slackwater.model.names"},
        f"{FITTING}.report.words": {f"{FITTING}.text"},
        "slackwater.model.names": {f"{FITTING}.text"},
    }
    assert forward(wrong) == [
        "slackwater.fitting.state.past imports slackwater.fitting.answers.forecast, which comes "
        "after it",
        "slackwater.model.names imports slackwater.fitting.text, which comes after it",
    ]


def test_circles_are_caught() -> None:
    assert circles({"a": {"b"}, "b": {"c", "d"}, "c": {"a"}, "d": set()}) == [
        "a imports b imports c imports a"
    ]
    assert circles({"a": {"b", "c"}, "b": {"c"}, "c": set()}) == []


@pytest.mark.parametrize("folder", sorted({path.parent for path in MODULES.values()}), ids=str)
def test_no_room_is_crowded(folder: Path) -> None:
    here = [path.name for path in folder.glob("*.py") if path.name != "__init__.py"]
    assert len(here) <= MOST_IN_A_ROOM, here


def rooms() -> list[Path]:
    """Return every folder of modules but those with nothing to test alone."""
    found = {path.parent.relative_to(ROOT) for path in MODULES.values()}
    return sorted(found - {Path("fitting/report/reasons")})


@pytest.mark.parametrize("room", rooms(), ids=str)
def test_tests_mirror_the_rooms(room: Path) -> None:
    folder = ROOT / "tests" / room
    assert folder.is_dir()
    tested = {path.stem.removeprefix("test_") for path in folder.glob("test_*.py")}
    here = {path.stem for path in (ROOT / room).iterdir()}
    others = OTHER_TESTS.get(str(room), set())
    assert tested - here == others, f"tests of no module of {room}"
