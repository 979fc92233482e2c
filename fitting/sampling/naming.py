"""What is sampled under the names, dims and labels that the model gives it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pymc as pm
import xarray as xr
from numpy.typing import NDArray

from slackwater.fitting.sampling.machine_code import MachineCode
from slackwater.model import names as n
from slackwater.model.recovery import with_type_parameters


def named_draws(model: pm.Model, compiled: MachineCode, points: NDArray[Any]) -> xr.Dataset:
    """Cut unconstrained points (chain, draw, length) into the model's variables."""
    ends = np.cumsum(compiled.lengths)[:-1]
    variables = {}
    used: set[str] = set()
    pieces = np.split(points, ends, axis=-1)
    for name, piece in zip(compiled.names, pieces, strict=True):
        positive = name.endswith("_log__")
        name = name.removesuffix("_log__")
        dims = model.named_vars_to_dims.get(name, ())
        used.update(dims)
        values = np.exp(piece) if positive else piece
        variables[name] = ((n.CHAIN, n.DRAW, *dims), values if dims else values[..., 0])
    data = xr.Dataset(
        variables,
        coords={
            n.CHAIN: np.arange(points.shape[0]),
            n.DRAW: np.arange(points.shape[1]),
            **_coords(model, used),
        },
    )
    return with_type_parameters(data, constant(model))


def _coords(model: pm.Model, dims: set[str]) -> dict[str, NDArray[np.str_]]:
    return {dim: np.array(model.coords[dim], dtype=str) for dim in dims}


def observed(model: pm.Model) -> xr.Dataset:
    """Return a model's readings."""
    return _datasets(model, [n.LOG_RMSSD], {n.LOG_RMSSD: model["readings"].get_value()})


def constant(model: pm.Model) -> xr.Dataset:
    """Return a model's other data."""
    values = {v.name: v.get_value() for v in model.data_vars if v.name != "readings"}
    return _datasets(model, list(values), values)


def _datasets(model: pm.Model, names: list[str], values: dict[str, Any]) -> xr.Dataset:
    dims = {name: model.named_vars_to_dims.get(name, ()) for name in names}
    used = {dim for each in dims.values() for dim in each}
    return xr.Dataset(
        {name: (dims[name], values[name]) for name in names}, coords=_coords(model, used)
    )
