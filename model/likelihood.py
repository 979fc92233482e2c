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
    states = 2
    for night in range(n_nights):
        if jump[night] > 0.0:
            states = 3
    passing = transient_variance.item()
    phi = persistence.item()
    fresh = passing * (1.0 - phi * phi)

    # Forward: the dips, then the filter.
    decay = np.empty((n_nights, n_groups))
    before = np.zeros((n_nights, n_groups))  # dips after decay, before new events
    dips = np.zeros((n_nights, n_groups))
    error = np.empty(n_readings)
    error_variance = np.empty(n_readings)
    toward = np.empty((n_readings, states))  # covariance of each state with the level
    means = np.zeros((n_nights, states))  # after the night's reading
    covariances = np.zeros((n_nights, states, states))
    loglik = 0.0
    new = np.zeros((n_nights, n_groups))
    for event in range(n_events):
        new[event_nights[event], event_groups[event]] += event_dips[event]
    mean = np.zeros(states)
    covariance = np.zeros((states, states))
    kept = np.ones(states)
    mean[0] = start_mean.item()
    covariance[0, 0] = start_variance.item()
    covariance[1, 1] = passing
    kept[1] = phi
    i = 0
    for night in range(n_nights):
        total = 0.0
        same = night > 0 and speed[night] == speed[night - 1]
        for group in range(n_groups):
            if same:
                decay[night, group] = decay[night - 1, group]
            else:
                decay[night, group] = np.exp(-rates[group] * speed[night])
            if night > 0:
                before[night, group] = dips[night - 1, group] * decay[night, group]
            dips[night, group] = before[night, group] + new[night, group]
            total += dips[night, group]
        if night > 0:
            if states > 2:
                kept[2] = carried[night]
                mean[2] *= kept[2]
            mean[1] *= phi
            for j in range(states):
                for k in range(states):
                    covariance[j, k] *= kept[j] * kept[k]
            covariance[0, 0] += drift_variance.item() + new_level[night]
            covariance[1, 1] += fresh
            if states > 2:
                covariance[2, 2] += jump[night]
        if i < n_readings and reading_nights[i] == night:
            f = noise_variance[i]
            v = readings[i] - shift[i] + total
            for j in range(states):
                toward[i, j] = 0.0
                for k in range(states):
                    toward[i, j] += covariance[j, k]
                f += toward[i, j]
                v -= mean[j]
            loglik -= 0.5 * (_LOG_2PI + np.log(f) + v * v / f)
            for j in range(states):
                mean[j] += toward[i, j] * v / f
                for k in range(states):
                    covariance[j, k] -= toward[i, j] * toward[i, k] / f
            error[i] = v
            error_variance[i] = f
            i += 1
        for j in range(states):
            means[night, j] = mean[j]
            for k in range(states):
                covariances[night, j, k] = covariance[j, k]

    # Backward: the filter's adjoint (by_mean and by_covariance are the derivatives by the state
    # after each step), then that of the dips.
    d_dips = np.zeros(n_events)
    d_rates = np.zeros(n_groups)
    d_speed = np.zeros(n_nights)
    d_shift = np.zeros(n_readings)
    d_noise = np.zeros(n_readings)
    d_drift = 0.0
    d_passing = 0.0
    d_phi = 0.0
    by_mean = np.zeros(states)
    by_covariance = np.zeros((states, states))
    by_toward = np.zeros(states)
    adjoint = np.zeros((n_nights, n_groups))
    for night in range(n_nights - 1, -1, -1):
        by_error = 0.0
        if i > 0 and reading_nights[i - 1] == night:
            i -= 1
            f = error_variance[i]
            v = error[i]
            by_error = -v / f
            by_variance = -0.5 * (1.0 / f - v * v / (f * f))
            for j in range(states):
                by_error += by_mean[j] * toward[i, j] / f
                by_variance -= by_mean[j] * toward[i, j] * v / (f * f)
                by_toward[j] = by_mean[j] * v / f
                for k in range(states):
                    by_variance += by_covariance[j, k] * toward[i, j] * toward[i, k] / (f * f)
                    by_toward[j] -= 2.0 * by_covariance[j, k] * toward[i, k] / f
            for j in range(states):
                by_mean[j] -= by_error
                for k in range(states):
                    by_covariance[j, k] += 0.5 * (by_toward[j] + by_toward[k]) + by_variance
            d_noise[i] = by_variance
            d_shift[i] = -by_error
        if night > 0:
            was = covariances[night - 1]
            d_drift += by_covariance[0, 0]
            d_passing += by_covariance[1, 1] * (1.0 - phi * phi)
            d_phi += 2.0 * phi * by_covariance[1, 1] * (was[1, 1] - passing)
            d_phi += 2.0 * by_covariance[0, 1] * was[0, 1] + by_mean[1] * means[night - 1, 1]
            if states > 2:
                kept[2] = carried[night]
                d_phi += 2.0 * by_covariance[1, 2] * was[1, 2] * kept[2]
            for j in range(states):
                by_mean[j] *= kept[j]
                for k in range(states):
                    by_covariance[j, k] *= kept[j] * kept[k]
        for group in range(n_groups):
            a = by_error
            if night + 1 < n_nights:
                a += decay[night + 1, group] * adjoint[night + 1, group]
            adjoint[night, group] = a
            d_rates[group] -= a * before[night, group] * speed[night]
            d_speed[night] -= a * before[night, group] * rates[group]
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
        np.asarray(d_passing + by_covariance[1, 1]),
        np.asarray(d_phi),
        np.asarray(by_mean[0]),
        np.asarray(by_covariance[0, 0]),
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
