"""The posterior as it is kept: draws, what made them, and how far to trust them.

Written as NetCDF with the groups posterior, sample_stats, observed_data and
constant_data, so that ArviZ opens the file as it is. Reading it needs xarray alone.
"""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from io import BytesIO
from pathlib import Path
from typing import Final

import numpy as np
import xarray as xr

from slackwater.model import names as n
from slackwater.model.errors import NoAnswerError

FILE_NAME: Final = "posterior.nc"
_ENGINE: Final = "h5netcdf"
_ANSWERED_FROM: Final = ("posterior", "last_night")
_UNFINISHED: Final = ".posterior-"


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
    def complaints(self) -> list[str]:
        """What is wrong, a sentence each; empty for a clean fit."""
        said = []
        if self.divergences:
            said.append(
                f"The fit had {self.divergences} divergent steps in {self.draws} draws, so "
                "parts of the posterior may be missing."
            )
        if not self.worst_rhat <= 1.01:
            said.append(
                f"The chains disagree (R-hat {self.worst_rhat:.3f}, should be 1.01 or less)."
            )
        if not self.worst_ess >= 400:
            said.append(
                f"The draws are worth only {self.worst_ess:.0f} independent ones (should be 400 "
                "or more)."
            )
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
    """

    tree: xr.DataTree
    season_name: str
    fingerprint: str
    last_night: np.datetime64
    seed: int
    checks: FitChecks

    @property
    def draws(self) -> xr.Dataset:
        """All draws as one dimension `sample`, in front of every variable's own."""
        stacked = self.tree["posterior"].to_dataset().stack(sample=(n.CHAIN, n.DRAW))
        return stacked.transpose("sample", ...)

    @property
    def last(self) -> xr.Dataset:
        """The state on the last fitted night, dimension `sample` first."""
        stacked = self.tree["last_night"].to_dataset().stack(sample=(n.CHAIN, n.DRAW))
        return stacked.transpose("sample", ...)

    def save(self, folder: str | Path) -> Path:
        """Write `posterior.nc` into a folder, whole or not at all, and return its path.

        Raises:
            OSError: it cannot be written; the one before is left as it was.
        """
        folder = Path(folder)
        _clear(folder.glob(_UNFINISHED + "*"))
        tree = self.tree.copy()
        tree.attrs = {
            "season": self.season_name,
            "fingerprint": self.fingerprint,
            "last_night": str(self.last_night),
            "seed": self.seed,
            "checks": json.dumps(asdict(self.checks)),
            **self.tree.attrs,
        }
        path = folder / FILE_NAME
        content = BytesIO()  # in memory first: the HDF5 library crashes where a disk is full
        tree.to_netcdf(content, engine=_ENGINE)
        try:
            _replace(path, content.getvalue())
        except OSError as error:
            what = f"the posterior was not written ({error.strerror}); make room or allow writing"
            raise OSError(error.errno, what, str(path)) from None
        return path

    @classmethod
    def load(cls, folder: str | Path) -> Posterior:
        """Read what answers need of the `posterior.nc` in a season's folder.

        That is the groups posterior and last_night; ArviZ or xarray open the whole file.

        Raises:
            NoAnswerError: there is none, or it cannot be read.
        """
        path = Path(folder) / FILE_NAME
        mend = f"run: slackwater fit {folder}"
        if not path.is_file():
            raise NoAnswerError(f"{path}: this season has no posterior yet; {mend}")
        try:
            groups = {f"/{group}": _read(path, group) for group in _ANSWERED_FROM}
            facts = _read(path, None).attrs
            return cls(
                tree=xr.DataTree.from_dict(groups),
                season_name=str(facts["season"]),
                fingerprint=str(facts["fingerprint"]),
                last_night=np.datetime64(facts["last_night"], "D"),
                seed=int(facts["seed"]),
                checks=FitChecks(**json.loads(facts["checks"])),
            )
        except (OSError, RuntimeError, KeyError, TypeError, ValueError) as error:
            raise NoAnswerError(
                f"{path}: cannot be read as a posterior ({error}); {mend}"
            ) from None


def _read(path: Path, group: str | None) -> xr.Dataset:
    with xr.open_dataset(path, group=group, engine=_ENGINE) as stored:
        return stored.load()


def _replace(path: Path, content: bytes) -> None:
    """Put a file's new content in its place at once."""
    handle, name = tempfile.mkstemp(prefix=_UNFINISHED, dir=path.parent)
    unfinished = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)


def _clear(unfinished: Iterable[Path]) -> None:
    for path in unfinished:
        path.unlink(missing_ok=True)
