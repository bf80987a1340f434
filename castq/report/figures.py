"""Charts of a screening and of a comparison: PNG bytes, units in every axis, a title in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from castq.core.errors import plain
from castq.geometry.roles import ROLES
from castq.report.canvas import SMALL_PT, TEXT_PT, calm, headline, sheet, to_png
from castq.report.colours import ACCENT, INK, LINE, QUIET, SECOND, VERDICTS
from castq.report.words import decisive, label, number, percent, unit_text
from castq.screening.types import Check, Comparison, Difference, Driver, Screening

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ROW_IN = 0.33
MOST_PANELS = 4
NAME_LIMIT = 24


def _panels(count: int) -> tuple[int, int]:
    """Return rows and columns for a number of panels."""
    columns = min(count, MOST_PANELS)
    return -(-count // columns), columns


def _heading(quantity: str, unit: str) -> str:
    text = unit_text(unit)
    return f"{label(quantity)} [{text}]" if text else label(quantity)


def _name_rows(axes: Axes, names: Sequence[str], shown: bool) -> None:
    axes.set_ylim(len(names) - 0.45, -0.65)
    axes.set_yticks(range(len(names)), [plain(n, NAME_LIMIT) for n in names] if shown else [""] * len(names))
    axes.tick_params(axis="y", labelsize=TEXT_PT)
    for row in range(0, len(names), 2):
        axes.axhspan(row - 0.5, row + 0.5, color="#f5f8f9", zorder=0)


def _mark(axes: Axes, x: float, y: float, verdict: str, size: float = 52.0) -> None:
    look = VERDICTS[verdict]
    axes.scatter([x], [y], marker=look.marker, s=size, color=look.colour, edgecolor="white", linewidth=0.7, zorder=5)


def _verdict_key(figure: Any, verdicts: Sequence[str], extra: Sequence[Any] = ()) -> None:
    from matplotlib.lines import Line2D

    handles = [
        Line2D([], [], marker=VERDICTS[v].marker, color=VERDICTS[v].colour, linestyle="", markersize=7,
               label=VERDICTS[v].word)
        for v in verdicts
    ]  # fmt: skip
    figure.legend(handles=[*handles, *extra], loc="outside lower left", ncols=6, frameon=False, fontsize=SMALL_PT,
                  labelcolor=INK, handletextpad=0.5, columnspacing=1.8)  # fmt: skip


def limits_png(screening: Screening) -> bytes | None:
    """Return the chart of each zone against its limits, with p10 to p90 as a band; None without any limit.

    Parameters
    ----------
    screening : Screening
        The result.

    Returns
    -------
    bytes or None
        PNG.
    """
    from matplotlib.lines import Line2D

    checks = [c for c in screening.checks if np.isfinite(c.median) and np.isfinite(c.limit)]
    quantities = list(dict.fromkeys(c.quantity for c in checks))
    if not quantities:
        return None
    zones = [z for z in screening.zones["zone"] if any(c.zone == z for c in checks)]
    rows, columns = _panels(len(quantities))
    figure = sheet(9.6, rows * (0.75 + ROW_IN * len(zones)) + 0.85)
    headline(figure, "Each zone against its limits", "bar: p10 to p90 of the prediction; sign: median; "
             "upright stroke: limit, hatched on the side that fails")  # fmt: skip
    grid = figure.subplots(rows, columns, squeeze=False)
    for index, axes in enumerate(grid.flat):
        if index >= len(quantities):
            axes.set_visible(False)
            continue
        own = [c for c in checks if c.quantity == quantities[index]]
        _limit_panel(axes, own, zones, index % columns == 0)
    key = [Line2D([], [], color=INK, linewidth=2, label="limit"),
           Line2D([], [], color=INK, linewidth=2, linestyle=(0, (2, 1)), label="limit, house default")]  # fmt: skip
    shown = sorted({c.verdict for c in checks}, key=lambda v: -VERDICTS[v].rank)
    _verdict_key(figure, shown, key if any(c.house_default for c in checks) else key[:1])
    return to_png(figure)


def _limit_panel(axes: Axes, checks: Sequence[Check], zones: Sequence[str], named: bool) -> None:
    values = np.array([[c.p10, c.p90, c.median, c.limit] for c in checks])
    low, high = np.nanmin(values), np.nanmax(values)
    room = 0.08 * (high - low or 1.0)
    low = max(low - room, 0.0) if low >= 0 else low - room
    axes.set_xlim(low, high + room)
    _name_rows(axes, zones, named)
    calm(axes)
    axes.locator_params(axis="x", nbins=5)
    axes.set_title(_heading(checks[0].quantity, checks[0].unit), fontsize=TEXT_PT, color=INK, loc="left", pad=6)
    for check in checks:
        y, look = zones.index(check.zone), VERDICTS[check.verdict]
        edge = low if check.operator == ">=" else high + room
        start, width = min(edge, check.limit), abs(edge - check.limit)
        axes.barh(y, width, left=start, height=0.74, color="none", edgecolor="#d9c9c7", hatch="////", linewidth=0)
        axes.barh(y, check.p90 - check.p10, left=check.p10, height=0.26, color=look.colour, alpha=0.38, zorder=3)
        style = (0, (2, 1)) if check.house_default else "solid"
        axes.plot([check.limit] * 2, [y - 0.37, y + 0.37], color=INK, linewidth=1.8, linestyle=style, zorder=4)
        _mark(axes, check.median, y, check.verdict)


def freezing_png(screening: Screening) -> bytes | None:
    """Return the chart of who freezes before its feeder: cut-off of each zone, and when its way to feed metal closes.

    Parameters
    ----------
    screening : Screening
        The result.

    Returns
    -------
    bytes or None
        PNG; None when no cut-off time is known.
    """
    table = screening.zones[np.isfinite(screening.zones["cutoff_time_s"].astype(float))]
    if not len(table):
        return None
    table = table.sort_values("cutoff_time_s", ascending=False, kind="stable")
    rows = table.to_dict("records")
    figure = sheet(9.6, 1.55 + ROW_IN * len(rows))
    headline(figure, "Freezing order and feeding", "A zone is fed while its way to the feeder stays open longer than "
             "the zone itself needs feed metal. Margin: way closes over own cut-off.")  # fmt: skip
    axes = figure.subplots()
    far = max(max(r["cutoff_time_s_p90"], _path_closes(r)) for r in rows)
    axes.set_xlim(0, 1.82 * far)
    _name_rows(axes, [str(r["zone"]) for r in rows], True)
    calm(axes)
    for y, row in enumerate(rows):
        _feeding_row(axes, y, row, far)
    axes.set_xticks([t for t in axes.get_xticks() if t <= 1.02 * far])
    axes.set_xlabel("time from pouring [s]", fontsize=SMALL_PT, color=QUIET, loc="left")
    _feeding_key(figure)
    return to_png(figure)


def _path_closes(row: dict[Any, Any]) -> float:
    """Return when the way to the feeder closes [s]; the zone's own cut-off where it is fed from the gate."""
    margin = float(row["feeding_margin"])
    return float(row["cutoff_time_s"]) * (margin if np.isfinite(margin) else 1.0)


