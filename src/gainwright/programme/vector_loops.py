"""Loops over samples as vector instructions for numba; imported only when the kernel is compiled.

LLVM doesn't vectorise a recursive filter over several lanes, or a strided count, by itself. Each function here gives
numba one such loop. All arguments are integers: addresses, counts, bytes.
"""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types as numba_types
from numba.core import cgutils as numba_cgutils
from numba.extending import intrinsic as numba_intrinsic

from gainwright.programme.true_peak import PHASES, TAPS

types: Any = numba_types
cgutils: Any = numba_cgutils
intrinsic: Any = numba_intrinsic

I16, I32, I64 = ir.IntType(16), ir.IntType(32), ir.IntType(64)
F32, F64 = ir.FloatType(), ir.DoubleType()
PAIR32, PAIR64, LANES = (ir.VectorType(*kind) for kind in ((F32, 2), (F64, 2), (F64, 4)))
WIDE, WIDE_BITS = ir.VectorType(F32, 16), ir.VectorType(I32, 16)

CODES = 32768
"""Number of codes: the upper 15 bits of a float32's magnitude."""
FRAME = 8
"""Bytes of a frame: two float32."""
TABLE = CODES * 8
"""Bytes of a table of counts: two uint32 for each code."""
LATER = 8
"""Frames by which counting lags behind filtering: read back sooner, a value would still be in the store buffer."""


def _number(value: int) -> Any:
    return ir.Constant(I64, value)


def _at(builder: Any, address: Any, offset: Any, kind: Any) -> Any:
    return builder.inttoptr(builder.add(address, offset), kind.as_pointer())


def _shuffled(builder: Any, one: Any, other: Any, order: list[int]) -> Any:
    return builder.shuffle_vector(one, other, ir.Constant(ir.VectorType(I32, len(order)), order))


def _fma(builder: Any, x: Any, y: Any, z: Any) -> Any:
    kind = "f64" if x.type.element == F64 else "f32"
    signature = ir.FunctionType(x.type, [x.type] * 3)
    name = f"llvm.fma.v{x.type.count}{kind}"
    return builder.call(cgutils.get_or_insert_function(builder.module, signature, name), [x, y, z])


class _Memory:
    """A row of vectors that a loop keeps in registers: loaded before it, stored after it."""

    def __init__(self, builder: Any, address: Any, count: int, kind: Any) -> None:
        self._builder = builder
        size = kind.count * 8
        self._places = [_at(builder, address, _number(k * size), kind) for k in range(count)]
        self._slots = [cgutils.alloca_once(builder, kind) for _ in range(count)]
        for place, slot in zip(self._places, self._slots, strict=True):
            builder.store(builder.load(place, align=8), slot)

    def __getitem__(self, index: int) -> Any:
        return self._builder.load(self._slots[index])

    def __setitem__(self, index: int, value: Any) -> None:
        self._builder.store(value, self._slots[index])

    def add(self, index: int, value: Any) -> None:
        """Add to a sum."""
        self[index] = self._builder.fadd(self[index], value)

    def square(self, index: int, value: Any) -> None:
        """Add a square to a sum."""
        self[index] = _fma(self._builder, value, value, self[index])

    def store(self) -> None:
        """Store all vectors in memory."""
        for place, slot in zip(self._places, self._slots, strict=True):
            self._builder.store(self._builder.load(slot), place, align=8)


def _section(builder: Any, states: _Memory, at: int, row: list[Any], value: Any) -> tuple[Any, Any, Any, Any]:
    """Advance a section in direct form II; return its output and the three values of its delay line."""
    one, two = states[at], states[at + 1]
    now = _fma(builder, row[0], one, _fma(builder, row[1], two, value))
    states[at], states[at + 1] = now, one
    found = _fma(builder, row[2], now, _fma(builder, row[3], one, builder.fmul(row[4], two)))
    return found, now, one, two


