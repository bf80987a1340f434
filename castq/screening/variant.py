"""One variant of a case, solved: levers moved, shape rebuilt where it has to be, screened with the case's own draws."""

from __future__ import annotations

import copyreg
import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import lru_cache
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from castq import __version__
from castq.core.errors import InputError, input_error
from castq.geometry.mesh import Mesh
from castq.geometry.wheel_design import WheelDesign
from castq.screening.lever_table import grid_lever, levers_of
from castq.screening.levers import Change, Depth, Measuring, State, apply
from castq.screening.outcome import Outcome, outcome_of, refused
from castq.screening.screen import screen
from castq.screening.shape import WheelShape, measure_shape
from castq.screening.types import Case, Screening

# Fields of a case that change no result, and may differ between two readings of the same case.
_NOT_COUNTED = ("inputs", "defaults_used", "warnings", "shape")
_DIGITS = 9


def _view(table: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(table)


# The tables of an alloy are read-only views, which Python does not send to another process by itself.
copyreg.pickle(MappingProxyType, lambda view: (_view, (dict(view),)))


@dataclass(frozen=True, slots=True, eq=False)
class Basis:
    """What all variants share; small enough to be sent to another process.

    Attributes
    ----------
    state : State
        The case as it is.
    draws, seed : int
        Number and seed of the draws, the same for every variant [-].
    mesh : Mesh or None
        The shape on its axis [mm]; only needed for solid depth when the wheel is not built from its measures.
    """

    state: State
    draws: int
    seed: int
    mesh: Mesh | None = None


def _section_depth(basis: Basis, case: Case, shape: WheelShape | None) -> Screening:
    return screen(case, draws=basis.draws, seed=basis.seed)


def _solid_depth(basis: Basis, case: Case, shape: WheelShape | None) -> Screening:
    # The solver is slow to load and needed only here.
    from castq.screening.solid import solve_solid

    if shape is None:
        raise input_error(case.name, "", "has no shape", "a shape for solid depth", "give one, or use section depth")
    solid = solve_solid(case, shape, study=False)
    return screen(case, draws=basis.draws, seed=basis.seed, solid=solid)


DEPTHS: dict[Depth, Callable[[Basis, Case, WheelShape | None], Screening]] = {
    "section": _section_depth,
    "solid": _solid_depth,
}


def solve(basis: Basis, change: Change) -> Outcome:
    """Return what a variant of a case gives.

    Parameters
    ----------
    basis : Basis
        The case, its draws and its depth.
    change : Change
        (lever, value) pairs; empty for the case itself.

    Returns
    -------
    Outcome
        Every decided limit over the draws, weight and time to solid; or, in words, why it cannot be made.
    """
    state = basis.state
    levers, _ = levers_of(state)
    grid = grid_lever(state)
    try:
        moved = apply(state, change, (*levers, grid) if grid else levers)
        case, shape = _shaped(basis, moved)
        return outcome_of(DEPTHS[state.depth](basis, case, shape))
    except InputError as error:
        return refused("; ".join(fault.found for fault in error.faults), basis.draws)


def _shaped(basis: Basis, state: State) -> tuple[Case, WheelShape | None]:
    """Return the case with the zones of its shape; they are measured anew only where the shape differs."""
    before = basis.state
    same = state.wheel == before.wheel and state.measuring == before.measuring
    source: WheelDesign | Mesh | None = state.wheel or basis.mesh
    if state.measuring is None or source is None or (same and state.depth == "section"):
        return state.case, None
    shape = _measured(source, state.measuring)
    return (state.case if same else replace(state.case, sections=shape.sections, shape=shape.facts)), shape


@lru_cache(maxsize=2)
def _measured(source: WheelDesign | Mesh, way: Measuring) -> WheelShape:
    """Return a shape, built from its measures or as it is; kept for the next variant of the same shape."""
    if isinstance(source, Mesh):
        return measure_shape(
            source, voxel_mm=way.voxel_mm, axis=(0.0, 0.0, 1.0), outboard=way.outboard, overrides=way.overrides
        )
    # The solid modeller is slow to load and needed only here.
    from castq.geometry.wheel import build_wheel

    return measure_shape(
        build_wheel(source, way.facet_mm), voxel_mm=way.voxel_mm, axis=way.axis, outboard=way.outboard,
        overrides=way.overrides, source=source.name,
    )  # fmt: skip


def fingerprint(basis: Basis) -> str:
    """Return the sha256 of everything that a result of this basis rests on, castq's version among it."""
    text = json.dumps([__version__, _plain(basis)], sort_keys=True)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def key_of(basis_sha256: str, change: Change) -> str:
    """Return the sha256 by which a solved variant is found again.

    Parameters
    ----------
    basis_sha256 : str
        From `fingerprint`.
    change : Change
        (lever, value) pairs.
    """
    text = json.dumps([basis_sha256, [[name, f"{value:.{_DIGITS}f}"] for name, value in change]])
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _plain(value: Any) -> Any:
    """Return any record as plain data; numbers at nine digits, arrays by the hash of their bytes."""
    if is_dataclass(value) and not isinstance(value, type):
        left_out = _NOT_COUNTED if isinstance(value, Case) else ()
        return {entry.name: _plain(getattr(value, entry.name)) for entry in fields(value) if entry.name not in left_out}
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, np.ndarray):
        return _array(value)
    if isinstance(value, float):
        return f"{value:.{_DIGITS}g}"
    return value if value is None or isinstance(value, bool | int | str) else str(value)


def _array(value: NDArray[Any]) -> list[Any]:
    return [str(value.dtype), list(value.shape), hashlib.sha256(np.ascontiguousarray(value).tobytes()).hexdigest()]
