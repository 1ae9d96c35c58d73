"""The best order of checks by dynamic programming over every state that can come up.

Where causes may show any answer to many checks, no bound says much: what an order costs is decided
by the ends of its ways, where luck tells apart what few checks can. But then the states are few
enough to go through them all. `order_cubes` finds them; here each gets its value, the fewest minutes
from there on, times weight. Sets with fewer causes come first, and of one set the states with more
checks done: whatever a check leads to is known by then.

That is some 10^8 states with a dozen checks each, so the loops are WebAssembly (`order_lattice.wat`,
compiled when they are first needed by the runtime that draws with Graphviz too). The memory that
they work in is laid out here.
"""

from __future__ import annotations

import functools
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np
import wasmtime

from kb_tools.numbers.order_cubes import Cubes

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from kb_tools.numbers.order_states import States

_PAGE = 1 << 16
_MOST_STATES = (1 << 32) - 1
"""A state's place is a whole number of 32 bits."""
_FOR_SET_AND_CHECK = 4
"""To find what a check leads to from a set takes as long as so many states."""
_AT_A_TIME = 1 << 20
"""So many states are worked out between two looks at the clock, or those of one set."""
_SETS_AT_A_TIME = 4096
_TIE = 1e-12
"""Checks whose minutes differ by less than this share are equally good."""


@functools.cache
def _loops() -> tuple[wasmtime.Engine, wasmtime.Module]:
    """Compile the loops, once in a process."""
    engine = wasmtime.Engine()
    text = resources.files(__package__).joinpath("order_lattice.wat").read_text(encoding="utf-8")
    return engine, wasmtime.Module(engine, text)


