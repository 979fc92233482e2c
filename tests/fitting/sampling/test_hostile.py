"""A posterior that someone else made cannot run code, reach other files or fill the memory."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest

from slackwater.fitting import Posterior
from slackwater.fitting.sampling.posterior import _sealed
from slackwater.model.errors import NoAnswerError
from tests.fitting.answers import by_hand

Harm = Callable[[h5py.File, Path], None]
SECRET = b"not for a posterior to read "


def external_link(file: h5py.File, other: Path) -> None:
    del file["posterior"]
    file["posterior"] = h5py.ExternalLink(str(other), "/posterior")


def external_link_to_a_variable(file: h5py.File, other: Path) -> None:
    del file["posterior/noise_sd"]
    file["posterior/noise_sd"] = h5py.ExternalLink(str(other), "/posterior/noise_sd")


def soft_link(file: h5py.File, _other: Path) -> None:
    del file["posterior/noise_sd"]
    file["posterior/noise_sd"] = h5py.SoftLink("/posterior/noise_sd")


def data_in_another_file(file: h5py.File, other: Path) -> None:
    del file["posterior/noise_sd"]
    kept = [(str(other), 0, h5py.h5f.UNLIMITED)]
    file["posterior"].create_dataset("noise_sd", (2, 1), "f8", external=kept)


def virtual_dataset(file: h5py.File, other: Path) -> None:
    layout = h5py.VirtualLayout((4,), "f8")
    layout[:] = h5py.VirtualSource(str(other), "posterior/noise_sd", (4,))
    file["posterior"].create_virtual_dataset("more", layout)


def filtered(file: h5py.File, _other: Path) -> None:
    file["posterior"].create_dataset("more", data=np.zeros(4), chunks=(2,), compression="gzip")


def endless(file: h5py.File, _other: Path) -> None:
    file["posterior"].create_dataset("more", (2**40,), "f8")


def endless_in_chunks(file: h5py.File, _other: Path) -> None:
    file["posterior"].create_dataset("more", (2**40,), "f8", chunks=(1024,))


def references(file: h5py.File, _other: Path) -> None:
    file["posterior"].create_dataset("more", (2,), h5py.ref_dtype)


def lists_of_numbers(file: h5py.File, _other: Path) -> None:
    file["posterior"].create_dataset("more", (2,), h5py.vlen_dtype(np.float64))


def records(file: h5py.File, _other: Path) -> None:
    file["posterior"].create_dataset("more", (2,), np.dtype([("a", "f8"), ("b", "i4")]))


def a_group_for_a_variable(file: h5py.File, _other: Path) -> None:
    file["posterior"].create_group("more")


def a_type_for_a_variable(file: h5py.File, _other: Path) -> None:
    file["posterior/more"] = np.dtype("f8")


def a_variable_for_a_group(file: h5py.File, _other: Path) -> None:
    del file["last_night"]
    file["last_night"] = np.zeros(3)


def nested_facts(file: h5py.File, _other: Path) -> None:
    file.attrs["checks"] = "[" * 30_000


def pickled_facts(file: h5py.File, _other: Path) -> None:
    file.attrs["priors"] = np.void(b"\x80\x04\x95cos\nsystem\n(S'true'\ntR.")


HARMS = [
    external_link, external_link_to_a_variable, soft_link, data_in_another_file, virtual_dataset,
    filtered, endless, endless_in_chunks, references, lists_of_numbers, records,
    a_group_for_a_variable, a_type_for_a_variable, a_variable_for_a_group, nested_facts,
    pickled_facts,
]  # fmt: skip


@pytest.mark.parametrize("harm", HARMS, ids=lambda harm: harm.__name__)
def test_what_slackwater_never_writes_is_refused(tmp_path: Path, harm: Harm) -> None:
    path = by_hand.by_seed(1).save(tmp_path)
    other = tmp_path / "other.nc"
    other.write_bytes(path.read_bytes() + SECRET)
    with h5py.File(path, "r+") as file:
        harm(file, other)
    path.write_bytes(_sealed(path.read_bytes()))
    with pytest.raises(NoAnswerError) as caught:
        Posterior.load(tmp_path)
    (why,) = caught.value.reasons
    assert why.code == "unreadable posterior"
    assert "not for a posterior" not in why.facts["why"]


def test_what_slackwater_writes_is_not(tmp_path: Path) -> None:
    path = by_hand.by_seed(1).save(tmp_path)
    with h5py.File(path, "r+") as file:
        file.attrs["more"] = "said"
    path.write_bytes(_sealed(path.read_bytes()))
    assert Posterior.load(tmp_path).seed == 1
