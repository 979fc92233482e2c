"""A squad's report: one file, a page for each athlete linked, and no name where none is wanted."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from slackwater.fitting import SquadFolder, squad_compare, squad_recovery, squad_today
from slackwater.fitting.report.squads.page import page
from slackwater.model.errors import NoAnswerError, Reason
from tests.fitting.squads.made import GROUP


class Ids(HTMLParser):
    """What a page's links lead to, and what there is; and what is loaded from elsewhere."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.loaded: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.ids += [str(found["id"])] if found.get("id") else []
        self.links += [str(found["href"])] if tag == "a" else []
        self.loaded += [str(found["src"])] if "src" in found else []


def made(folder: Path, shown: str = "") -> str:
    squad = SquadFolder(folder, shown)
    refused = NoAnswerError(Reason("one athlete uses it", measure="cold bath", athlete="1"))
    measures: list[Any] = [squad_compare(squad, "river dip"), refused]
    return page(squad_today(squad), squad_recovery(squad), measures)


@pytest.fixture(scope="module")
def named(club: Path) -> str:
    return made(club)


def test_every_athlete_has_a_page_and_a_link_to_it(named: str) -> None:
    found = Ids(named)
    assert len(found.ids) == len(set(found.ids))
    assert {link.removeprefix("#") for link in found.links} <= set(found.ids)
    for number, name in enumerate(GROUP, start=1):
        assert f'<a href="#athlete-{number}">{name}</a>' in named
        assert f'id="athlete-{number}-title">{name}</h3>' in named


def test_it_asks_nothing_of_any_server(named: str) -> None:
    assert Ids(named).loaded == []
    assert not re.search(r"url\((?!#)", named)
    assert "default-src 'none'" in named


def test_its_numbers_are_those_of_the_answers(named: str, club: Path) -> None:
    answer = squad_recovery(SquadFolder(club))
    text = re.sub(r"[\s\u00a0\u2060]+", " ", re.sub(r"<[^>]+>", "", named)).replace("\u2060", "")
    for each in answer.athletes:
        for row in each.types:
            assert f"{row.typical_days.median:.1f}" in text
            assert f"{100 * row.own_share:.0f}" in text
    assert "Likely recovered this morning" in text


@pytest.mark.parametrize("shown", ["numbers", "initials"])
def test_no_name_stands_in_it_where_numbers_or_initials_are_wanted(club: Path, shown: str) -> None:
    text = made(club, shown)
    assert not [name for name in GROUP if name in text]
    assert "club" in text
