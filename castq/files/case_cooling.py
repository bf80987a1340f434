"""Cooling circuits of a case file: shape, medium, coefficient, and when they are on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final, NamedTuple, cast

from castq.core.toml_table import Table, type_words
from castq.files.case_shape import span
from castq.thermal.tool import Circuit, Plug, Point, Region, Ring, Span, Tube

# Longer than any shot: a circuit without times and without a cycle runs throughout [s].
THROUGHOUT_S: Final = 3600.0
BORE_MM: Final = (2.0, 150.0)
COEFFICIENT: Final = (10.0, 40_000.0)


class Medium(NamedTuple):
    """What a circuit of a medium has when it does not say: coefficient and temperature, with what they may be."""

    coefficient: str
    why: str
    usual_w_m2k: Span
    temp: str
    temp_range_c: Span


MEDIA: Final = {
    "air": Medium(
        "250 W/m2K", "plain air channel, 100 to 400; common practice", (50.0, 1500.0), "30 degC", (-30.0, 400.0)
    ),
    "mist": Medium("2000 W/m2K", "mist, 1000 to 3000; common practice", (400.0, 5000.0), "30 degC", (0.0, 100.0)),
    "water": Medium(
        "5000 W/m2K", "turbulent water, 3000 to 10000; common practice", (1500.0, 40_000.0), "25 degC", (0.0, 100.0)
    ),
}
# Which keys say where each shape runs.
SHAPES: Final[dict[str, tuple[str, ...]]] = {
    "ring": ("radius", "height", "bore"),
    "tube": ("start", "end", "bore"),
    "plug": ("tip", "outside", "bore"),
    "region": ("radius", "height"),
}
_PLACES: Final = tuple(dict.fromkeys(key for keys in SHAPES.values() for key in keys))


def read_circuits(top: Table, used: list[str]) -> tuple[Circuit, ...]:
    """Return the cooling circuits, `[[cooling]]`; one at fault is left out and its faults are noted.

    Parameters
    ----------
    top : Table
        The case file.
    used : list of str
        Receives the defaults taken.
    """
    found = [_circuit(row, used) for row in top.tables("cooling")]
    return tuple(circuit for circuit in found if circuit is not None)


def _circuit(row: Table, used: list[str]) -> Circuit | None:
    row.require(("name", "shape", "medium"))
    name = row.text("name", max_length=60)
    shape = _shape(row)
    medium = row.text("medium", tuple(MEDIA))
    coefficient, temp = _heat(row, medium, used)
    if not row.has("on"):
        used.append(f"{row.at('on')} = throughout (no times given)")
    on = _times(row)
    row.close()
    if name is None or shape is None or medium is None or coefficient is None or temp is None or on is None:
        return None
    return Circuit(name, shape, cast("Any", medium), coefficient, temp, on)


def _heat(row: Table, medium: str | None, used: list[str]) -> tuple[float | None, float | None]:
    """Return coefficient [W/m2K] and temperature [degC], those of the medium where they are not given."""
    row.taken |= {"coefficient", "temp"}
    if medium is None:
        return None, None
    usual = MEDIA[medium]
    for key, value, reason in (("coefficient", usual.coefficient, usual.why), ("temp", usual.temp, "common practice")):
        if not row.has(key):
            used.append(f"{row.at(key)} = {value} ({reason})")
    return (
        row.quantity_of(
            "coefficient", row.data.get("coefficient", usual.coefficient), "heat_transfer_w_m2k", *COEFFICIENT
        ),
        row.quantity_of("temp", row.data.get("temp", usual.temp), "temperature_c", *usual.temp_range_c),
    )


def _shape(row: Table) -> Ring | Tube | Plug | Region | None:
    """Return where the circuit runs; keys that belong to another shape are faults."""
    kind = row.text("shape", tuple(SHAPES))
    row.taken |= set(_PLACES)
    if kind is None:
        return None
    for key in _PLACES:
        if row.has(key) and key not in SHAPES[kind]:
            row.fault(key, f"does not belong to a {kind}", ", ".join(SHAPES[kind]), "remove it, or change the shape")
    row.require(SHAPES[kind])
    if kind == "region":
        radius, height = span(row, "radius", 0.0), span(row, "height", -600.0)
        return Region(radius, height) if radius and height else None
    bore = row.quantity("bore", "length_mm", *BORE_MM)
    return _ring(row, bore) if kind == "ring" else _straight(row, kind, bore)


def _ring(row: Table, bore: float | None) -> Ring | None:
    radius = row.quantity("radius", "length_mm", 1.0, 600.0)
    height = row.quantity("height", "length_mm", -600.0, 600.0)
    if radius is None or height is None or bore is None:
        return None
    if bore >= 2.0 * radius:
        row.fault("bore", f"{bore:g} mm is wider than the ring", f"below {2 * radius:g} mm", "exchange or mend the two")
        return None
    return Ring(radius, height, bore)


def _straight(row: Table, kind: str, bore: float | None) -> Tube | Plug | None:
    """Return a channel between two points."""
    first, last = SHAPES[kind][:2]
    ends = point(row, first), point(row, last)
    if ends[0] is None or ends[1] is None or bore is None:
        return None
    if ends[0] == ends[1]:
        row.fault(last, f"is the same place as {first}", "two places", "give the other end")
        return None
    return (Tube if kind == "tube" else Plug)(ends[0], ends[1], bore)


def point(row: Table, key: str) -> Point | None:
    """Return a place, three lengths in the frame of the geometry file [mm]; None with a fault when it is not one.

    Parameters
    ----------
    row : Table
        Where it stands.
    key : str
        Its key.
    """
    texts = row.texts(key)
    if texts is None:
        return None
    if len(texts) != 3:
        example = f'write {key} = ["0 mm", "120 mm", "-30 mm"]'
        row.fault(key, f"holds {len(texts)} lengths", "x, y and z in the frame of the geometry file", example)
        return None
    x, y, z = (row.quantity_of(key, text, "length_mm", -2000.0, 2000.0) for text in texts)
    return None if x is None or y is None or z is None else (x, y, z)


def _times(row: Table) -> tuple[Span, ...] | None:
    """Return when the circuit is on [s]; throughout when it does not say."""
    row.taken.add("on")
    if not row.has("on"):
        return ((0.0, THROUGHOUT_S),)
    written, example = row.data["on"], 'write on = ["10 s", "60 s"], or a list of such pairs'
    if type(written) is not list or not written:
        found = "is empty" if written == [] else f"is {type_words(written)}"
        row.fault("on", found, "a pair of times", example)
        return None
    pairs = written if all(type(item) is list for item in written) else [written]
    spans: list[Span] = []
    for pair in pairs:
        if len(pair) != 2:
            row.fault("on", f"holds {len(pair)} times where two belong", "from and to", example)
            return None
        ends = [row.quantity_of("on", text, "time_s", 0.0, THROUGHOUT_S) for text in pair]
        if ends[0] is None or ends[1] is None:
            return None
        if ends[0] >= ends[1]:
            row.fault("on", f"runs from {ends[0]:g} s to {ends[1]:g} s", "the earlier time first", "exchange the two")
            return None
        if spans and ends[0] < spans[-1][1]:
            row.fault("on", f"is on again at {ends[0]:g} s, before it is off at {spans[-1][1]:g} s",
                      "times that follow each other", "join the two, or put them in order")  # fmt: skip
            return None
        spans.append((ends[0], ends[1]))
    return tuple(spans)


def circuit_warnings(circuits: tuple[Circuit, ...]) -> Iterator[str]:
    """Yield what is possible but out of the ordinary in the circuits.

    Parameters
    ----------
    circuits : tuple of Circuit
        The cooling.
    """
    for circuit in circuits:
        low, high = MEDIA[circuit.medium].usual_w_m2k
        if not low <= circuit.coefficient_w_m2k <= high:
            yield (
                f"cooling '{circuit.name}': {circuit.coefficient_w_m2k:g} W/m2K is unusual for {circuit.medium}, "
                f"{low:g} to {high:g}"
            )
