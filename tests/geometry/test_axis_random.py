"""Axis and symmetry of fifty random wheels from the generator, lying in any direction."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from castq.geometry.axis import find_axis
from castq.geometry.mesh import Mesh
from castq.geometry.wheel import build_wheel, random_design


@pytest.mark.parametrize("block", range(5))
def test_axis_and_spoke_order_of_fifty_random_wheels(block: int) -> None:
    counted = set()
    for seed in range(10 * block, 10 * block + 10):
        rng = np.random.default_rng(seed)
        design = random_design(rng)
        turn = Rotation.random(rng=rng).as_matrix()
        shift = rng.uniform(-200.0, 200.0, 3)
        mesh = build_wheel(design)
        found = find_axis(Mesh(mesh.vertices @ turn.T + shift, mesh.faces))
        true = turn[:, 2]
        assert abs(found.direction @ true) > 1.0 - 2e-6, f"seed {seed}: tilted"
        off = found.centre_mm - shift
        assert np.linalg.norm(off - (off @ true) * true) < 0.2, f"seed {seed}: off the axis"
        assert found.spoke_order == design.spokes, f"seed {seed}: {found.spoke_order} for {design.spokes}"
        assert np.gcd(design.spokes, design.bolts) % found.order == 0
        counted.add(design.spokes)
    assert len(counted) >= 4
