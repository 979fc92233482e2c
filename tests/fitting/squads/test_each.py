"""Each athlete fitted alone: who is, who need not be, and that nobody is touched beside."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

from slackwater.fitting import Posterior, read_season
from slackwater.fitting.squads.each import (
    FITTED,
    LEFT_OUT,
    UNCHANGED,
    Done,
    Outcome,
    Task,
    fit_each,
)
from slackwater.fitting.squads.folder import SquadFolder
from slackwater.model.errors import Reason
from tests.fitting.squads.made import ByHand, unfitted


def became(outcomes: Iterable[Outcome]) -> dict[str, str]:
    return {each.folder: each.became for each in outcomes}


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def add_a_reading(folder: Path, line: str) -> None:
    with (folder / "readings.csv").open("a") as file:
        file.write(line)


def test_whoever_changed_is_fitted_and_nobody_else(tmp_path: Path) -> None:
    unfitted(tmp_path, "ada", "bruno", "carla")
    squad, told = SquadFolder(tmp_path), []
    first = fit_each(squad, ByHand(), {}, lambda done, of: told.append((done, of)))
    assert became(first) == {"ada": FITTED, "bruno": FITTED, "carla": FITTED}
    assert told == [(1, 3), (2, 3), (3, 3)]
    again = ByHand()
    assert became(fit_each(squad, again, {})) == dict.fromkeys(squad.folders, UNCHANGED)
    assert again.asked == []
    add_a_reading(tmp_path / "bruno", "2031-05-11,61\n")
    damaged = tmp_path / "carla" / "posterior.nc"
    content = bytearray(damaged.read_bytes())
    content[len(content) // 2] ^= 1
    damaged.write_bytes(content)
    assert became(fit_each(squad, again, {})) == {
        "ada": UNCHANGED, "bruno": FITTED, "carla": FITTED
    }  # fmt: skip
    assert again.asked == ["bruno", "carla"]


def test_one_broken_season_holds_up_nobody(tmp_path: Path) -> None:
    unfitted(tmp_path, "ada", "bruno")
    add_a_reading(tmp_path / "ada", "2031-05-11,sixty\n")
    ada, bruno = fit_each(SquadFolder(tmp_path, "numbers"), ByHand(), {})
    assert (ada.became, bruno.became) == (LEFT_OUT, FITTED)
    assert [reason.code for reason in ada.why] == ["season cannot be read"]
    assert "readings.csv:42:2" in ada.why[0].facts["problem"]
    assert "ada" not in str(ada.why)


def test_it_goes_on_where_it_was_stopped(tmp_path: Path) -> None:
    unfitted(tmp_path, "ada", "bruno", "carla")
    squad = SquadFolder(tmp_path)
    with pytest.raises(KeyboardInterrupt):
        fit_each(squad, ByHand(stops_after=2), {})
    rest = ByHand()
    fit_each(squad, rest, {})
    assert rest.asked == ["carla"]


WHO = ("oriana", "tancred", "ludmila")  # which no library's words hold


def test_an_athletes_folder_alone_is_written_into(tmp_path: Path) -> None:
    """And nothing into it but what is learnt of that athlete."""
    unfitted(tmp_path, *WHO)
    before = contents(tmp_path)
    fit_each(SquadFolder(tmp_path), ByHand(), {})
    after = contents(tmp_path)
    assert {name: after[name] for name in before} == before
    new = {name for name in after if name not in before}
    own = {f"{who}/posterior.nc" for who in WHO}
    assert {name for name in new if not name.endswith(".slackwater.lock")} == own
    for who in WHO:
        kept = Posterior.load(tmp_path / who)
        assert kept.fingerprint == read_season(tmp_path / who).observed().fingerprint()
        assert kept.season_name == who
        for other in {*WHO} - {who}:
            assert other.encode() not in after[f"{who}/posterior.nc"]


class Wrong:
    """Workers who mix athletes up, or send back what is damaged."""

    def do(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, Done]]:
        (_, of_ada), (bruno, of_bruno) = ByHand().do(tasks)
        yield bruno, of_ada
        yield _, of_bruno._replace(posterior=of_bruno.posterior[:-9])


def test_what_comes_back_must_be_the_athletes_own_and_whole(tmp_path: Path) -> None:
    unfitted(tmp_path, "ada", "bruno")
    add_a_reading(tmp_path / "ada", "2031-05-11,61\n")
    ada, bruno = fit_each(SquadFolder(tmp_path), Wrong(), {})
    assert (ada.became, bruno.became) == (LEFT_OUT, LEFT_OUT)
    assert bruno.why == (Reason("came back of another season"),)
    assert not [*tmp_path.rglob("posterior.nc")]
