"""A PyMC model's log density and gradient as cached machine code that nutpie can call.

nutpie can compile a PyMC model by itself, but its wrapper is compiled anew in every
process and the sizes of the data are baked into it. Here data and sizes are inputs, and
the whole call, wrapper included, is kept in PyTensor's numba cache: a new season of the
same make-up starts without compiling anything.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

import numba
import numpy as np
import pymc as pm
import pytensor
import pytensor.tensor as pt
from numpy.typing import NDArray
from nutpie import _lib
from nutpie.sample import CompiledModel
from pytensor.graph.replace import graph_replace
from pytensor.link.numba.cache import CACHED_SRC_FUNCTIONS, compile_numba_function_src

Floats = NDArray[np.float64]

POINT: Final = "point"  # the one variable that nutpie records: the unconstrained point

_COUNTS: Final = "{{ total_finished_draws }} {{ total_draws }}"
_DOUBLES: Final = numba.types.CPointer(numba.types.double)
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
        start: returns an initial point for a seed.
        progress: called with the draws finished and the draws in all, about ten times
            a second.
    """

    names: list[str]
    lengths: list[int]
    logp: Any
    memory: NDArray[np.int64]
    start: Callable[[int], Floats]
    progress: Callable[[int, int], None] | None = None

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
    model: pm.Model, progress: Callable[[int, int], None] | None = None
) -> MachineCode:
    """Compile a model's log density and gradient, or find them in the cache.

    Args:
        model: its data must be shared variables, its transforms logarithms.
        progress: called with the draws finished and the draws in all while sampling.
    """
    start_values = model.initial_point()
    variables = model.value_vars
    names = [v.name for v in variables]
    lengths = [int(np.size(start_values[name])) for name in names]
    function = _flat_function(model, variables, lengths)
    arrays = [np.asarray(s.get_value(borrow=True)) for s in function.get_shared()]
    return MachineCode(
        dims={},
        names=names,
        lengths=lengths,
        logp=_cached_callback(function.vm.jit_fn, arrays),
        memory=_pack(arrays),
        start=_jittered(np.concatenate([np.ravel(start_values[name]) for name in names])),
        progress=progress,
    )


def _flat_function(model: pm.Model, variables: Sequence[Any], lengths: list[int]) -> Any:
    """Return the function of one vector that gives the log density and its gradient."""
    logp = model.logp()
    gradient = pytensor.grad(logp, variables)
    point = pt.vector("point")
    pieces = pt.split(
        point,
        splits_size=pytensor.shared(np.array(lengths, np.int64), name="lengths"),
        n_splits=len(lengths),
        axis=0,
    )
    replaced = {
        v: v.type.filter_variable(piece if v.ndim else piece[0], allow_convert=True)
        for v, piece in zip(variables, pieces, strict=True)
    }
    flat = pt.concatenate([g if g.ndim else g[None] for g in gradient])
    outputs = graph_replace([logp, flat], replaced, strict=True)
    return pytensor.function([point], outputs, mode="NUMBA", trust_input=True)


def _jittered(point: Floats) -> Callable[[int], Floats]:
    """Return what starts each chain elsewhere: the point, give or take 1 (PyMC's habit)."""

    def start(seed: int) -> Floats:
        return point + np.random.default_rng(seed).uniform(-1.0, 1.0, len(point))

    return start


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


def _cached_callback(function: Any, arrays: Sequence[NDArray[Any]]) -> Any:
    lines, arguments, at = [], [], 1
    for number, array in enumerate(arrays):
        view = "floats" if array.dtype.kind == "f" else "ints"
        start, shape = f"ints[{at}]", [f"ints[{at + 1 + d}]" for d in range(array.ndim)]
        size = " * ".join(shape) or "1"
        piece = f"{view}[{start} : {start} + {size}]"
        if array.ndim == 0:
            piece = f"np.asarray({view}[{start}])"
        elif array.ndim > 1:
            piece += f".reshape(({', '.join(shape)}))"
        lines.append(f"    a{number} = {piece}")
        arguments.append(f"a{number}")
        at += 1 + array.ndim
    source = _CALLBACK.format(
        arrays="\n".join(lines), arguments="".join(f", {a}" for a in arguments)
    )
    graph = CACHED_SRC_FUNCTIONS[function.py_func]
    callback = compile_numba_function_src(
        source,
        "callback",
        {"__name__": __name__, "np": np, "carray": numba.carray, "density": function},
        cache_key=sha256((source + graph).encode()).hexdigest(),
    )
    return numba.cfunc(_LOGP_SIGNATURE, cache=True)(callback)


_CALLBACK: Final = """
def callback(dim, point, gradient, value, memory):
    length = carray(memory, (1,), np.int64)[0]
    ints = carray(memory, (length,), np.int64)
    floats = carray(memory, (length,), np.float64)
{arrays}
    logp, slopes = density(carray(point, (dim,)){arguments})
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