def _count(builder: Any, frame: Any, table: Any) -> None:
    """Count the codes of a frame's two samples in a table of uint32, indexed by code, then channel."""
    for channel in range(2):
        half = builder.load(_at(builder, frame, _number(4 * channel + 2), I16), align=2)
        code = builder.and_(builder.zext(half, I64), _number(CODES - 1))
        place = _at(builder, builder.add(table, _number(4 * channel)), builder.mul(code, _number(FRAME)), I32)
        builder.store(builder.add(builder.load(place, align=4), ir.Constant(I32, 1)), place, align=4)


class _Filters:
    """Two filters on two channels (four lanes), each a chain of sections; see `filter_loop`."""

    def __init__(self, builder: Any, arguments: Any, sections: int, *, first: bool) -> None:
        self._builder, self._sections, self._first = builder, sections, first
        self._frames, self.count, coefficients, state, sums, self._out, self._stride, self._tables = arguments
        rows = 5 * sections + (3 if first else 0)
        self._row = [builder.load(_at(builder, coefficients, _number(32 * k), LANES), align=8) for k in range(rows)]
        self._states = _Memory(builder, state, 2 * sections, LANES)
        self._squares = _Memory(builder, sums, 1, LANES)
        self._pairs = _Memory(builder, builder.add(sums, _number(32)), 3, PAIR64) if first else None
        self._kept = (0, 2) if first else (0, 1)

    def _place(self, index: Any, output: int) -> Any:
        builder = self._builder
        offset = builder.add(builder.mul(index, _number(FRAME)), builder.mul(self._stride, _number(output)))
        return builder.add(self._out, offset)

    def filter(self, index: Any) -> None:
        """Filter one frame, add to the sums and store the outputs."""
        builder, row = self._builder, self._row
        frame = builder.add(self._frames, builder.mul(index, _number(FRAME)))
        pair = builder.fpext(builder.load(_at(builder, frame, _number(0), PAIR32), align=4), PAIR64)
        value = _shuffled(builder, pair, pair, [0, 1, 0, 1])
        passed = None
        for section in range(self._sections):
            part = row[5 * section : 5 * section + 5]
            value, now, one, two = _section(builder, self._states, 2 * section, part, value)
            if self._first and section == 0:
                c0, c1, c2 = row[5 * self._sections :]
                passed = _fma(builder, c0, now, _fma(builder, c1, one, builder.fmul(c2, two)))
        self._squares.square(0, value)
        outputs = {at: _shuffled(builder, value, value, [2 * at, 2 * at + 1]) for at in self._kept if at < 2}
        if self._pairs:
            outputs[2] = builder.fsub(_shuffled(builder, passed, passed, [0, 1]), outputs[0])
            self._pairs.square(0, outputs[2])
            self._pairs.square(1, pair)
            self._pairs.add(2, pair)
            _count(builder, frame, builder.sub(self._tables, _number(TABLE)))
        for at, output in outputs.items():
            to = _at(builder, self._place(index, at), _number(0), PAIR32)
            builder.store(builder.fptrunc(output, PAIR32), to, align=4)

    def count_outputs(self, index: Any) -> None:
        """Count the codes of a frame's outputs."""
        for at in self._kept:
            _count(self._builder, self._place(index, at), self._builder.add(self._tables, _number(TABLE * at)))

    def store(self) -> None:
        """Store states and sums in memory."""
        for memory in (self._states, self._squares, self._pairs):
            if memory:
                memory.store()


