"""squad.toml: what it may say, and how each mistake in it is named."""

from __future__ import annotations

import pytest

from slackwater.fitting.intake.problems import SeasonFilesError
from slackwater.fitting.squads.settings import SquadSettings, read_squad_settings, shown_names

FOLDERS = ("ada", "bruno", "carl-otto")


def read(text: str) -> SquadSettings:
    return read_squad_settings(text.encode(), FOLDERS)


def test_nothing_need_be_said() -> None:
    assert read("") == SquadSettings()
    assert read("").common("hills") == "hills"


def test_all_that_may_be_said() -> None:
    found = read("""
name = " Weir club "
shown = "numbers"

[athletes]
ada = "Ada L."

[types]
"long hills" = "hill run"
""")
    assert (found.name, found.shown) == ("Weir club", "numbers")
    assert found.athletes == {"ada": "Ada L."}
    assert found.common("long hills") == found.common("hill run") == "hill run"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name = 3", 'squad.toml:1:1: name does not take \'3\'; give a text in quotes, such as '
         'name = "Weir club"'),
        ("name =", "squad.toml:1:1: this is not TOML (Invalid value); write it as TOML, such as "
         'name = "Weir club"'),
        ("shwon = 1", "squad.toml:1:1: unknown key 'shwon'; did you mean 'shown'?"),
        ('shown = "rank"', "squad.toml:1:1: shown does not take 'rank'; give one of \"names\", "
         '"initials" and "numbers"'),
        ('\n[athletes]\nadda = "A"', "squad.toml:3:1: [athletes] no season folder 'adda'; did you "
         "mean 'ada'?"),
        ('[athletes]\nada = "X"\nbruno = "X"', "squad.toml:2:1: [athletes] ada and bruno are both "
         "shown as 'X'; give each a name of its own"),
        ('[types]\na = "b"\nb = "c"', "squad.toml:2:1: [types] 'a' becomes 'b', which itself "
         "becomes 'c'; write 'a' = 'c'"),
        ("[types]\nhills = 3", "squad.toml:2:1: [types] hills does not take '3'; write [types] on "
         "a line of its own, and below it an athlete's name for a type and, in quotes, the common "
         'one, such as "long hills" = "hill run"'),
    ],
)  # fmt: skip
def test_a_mistake_is_named_with_its_place_and_its_mend(text: str, said: str) -> None:
    with pytest.raises(SeasonFilesError) as refused:
        read(text)
    assert str(refused.value) == said


def test_athletes_are_shown_by_names_initials_or_numbers() -> None:
    settings = SquadSettings(athletes={"ada": "Ada Lund"})
    assert shown_names(FOLDERS, settings) == {
        "ada": "Ada Lund", "bruno": "bruno", "carl-otto": "carl-otto"
    }  # fmt: skip
    assert [*shown_names(FOLDERS, settings, "initials").values()] == ["AL", "B", "CO"]
    assert [*shown_names(FOLDERS, settings, "numbers").values()] == ["1", "2", "3"]
    alike = shown_names(("ada", "alma", "arne"), SquadSettings(shown="initials"))
    assert [*alike.values()] == ["A", "A2", "A3"]