def _feeding_row(axes: Axes, y: int, row: dict[Any, Any], far: float) -> None:
    own, closes, margin = float(row["cutoff_time_s"]), _path_closes(row), float(row["feeding_margin"])
    fed_by = f"fed by {plain(row['freezes_after'], NAME_LIMIT)}"
    axes.barh(y, row["cutoff_time_s_p90"] - row["cutoff_time_s_p10"], left=row["cutoff_time_s_p10"], height=0.26,
              color=QUIET, alpha=0.25, zorder=2)  # fmt: skip
    colour = VERDICTS["fails"].colour if margin < 1 else ACCENT
    if np.isfinite(margin):
        axes.plot([own, closes], [y, y], color=colour, linewidth=2.4, zorder=3, solid_capstyle="butt",
                  linestyle=(0, (1.5, 0.8)) if margin < 1 else "solid")  # fmt: skip
        axes.plot([closes] * 2, [y - 0.3, y + 0.3], color=colour, linewidth=2.2, zorder=4)
        word = "CUT OFF EARLY" if margin < 1 else "open long enough"
        text = f"margin {number(margin, 2)}  {word}, {fed_by}"
    else:
        text = fed_by
    axes.scatter([own], [y], s=46, color=INK, edgecolor="white", linewidth=0.7, zorder=5)
    axes.text(1.05 * far, y, text, va="center", fontsize=SMALL_PT, color=colour if margin < 1 else QUIET,
              fontweight="bold" if margin < 1 else "normal")  # fmt: skip


def _feeding_key(figure: Any) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles = [
        Line2D([], [], marker="o", color=INK, linestyle="", markersize=6.5, label="own cut-off, median"),
        Patch(color=QUIET, alpha=0.25, label="p10 to p90"),
        Line2D([], [], marker="|", color=ACCENT, markersize=11, markeredgewidth=2.2, linestyle="",
               label="way to the feeder closes, later than the zone"),
        Line2D([], [], marker="|", color=VERDICTS["fails"].colour, markersize=11, markeredgewidth=2.2, linestyle="",
               label="closes too early"),
    ]  # fmt: skip
    figure.legend(handles=handles, loc="outside lower left", ncols=4, frameon=False, fontsize=SMALL_PT, labelcolor=INK)


