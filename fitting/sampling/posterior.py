"""The posterior as it is kept: draws, what made them, and how far to trust them.

Written as NetCDF with the groups posterior, sample_stats, observed_data and
constant_data, so that ArviZ opens the file as it is. Behind the
NetCDF stands one line with the SHA-256 of all before it, which readers of HDF5 pass over: a file
of which a single bit has changed is refused.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields
from functools import cached_property
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any, Final

import h5py
import numpy as np
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.files import MEBIBYTE, alone, read_whole, write_whole
from slackwater.fitting.text import escaped
from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError, Reason
from slackwater.model.priors import Belief, GroupPriors, LabelBelief, Priors
from slackwater.model.unexplained import Stretch, Watched

FILE_NAME: Final = "posterior.nc"
_ENGINE: Final = "h5netcdf"
_ANSWERED_FROM: Final = ("posterior", "last_night")
_SEAL: Final = b"\nslackwater sha256 "
_SEALED: Final = len(_SEAL) + 65  # the digest in hexadecimal, and a line end
_MOST: Final = 1024 * MEBIBYTE  # 4,000 draws of a thousand sessions take 150 MiB


@dataclass(frozen=True)
class FitChecks:
    """How the sampler fared.

    Attributes:
        divergences: divergent transitions after warm-up.
        draws: draws kept, over all chains.
        worst_rhat: largest split R-hat of any parameter.
        worst_bulk_ess: smallest bulk effective sample size.
        worst_tail_ess: smallest tail effective sample size.
    """

    divergences: int
    draws: int
    worst_rhat: float
    worst_bulk_ess: float
    worst_tail_ess: float

    @property
    def worst_ess(self) -> float:
        """The smaller of the two effective sample sizes; NaN where either is."""
        return float(np.minimum(self.worst_bulk_ess, self.worst_tail_ess))

    @property
    def complaints(self) -> list[Reason]:
        """What is wrong; empty for a clean fit."""
        said = []
        if self.divergences:
            said.append(Reason("divergences", count=self.divergences, draws=self.draws))
        if not self.worst_rhat <= 1.01:
            said.append(Reason("chains disagree", rhat=self.worst_rhat))
        if not self.worst_ess >= 400:
            said.append(Reason("few effective draws", ess=self.worst_ess))
        return said

    @property
    def usable(self) -> bool:
        """Whether answers may be given at all."""
        return (
            self.worst_rhat <= 1.05
            and self.worst_ess >= 100
            and self.divergences <= 0.01 * self.draws
        )


@dataclass(frozen=True)
class Posterior:
    """Draws from the posterior of one season.

    Attributes:
        tree: groups posterior (dims chain, draw, and those of the model), sample_stats,
            observed_data, constant_data, last_night (the state that answers start from).
        season_name: the season's name.
        fingerprint: hash of what the fitted readings could show.
        last_night: date of the last reading fitted.
        seed: the seed of the draws.
        checks: how the sampler fared.
        priors: what was believed beforehand.
        stretches: the nights that the log does not explain.
        watched: what they were found in.
        departures: what of the season the model does not describe; None where nobody looked.
    """

    tree: xr.DataTree
    season_name: str
    fingerprint: str
    last_night: np.datetime64
    seed: int
    checks: FitChecks
    priors: Priors
    stretches: tuple[Stretch, ...]
    watched: Watched
    departures: tuple[Reason, ...] | None = None

    @cached_property
    def draws(self) -> xr.Dataset:
        """All draws as one dimension `sample`, in front of every variable's own."""
        return flat(self.tree["posterior"].to_dataset())

    @cached_property
    def last(self) -> xr.Dataset:
        """The state on the last fitted night, dimension `sample` first."""
        return flat(self.tree["last_night"].to_dataset())

    def save(self, folder: str | Path) -> Path:
        """Write `posterior.nc` into a folder, whole or not at all, and return its path.

        Raises:
            OSError: it cannot be written; the one before is left as it was.
        """
        path, content = Path(folder) / FILE_NAME, self.content()
        with alone(path.parent):
            write_whole(path, content)
        return path

    def content(self) -> bytes:
        """Return what `posterior.nc` holds, sealed."""
        tree = self.tree.copy()
        tree.attrs = {
            "season": self.season_name,
            "fingerprint": self.fingerprint,
            "last_night": str(self.last_night),
            "seed": self.seed,
            "checks": json.dumps(asdict(self.checks)),
            "priors": json.dumps(asdict(self.priors)),
            "departures": json.dumps(_kept(self.departures)),
            "stretches": json.dumps(
                [[str(s.first), s.last and str(s.last)] for s in self.stretches]
            ),
            "watched": json.dumps(self.watched._asdict(), default=list),
            **self.tree.attrs,
        }
        content = BytesIO()  # in memory first: the HDF5 library crashes where a disk is full
        tree.to_netcdf(content, engine=_ENGINE)
        return _sealed(content.getvalue())

    @classmethod
    def load(cls, folder: str | Path) -> Posterior:
        """Read what answers need of the `posterior.nc` in a season's folder; see `read`."""
        return cls.read(Path(folder) / FILE_NAME)

    @classmethod
    def read(cls, path: Path) -> Posterior:
        """Read what answers need of a file.

        That is the groups posterior and last_night; ArviZ or xarray open the whole file.

        Raises:
            NoAnswerError: there is none, or it is damaged or none of ours.
        """
        try:
            content = read_whole(path, _MOST)
        except FileNotFoundError:
            raise NoAnswerError(Reason("no posterior", file=str(path))) from None
        except OSError as error:
            raise NoAnswerError(_unreadable(str(path), error.strerror)) from None
        return cls.of(content, str(path))

    @classmethod
    def of(cls, content: bytes, file: str) -> Posterior:
        """Read what answers need of what a `posterior.nc` holds.

        Args:
            content: all that it holds.
            file: how it is called.

        Raises:
            NoAnswerError: it is damaged or none of ours.
        """
        if content[-_SEALED:] != _seal_of(content[:-_SEALED]):
            if _SEAL in content[-_SEALED:]:
                raise NoAnswerError(Reason("damaged posterior", file=file))
            raise NoAnswerError(Reason("foreign posterior", file=file))
        try:
            with h5py.File(h5py.h5f.open_file_image(content)) as opened:
                return cls._of(opened)
        except (
            OSError, RuntimeError, KeyError, IndexError, TypeError, ValueError, RecursionError
        ) as error:  # fmt: skip
            raise NoAnswerError(_unreadable(file, str(error))) from None

    @classmethod
    def _of(cls, file: h5py.File) -> Posterior:
        _refuse_what_we_never_write(file)
        facts = {k: v.item() if isinstance(v, np.ndarray) else v for k, v in file.attrs.items()}
        return cls(
            tree=xr.DataTree.from_dict({f"/{g}": _read(file[g]) for g in _ANSWERED_FROM}),
            season_name=str(facts["season"]),
            fingerprint=str(facts["fingerprint"]),
            last_night=np.datetime64(facts["last_night"], "D"),
            seed=int(facts["seed"]),
            checks=FitChecks(**json.loads(facts["checks"])),
            priors=_priors(json.loads(facts["priors"])),
            departures=_again(json.loads(facts["departures"])),
            stretches=tuple(_stretch(*each) for each in json.loads(facts["stretches"])),
            watched=_watched(json.loads(facts["watched"])),
        )