class _Room:
    """The loops' memory: arrays laid out one after the other, then the loops themselves."""

    def __init__(self) -> None:
        """Begin at address 8, so that no array stands at 0."""
        self._end = 8
        self._at: dict[str, tuple[int, Any, tuple[int, ...]]] = {}
        self._filled: dict[str, NDArray[Any]] = {}
        self.numbers: dict[str, int] = {}
        """Whole numbers that the loops want to know, beside where the arrays stand."""

    def hold(self, name: str, array: NDArray[Any]) -> None:
        """Lay out an array that is copied in."""
        self.reserve(name, array.dtype, array.shape)
        self._filled[name] = array

    def reserve(self, name: str, dtype: Any, shape: tuple[int, ...]) -> None:  # noqa: ANN401 - numpy's own word
        """Lay out an array of zeros."""
        self._at[name] = self._end, dtype, shape
        size = int(np.prod(shape)) * np.dtype(dtype).itemsize
        self._end += -(-size // 8) * 8

    def furnish(self, values: int) -> Callable[[int, int], None]:
        """Make the memory and that of so many values, copy the arrays in, and return the loops' `solve`.

        Raises MemoryError where there is none.
        """
        engine, module = _loops()
        self._store = wasmtime.Store(engine)
        self._memory = self._memory_of(self._end, is_64=False)
        self._values = self._memory_of(8 * values, is_64=True)
        for name, array in self._filled.items():
            self.array(name)[...] = array
        self._filled.clear()
        linker = wasmtime.Linker(engine)
        linker.define(self._store, "layout", "memory", self._memory)
        linker.define(self._store, "layout", "values", self._values)
        constant = wasmtime.GlobalType(wasmtime.ValType.i32(), mutable=False)
        for name, number in {**self.numbers, **{name: at for name, (at, _, _) in self._at.items()}}.items():
            signed = number - (number >> 31 << 32)
            linker.define(self._store, "layout", name, wasmtime.Global(self._store, constant, wasmtime.Val.i32(signed)))
        solve = linker.instantiate(self._store, module).exports(self._store)["solve"]
        assert isinstance(solve, wasmtime.Func)  # noqa: S101 - for the type checker
        return functools.partial(solve, self._store)

    def _memory_of(self, size: int, *, is_64: bool) -> wasmtime.Memory:
        pages = -(-size // _PAGE)
        try:
            return wasmtime.Memory(self._store, wasmtime.MemoryType(wasmtime.Limits(pages, pages), is_64=is_64))
        except wasmtime.WasmtimeError as error:
            raise MemoryError(str(error)) from error

    def array(self, name: str) -> NDArray[Any]:
        """A view of an array in the memory."""
        at, dtype, shape = self._at[name]
        return np.ndarray(shape, dtype, self._buffer(self._memory), at)

    def values(self) -> NDArray[np.float64]:
        """A view of the values."""
        return np.frombuffer(self._buffer(self._values), np.float64)

    def _buffer(self, memory: wasmtime.Memory) -> memoryview[int]:
        return memoryview(memory.get_buffer_ptr(self._store))


class Lattice:
    """All states of one problem, and their optima once `run` has ended."""

    def __init__(self, states: States, tick: Callable[[], None] = lambda: None) -> None:
        """Count the states; `tick` is called again and again while `run` works and may raise to stop it."""
        self.states = states
        self.tick = tick
        self.looked_at = 0
        """States worked out by now."""
        self.count: int | None = None
        """Number of states; None where this is no way to solve the problem: there are too many of them."""
        self.work = 0
        """What `run` takes time for, in states: those, and what each set and check takes beside."""
        self.cubes = cubes = Cubes(states, tick)
        if cubes.count is not None and cubes.count < _MOST_STATES:
            self.count = cubes.count
            self.work = self.count + _FOR_SET_AND_CHECK * len(cubes.sets) * len(states.checks)

    @property
    def memory(self) -> int:
        """Bytes that the values take while `run` works and after it."""
        return 8 * (self.count or 0)

    def _lay_out(self) -> _Room:
        """Lay out the memory that `order_lattice.wat` describes."""
        states, cubes, room = self.states, self.cubes, _Room()
        checks, answers, variants = len(states.checks), cubes.masks.shape[1], cubes.variants
        room.numbers = {"causes": states.size, "checks": checks, "answers": answers, "variants": variants}
        room.numbers["hazards"] = len(states.stays)
        room.hold("weights", np.array(states.weights, dtype=np.float64))
        room.hold("chance", 1 / np.array(states.ways, dtype=np.float64))
        room.hold("minutes", np.array(states.minutes, dtype=np.float64))
        room.hold("stays", np.array([states.stay(variant) for variant in range(variants)], dtype=np.float64))
        room.hold("exposes", np.array(states.exposes, dtype=np.int32))
        room.hold("needs", np.array(states.needs, dtype=np.int32))
        room.hold("masks", cubes.masks)
        room.hold("exposing", cubes.exposing)
        room.hold("needing", cubes.needing)
        for name in ("sets", "sure", "shared", "made", "free", "own", "axes"):
            room.hold(name, getattr(cubes, name))
        room.hold("first", cubes.first.astype(np.int32))
        room.hold("spare", cubes.spare.astype(np.int32))
        room.hold("base", cubes.base.astype(np.uint32))
        room.reserve("children", np.int32, (min(_SETS_AT_A_TIME, len(cubes.sets)), checks, answers))
        most = int(np.bitwise_count(cubes.free).max())
        room.reserve("axis", np.int32, (64,))
        room.reserve("stages", np.int32, (len(states.stays), 3))
        room.reserve("candidates", np.float64, (checks, 3 + 2 * variants))
        room.reserve("weight", np.float64, (1 << most,))
        halves = (1 << (most + 1) // 2) + (1 << most // 2)
        room.reserve("tables", np.int32, ((variants + checks * answers * (variants + 2)) * halves,))
        return room

    def run(self) -> float:
        """Work out every state; return the optimum of the start, in minutes.

        Raises MemoryError where there is no room for their values.
        """
        if self.count is None:
            raise ValueError("the states of this problem were not counted")
        self._room = self._lay_out()
        solve = self._room.furnish(1 + self.count)
        self._values = self._room.values()
        worked_out = np.cumsum(self.cubes.sizes)
        first = 0
        while first < len(worked_out):
            self.tick()
            enough = int(np.searchsorted(worked_out, self.looked_at + _AT_A_TIME))
            last = min(max(first + 1, enough), first + _SETS_AT_A_TIME, len(worked_out))
            self._find_children(first, last)
            solve(first, last)
            self.looked_at = int(worked_out[last - 1])
            first = last
        return self.value(self.states.everything)

    def _find_children(self, first: int, last: int) -> None:
        """Tell the loops which sets the answers leave of these, the largest first.

        -1 stands for single causes and for the whole set.
        """
        sets = self.cubes.sets[first:last, None, None]
        parts = sets & self.cubes.masks
        children = self.cubes.rows(parts)
        children[parts == sets] = -1
        children[::] = -np.sort(-children, axis=2)
        self._room.array("children")[: last - first] = children

    def value(self, state: int) -> float:
        """The optimum of a state that can come up, in minutes times weight."""
        return float(self._values[self.cubes.place(state)])

    def best_check(self, state: int) -> int:
        """The first check of a best order for a state; -1 where nothing splits."""
        states = self.states
        weight = states.weight(state)
        minutes = {
            check: states.cost(check, state) * weight
            + sum(scale * self.value(part) for _, part, scale in states.parts(check, state))
            for check in range(len(states.checks))
            if states.splits(check, state)
        }
        least = min(minutes.values(), default=0.0)
        return next((check for check, each in minutes.items() if each <= least * (1 + _TIE)), -1)