def drivers_png(screening: Screening) -> bytes | None:
    """Return the chart of what drives the uncertainty of the deciding checks; None when nothing is known.

    Parameters
    ----------
    screening : Screening
        The result.

    Returns
    -------
    bytes or None
        PNG.
    """
    groups = _driver_groups(screening)
    if not groups:
        return None
    longest = max(len(g) for g in groups.values())
    figure = sheet(9.6, 1.25 + 0.28 * longest)
    headline(figure, "What the uncertainty comes from", "share of the variance that one uncertain input carries [%]; "
             "measuring the longest bar narrows the range most")  # fmt: skip
    panels = figure.subplots(1, len(groups), squeeze=False)[0]
    for axes, ((zone, quantity), drivers) in zip(panels, groups.items(), strict=True):
        shares = [100.0 * d.share for d in drivers]
        axes.barh(range(len(drivers)), shares, height=0.62, color=[ACCENT] + ["#9bb7c9"] * (len(drivers) - 1))
        axes.set_yticks(range(len(drivers)), [plain(d.source, 36) for d in drivers])
        axes.set_ylim(longest - 0.4, -0.6)
        axes.set_xlim(0, 1.25 * max([*shares, 1.0]))
        axes.set_xticks([t for t in axes.get_xticks() if t <= min(100.0, 1.1 * max(shares))])
        calm(axes)
        axes.set_title(f"{label(quantity)}, {plain(zone, NAME_LIMIT)}", fontsize=TEXT_PT, color=INK, loc="left", pad=6)
        for y, share in enumerate(shares):
            axes.text(share, y, f" {share:.0f} %", va="center", fontsize=SMALL_PT, color=INK)
    return to_png(figure)


def _driver_groups(screening: Screening, most: int = 7) -> dict[tuple[str, str], list[Driver]]:
    """Return the drivers of the deciding checks, most severe first, at most three groups."""
    known: dict[tuple[str, str], list[Driver]] = {}
    for driver in screening.drivers:
        known.setdefault((driver.zone, driver.quantity), []).append(driver)
    zones = [d.zone for d in decisive(screening)]
    ranked = [(c.zone, c.quantity) for z in zones for c in _by_severity(screening, z)]
    chosen: dict[tuple[str, str], list[Driver]] = {}
    for key in [*ranked, *known]:
        if key in known and key not in chosen and key[0] not in {zone for zone, _ in chosen}:
            chosen[key] = sorted(known[key], key=lambda d: (-d.share, d.source))[:most]
    return dict(list(chosen.items())[:2])


def _by_severity(screening: Screening, zone: str) -> list[Check]:
    own = [c for c in screening.checks if c.zone == zone]
    return sorted(own, key=lambda c: (-VERDICTS[c.verdict].rank, c.probability_ok))


def differences_png(comparison: Comparison) -> bytes | None:
    """Return the chart of B less A, role by role, with intervals and the probability that B is better.

    Parameters
    ----------
    comparison : Comparison
        The result.

    Returns
    -------
    bytes or None
        PNG; None without any difference row.
    """
    finite = [d for d in comparison.differences if np.isfinite([d.difference, d.p10, d.p90]).all()]
    quantities = _telling(finite)
    if not quantities:
        return None
    roles = [role for role in ROLES if any(d.role == role for d in finite)]
    rows, columns = _panels(len(quantities))
    figure = sheet(9.6, rows * (0.85 + ROW_IN * len(roles)) + 0.85)
    headline(figure, "Design B less design A", "bar: p10 to p90 of the difference over the same draws; mark: median; "
             "number: probability that B is better, with how finely designs can be told apart")  # fmt: skip
    grid = figure.subplots(rows, columns, squeeze=False)
    for index, axes in enumerate(grid.flat):
        if index < len(quantities):
            own = [d for d in finite if d.quantity == quantities[index]]
            _difference_panel(axes, own, roles, index % columns == 0)
        else:
            axes.set_visible(False)
    _verdict_key(figure, ("A better", "B better", "no difference"))
    return to_png(figure)


def _telling(rows: Sequence[Difference], most: int = 8) -> list[str]:
    """Return the quantities in which the designs differ somewhere; the first few when they differ nowhere."""
    differing = list(dict.fromkeys(d.quantity for d in rows if d.verdict != "no difference"))
    return differing[:most] or list(dict.fromkeys(d.quantity for d in rows))[:4]


def _difference_panel(axes: Axes, own: Sequence[Difference], roles: Sequence[str], named: bool) -> None:
    reach = 1.1 * max(max(abs(d.p10), abs(d.p90)) for d in own) or 1.0
    axes.set_xlim(-reach, 1.55 * reach)
    _name_rows(axes, roles, named)
    calm(axes)
    axes.locator_params(axis="x", nbins=6)
    axes.set_xticks([t for t in axes.get_xticks() if -reach <= t <= reach])
    axes.set_title(_heading(own[0].quantity, own[0].unit), fontsize=TEXT_PT, color=INK, loc="left", pad=6)
    axes.axvline(0.0, color=INK, linewidth=1.2, zorder=1)
    side = "B better to the right" if own[0].better_is == "higher" else "B better to the left"
    axes.set_xlabel(side, fontsize=SMALL_PT, color=SECOND, loc="left")
    axes.spines["bottom"].set_color(LINE)
    for row in own:
        y, look = roles.index(row.role), VERDICTS[row.verdict]
        axes.barh(y, row.p90 - row.p10, left=row.p10, height=0.28, color=look.colour, alpha=0.38, zorder=3)
        _mark(axes, row.difference, y, row.verdict)
        same = row.p10 == row.p90 == 0.0
        text = "same" if same else percent(row.probability_b_better)
        axes.text(1.5 * reach, y, text, ha="right", va="center", fontsize=SMALL_PT,
                  color=look.colour if row.verdict != "no difference" else QUIET)  # fmt: skip
