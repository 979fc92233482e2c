"""The season's likelihood as one PyTensor Op with its exact gradient.

Given the dips, the rates and the noise, the baseline is a scalar linear-Gaussian state
(a local level), so it is integrated out by a Kalman filter instead of being sampled.
The gradient runs the disturbance smoother backwards (Durbin & Koopman 2012, section 4.5
and 7.3.3) and then the dip recursion backwards. One pass gives both, so the Op's outputs
are the log-likelihood and all its derivatives.
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

_LOG_2PI: Final = float(np.log(2.0 * np.pi))


class LikelihoodInputs(NamedTuple):
    """The Op's inputs, in order; N nights, R readings, E events, G groups.

    Attributes:
        readings: ln RMSSD, shape (R,), ln ms.
        reading_nights: index of the night of each reading, ascending, shape (R,), int.
        event_nights: index of the night each event is first felt on, shape (E,), int.
        event_groups: group of each event, shape (E,), int.
        event_dips: dip of each event on that night, shape (E,), ln.
        rates: recovery rates, shape (G,), 1/day.
        speed: factor on all rates for the step into each night, shape (N,).
        shift: what the sensor adds to each reading, shape (R,), ln.
        noise_variance: of each reading, shape (R,), ln squared.
        drift_variance: baseline variance per night, scalar, ln squared.
        start_mean: prior mean of the baseline on the first night, scalar, ln ms.
        start_variance: its variance, scalar.
    """

    readings: Any
    reading_nights: Any
    event_nights: Any
    event_groups: Any
    event_dips: Any
    rates: Any
    speed: Any
    shift: Any
    noise_variance: Any
    drift_variance: Any
    start_mean: Any
    start_variance: Any


N_DATA: Final = 4  # the first inputs, which have no gradient


@numba.njit(cache=True, error_model="numpy")  # type: ignore[untyped-decorator]
def loglik_and_gradient(
    readings: Floats,
    reading_nights: NDArray[np.int64],
    event_nights: NDArray[np.int64],
    event_groups: NDArray[np.int64],
    event_dips: Floats,
    rates: Floats,
    speed: Floats,
    shift: Floats,
    noise_variance: Floats,
    drift_variance: Floats,
    start_mean: Floats,
    start_variance: Floats,
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats, Floats, Floats, Floats]:
    """Return the log-likelihood and its gradient by each input from `event_dips` on.

    Inputs as in `LikelihoodInputs`.
    """
    n_nights = speed.shape[0]
    n_readings = readings.shape[0]
    n_groups = rates.shape[0]
    n_events = event_dips.shape[0]
    drift = drift_variance.item()

    # Forward: the dips, then the filter.
    decay = np.empty((n_nights, n_groups))
    before = np.zeros((n_nights, n_groups))  # dips after decay, before new events
    dips = np.zeros((n_nights, n_groups))
    error = np.empty(n_readings)
    error_variance = np.empty(n_readings)
    gain = np.empty(n_readings)
    loglik = 0.0
    new = np.zeros((n_nights, n_groups))
    for event in range(n_events):
        new[event_nights[event], event_groups[event]] += event_dips[event]
    mean = start_mean.item()
    variance = start_variance.item()
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
            variance += drift
        if i < n_readings and reading_nights[i] == night:
            f = variance + noise_variance[i]
            v = readings[i] - shift[i] + total - mean
            loglik -= 0.5 * (_LOG_2PI + np.log(f) + v * v / f)
            gain[i] = variance / f
            mean += gain[i] * v
            variance *= 1.0 - gain[i]
            error[i] = v
            error_variance[i] = f
            i += 1

    # Backward: the disturbance smoother, then the dips' adjoint.
    d_dips = np.zeros(n_events)
    d_rates = np.zeros(n_groups)
    d_speed = np.zeros(n_nights)
    d_shift = np.zeros(n_readings)
    d_noise = np.zeros(n_readings)
    d_drift = 0.0
    r = 0.0
    r_variance = 0.0
    adjoint = np.zeros((n_nights, n_groups))
    for night in range(n_nights - 1, -1, -1):
        smoothing_error = 0.0
        if i > 0 and reading_nights[i - 1] == night:
            i -= 1
            k = gain[i]
            f = error_variance[i]
            smoothing_error = error[i] / f - k * r
            d_noise[i] = 0.5 * (smoothing_error * smoothing_error - 1.0 / f - k * k * r_variance)
            d_shift[i] = smoothing_error
            r = error[i] / f + (1.0 - k) * r
            r_variance = 1.0 / f + (1.0 - k) * (1.0 - k) * r_variance
        if night > 0:
            d_drift += 0.5 * (r * r - r_variance)
        for group in range(n_groups):
            a = -smoothing_error
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
        np.asarray(r),
        np.asarray(0.5 * (r * r - r_variance)),
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
        readings, *indices = nodes[:N_DATA]
        data = [pt.cast(readings, "float64"), *(pt.cast(node, "int64") for node in indices)]
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
