"""The inner loops of the solid solver: conduction with freezing in the casting, plain conduction in the die.

Cells lie in the rows of `solid_rows`, sixteen to a block. Over one long step only differences from its start are
carried, which keeps single precision exact enough for the heat balance. The stages of a long step follow each other
through the body plane by plane, each one plane behind the one before, so that a plane is fetched from memory once a
step and not once a stage.
"""

# Compiled kernels take plain arrays, each by itself; the types of `lanes` are those of the compiler.
# mypy: disable-error-code="call-arg, var-annotated"

from __future__ import annotations

from typing import Any

from numba import njit

from castq.thermal.lanes import LANES, any_above, larger, put, spread, take

# Kinks of the heat potential over enthalpy; a constant, so that the loop over them is unrolled.
KINKS = 14
# Passive cells before the first block and after the last.
GUARD = 16
LIQUIDUS, COHERENCY, CUTOFF, STEEP, SOLID = range(5)
EVENTS = 5


@njit(cache=True, nogil=True, error_model="numpy")
def potential(enthalpy, curve) -> Any:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return the heat potential at sixteen enthalpies; the curve holds base, slope, kinks and bends."""
    base, slope, kinks, bends = curve
    total = spread(base) + spread(slope) * enthalpy
    more = spread(bends[0]) * larger(enthalpy, spread(kinks[0]))
    total += spread(bends[1]) * larger(enthalpy, spread(kinks[1]))
    more += spread(bends[2]) * larger(enthalpy, spread(kinks[2]))
    total += spread(bends[3]) * larger(enthalpy, spread(kinks[3]))
    more += spread(bends[4]) * larger(enthalpy, spread(kinks[4]))
    total += spread(bends[5]) * larger(enthalpy, spread(kinks[5]))
    more += spread(bends[6]) * larger(enthalpy, spread(kinks[6]))
    total += spread(bends[7]) * larger(enthalpy, spread(kinks[7]))
    more += spread(bends[8]) * larger(enthalpy, spread(kinks[8]))
    total += spread(bends[9]) * larger(enthalpy, spread(kinks[9]))
    more += spread(bends[10]) * larger(enthalpy, spread(kinks[10]))
    total += spread(bends[11]) * larger(enthalpy, spread(kinks[11]))
    more += spread(bends[12]) * larger(enthalpy, spread(kinks[12]))
    total += spread(bends[13]) * larger(enthalpy, spread(kinks[13]))
    return total + more


@njit(cache=True, nogil=True, error_model="numpy")
def renew(curve, h0, theta0) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Set the heat potential of all cells."""
    for c in range(0, h0.size, LANES):
        put(theta0, c, potential(take(h0, c, h0), curve))


@njit(cache=True, nogil=True, error_model="numpy")
def _exchange(pairs, gain, factor, level, rate) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add to the rate of both cells of each pair what flows between them; the same heat, turned about."""
    here, there, weight, _ = pairs
    for n in range(here.size):
        a, b = here[n], there[n]
        heat = factor * weight[n] * (level[b] - level[a])
        rate[a] += gain[a] * heat
        rate[b] -= gain[b] * heat


@njit(cache=True, nogil=True, error_model="numpy")
def _renew_rise(cells, curve, h0, theta0, step, phi) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Renew the rise of heat potential of some cells, and with each of those beside it."""
    for n in range(cells.size):
        c = cells[n]
        put(phi, c, potential(take(h0, c, h0) + take(step, c, h0), curve) - take(theta0, c, h0))


@njit(cache=True, nogil=True, error_model="numpy")
def _flow(level, b, c, near, faces):  # type: ignore[no-untyped-def]  # pragma: no cover
    """Return what flows into the sixteen cells of a block from their neighbours."""
    here, size = take(level, c, level), level.size
    total = take(faces, c, level) * (take(level, c + near[4 * b], level) - here)
    total += take(faces, c + size, level) * (take(level, c + near[4 * b + 1], level) - here)
    total += take(faces, c + 2 * size, level) * (take(level, c + near[4 * b + 2], level) - here)
    total += take(faces, c + 3 * size, level) * (take(level, c + near[4 * b + 3], level) - here)
    total += take(faces, c + 4 * size, level) * (take(level, c + 1, level) - here)
    total += take(faces, c + 4 * size - 1, level) * (take(level, c - 1, level) - here)
    return total


@njit(cache=True, nogil=True, error_model="numpy")
def _start_casting(blocks, near, faces, gain, source, first, curve, h0, theta0, l0, d1, phi) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store the rate of change at the start of a long step, the first stage, and its rise of heat potential."""
    for b in range(blocks[0], blocks[1]):
        c = GUARD + LANES * b
        rate = take(gain, c, h0) * _flow(theta0, b, c, near, faces) + take(source, c, h0)
        step = spread(first) * rate
        put(l0, c, rate)
        put(d1, c, step)
        put(phi, c, potential(take(h0, c, h0) + step, curve) - take(theta0, c, h0))


@njit(cache=True, nogil=True, error_model="numpy")
def _stage_casting(blocks, near, faces, gain, weights, curve, h0, theta0, l0, phi, d1, d2, out) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Replace `d2` by the next stage and store its rise of heat potential in `out`."""
    mu, nu, new, old = spread(weights[0]), spread(weights[1]), spread(weights[2]), spread(weights[3])
    for b in range(blocks[0], blocks[1]):
        c = GUARD + LANES * b
        flow = take(gain, c, h0) * _flow(phi, b, c, near, faces)
        step = mu * take(d1, c, h0) + nu * take(d2, c, h0) + new * flow + old * take(l0, c, h0)
        put(d2, c, step)
        put(out, c, potential(take(h0, c, h0) + step, curve) - take(theta0, c, h0))


