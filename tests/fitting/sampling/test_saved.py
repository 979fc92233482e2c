"""posterior.nc: opened by ArviZ, whole at any moment, and refused in words where it is damaged."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from textwrap import dedent
from typing import Any

import arviz as az
import numpy as np
import pytest
import xarray as xr

from slackwater.fitting import Athlete, Posterior
from slackwater.fitting.sampling.posterior import _SEALED as SEALED
from slackwater.fitting.sampling.posterior import _sealed
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.priors import Belief, Priors
from tests.fitting.answers import by_hand
from tests.fitting.answers.by_hand import Known
from tests.fitting.conftest import Fitted

LOCK = ".slackwater.lock"
GROUPS = ["posterior", "sample_stats", "observed_data", "constant_data"]
CHANGED = {"damaged posterior", "foreign posterior"}


def left_behind(folder: Path) -> list[str]:
    """Return what lies in the folder beside the posterior and the lock that stays there."""
    return [path.name for path in folder.iterdir() if path.name not in ("posterior.nc", LOCK)]


def opened(folder: Path) -> Any:
    """Open the file with ArviZ: an InferenceData before version 1.0, a DataTree from then on."""
    return az.from_netcdf(folder / "posterior.nc", engine="h5netcdf")


def test_arviz_opens_it_with_its_groups_dimensions_and_labels(demo: Fitted) -> None:
    data = opened(demo.folder)
    groups = data.groups() if callable(data.groups) else data.groups
    assert set(GROUPS) <= {str(group).strip("/") for group in groups}
    draws = data["posterior"]
    assert draws["type_log_rate"].dims == ("chain", "draw", "type")
    assert draws["session_z"].dims == ("chain", "draw", "session")
    assert draws["log_rate_ratio"].dims == ("chain", "draw", "intervention")
    assert list(draws["type"].values) == demo.season.types
    assert data["observed_data"]["log_rmssd"].dims == ("reading",)
    assert data["observed_data"]["reading"].values[0] == "2031-01-06"
    assert data["constant_data"]["applied"].dims == ("intervention", "night")
    assert data["sample_stats"]["diverging"].dims == ("chain", "draw")


def test_arviz_summarises_it(demo: Fitted) -> None:
    summary = az.summary(opened(demo.folder), var_names=["noise_sd", "type_log_dip"])
    assert list(summary.index) == ["noise_sd", *(f"type_log_dip[{t}]" for t in demo.season.types)]
    expected = float(demo.posterior.draws[n.NOISE_SD].mean())
    assert float(summary.loc["noise_sd", "mean"]) == pytest.approx(expected, abs=0.005)


def test_xarray_opens_it_as_it_was(demo: Fitted) -> None:
    with xr.open_datatree(demo.folder / "posterior.nc", engine="h5netcdf") as tree:
        for group in [*GROUPS, "last_night"]:
            xr.testing.assert_identical(
                tree[group].to_dataset(), demo.posterior.tree[group].to_dataset()
            )
        assert tree.attrs["season"] == "demo"
        assert tree.attrs["last_night"] == "2031-07-06"
        assert {"slackwater_version", "pymc_version", "nutpie_version"} <= set(tree.attrs)


def test_what_is_loaded_answers_as_what_was_saved(demo: Fitted) -> None:
    loaded = Posterior.load(demo.folder)
    xr.testing.assert_identical(loaded.draws, demo.posterior.draws)
    xr.testing.assert_identical(loaded.last, demo.posterior.last)
    facts = ("season_name", "fingerprint", "last_night", "seed", "checks", "priors")
    assert {f: getattr(loaded, f) for f in facts} == {f: getattr(demo.posterior, f) for f in facts}


def test_the_priors_survive(tmp_path: Path) -> None:
    other = Priors(baseline=Belief(4.2, 0.3), drift_sd=Belief(-5.5, 0.125))
    assert other != Priors()
    replace(by_hand.by_seed(1), priors=other).save(tmp_path)
    assert Posterior.load(tmp_path).priors == other
    by_hand.by_seed(1).save(tmp_path)
    assert Posterior.load(tmp_path).priors == Priors()


def test_odd_names_survive(tmp_path: Path) -> None:
    names = ["Ruderübung 😀", "מים", "[bold]row[/bold]", "a/b", "x" * 200, " row "]
    season = by_hand.season(30, [(day, name) for day, name in enumerate(names)])
    known = Known(dict.fromkeys(names, (0.1, 1.0)))
    by_hand.posterior(season, known, draws=10).save(tmp_path)
    assert [str(t) for t in Posterior.load(tmp_path).draws[n.TYPE].values] == names


KILLED_WHILE_SAVING = dedent(
    """
    import os, random, signal, sys, time
    from pathlib import Path
    from slackwater.fitting.sampling import posterior as module
    from tests.fitting.answers.by_hand import by_seed

    folder, wanted = Path(sys.argv[1]), int(sys.argv[2])
    posteriors = [by_seed(1), by_seed(2)]
    posteriors[0].save(folder)
    fsync = os.fsync

    def slow(file):
        time.sleep(0.02)
        fsync(file)

    os.fsync = slow
    in_the_middle = kills = 0
    while in_the_middle < wanted:
        child = os.fork()
        if child == 0:
            while True:
                for one in posteriors:
                    one.save(folder)
        kills += 1
        time.sleep(random.Random(kills).uniform(0.05, 0.25))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        in_the_middle += len(list(folder.glob(".unfinished-*"))) > 0
        loaded = module.Posterior.load(folder)
        assert loaded.seed in (1, 2)
        assert float(loaded.draws["noise_sd"][0]) == 0.1
        assert float(loaded.last["level_mean"][0, 0]) == 4.0 + loaded.seed
    """
)


def run(script: str, *arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", script, *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[3],
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},  # so that the script may fork
        timeout=600,
    )


def test_killed_while_saving_it_leaves_the_old_or_the_new(tmp_path: Path) -> None:
    ran = run(KILLED_WHILE_SAVING, tmp_path, 5)
    assert ran.returncode == 0, ran.stderr
    by_hand.by_seed(3).save(tmp_path)
    assert left_behind(tmp_path) == []
    assert Posterior.load(tmp_path).seed == 3


FULL_DISK = dedent(
    """
    import resource, sys
    from tests.fitting.answers.by_hand import by_seed

    for room in (5000, 0):
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, resource.RLIM_INFINITY))
        try:
            by_seed(2).save(sys.argv[1])
        except OSError as error:
            print(error.filename, error.strerror, sep="\\n")
    """
)


def test_without_room_it_says_so_and_leaves_the_old(tmp_path: Path) -> None:
    # A limit on the size of files stands for a full disk. HDF5 by itself crashes on both.
    path = by_hand.by_seed(1).save(tmp_path)
    ran = run(FULL_DISK, tmp_path)
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.splitlines() == 2 * [
        str(path),
        "it was not written (File too large); make room or allow writing",
    ]
    assert left_behind(tmp_path) == []
    assert Posterior.load(tmp_path).seed == 1


@pytest.mark.parametrize("number", [errno.EACCES, errno.EROFS, errno.ENOSPC])
def test_where_writing_is_not_allowed_it_says_so_and_leaves_the_old(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    path = by_hand.by_seed(1).save(tmp_path)

    def refuse(**kwargs: object) -> None:
        raise OSError(number, "not here", str(tmp_path / "hidden"))

    monkeypatch.setattr(tempfile, "mkstemp", refuse)
    with pytest.raises(OSError, match=r"it was not written \(not here\)") as caught:
        by_hand.by_seed(2).save(tmp_path)
    assert (caught.value.errno, caught.value.filename) == (number, str(path))
    assert Posterior.load(tmp_path).seed == 1


def test_into_no_folder_it_is_not_written(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError, match="there is no such folder"):
        by_hand.by_seed(1).save(tmp_path / "nowhere")
    assert list(tmp_path.iterdir()) == []


def test_leftovers_of_a_killed_save_are_cleared(tmp_path: Path) -> None:
    (tmp_path / ".unfinished-abc123").write_bytes(b"half a file")
    (tmp_path / "readings.csv").write_text("date,rmssd_ms\n")
    by_hand.by_seed(1).save(tmp_path)
    assert left_behind(tmp_path) == ["readings.csv"]


def refusal(folder: Path) -> str:
    """Return the code of the one reason, which names the file."""
    with pytest.raises(NoAnswerError) as caught:
        Posterior.load(folder)
    (why,) = caught.value.reasons
    assert isinstance(why, Reason)
    assert why.facts["file"] == str(folder / "posterior.nc")
    return why.code


def test_a_folder_without_one_says_so(tmp_path: Path) -> None:
    assert refusal(tmp_path) == "no posterior"
    assert refusal(tmp_path / "nowhere") == "no posterior"
    (tmp_path / "posterior.nc").mkdir()
    assert refusal(tmp_path) == "unreadable posterior"


@pytest.mark.parametrize("share", [0.0, 0.001, 0.1, 0.5, 0.9, 0.999])
def test_a_file_cut_short_is_refused(tmp_path: Path, share: float) -> None:
    path = by_hand.by_seed(1).save(tmp_path)
    content = path.read_bytes()
    path.write_bytes(content[: int(share * len(content))])
    assert refusal(tmp_path) in CHANGED


@pytest.mark.parametrize("kept", [-1, -2, -SEALED, -SEALED - 1])
def test_a_file_without_the_end_of_its_seal_is_refused(tmp_path: Path, kept: int) -> None:
    path = by_hand.by_seed(1).save(tmp_path)
    path.write_bytes(path.read_bytes()[:kept])
    assert refusal(tmp_path) in CHANGED


def test_what_is_written_behind_the_seal_is_refused(tmp_path: Path) -> None:
    path = by_hand.by_seed(1).save(tmp_path)
    path.write_bytes(path.read_bytes() + b"\n")
    assert refusal(tmp_path) in CHANGED


def test_each_of_200_flipped_bytes_is_noticed(tmp_path: Path) -> None:
    path = by_hand.by_seed(1).save(tmp_path)
    content = path.read_bytes()
    rng = np.random.default_rng(sum(map(ord, "damage")))
    places = rng.integers(len(content), size=200)
    places[:2] = [len(content) - 1, len(content) - SEALED]  # in the seal too
    refused = []
    for place in places:
        damaged = bytearray(content)
        damaged[place] ^= int(rng.integers(1, 256))
        path.write_bytes(damaged)
        refused.append(refusal(tmp_path))
    assert set(refused) == CHANGED
    assert refused.count("damaged posterior") > 150
    path.write_bytes(content)
    assert Posterior.load(tmp_path).seed == 1


@pytest.mark.parametrize("content", [b"", b"date,rmssd_ms\n", b"\x89HDF\r\n\x1a\n" + bytes(500)])
def test_another_kind_of_file_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "posterior.nc").write_bytes(content)
    assert refusal(tmp_path) == "foreign posterior"


def test_another_programs_netcdf_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "posterior.nc"
    xr.Dataset({"noise_sd": ("draw", [0.1, 0.2])}).to_netcdf(path, engine="h5netcdf")
    assert refusal(tmp_path) == "foreign posterior"


@pytest.mark.parametrize("missing", ["posterior", "last_night", "fingerprint", "checks", "priors"])
def test_a_sealed_file_without_all_that_is_needed_is_refused(tmp_path: Path, missing: str) -> None:
    """So that a file of another version, whole as it is, is refused in words."""
    path = by_hand.by_seed(1).save(tmp_path)
    with xr.open_datatree(path, engine="h5netcdf") as stored:
        tree = stored.load()
    if missing in tree.children:
        del tree[missing]
    else:
        del tree.attrs[missing]
    tree.to_netcdf(path, engine="h5netcdf")
    assert refusal(tmp_path) == "foreign posterior"
    path.write_bytes(_sealed(path.read_bytes()))
    assert refusal(tmp_path) == "unreadable posterior"


def test_a_file_of_a_model_with_fewer_priors_is_refused(tmp_path: Path) -> None:
    path = by_hand.by_seed(1).save(tmp_path)
    with xr.open_datatree(path, engine="h5netcdf") as stored:
        tree = stored.load()
    tree.attrs["priors"] = tree.attrs["priors"].replace('"lift"', '"left"')
    tree.to_netcdf(path, engine="h5netcdf")
    path.write_bytes(_sealed(path.read_bytes()))
    assert refusal(tmp_path) == "unreadable posterior"


def test_a_saved_posterior_still_knows_its_season(tmp_path: Path) -> None:
    by_hand.by_seed(1).save(tmp_path)
    copied = shutil.copytree(tmp_path, tmp_path / "copy")
    assert Athlete(by_hand.SEASON, Posterior.load(copied)).now.night == by_hand.SEASON.last_night
