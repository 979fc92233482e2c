"""Nothing is lost: two tabs, doubled forms, fifty at once, a folder moved away, a page killed."""

from __future__ import annotations

import csv
import datetime as dt
import re
import signal
import subprocess
import sys
import urllib.error
import urllib.parse
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.fitting.serving.conftest import NEXT, Visitor, text_of, visit

VIEWS = ("", "log", "week", "season", "why", "types", "rest", "fit")


def rows(folder: Path, name: str = "readings") -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("view", VIEWS)
def test_every_view_answers_at_every_stage(view: str, visitor: Visitor, tmp_path: Path) -> None:
    """From a season that has just begun to one with a fit; without a line of scripts."""
    begun = tmp_path / "begun"
    begun.mkdir()
    (begun / "readings.csv").write_text("date,rmssd_ms\n2031-07-06,57\n")
    broken = tmp_path / "broken"
    broken.mkdir()
    (broken / "readings.csv").write_text("date,rmssd_ms\n2031-07-06,fifty\n")
    for one in (visitor, visit(begun), visit(broken)):
        page = one.look(view)
        assert page.count("<h1>") == 1
        assert " style=" not in page
        assert not re.search(r"<[^>]*\son\w+=", page)


def test_two_tabs_each_see_what_the_other_entered(visitor: Visitor, demo_copy: Path) -> None:
    one, other = visitor, visit(demo_copy)
    one.enters("reading", ms="66", date=NEXT)
    assert "66 ms" in text_of(other.look("log"))
    other.enters("event", type="hill run", day=NEXT)
    assert "hill run" in text_of(one.look(f"log?day={NEXT}"))


def test_a_form_sent_twice_is_asked_about(visitor: Visitor, demo_copy: Path) -> None:
    visitor.enters("event", type="hill run", day=NEXT)
    before = rows(demo_copy, "sessions")
    answer = visitor.send("event", {"type": "hill run", "day": NEXT})
    assert "Nothing was written yet" in text_of(answer.text)
    assert rows(demo_copy, "sessions") == before


def test_a_change_asked_for_again_by_its_address_changes_nothing(
    visitor: Visitor, demo_copy: Path
) -> None:
    before = rows(demo_copy)
    assert visitor.client.get(visitor.to("reading")).history
    assert rows(demo_copy) == before


def test_fifty_at_once_lose_no_entry(visitor: Visitor, demo_copy: Path) -> None:
    (demo_copy / "posterior.nc").unlink()  # what each means is not what is tried here
    first, token, before = dt.date(2031, 7, 7), visitor.token(), rows(demo_copy)

    def enter(n: int) -> int:
        form = {"token": token, "stressor": f"stressor {n}", "day": first, "sure": "yes"}
        answer = visitor.client.post(visitor.to("event"), data=form, follow_redirects=False)
        return int(answer.status_code)

    with ThreadPoolExecutor(50) as pool:
        assert set(pool.map(enter, range(50))) == {303}
    entered = {row["stressor"] for row in rows(demo_copy, "stressors") if row["date"] == NEXT}
    assert entered == {f"stressor {n}" for n in range(50)}
    assert rows(demo_copy) == before


def test_a_folder_moved_away_is_said_and_what_was_typed_is_kept(
    visitor: Visitor, demo_copy: Path, tmp_path: Path
) -> None:
    visitor.look()
    token = visitor.token()
    demo_copy.rename(tmp_path / "moved")
    answer = visitor.client.post(visitor.to("reading"), data={"token": token, "ms": "66.5"})
    assert answer.status_code == 410
    assert "not there any more" in text_of(answer.text)
    assert 'value="66.5"' in answer.text
    assert not demo_copy.exists()
    (tmp_path / "moved").rename(demo_copy)
    again = visitor.send("reading", {"ms": "66.5", "date": NEXT})
    assert "Logged the reading" in text_of(again.text)


def test_what_cannot_be_logged_is_said_and_kept(visitor: Visitor, demo_copy: Path) -> None:
    before = rows(demo_copy)
    answer = visitor.send("reading", {"ms": "sixty", "date": NEXT})
    assert answer.status_code == 422
    assert 'value="sixty"' in answer.text
    assert "rmssd_ms" in text_of(answer.text)
    assert rows(demo_copy) == before


class Page:
    """The page in a process of its own, by its command."""

    def __init__(self, folder: Path) -> None:
        command = [sys.executable, "-m", "slackwater.fitting", "open", str(folder)]
        self.process = subprocess.Popen(
            [*command, "--port", "0", "--no-browser"], stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        self.said = [next(self.process.stdout).strip() for _ in range(2)]
        self.link = self.said[-1]
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        self.home = self.opener.open(self.link).geturl()
        self.token = self.opener.open(self.home).read().decode().split('"token" value="')[1]

    def end(self, how: signal.Signals) -> int:
        self.process.send_signal(how)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return self.process.wait(timeout=60)

    def send(self, view: str, **form: str) -> str:
        filled = {"token": self.token.split('"')[0], **form}
        data = urllib.parse.urlencode(filled).encode()
        return str(self.opener.open(f"{self.home}{view}", data).read().decode())


def test_the_command_prints_its_link_last_and_a_kill_loses_nothing(demo_copy: Path) -> None:
    (demo_copy / "posterior.nc").unlink()
    page = Page(demo_copy)
    assert page.link.startswith("http://127.0.0.1:")
    assert "Logged the reading" in page.send("reading", ms="66", date=NEXT)
    page.end(signal.SIGKILL)
    assert rows(demo_copy)[-1]["date"] == NEXT
    with pytest.raises(urllib.error.URLError):
        page.send("event", type="hill run")
    again = Page(demo_copy)
    assert page.link.rsplit("/", 1)[1] != again.link.rsplit("/", 1)[1]
    assert "Took back the reading" in again.send("undo")
    assert again.end(signal.SIGINT) == 0
    assert rows(demo_copy)[-1]["date"] != NEXT