@njit(cache=True, nogil=True, error_model="numpy")
def _finish_casting(blocks, step, curve, h0, theta0, d1, due, warmer, call) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add the change over the long step, renew the heat potential, and mark the blocks in which there is news."""
    for b in range(blocks[0], blocks[1]):
        c = GUARD + LANES * b
        change = take(step, c, h0)
        now = take(h0, c, h0) + change
        put(h0, c, now)
        put(d1, c, change)
        put(theta0, c, potential(now, curve))
        call[b] = any_above(take(due, c, h0), now) or any_above(change, spread(warmer))


@njit(cache=True, nogil=True, error_model="numpy")
def carry_casting(  # type: ignore[no-untyped-def]  # pragma: no cover
    planes, pairs, near, faces, gain, source, first, weights, curve, h0, theta0, l0, d1, d2, phi, out, due, warmer, call
) -> None:
    """Carry the casting over a long step, its change left in `d1`.

    With pairs of cells a stage ends before the next one begins.
    """
    last, count, paired = weights.shape[0], planes.size - 1, pairs[0].size > 0
    lag = count if paired else 1
    for front in range(count + (last + 1) * lag):
        for stage in range(max(0, (front - count) // lag + 1), min(last + 1, front // lag) + 1):
            plane = front - stage * lag
            blocks = (planes[plane], planes[plane + 1])
            ends = paired and plane == count - 1
            if stage == 0:
                _start_casting(blocks, near, faces, gain, source, first, curve, h0, theta0, l0, d1, phi)
                if ends:
                    _exchange(pairs, gain, first / first, theta0, l0)
                    for c in pairs[3]:
                        d1[c] = first * l0[c]
                    _renew_rise(pairs[3], curve, h0, theta0, d1, phi)
            elif stage > last:
                step = d2 if last % 2 else d1
                _finish_casting(blocks, step, curve, h0, theta0, d1, due, warmer, call)
            elif stage % 2:
                _stage_casting(blocks, near, faces, gain, weights[stage - 1], curve, h0, theta0, l0, phi, d1, d2, out)
                if ends:
                    _exchange(pairs, gain, weights[stage - 1, 2], phi, d2)
                    _renew_rise(pairs[3], curve, h0, theta0, d2, out)
            else:
                _stage_casting(blocks, near, faces, gain, weights[stage - 1], curve, h0, theta0, l0, out, d2, d1, phi)
                if ends:
                    _exchange(pairs, gain, weights[stage - 1, 2], out, d1)
                    _renew_rise(pairs[3], curve, h0, theta0, d1, phi)


@njit(cache=True, nogil=True, error_model="numpy")
def _start_die(blocks, near, faces, gain, source, first, temp, l0, d1) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Store the rate of change of the die at the start of a long step, and the first stage."""
    for b in range(blocks[0], blocks[1]):
        c = GUARD + LANES * b
        rate = take(gain, c, temp) * _flow(temp, b, c, near, faces) + take(source, c, temp)
        put(l0, c, rate)
        put(d1, c, spread(first) * rate)


@njit(cache=True, nogil=True, error_model="numpy")
def _stage_die(blocks, near, faces, gain, weights, l0, d1, d2) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Replace `d2` by the next stage; conduction in the die is linear, so the differences suffice."""
    mu, nu, new, old = spread(weights[0]), spread(weights[1]), spread(weights[2]), spread(weights[3])
    for b in range(blocks[0], blocks[1]):
        c = GUARD + LANES * b
        flow = take(gain, c, l0) * _flow(d1, b, c, near, faces)
        put(d2, c, mu * take(d1, c, l0) + nu * take(d2, c, l0) + new * flow + old * take(l0, c, l0))


@njit(cache=True, nogil=True, error_model="numpy")
def _finish_die(blocks, step, temp) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Add the change over the long step."""
    for b in range(blocks[0], blocks[1]):
        c = GUARD + LANES * b
        put(temp, c, take(temp, c, temp) + take(step, c, temp))


@njit(cache=True, nogil=True, error_model="numpy")
def carry_die(planes, pairs, near, faces, gain, source, first, weights, temp, l0, d1, d2) -> None:  # type: ignore[no-untyped-def]  # pragma: no cover
    """Carry the die over a long step."""
    last, count, paired = weights.shape[0], planes.size - 1, pairs[0].size > 0
    lag = count if paired else 1
    for front in range(count + (last + 1) * lag):
        for stage in range(max(0, (front - count) // lag + 1), min(last + 1, front // lag) + 1):
            plane = front - stage * lag
            blocks = (planes[plane], planes[plane + 1])
            ends = paired and plane == count - 1
            if stage == 0:
                _start_die(blocks, near, faces, gain, source, first, temp, l0, d1)
                if ends:
                    _exchange(pairs, gain, first / first, temp, l0)
                    for c in pairs[3]:
                        d1[c] = first * l0[c]
            elif stage > last:
                _finish_die(blocks, d2 if last % 2 else d1, temp)
            elif stage % 2:
                _stage_die(blocks, near, faces, gain, weights[stage - 1], l0, d1, d2)
                if ends:
                    _exchange(pairs, gain, weights[stage - 1, 2], d1, d2)
            else:
                _stage_die(blocks, near, faces, gain, weights[stage - 1], l0, d2, d1)
                if ends:
                    _exchange(pairs, gain, weights[stage - 1, 2], d2, d1)
