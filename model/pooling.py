"""Partial pooling: each member of a family is normal around the family's mean.

    member[i] ~ Normal(mean[i], sd)

Both forms mean the same; which one NUTS samples well depends on how much data each member
has of its own.
"""

from __future__ import annotations

from typing import Any

import pymc as pm


def centred(name: str, mean: Any, sd: Any, dim: str) -> Any:
    """Return the members, shape of `dim`, for members with much data of their own.

    Args:
        name: the variable's name.
        mean: scalar, or one mean a member.
        sd: between members, scalar.
        dim: the members' dimension.
    """
    return pm.Normal(name, mean, sd, dims=dim)


def non_centred(name: str, z_name: str, mean: Any, sd: Any, dim: str) -> Any:
    """Return the members, shape of `dim`, for members with little data of their own.

    Args:
        name: the variable's name.
        z_name: the name of what is sampled instead, each member's standard score.
        mean: scalar, or one mean a member.
        sd: between members, scalar.
        dim: the members' dimension.
    """
    z = pm.Normal(z_name, dims=dim)
    return pm.Deterministic(name, mean + sd * z, dims=dim)