def flat(chains: xr.Dataset) -> xr.Dataset:
    """Return draws by chain and draw as one dimension `sample`, in front of the others.

    Args:
        chains: every variable with the dimensions `chain` and `draw` first.
    """
    return xr.Dataset(
        {
            str(name): (("sample", *values.dims[2:]), values.values.reshape(-1, *values.shape[2:]))
            for name, values in chains.data_vars.items()
        },
        coords={c: v for c, v in chains.coords.items() if c not in (n.CHAIN, n.DRAW)},
    )


def by_chain(draws: xr.Dataset, chains: int) -> xr.Dataset:
    """Return draws along `sample` by chain and draw, as `flat` found them."""
    return xr.Dataset(
        {
            str(name): (
                (n.CHAIN, n.DRAW, *values.dims[1:]),
                values.values.reshape(chains, -1, *values.shape[1:]),
            )
            for name, values in draws.data_vars.items()
        },
        coords=draws.coords,
    ).assign_coords(
        {n.CHAIN: np.arange(chains), n.DRAW: np.arange(draws.sizes["sample"] // chains)}
    )


def _priors(kept: dict[str, Any]) -> Priors:
    """Return the priors kept; none may be missing, as where another model was fitted."""
    beliefs = {each.name: Belief(*kept[each.name]) for each in fields(Priors)}
    if "labels" not in kept:
        return Priors(**beliefs)
    return GroupPriors(
        **beliefs, labels=tuple(LabelBelief(q, at, Belief(*b)) for q, at, b in kept["labels"])
    )


def _kept(reasons: tuple[Reason, ...] | None) -> list[Any] | None:
    return None if reasons is None else [reason.kept for reason in reasons]


def _again(kept: list[Any] | None) -> tuple[Reason, ...] | None:
    return None if kept is None else tuple(map(Reason.again, kept))


def _stretch(first: str, last: str | None) -> Stretch:
    return Stretch(np.datetime64(first, "D"), np.datetime64(last, "D") if last else None)


def _watched(kept: dict[str, Any]) -> Watched:
    return Watched(**kept | {"levels": np.array(kept["levels"], float)})


def _unreadable(file: str, why: str | None) -> Reason:
    return Reason("unreadable posterior", file=file, why=why or "")


def _refuse_what_we_never_write(file: h5py.File) -> None:
    """Refuse what could reach out of the file: to other files, to plugins, or for all memory.

    Raises:
        ValueError: a link that is no hard one, data kept elsewhere, in another dataset or behind a
            filter, objects other than texts, or more data than the file can hold.
    """
    left = file.id.get_filesize()
    for group in _ANSWERED_FROM:
        for name, stored in _held(_held(file)[group]).items():
            if not isinstance(stored, h5py.Dataset) or not _plain(stored):
                raise ValueError(f"{escaped(name)} is kept as slackwater never keeps it")
            left -= stored.nbytes
            if left < 0:
                raise ValueError(f"{escaped(name)} claims to hold more than the file does")


def _held(group: Any) -> dict[str, Any]:
    """Return what a group itself holds, nothing that a link in it leads to."""
    if not isinstance(group, h5py.Group):
        raise ValueError("a group is kept as slackwater never keeps it")
    own = [name for name in group if isinstance(group.get(name, getlink=True), h5py.HardLink)]
    if len(own) < len(group):
        raise ValueError("there is a link, which slackwater never writes")
    return {name: group[name] for name in own}


def _plain(stored: h5py.Dataset) -> bool:
    """Say whether a dataset is numbers or texts, in one piece, in the file itself."""
    kept = stored.id.get_create_plist()
    text = h5py.check_string_dtype(stored.dtype) is not None
    inside = kept.get_layout() in (h5py.h5d.CONTIGUOUS, h5py.h5d.COMPACT)
    return inside and not stored.external and (text or stored.dtype.kind in "fiub")


def _read(group: h5py.Group) -> xr.Dataset:
    """Return a group as xarray would read it, in a quarter of the time that answers can spare."""
    variables: dict[str, tuple[list[str], NDArray[Any]]] = {}
    for name, stored in group.items():
        text = stored.dtype.kind == "O"
        values = np.array(stored.asstr()[()], dtype=str) if text else stored[()]
        dims = [name] if stored.is_scale else [dim[0].name.split("/")[-1] for dim in stored.dims]
        variables[name] = (dims, values)
    coords = {name: each for name, each in variables.items() if each[0] == [name]}
    return xr.Dataset({k: v for k, v in variables.items() if k not in coords}, coords)


def _sealed(content: bytes) -> bytes:
    return content + _seal_of(content)


def _seal_of(content: bytes) -> bytes:
    return _SEAL + sha256(content).hexdigest().encode() + b"\n"
