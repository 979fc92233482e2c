"""The season's likelihood as one PyTensor Op with its exact gradient.

Given the dips, the rates and the noise, what stays, what passes and what is unexplained are a
linear-Gaussian state (`slackwater.model.levels`), so they are integrated out by a Kalman filter
instead of being sampled. The gradient walks the filter backwards, step by step, and then the dip
recursion. One pass gives both, so the Op's outputs are the log-likelihood and all its derivatives.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final, NamedTuple

import numba
import numpy as np
import pytensor.tensor as pt
from numpy.typing import NDArray
from pytensor.gradient import DisconnectedType, grad_not_implemented
from pytensor.graph.basic import Apply, Variable
from pytensor.graph.op import Op
from pytensor.link.numba.dispatch.basic import register_funcify_default_op_cache_key
from pytensor.tensor.variable import TensorVariable

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_LOG_2PI: Final = float(np.log(2.0 * np.pi))


class LikelihoodInputs(NamedTuple):
    """The Op's inputs, in order; N nights, R readings, E events, G groups.

    Attributes:
        readings: ln RMSSD, shape (R,), ln ms.
        reading_nights: index of the night of each reading, ascending, shape (R,), int.
        event_nights: index of the night each event is first felt on, shape (E,), int.
        event_groups: group of each event, shape (E,), int.
        new_level: variance of an announced new level on each night, shape (N,), ln squared.
        carried: how much of the unexplained of the night before is left, shape (N,).
        jump: variance of the unexplained's step into each night, shape (N,), ln squared.
        event_dips: dip of each event on that night, shape (E,), ln.
        rates: recovery rates, shape (G,), 1/day.
        speed: factor on all rates for the step into each night, shape (N,).
        shift: what sensor, measures and what is held back add to each reading, shape (R,), ln.
        noise_variance: of each reading, shape (R,), ln squared.
        drift_variance: baseline variance per night, scalar, ln squared.
        transient_variance: of the transient on any night, scalar, ln squared.
        persistence: what is left of a transient after a night, scalar.
        start_mean: prior mean of the baseline on the first night, scalar, ln ms.
        start_variance: its variance, scalar.
    """

    readings: Any
    reading_nights: Any
    event_nights: Any
    event_groups: Any
    new_level: Any
    carried: Any
    jump: Any
    event_dips: Any
    rates: Any
    speed: Any
    shift: Any
    noise_variance: Any
    drift_variance: Any
    transient_variance: Any
    persistence: Any
    start_mean: Any
    start_variance: Any


N_DATA: Final = 7  # the first inputs, which have no gradient


@numba.njit(cache=True, error_model="numpy")  # type: ignore[untyped-decorator]
def loglik_and_gradient(
    readings: Floats,
    reading_nights: Ints,
    event_nights: Ints,
    event_groups: Ints,
    new_level: Floats,
    carried: Floats,
    jump: Floats,
    event_dips: Floats,
    rates: Floats,
    speed: Floats,
    shift: Floats,
    noise_variance: Floats,
    drift_variance: Floats,
    transient_variance: Floats,
    persistence: Floats,
    start_mean: Floats,
    start_variance: Floats,
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats, Floats, Floats, Floats, Floats, Floats]:
    """Return the log-likelihood and its gradient by each input from `event_dips` on.

    Inputs as in `LikelihoodInputs`.
    """
    n_nights = speed.shape[0]
    n_readings = readings.shape[0]
    n_groups = rates.shape[0]
    n_events = event_dips.shape[0]
    drift = drift_variance.item()
    passing = transient_variance.item()
    phi = persistence.item()
    fresh = passing * (1.0 - phi * phi)

    # Forward: the dips, then the filter of baseline, transient and unexplained, written out since
    # loops over three take longer. Their means are b, t and u, their covariances bb to uu, and that
    # of each with the level wb to wu.
    decay = np.empty((n_nights, n_groups))
    before = np.zeros((n_nights, n_groups))  # dips after decay, before new events
    dips = np.zeros((n_nights, n_groups))
    for event in range(n_events):
        dips[event_nights[event], event_groups[event]] += event_dips[event]
    read = np.empty((n_readings, 5))  # error, 1 / its variance, wb, wt, wu
    states = np.empty((n_nights, 4))  # after the night's reading: t, bt, tt, tu
    loglik = 0.0
    b, t, u = start_mean.item(), 0.0, 0.0
    bb, bt, bu, tt, tu, uu = start_variance.item(), 0.0, 0.0, passing, 0.0, 0.0
    i = 0
    for night in range(n_nights):
        if night > 0 and speed[night] == speed[night - 1]:
            for group in range(n_groups):
                decay[night, group] = decay[night - 1, group]
        else:
            for group in range(n_groups):
                decay[night, group] = np.exp(-rates[group] * speed[night])
        if night > 0:
            for group in range(n_groups):
                before[night, group] = dips[night - 1, group] * decay[night, group]
                dips[night, group] += before[night, group]
            kept = carried[night]
            t *= phi
            u *= kept
            bb += drift + new_level[night]
            bt *= phi
            bu *= kept
            tt = tt * phi * phi + fresh
            tu *= phi * kept
            uu = uu * kept * kept + jump[night]
        if i < n_readings and reading_nights[i] == night:
            total = 0.0
            for group in range(n_groups):
                total += dips[night, group]
            wb, wt, wu = bb + bt + bu, bt + tt + tu, bu + tu + uu
            f = noise_variance[i] + wb + wt + wu
            v = readings[i] - shift[i] + total - b - t - u
            one = 1.0 / f
            loglik -= 0.5 * (_LOG_2PI + np.log(f) + v * v * one)
            b += wb * v * one
            t += wt * v * one
            u += wu * v * one
            bb -= wb * wb * one
            bt -= wb * wt * one
            bu -= wb * wu * one
            tt -= wt * wt * one
            tu -= wt * wu * one
            uu -= wu * wu * one
            read[i, 0], read[i, 1] = v, one
            read[i, 2], read[i, 3], read[i, 4] = wb, wt, wu
            i += 1
        states[night, 0], states[night, 1] = t, bt
        states[night, 2], states[night, 3] = tt, tu

    # Backward: the filter's adjoint (d_b to d_uu are the derivatives by the state after each step;
    # a covariance stands twice in its matrix, and its derivative is by one of them), then that of
    # the dips.
    d_dips = np.zeros(n_events)
    d_rates = np.zeros(n_groups)
    d_speed = np.zeros(n_nights)
    d_shift = np.zeros(n_readings)
    d_noise = np.zeros(n_readings)
    d_drift = 0.0
    d_passing = 0.0
    d_phi = 0.0
    d_b, d_t, d_u = 0.0, 0.0, 0.0
    d_bb, d_bt, d_bu, d_tt, d_tu, d_uu = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    adjoint = np.zeros((n_nights, n_groups))
    for night in range(n_nights - 1, -1, -1):
        by_error = 0.0
        if i > 0 and reading_nights[i - 1] == night:
            i -= 1
            v, one = read[i, 0], read[i, 1]
            wb, wt, wu = read[i, 2], read[i, 3], read[i, 4]
            b, t, u = wb * one, wt * one, wu * one  # the gains
            e = v * one
            by_gains = d_b * b + d_t * t + d_u * u
            by_error = by_gains - e
            mb = d_bb * b + d_bt * t + d_bu * u
            mt = d_bt * b + d_tt * t + d_tu * u
            mu = d_bu * b + d_tu * t + d_uu * u
            by_variance = 0.5 * (e * e - one) - by_gains * e + mb * b + mt * t + mu * u
            hb, ht, hu = 0.5 * d_b * e - mb, 0.5 * d_t * e - mt, 0.5 * d_u * e - mu
            d_b -= by_error
            d_t -= by_error
            d_u -= by_error
            d_bb += 2.0 * hb + by_variance
            d_bt += hb + ht + by_variance
            d_bu += hb + hu + by_variance
            d_tt += 2.0 * ht + by_variance
            d_tu += ht + hu + by_variance
            d_uu += 2.0 * hu + by_variance
            d_noise[i] = by_variance
            d_shift[i] = -by_error
        if night > 0:
            t, bt = states[night - 1, 0], states[night - 1, 1]
            tt, tu = states[night - 1, 2], states[night - 1, 3]
            kept = carried[night]
            d_drift += d_bb
            d_passing += d_tt * (1.0 - phi * phi)
            d_phi += 2.0 * (phi * d_tt * (tt - passing) + d_bt * bt + d_tu * tu * kept) + d_t * t
            d_t *= phi
            d_u *= kept
            d_bt *= phi
            d_bu *= kept
            d_tt *= phi * phi
            d_tu *= phi * kept
            d_uu *= kept * kept
        left = 0.0
        for group in range(n_groups):
            a = by_error
            if night + 1 < n_nights:
                a += decay[night + 1, group] * adjoint[night + 1, group]
            adjoint[night, group] = a
            a *= before[night, group]
            d_rates[group] -= a * speed[night]
            left += a * rates[group]
        d_speed[night] = -left
    for event in range(n_events):
        d_dips[event] = adjoint[event_nights[event], event_groups[event]]
    return (
        np.asarray(loglik),
        d_dips,
        d_rates,
        d_speed,
        d_shift,
        d_noise,
        np.asarray(d_drift),
        np.asarray(d_passing + d_tt),
        np.asarray(d_phi),
        np.asarray(d_b),
        np.asarray(d_bb),
    )


class SeasonLogLikelihood(Op):  # type: ignore[misc]
    """Log-likelihood of a season's readings, and its gradient by each parameter.

    Outputs: the scalar log-likelihood, then the derivatives in the order of
    `LikelihoodInputs` from `event_dips` on. Only the first output has a gradient; PyTensor
    refuses a second derivative.
    """

    __props__ = ()

    def make_node(self, *inputs: Any) -> Apply:
        """Check the inputs' types and name the outputs' types."""
        nodes = [pt.as_tensor_variable(i) for i in inputs]
        parameters = [pt.cast(node, "float64") for node in nodes[N_DATA:]]
        kinds = ["float64", *["int64"] * 3, *["float64"] * 3]
        data = [pt.cast(node, kind) for node, kind in zip(nodes[:N_DATA], kinds, strict=True)]
        outputs = [pt.dscalar(), *(node.type() for node in parameters)]
        return Apply(self, [*data, *parameters], outputs)

    def infer_shape(self, *args: Any) -> list[Any]:
        """Give each derivative the shape of its parameter.

        Args:
            *args: PyTensor 2 passes the graph before the node and the shapes.
        """
        return [(), *args[-1][N_DATA:]]

    def perform(self, node: Apply, inputs: Sequence[Any], output_storage: Any) -> None:
        """Evaluate outside numba, as PyMC's own samplers do on the C linker."""
        for cell, value in zip(output_storage, loglik_and_gradient(*inputs), strict=True):
            cell[0] = value

    def connection_pattern(self, node: Apply) -> list[list[bool]]:
        """Say that every output depends on the parameters, for gradients."""
        outputs = len(node.outputs)
        return [*([[False] * outputs] * N_DATA), *([[True] * outputs] * (outputs - 1))]

    def pullback(
        self, inputs: Sequence[Variable], outputs: Sequence[Variable], cotangents: Sequence[Any]
    ) -> list[Variable]:
        """Scale the derivatives that the Op has already computed (PyTensor 3)."""
        by_loglik, *by_derivatives = cotangents
        unconnected: list[Variable] = [DisconnectedType()() for _ in range(N_DATA)]
        if all(isinstance(c.type, DisconnectedType) for c in by_derivatives):
            return [*unconnected, *(by_loglik * d for d in outputs[1:])]
        why = "the season's log-likelihood has first derivatives only"
        parameters = list(enumerate(inputs))[N_DATA:]
        return [*unconnected, *(grad_not_implemented(self, i, x, why) for i, x in parameters)]

    def L_op(  # noqa: N802  # PyTensor 2's name
        self, inputs: Sequence[Variable], outputs: Sequence[Variable], output_grads: Sequence[Any]
    ) -> list[Variable]:
        """Scale the derivatives that the Op has already computed (PyTensor 2)."""
        return self.pullback(inputs, outputs, output_grads)


@register_funcify_default_op_cache_key(SeasonLogLikelihood)  # type: ignore[untyped-decorator]
def _funcify(op: SeasonLogLikelihood, node: Apply, **kwargs: Any) -> Any:
    return loglik_and_gradient


_season_loglik = SeasonLogLikelihood()


def season_loglik(inputs: LikelihoodInputs) -> TensorVariable:
    """Return the scalar log-likelihood of a season's readings, differentiable."""
    outputs: Sequence[TensorVariable] = _season_loglik(*inputs)
    return outputs[0]