def filter_loop(sections: int, *, first: bool) -> Any:
    """Return a loop that runs two filters of `sections` sections on the two channels of frames, in four lanes.

    Coefficients: for each section -a1 -a2 b0 b1 b2, four lanes each. The first group also gives the sums of the
    unfiltered frames, and the complement of the first filter: the all-pass of its first section (c0 c1 c2 after the
    sections) minus its output. Sums: squares of the lanes; in the first group also of the complement and of the frames,
    and the frames themselves. Outputs, `stride` bytes apart: both filters, and the complement; in the first group the
    second filter has no output, since it is only summed (the outputs are in the lower lanes, where they can be stored
    without moving). The codes of every output are counted in `tables`, one table after the other, and in the first
    group those of the frames in the table before. Counting and filtering use different units of the processor, so doing
    both in one loop costs little.
    """

    def generate(context: Any, builder: Any, _signature: Any, arguments: Any) -> Any:
        filters = _Filters(builder, arguments, sections, first=first)
        count = filters.count
        late = builder.select(builder.icmp_signed("<", count, _number(LATER)), count, _number(LATER))
        with cgutils.for_range(builder, late) as loop:
            filters.filter(loop.index)
        with cgutils.for_range(builder, count, start=late) as loop:
            filters.filter(loop.index)
            filters.count_outputs(builder.sub(loop.index, late))
        with cgutils.for_range(builder, count, start=builder.sub(count, late)) as loop:
            filters.count_outputs(loop.index)
        filters.store()
        return context.get_dummy_value()

    @intrinsic  # type: ignore[untyped-decorator]
    def loop(
        _typing: Any, frames: Any, count: Any, coefficients: Any, state: Any, sums: Any, out: Any, stride: Any,
        tables: Any,
    ) -> Any:  # fmt: skip
        return types.void(frames, count, coefficients, state, sums, out, stride, tables), generate

    return loop


def _bits(builder: Any, vector: Any) -> Any:
    """Return the bits of the magnitudes of floats, which have the same order."""
    return builder.and_(builder.bitcast(vector, WIDE_BITS), ir.Constant(WIDE_BITS, [0x7FFFFFFF] * 16))


def _larger(builder: Any, one: Any, other: Any) -> Any:
    return builder.select(builder.icmp_signed(">", one, other), one, other)


def _largest(builder: Any, bits: list[Any]) -> Any:
    """Return the largest of several magnitudes given as bits."""
    while len(bits) > 1:
        bits = [*bits[2:], _larger(builder, bits[0], bits[1])]
    reduce = cgutils.get_or_insert_function(
        builder.module, ir.FunctionType(I32, [WIDE_BITS]), "llvm.vector.reduce.smax.v16i32"
    )
    return builder.fpext(builder.bitcast(builder.call(reduce, bits), F32), F64)


@intrinsic  # type: ignore[untyped-decorator]
def largest_sample_and_step(_typing: Any, frames: Any, segments: Any) -> Any:
    """Return the largest |sample| of segments of 16 frames, and the largest step from the previous frame."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        start, number = arguments
        nothing = ir.Constant(WIDE_BITS, [0] * 16)
        slots = [cgutils.alloca_once_value(builder, nothing) for _ in range(4)]
        with cgutils.for_range(builder, number) as loop:
            for half in range(2):
                offset = builder.add(builder.mul(loop.index, _number(128)), _number(64 * half))
                samples = builder.load(_at(builder, start, offset, WIDE), align=4)
                before = builder.load(_at(builder, start, builder.sub(offset, _number(FRAME)), WIDE), align=4)
                for slot, vector in ((half, samples), (2 + half, builder.fsub(samples, before))):
                    builder.store(_larger(builder, builder.load(slots[slot]), _bits(builder, vector)), slots[slot])
        pair = [_largest(builder, [builder.load(slots[at]), builder.load(slots[at + 1])]) for at in (0, 2)]
        return context.make_tuple(builder, signature.return_type, pair)

    return types.UniTuple(types.float64, 2)(frames, segments), generate


@intrinsic  # type: ignore[untyped-decorator]
def largest_between(_typing: Any, frames: Any) -> Any:
    """Return the largest |interpolated point| of 16 frames; the eleven frames before them are read, too."""

    def generate(_context: Any, builder: Any, _signature: Any, arguments: Any) -> Any:
        sums: list[Any] = [None] * 2 * len(PHASES)
        for tap in range(TAPS):
            for half in range(2):
                offset = _number(64 * half - FRAME * tap)
                vector = builder.load(_at(builder, arguments[0], offset, WIDE), align=4)
                for phase in range(len(PHASES)):
                    weight = ir.Constant(WIDE, [float(PHASES[phase, tap])] * 16)
                    slot = 2 * phase + half
                    already = sums[slot]
                    sums[slot] = (
                        builder.fmul(weight, vector) if already is None else _fma(builder, weight, vector, already)
                    )
        return _largest(builder, [_bits(builder, vector) for vector in sums])

    return types.float64(frames), generate
