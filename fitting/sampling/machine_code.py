"""A PyMC model's log density and gradient as cached machine code that nutpie can call.

nutpie can compile a PyMC model by itself, but its wrapper is compiled anew in every
process and the sizes of the data are baked into it. Here data and sizes are inputs, and
the whole call is kept in PyTensor's numba cache under the model's identity: a new season
of the same make-up, also in a new process, starts without building or compiling a graph.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from ctypes import CFUNCTYPE, c_int64, c_uint64, c_void_p
from dataclasses import dataclass, replace
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import numba
import numpy as np
import pymc as pm
import pytensor
import pytensor.tensor as pt
from filelock import FileLock
from numpy.typing import NDArray
from nutpie import _lib
from nutpie.sample import CompiledModel
from pytensor.graph.replace import graph_replace
from pytensor.link.numba.cache import compile_numba_function_src

from slackwater.fitting.apart import ApartError, apart

Floats = NDArray[np.float64]

POINT: Final = "point"  # the one variable that nutpie records: the unconstrained point

_FAR: Final = 100.0
_LENGTHS: Final = "lengths of the variables"
_COUNTS: Final = "{{ total_finished_draws }} {{ total_draws }}"
_DOUBLES: Final = numba.types.CPointer(numba.types.double)
_AT_ADDRESSES: Final = CFUNCTYPE(c_int64, c_uint64, c_void_p, c_void_p, c_void_p, c_void_p)
_LOGP_SIGNATURE: Final = numba.types.int64(
    numba.types.uint64, _DOUBLES, _DOUBLES, _DOUBLES, numba.types.voidptr
)
_EXPAND_SIGNATURE: Final = numba.types.int64(
    numba.types.uint64, numba.types.uint64, _DOUBLES, _DOUBLES, numba.types.voidptr
)


@dataclass(frozen=True)
class MachineCode(CompiledModel):  # type: ignore[misc]
    """A compiled model that records the unconstrained point alone.

    Attributes:
        names: the value variables' names, in the order of the point.
        lengths: how many numbers each of them takes.
        logp: the compiled log density with gradient.
        memory: the data it reads.
        initial: the point that chains begin near.
        progress: called with the draws finished and the draws in all, about ten times
            a second.
    """

    names: list[str]
    lengths: list[int]
    logp: Any
    memory: NDArray[np.int64]
    initial: Floats
    progress: Callable[[int, int], None] | None = None

    def start(self, seed: int) -> Floats:
        """Return where a chain begins: near the initial point, give or take 1 (PyMC's habit)."""
        return self.initial + np.random.default_rng(seed).uniform(-1.0, 1.0, len(self.initial))

    def reading(self, model: pm.Model) -> MachineCode:
        """Return the same code for what its model holds by now.

        Args:
            model: the one that was compiled; it may have been given another season since.
        """
        lengths = [_length(model, name) for name in self.names]
        return replace(self, lengths=lengths, memory=_pack(list(_arrays(model, lengths).values())))

    def density(self) -> Callable[[Floats], tuple[float, Floats]]:
        """Return what gives the log density and its gradient at a point, as `densities` does."""
        call, length, memory = _AT_ADDRESSES(self.logp.address), self.n_dim, self.memory
        value = np.empty(1)

        def density(at: Floats) -> tuple[float, Floats]:
            point = np.ascontiguousarray(at, np.float64)
            slopes = np.zeros(length)
            if not np.abs(point).max() < _FAR:
                return -np.inf, slopes
            addresses = (each.ctypes.data for each in (point, slopes, value, memory))
            if call(length, *addresses):
                slopes[:] = 0.0
                return -np.inf, slopes
            return float(value[0]), slopes

        return density

    def densities(self) -> Callable[[Floats], tuple[Floats, Floats]]:
        """Return what gives the log density and its gradient at points, shape (points, n_dim).

        The log density is minus infinity where there is none, and far beyond anything that the
        priors allow, where exponentials overflow; the gradient is 0 there.
        """
        call, length, memory = _AT_ADDRESSES(self.logp.address), self.n_dim, self.memory
        value = np.empty(1)

        def densities(at: Floats) -> tuple[Floats, Floats]:
            points = np.ascontiguousarray(at, np.float64)
            logs, slopes = np.full(len(points), -np.inf), np.zeros_like(points)
            near = np.abs(points).max(axis=1) < _FAR
            first, gradient = points.ctypes.data, slopes.ctypes.data
            for row in np.flatnonzero(near).tolist():
                here = row * points.strides[0]
                given = first + here, gradient + here, value.ctypes.data, memory.ctypes.data
                if call(length, *given):
                    slopes[row] = 0.0
                else:
                    logs[row] = value[0]
            return logs, slopes

        return densities

    @property
    def n_dim(self) -> int:
        """Length of the unconstrained point."""
        return sum(self.lengths)

    @property
    def shapes(self) -> dict[str, tuple[int, ...]]:
        """Shape of what nutpie records."""
        return {POINT: (self.n_dim,)}

    @property
    def coords(self) -> dict[str, Any]:
        """No coordinates: they are added after sampling."""
        return {}

    def _make_sampler(
        self, settings: Any, init_mean: Any, cores: int, progress: Any, *rest: Any
    ) -> Any:
        model = self._make_model(init_mean)
        if self.progress is not None:
            progress = _lib.ProgressType.template_callback(100, _COUNTS, cores, self._tell)
        return _lib.PySampler.from_pymc(settings, cores, model, progress, *rest)

    def _tell(self, counts: str) -> None:
        done, total = counts.split()
        if self.progress is not None:
            self.progress(int(done), int(total))

    def _make_model(self, init_mean: Any) -> Any:
        address = self.memory.ctypes.data
        n_dim = self.n_dim
        sizes: dict[str, int] = {}  # nutpie adds the size of the point here
        return _lib.PyMcModel(
            _lib.LogpFunc(self.logp.address, address, self),
            _lib.ExpandFunc(n_dim, n_dim, _copy_point.address, address, self),
            _lib.PyVariable.new_variables([POINT], ["float64"], [(n_dim,)], sizes, {}),
            n_dim,
            sizes,
            {},
            self.start,
            _no_adapter,
        )


def compile_model(
    model: pm.Model, identity: str, progress: Callable[[int, int], None] | None = None
) -> MachineCode:
    """Compile a model's log density and gradient, or find them in the cache.

    Args:
        model: its data and the lengths of its dims must be named shared variables, its
            transforms logarithms.
        identity: what, beside the names of variables and data, tells this model's graph
            from another's: sources, versions and whatever stands in it as a constant.
        progress: called with the draws finished and the draws in all while sampling.
    """
    start_values = model.initial_point()
    names = [v.name for v in model.value_vars]
    lengths = [int(np.size(start_values[name])) for name in names]
    arrays = _arrays(model, lengths)
    return MachineCode(
        dims={},
        names=names,
        lengths=lengths,
        logp=_callback(model, lengths, arrays, [identity, *names]),
        memory=_pack(list(arrays.values())),
        initial=np.concatenate([np.ravel(start_values[name]) for name in names]),
        progress=progress,
    )


def _arrays(model: pm.Model, lengths: list[int]) -> dict[str, NDArray[Any]]:
    """Return everything that the compiled function reads, by name, in a fixed order."""
    shared = [*model.data_vars, *model.dim_lengths.values()]
    arrays = {v.name: np.asarray(v.get_value(borrow=True)) for v in shared}
    arrays[_LENGTHS] = np.array(lengths, np.int64)
    return dict(sorted(arrays.items()))


def _length(model: pm.Model, name: str) -> int:
    dims = model.named_vars_to_dims.get(name.removesuffix("_log__"), ())
    return int(np.prod([model.dim_lengths[dim].get_value() for dim in dims], dtype=int))


def _flat_graph(model: pm.Model, lengths: list[int]) -> tuple[Any, list[Any]]:
    """Return a vector, and the log density and its gradient there."""
    variables = model.value_vars
    logp = model.logp()
    gradient = pytensor.grad(logp, variables)
    point = pt.vector("point")
    pieces = pt.split(
        point,
        splits_size=pytensor.shared(np.array(lengths, np.int64), name=_LENGTHS),
        n_splits=len(lengths),
        axis=0,
    )
    replaced = {
        v: v.type.filter_variable(piece if v.ndim else piece[0], allow_convert=True)
        for v, piece in zip(variables, pieces, strict=True)
    }
    flat = pt.concatenate([g if g.ndim else g[None] for g in gradient])
    return point, graph_replace([logp, flat], replaced, strict=True)


# The memory is one buffer of 8-byte numbers, read both as integers and as floats: its
# length, then for each array its offset and its shape, then the arrays themselves.


def _pack(arrays: Sequence[NDArray[Any]]) -> NDArray[np.int64]:
    header: list[int] = []
    bodies: list[NDArray[np.int64]] = []
    offset = 1 + sum(1 + a.ndim for a in arrays)
    for array in arrays:
        header += [offset, *array.shape]
        kind = np.float64 if array.dtype.kind == "f" else np.int64
        bodies.append(np.ascontiguousarray(array, kind).ravel().view(np.int64))
        offset += array.size
    return np.concatenate([np.array([offset, *header], np.int64), *bodies])


def _callback(
    model: pm.Model, lengths: list[int], arrays: dict[str, NDArray[Any]], identity: list[str]
) -> Any:
    """Return the C callback, from the cache where it is, else compiled from the graph."""
    source = _source(list(arrays.values()))
    versions = [version(name) for name in ("pymc", "pytensor", "numba")]
    made_of = "\n".join([source, *arrays, *identity, *versions])
    key = sha256(made_of.encode()).hexdigest()
    if key not in _loaded:
        _loaded[key] = _cached(source, key) or _compiled(source, key, model, lengths, list(arrays))
    return _loaded[key]


_loaded: dict[str, Any] = {}


def _cached(source: str, key: str) -> Any:
    """Return the callback from the cache; None where it is not there."""
    try:
        return _load(source, key, None)
    except numba.core.errors.NumbaError:  # the density is needed, which is not there to compile
        return None


def _compiled(source: str, key: str, model: pm.Model, lengths: list[int], names: list[str]) -> Any:
    """Return the callback compiled for this process, or meanwhile by another.

    Of several processes that begin at once, on one cache, the first compiles and the others wait.
    What a process has compiled it calls piece by piece, what it loads in one: the two differ in the
    last bits, and a sampler's draws then by Monte Carlo error. So that a seed gives the same draws
    the first time too, a process of its own compiles, and this one loads.
    """
    turn = FileLock(Path(pytensor.config.compiledir) / f"slackwater-{key[:16]}.lock")
    with turn:
        found = _cached(source, key)
        if found is None:
            graph = _flat_graph(model, lengths)
            with suppress(ApartError):  # then this one has to
                apart(_keep, source, key, *graph, names, seconds=None, memory=None)
                found = _cached(source, key)
            found = found or _compile(source, key, *graph, names)
        return found


def _keep(source: str, key: str, point: Any, outputs: list[Any], names: list[str]) -> None:
    """Put the callback into the cache."""
    _compile(source, key, point, outputs, names)


def _compile(source: str, key: str, point: Any, outputs: list[Any], names: list[str]) -> Any:
    """Return the callback compiled in this process, and keep it in the cache."""
    function = pytensor.function([point], outputs, mode="NUMBA", trust_input=True)
    return _load(source, key, _density(function, names))


def _load(source: str, key: str, density: Any) -> Any:
    scope = {"__name__": __name__, "np": np, "carray": numba.carray, "density": density}
    callback = compile_numba_function_src(source, "callback", scope, cache_key=key)
    return numba.cfunc(_LOGP_SIGNATURE, cache=True)(callback)


def _density(function: Any, names: list[str]) -> Any:
    """Return the graph's function with all arrays as arguments, in their fixed order."""
    given = ", ".join(f"a{i}" for i in range(len(names)))
    used = ", ".join(f"a{names.index(shared.name)}" for shared in function.get_shared())
    source = f"def density(point, {given}):\n    return graph(point, {used})\n"
    scope = {"__name__": __name__, "graph": function.vm.jit_fn}
    return numba.njit(compile_numba_function_src(source, "density", scope))


def _source(arrays: Sequence[NDArray[Any]]) -> str:
    lines, at = [], 1
    for number, array in enumerate(arrays):
        view = "floats" if array.dtype.kind == "f" else "ints"
        start, shape = f"ints[{at}]", [f"ints[{at + 1 + d}]" for d in range(array.ndim)]
        size = " * ".join(shape)
        piece = f"{view}[{start} : {start} + {size}]"
        if array.ndim == 0:
            piece = f"np.asarray({view}[{start}])"
        elif array.ndim > 1:
            piece += f".reshape(({', '.join(shape)}))"
        lines.append(f"    a{number} = {piece}")
        at += 1 + array.ndim
    arguments = ", ".join(f"a{number}" for number in range(len(arrays)))
    return _CALLBACK.format(arrays="\n".join(lines), arguments=arguments)


_CALLBACK: Final = """
def callback(dim, point, gradient, value, memory):
    length = carray(memory, (1,), np.int64)[0]
    ints = carray(memory, (length,), np.int64)
    floats = carray(memory, (length,), np.float64)
{arrays}
    logp, slopes = density(carray(point, (dim,)), {arguments})
    out = carray(gradient, (dim,))
    for i in range(dim):
        if not np.isfinite(slopes[i]):
            return 3
        out[i] = slopes[i]
    if not np.isfinite(logp.item()):
        return 4
    carray(value, (1,))[0] = logp.item()
    return 0
"""


@numba.cfunc(_EXPAND_SIGNATURE, cache=True)  # type: ignore[untyped-decorator]
def _copy_point(dim: int, length: int, point: Any, out: Any, memory: Any) -> int:
    source = numba.carray(point, (dim,))
    target = numba.carray(out, (dim,))
    for i in range(dim):
        target[i] = source[i]
    return 0


def _no_adapter(*args: Any, **kwargs: Any) -> Any:
    raise NotImplementedError("Only nutpie's diagonal and low-rank adaptation are used.")
