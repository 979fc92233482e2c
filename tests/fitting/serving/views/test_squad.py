from __future__ import annotations

from pathlib import Path

import pytest

from slackwater.fitting import SquadFolder, squad_today
from slackwater.fitting.report.caution import SHORT_CAUTION
from slackwater.fitting.report.squads.today import rows
from slackwater.fitting.serving.work import FIT_SQUAD, Works
from slackwater.fitting.squads.pooled import pool_squad
from tests.fitting.serving.conftest import Visitor, text_of, visit
from tests.fitting.serving.test_work import until_over
from tests.fitting.squads import made


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    found = made.drawn(tmp_path / "weir")
    (found / "squad.toml").write_text('[athletes]\nada = "Ada of the weir"\n', encoding="utf-8")
    return found


def test_all_seasons_are_told_of_as_the_command_line_tells_them(folder: Path) -> None:
    one = visit(folder)
    assert 'href="/squad"' in one.client.get("/?all=1").text
    page = one.client.get("/squad").text
    squad = SquadFolder(folder)
    for name, *cells in rows(squad_today(squad, clock=None)):
        told = text_of(page[page.index(f">{name}</a></th>") :].partition("</tr>")[0])
        assert all(" ".join(cell.split()) in told for cell in cells), (name, cells, told)
    assert '<a href="/s/ada/">Ada of the weir</a>' in page
    assert SHORT_CAUTION in page
    assert "each athlete" not in page  # not pooled yet
    pool_squad(squad, made.GROUP)
    page = one.client.get("/squad").text
    assert "hill run: each athlete" in page
    assert made.SLOW in page


def test_one_season_is_no_squad(visitor: Visitor) -> None:
    assert "/squad" not in visitor.client.get("/?all=1").text
    answer = visitor.client.get("/squad")
    assert answer.status_code == 422
    assert "two seasons or more" in text_of(answer.text)


def test_seasons_of_which_nothing_was_learnt_say_so_and_can_be_learnt_from(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[tuple[Path, str]] = []
    monkeypatch.setattr(Works, "start", lambda self, path, kind: asked.append((path, kind)))
    one = visit(made.unfitted(tmp_path / "weir", "ada", "bruno"))
    said = text_of(one.client.get("/squad").text)
    assert "nothing can be said yet" in said
    assert "Learn from all seasons" in said
    one.send("/squad/fit")
    assert asked == [(tmp_path / "weir", FIT_SQUAD)]


def test_all_are_learnt_from_in_a_process_of_its_own(folder: Path) -> None:
    works = Works()
    work = until_over(works.start(folder, FIT_SQUAD))
    assert not work.refused
    assert work.done == work.of == len(made.GROUP)
    assert (folder / "population.json").exists()
    (said,) = work.came["said"]
    assert said.startswith("Nothing changed since the last fit: Ada of the weir, bruno")
