"""Levers that only solid depth knows: place and timing of the cooling circuits, and the production cycle."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from castq.core.errors import CastqError
from castq.screening.levers import LeftOut, Lever, State, between
from castq.thermal.tool import Circuit, Cycle, Ring

ONLY_SOLID = "section depth does not know it; add --depth solid"
COOLING_COST = "a new channel in the die"
# No circuit of a wheel die is switched for longer than this [s].
LONGEST_S = 600.0
WATER_WORDS = (
    "Water in a die that leaks turns to steam under the melt and can throw it out: pressure-test a circuit before use "
    "and never open it into a cavity that holds metal."
)
OPEN_WORDS = (
    "Open time is where the die is sprayed and looked after: never shorten a step that your procedure requires, nor "
    "the time the die stays closed."
)


def _moved_circuit(name: str, change: Callable[[Circuit, float], Circuit]) -> Callable[[State, float], State]:
    def moved(state: State, value: float) -> State:
        parts = state.case.parts
        circuits = tuple(change(c, value) if c.name == name else c for c in parts.circuits)
        return replace(state, case=replace(state.case, parts=replace(parts, circuits=circuits)))

    return moved


def _circuit(state: State, name: str) -> Circuit:
    return next(circuit for circuit in state.case.parts.circuits if circuit.name == name)


def _ring(circuit: Circuit) -> Ring:
    if not isinstance(circuit.shape, Ring):
        raise CastqError(f"circuit {circuit.name} is no ring")
    return circuit.shape


def _longer(circuit: Circuit, on_s: float) -> Circuit:
    start, _ = circuit.on_s[0]
    return replace(circuit, on_s=((start, start + on_s), *circuit.on_s[1:]))


def _later(circuit: Circuit, start_s: float) -> Circuit:
    step = start_s - circuit.on_s[0][0]
    return replace(circuit, on_s=tuple((begin + step, end + step) for begin, end in circuit.on_s))


def _longest(circuit: Circuit) -> float:
    """Return how long the first time on may last before it runs into the second [s]."""
    return circuit.on_s[1][0] - circuit.on_s[0][0] if len(circuit.on_s) > 1 else LONGEST_S


def cooling_levers(state: State) -> Iterator[Lever | LeftOut]:
    """Yield place and timing of each circuit; a circuit that is no ring keeps its place.

    Parameters
    ----------
    state : State
        The case as it is.
    """
    circuits = state.case.parts.circuits
    if not circuits:
        yield LeftOut("Cooling circuits", "the case gives none")
    elif state.depth != "solid":
        yield LeftOut("Cooling circuits", ONLY_SOLID)
        return
    for circuit in circuits:
        if isinstance(circuit.shape, Ring):
            yield from _places(circuit.name)
        else:
            yield LeftOut(f"Place of circuit {circuit.name}", "only a ring is moved as a whole")
        yield from _times(circuit)


def _places(name: str) -> Iterator[Lever]:
    for field, word in (("radius_mm", "radius"), ("height_mm", "height")):
        yield Lever(
            f"circuit.{name}.{word}", f"{word.capitalize()} of circuit {name}", "length_mm",
            f"{word} of its middle line", 10.0,
            lambda now, field=field: float(getattr(_ring(_circuit(now, name)), field)),  # type: ignore[misc]
            _moved_circuit(name, lambda c, value, field=field:  # type: ignore[misc]
                           replace(c, shape=replace(_ring(c), **{field: value}))),
            between(-600.0, 600.0), COOLING_COST, WATER_WORDS,
        )  # fmt: skip


def _times(circuit: Circuit) -> Iterator[Lever | LeftOut]:
    name = circuit.name
    if not circuit.on_s or circuit.on_s[0][1] - circuit.on_s[0][0] > LONGEST_S:
        yield LeftOut(f"Times of circuit {name}", "it is on throughout, or never")
        return
    yield Lever(
        f"circuit.{name}.on", f"Time on of circuit {name}", "time_s", "how long it is on the first time", 10.0,
        lambda now: _circuit(now, name).on_s[0][1] - _circuit(now, name).on_s[0][0],
        _moved_circuit(name, _longer), between(0.5, _longest(circuit)), "setting of the machine", WATER_WORDS,
    )  # fmt: skip
    yield Lever(
        f"circuit.{name}.start", f"Start of circuit {name}", "time_s", "when it goes on; all its times move", 10.0,
        lambda now: _circuit(now, name).on_s[0][0],
        _moved_circuit(name, _later), between(0.0, LONGEST_S), "setting of the machine", WATER_WORDS,
    )  # fmt: skip


def _cycle(state: State) -> Cycle:
    if state.case.parts.cycle is None:
        raise CastqError("the cycle was asked for on a case that has none")
    return state.case.parts.cycle


def _opened(state: State, value: float) -> State:
    parts = replace(state.case.parts, cycle=replace(_cycle(state), open_s=value))
    return replace(state, case=replace(state.case, parts=parts))


def cycle_levers(state: State) -> Iterator[Lever | LeftOut]:
    """Yield the open time of the cycle.

    Parameters
    ----------
    state : State
        The case as it is.
    """
    if state.case.parts.cycle is None:
        yield LeftOut("Open time", "the case gives no production cycle")
    elif state.depth != "solid":
        yield LeftOut("Open time", ONLY_SOLID)
    else:
        yield Lever(
            "open_time", "Open time", "time_s", "time open with the casting out", 10.0,
            lambda now: _cycle(now).open_s, _opened, between(1.0, 600.0), "cycle time", OPEN_WORDS,
        )  # fmt: skip
