"""Read squad.toml: the squad's name, its athletes' shown names, types that mean the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from slackwater.fitting.intake.problems import Problem, SeasonFilesError, show
from slackwater.fitting.intake.toml_file import ANY, Form, Keys, a_text
from slackwater.fitting.text import listed
from slackwater.model.errors import nearest

SQUAD_FILE: Final = "squad.toml"
NAMES: Final = "names"
INITIALS: Final = "initials"
NUMBERS: Final = "numbers"
SHOWN: Final = (NAMES, INITIALS, NUMBERS)

_KEYS: Final[Keys] = {
    "name": a_text,
    "shown": lambda value: value in SHOWN,
    "athletes": {ANY: a_text},
    "types": {ANY: a_text},
}
_WANTED: Final = {
    "name": 'give a text in quotes, such as name = "Weir club"',
    "shown": 'give one of "names", "initials" and "numbers"',
    "athletes": "write [athletes] on a line of its own, and below it a folder's name and, in "
    'quotes, what is shown for it, such as alder = "AB"',
    "types": "write [types] on a line of its own, and below it an athlete's name for a type and, "
    'in quotes, the common one, such as "long hills" = "hill run"',
}
_FORM: Final = Form(SQUAD_FILE, _KEYS, lambda path: _WANTED[path[0]], 'name = "Weir club"')


@dataclass(frozen=True)
class SquadSettings:
    """All that squad.toml may say.

    Attributes:
        name: the squad's name; None for that of its folder.
        shown: how athletes are called on every screen: by "names", "initials" or "numbers".
        athletes: season folder's name -> what is shown for it by "names".
        types: an athlete's name for a type -> the common one, where that is another.
    """

    name: str | None = None
    shown: str = NAMES
    athletes: Mapping[str, str] = field(default_factory=dict)
    types: Mapping[str, str] = field(default_factory=dict)

    def common(self, label: str) -> str:
        """Return the squad's name for a type that an athlete may call otherwise."""
        return self.types.get(label, label)


def read_squad_settings(data: bytes, folders: Sequence[str]) -> SquadSettings:
    """Return what squad.toml says.

    Args:
        data: the file's bytes; empty where there is no such file.
        folders: the names of the season folders beside it.

    Raises:
        SeasonFilesError: it is no TOML, a key is unknown, a value is out of its range, an athlete
            has no folder, two are shown alike, a common type is mapped on.
    """
    given, text = _FORM.read(data)
    athletes, types = given.get("athletes", {}), given.get("types", {})

    def problem(table: str, key: str, what: str, mend: str) -> Problem:
        return _FORM.problem([table, key], text, f"[{table}] {what}", mend)

    problems = []
    for folder in athletes:
        if folder not in folders:
            like = nearest(folder, folders)
            mend = f"did you mean {like!r}?" if like else "name a folder of the squad, or delete it"
            problems.append(problem("athletes", folder, f"no season folder {show(folder)}", mend))
    called = {folder: athletes.get(folder, folder).strip() for folder in [*folders, *athletes]}
    for folder in athletes:
        alike = [other for other, name in called.items() if name == called[folder]]
        if len(alike) > 1:
            what = f"{listed(alike)} are both shown as {show(called[folder])}"
            problems.append(problem("athletes", folder, what, "give each a name of its own"))
            break
    for label, common in types.items():
        onward = types.get(common, common)
        if onward != common:
            what = f"{show(label)} becomes {show(common)}, which itself becomes {show(onward)}"
            problems.append(problem("types", label, what, f"write {label!r} = {onward!r}"))
    if problems:
        raise SeasonFilesError(problems)
    return SquadSettings(
        name=given["name"].strip() if "name" in given else None,
        shown=given.get("shown", NAMES),
        athletes={folder: called[folder] for folder in athletes},
        types={label.strip(): common.strip() for label, common in types.items()},
    )


def shown_names(folders: Sequence[str], settings: SquadSettings, how: str = "") -> dict[str, str]:
    """Return what is shown for each season folder, each another.

    Args:
        folders: the folders' names, in the squad's order.
        settings: what squad.toml says.
        how: "names", "initials" or "numbers"; as the settings have it if left out.
    """
    names = {folder: settings.athletes.get(folder, folder) for folder in folders}
    match how or settings.shown:
        case "numbers":
            return {folder: str(number) for number, folder in enumerate(folders, start=1)}
        case "initials":
            return dict(zip(folders, _apart(map(_initials, names.values())), strict=True))
        case _:
            return names


def _initials(name: str) -> str:
    words = "".join(c if c.isalnum() else " " for c in name).split()
    return "".join(word[0].upper() for word in words) or name[:1]


def _apart(labels: Iterable[str]) -> list[str]:
    """Return labels with a number behind each that stood there before."""
    used: set[str] = set()
    found = []
    for label in labels:
        number, own = 1, label
        while own in used:
            number += 1
            own = f"{label}{number}"
        used.add(own)
        found.append(own)
    return found
