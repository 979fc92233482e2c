"""The fitted demo season under any other names, without a new fit."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Final

import numpy as np
import xarray as xr

from slackwater.fitting import read_season
from tests.fitting.conftest import Fitted

# What people and spreadsheets put into names; each stands for one of the demo season's.
ODD: Final = {
    "hill run": "<script>window.ran = 1</script><img src=x onerror=window.ran=2>",
    "heavy lifting": "\"quoted\" & 'quoted' </title></svg> {{ 7 * 7 }} $x^2$",
    "row intervals": "רכיבה על גבעות مشي سريع",
    "steady row": "🚣🏽‍♀️ long 🏞️ #010101 id=\"x\" 3.14159",
    "easy paddle": "Kurzstreckenwassersportvorbereitung" * 6,
    "river dip": "<b>ice</b> & water\" onload=\"window.ran=3",
    "beet juice": "むくみ取りの温冷交代浴 " * 9,
    "head cold": "<style>* { display: none }</style>",
    "chest strap": "strap </style><script>window.ran = 4</script>",
    "finger clip": "clip",
    "lift": "<i>lift</i>",
    "mode": "mode & \"kind\"",
}  # fmt: skip


def write_renamed(demo: Fitted, folder: Path, names: Mapping[str, str]) -> None:
    """Write the demo season and its posterior into a folder, with other names."""
    names = {old: new.strip() for old, new in names.items()}
    folder.mkdir(parents=True, exist_ok=True)
    for file in demo.folder.glob("*.csv"):
        with file.open(encoding="utf-8", newline="") as source:
            rows = [[names.get(cell, cell) for cell in row] for row in csv.reader(source)]
        with (folder / file.name).open("w", encoding="utf-8", newline="") as target:
            csv.writer(target).writerows(rows)
    season = read_season(folder)
    groups = {
        f"/{name}": _renamed(node.to_dataset(), names)
        for name, node in demo.posterior.tree.children.items()
    }
    replace(
        demo.posterior,
        tree=xr.DataTree.from_dict(groups),
        season_name=season.name,
        fingerprint=season.observed().fingerprint(),
    ).save(folder)


def _renamed(data: xr.Dataset, names: Mapping[str, str]) -> xr.Dataset:
    """Return the data with its labels changed, plain ones and those within "column: value"."""
    changed = {
        dim: [_label(str(value), names) for value in data[dim].values]
        for dim in data.coords
        if data[dim].ndim == 1 and np.issubdtype(data[dim].dtype, np.str_)
    }
    return data.assign_coords({dim: (data[dim].dims, values) for dim, values in changed.items()})


def _label(value: str, names: Mapping[str, str]) -> str:
    return names.get(value, value)
