"""Sixteen numbers at a time for compiled kernels, as one value that fills the processor's wide registers.

Left to itself the compiler works short stretches of cells one by one, and differently at their ends. Here each cell is
worked in the same way wherever it stands, so a result depends neither on how cells are split up nor on the order.
"""

from __future__ import annotations

import operator
from typing import Any

import numpy as np
from llvmlite import ir  # type: ignore[import-untyped]
from numba import types
from numba.extending import intrinsic, models, overload, register_model
from numpy.typing import NDArray

LANES = 16
# mypy: disable-error-code="call-arg, no-untyped-call"
# Bytes that come from memory together.
_LINE = 64
# A product and a sum may be one operation.
_JOINED = ("contract", "nsz")


class Lanes(types.Type):
    """Type of sixteen real numbers in a compiled kernel."""

    def __init__(self, kind: types.Type) -> None:
        self.kind: Any = kind
        super().__init__(name=f"Lanes({kind})")


@register_model(Lanes)
class _LanesModel(models.PrimitiveModel):
    """How the compiler holds them."""

    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, ir.VectorType(manager[kind.kind].get_value_type(), LANES))


def _pointer(context: Any, builder: Any, array_type: Any, array: Any, place: Any) -> Any:
    """Return the address of a place of an array, as that of sixteen numbers."""
    data = context.make_array(array_type)(context, builder, array).data
    number = context.get_data_type(array_type.dtype)
    return builder.bitcast(builder.gep(data, [place]), ir.VectorType(number, LANES).as_pointer())


@intrinsic
def take(typing: Any, array: Any, place: Any, like: Any) -> Any:
    """Return the sixteen numbers of an array from a place on, as numbers of the kind of another array."""
    made = Lanes(like.dtype)

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        stored = array.dtype
        found = builder.load(_pointer(context, builder, array, *arguments[:2]), align=max(stored.bitwidth // 8, 1))
        wanted = context.get_value_type(made)
        if isinstance(stored, types.Integer):
            return builder.sitofp(builder.zext(found, ir.VectorType(ir.IntType(32), LANES)), wanted)
        if stored.bitwidth == made.kind.bitwidth:
            return found
        return (builder.fpext if stored.bitwidth < made.kind.bitwidth else builder.fptrunc)(found, wanted)

    return made(array, types.int64, like), make


@intrinsic
def put(typing: Any, array: Any, place: Any, value: Any) -> Any:
    """Store sixteen numbers in an array from a place on."""

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        pointer = _pointer(context, builder, array, *arguments[:2])
        builder.store(arguments[2], pointer, align=array.dtype.bitwidth // 8)
        return context.get_dummy_value()

    return types.void(array, types.int64, value), make


def zeros(count: int, kind: type[np.generic]) -> NDArray[Any]:
    """Return an array of zeros that begins where the processor's wide loads do.

    Parameters
    ----------
    count : int
        Size of the array [-].
    kind : type
        Kind of number.

    Returns
    -------
    array
        Zeros.
    """
    room = np.zeros(count * np.dtype(kind).itemsize + _LINE, np.uint8)
    first = -room.ctypes.data % _LINE
    return room[first : first + count * np.dtype(kind).itemsize].view(kind)


@intrinsic
def spread(typing: Any, number: Any) -> Any:
    """Return one number sixteen times."""
    made = Lanes(number)

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kind, index = context.get_value_type(made), ir.IntType(32)
        one = builder.insert_element(ir.Constant(kind, ir.Undefined), arguments[0], index(0))
        return builder.shuffle_vector(one, ir.Constant(kind, ir.Undefined), ir.Constant(ir.VectorType(index, LANES), 0))

    return made(number), make


@intrinsic
def larger(typing: Any, value: Any, other: Any) -> Any:
    """Return the larger of two numbers, sixteen times."""

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        return builder.select(builder.fcmp_ordered(">", *arguments), *arguments)

    return value(value, other), make


@intrinsic
def any_above(typing: Any, value: Any, other: Any) -> Any:
    """Return whether any of sixteen numbers exceeds that of others."""

    def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        bits = builder.bitcast(builder.fcmp_ordered(">", *arguments), ir.IntType(LANES))
        return builder.icmp_unsigned("!=", bits, ir.Constant(bits.type, 0))

    return types.boolean(value, other), make


def _both(name: str) -> Any:
    """Return what the compiler makes of a sum, difference or product of two values."""

    @intrinsic
    def combine(typing: Any, left: Any, right: Any) -> Any:
        def make(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
            return getattr(builder, name)(*arguments, flags=_JOINED)

        return left(left, right), make

    def choose(left, right):  # type: ignore[no-untyped-def]
        if isinstance(left, Lanes) and left == right:
            return lambda left, right: combine(left, right)  # noqa: PLW0108 - the compiler wants a function
        return None

    return choose


_MADE = {operator.add: "fadd", operator.iadd: "fadd", operator.sub: "fsub", operator.mul: "fmul"}
for _operator, _name in _MADE.items():
    overload(_operator)(_both(_name))
