"""Published relations: pure functions of arrays, one register. Importing this package fills the register."""

from castq.physics import (  # noqa: F401
    ageing,
    damp_air,
    ductility,
    fatigue,
    freezing,
    hardness,
    hydrogen,
    hydrogen_freezing,
    interface,
    junctions,
    metal,
    niyama,
    pore_size,
    porosity,
    quality,
    shrinkage,
    strength,
    structure,
    wheel_loads,
)
