"""What every output says about its own limits. The texts are part of the result and cannot be switched off."""

from __future__ import annotations

BANNER = (
    "Screening estimate. It ranks options and points at zones to look at; it does not release a wheel, a tool or a "
    "melt. A wheel is a safety part: approval rests on the physical tests and inspections that your drawing, your "
    "customer, the standards and the authorities require, judged by qualified people. Numbers carry the ranges shown; "
    "outside the marked validity they are guesses."
)

BANNER_SHORT = "Screening estimate: ranks options, releases nothing. Approval rests on physical tests and inspection."

STANDARDS_POINTER = (
    "Tests that decide about a wheel, and that castq does none of: cornering and radial fatigue (ISO 3006), lateral "
    "kerb impact (ISO 7141; a tested wheel is not used again), minimum fatigue performance (SAE J328), lateral and "
    "radial impact (SAE J175, SAE J3203), national rules and type approval such as JWL and VIA in Japan, class and "
    "grade of inspection as on the drawing. Look up the edition that is in force."
)

NOT_COVERED = (
    "Porosity and dendrite arm spacing say nothing about residual stress, oxide films, machining, paint, bolt seat "
    "load or abuse on the road."
)

BY_COMMAND: dict[str, tuple[str, ...]] = {
    "screen": (
        "Not resolved: filling flow, oxide films, die distortion, drift of the process from shot to shot.",
        "The verdict holds for the process settings listed here; check them against the tool before you act on it.",
    ),
    "compare": (
        "The verdict holds for equal process only. Not resolved: filling flow, oxide films, die distortion.",
        "Where neither design is clearly better, no difference is shown. That does not make the two equal.",
    ),
    "improve": (
        "A gain is what the relations answer to a change of one input, over the same draws. Try a change on one tool "
        "and measure it before a series follows.",
        "Time to solid is an estimate: shorten no fill, hold, closed or degassing time on its word, and never open a "
        "die before the slowest zone is solid and the margin of your procedure has passed.",
        "A change of shape changes strength, stiffness and look: the tests of the wheel start anew.",
    ),
    "melt": (
        "Degassing minutes are an estimate from your last samples. Take a new sample before tapping; never shorten a "
        "hold that your procedure requires.",
        "Keep everything that touches the melt dry and preheated: water under or in molten aluminium turns to steam at "
        "once and can explode. Wet scrap and closed containers do the same.",
        "Hydrogen and fume: ventilate, no ignition source at a rotor change. Follow your site procedure and wear the "
        "protective equipment it asks for.",
    ),
    "additions": (
        "Magnesium is flammable and reacts with water; have a class D extinguishing medium at hand and plunge it dry "
        "and preheated.",
        "Strontium reacts with moisture: store it sealed and dry. Too much raises the risk of gas pick-up. See the "
        "supplier's data sheet.",
    ),
    "x-ray": (
        "castq reads results; it does not run equipment. Interlocks, shielding and dose limits are law: ask your "
        "radiation officer.",
        "What the inspection misses, the model cannot learn.",
    ),
    "rejects": ("Advice for sorting and for finding causes; do not skip an inspection because of a low score.",),
}


def cautions_for(command: str) -> tuple[str, ...]:
    """Return the cautions that go with one command, banner first.

    Parameters
    ----------
    command : str
        A key of `BY_COMMAND`.

    Returns
    -------
    tuple of str
        Banner, the command's own cautions, what is not covered, and the pointer to standards.
    """
    return (BANNER, *BY_COMMAND[command], NOT_COVERED, STANDARDS_POINTER)
