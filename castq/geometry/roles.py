"""The zones of a wheel as named on its drawing, and the number each one has in a voxel map."""

from __future__ import annotations

ROLES: tuple[str, ...] = (
    "hub",
    "bolt seat",
    "spoke-hub junction",
    "spoke",
    "spoke-rim junction",
    "rim well",
    "inboard flange",
    "outboard flange",
)

# Code in a voxel map: 0 is void, each role its place in `ROLES` plus one.
CODE: dict[str, int] = {role: number for number, role in enumerate(ROLES, start=1)}

# A bolt seat is the metal round the counterbore that the clamped bolt loads. Common practice, no source.
BOLT_SEAT_MARGIN_MM = 8.0

# A junction never takes more than this share of the free length of its spoke. Common practice, no source.
LARGEST_JUNCTION_SHARE = 0.35
