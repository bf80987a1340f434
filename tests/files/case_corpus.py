"""A full case file, and every way it goes wrong that the corpus knows: what is changed, where, and what is said."""

from __future__ import annotations

from dataclasses import dataclass

FULL = """\
name = "Demo wheel, spoke A"
geometry = "wheel.stl"
alloy = "AlSi7Mg0.3"

[shape]
units = "mm"
axis = "z"
outboard = "+z"
voxel = "2.5 mm"
body = "wheel"

[[shape.zone]]
role = "hub"
radius = ["0 mm", "75 mm"]
height = ["-20 mm", "4 cm"]

[process]
route = "low-pressure"
melt_temp = "700 degC"
die_temp = "360 degC"
die_material = "1.2343"
die_wall = "35 mm"
contact_coefficient = "1800 W/m2K"
gap_coefficient = "450 W/m2K"
hold_pressure = "900 mbar"
metal_head = "50 mm"
rim_flow_formed = true

[process.die_temp_by_zone]
"spoke-rim junction" = "410 degC"

[melt]
hydrogen = "0.10 ml/100g"
strontium = "0.018 wt%"
cleanliness = "clean"
magnesium = "0.32 wt%"
iron = "0.11 wt%"
silicon = "7.2 wt%"
copper = "0.02 wt%"

[heat_treatment]
temper = "T6"
solution_temp = "538 degC"
solution_time = "300 min"
ageing_temp = "155 degC"
ageing_time = "4 h"
quench_rate = "20 K/s"

[limits.all]
porosity_max = "0.8 %"

[limits."spoke"]
elongation_min = "6 %"
ys_min = "190 MPa"
uts_min = "260 MPa"
sdas_max = "42 um"

[calibration]
name = "line 2, week 14"
sdas_prefactor = 9.6
sdas_prefactor_sigma = 0.48
porosity_factor = 0.8
"""

MINIMAL = 'geometry = "wheel.stl"\nalloy = "A356"\n'


@dataclass(frozen=True)
class Wrong:
    """One change to `FULL` and the fault it must give: row, old and new text, place, words said."""

    row: int
    old: str
    new: str
    place: str
    said: str


NAME, GEOMETRY, ALLOY = 'name = "Demo wheel, spoke A"', 'geometry = "wheel.stl"', 'alloy = "AlSi7Mg0.3"'
MELT_TEMP, DIE_TEMP, HYDROGEN = 'melt_temp = "700 degC"', 'die_temp = "360 degC"', 'hydrogen = "0.10 ml/100g"'
MAGNESIUM = 'magnesium = "0.32 wt%"'
CONTACT, GAP = 'contact_coefficient = "1800 W/m2K"', 'gap_coefficient = "450 W/m2K"'
PREFACTOR = "sdas_prefactor = 9.6"

WRONG: tuple[Wrong, ...] = (
    # 90: a key that nothing knows, or a misspelt one
    Wrong(90, "melt_temp =", "melt_tmp =", "process.melt_tmp", "is not a key castq knows; did you mean melt_temp"),
    Wrong(90, "contact_coefficient =", "htc_w_m2k =", "process.htc_w_m2k", "is not a key castq knows"),
    Wrong(90, NAME, NAME + "\ncolour = 1", "colour", "is not a key castq knows"),
    Wrong(90, "[melt]", "[metl]", "metl", "did you mean melt"),
    Wrong(90, "sdas_max =", "sdas_maximum =", "limits.spoke.sdas_maximum", "did you mean sdas_max"),
    Wrong(90, '[limits."spoke"]', '[limits."spokes"]', "limits.spokes", "did you mean spoke"),
    Wrong(90, '"spoke-rim junction" =', '"spoke rim" =', "process.die_temp_by_zone.spoke rim", "spoke-rim junction"),
    Wrong(90, "porosity_factor =", "porosity =", "calibration.porosity", "did you mean porosity_factor"),
    Wrong(90, 'role = "hub"', 'role = "hub"\nside = "in"', "shape.zone[1].side", "is not a key castq knows"),
    Wrong(90, 'role = "hub"', 'role = "hubb"', "shape.zone[1].role", "did you mean hub"),
    Wrong(90, 'temper = "T6"', 'temper = "T7"', "heat_treatment.temper", "'T7' is not known here; did you mean"),
    Wrong(90, 'route = "low-pressure"', 'route = "high-pressure"', "process.route", "did you mean low-pressure"),
    Wrong(90, 'cleanliness = "clean"', 'cleanliness = "very clean"', "melt.cleanliness", "did you mean clean"),
    Wrong(90, 'units = "mm"', 'units = "mil"', "shape.units", "'mil' is not known here"),
    # 91: the same key or table twice
    Wrong(91, HYDROGEN, HYDROGEN + '\nhydrogen = "0.2 ml/100g"', "line 34", "a key or table is given twice"),
    Wrong(91, "[melt]", "[process]", "line 32", "a key or table is given twice"),
    Wrong(91, "[shape]", 'name = "B"\n[shape]', "line 5", "a key or table is given twice"),
    # 92: not a number, infinite, beyond reason
    Wrong(92, PREFACTOR, "sdas_prefactor = nan", "calibration.sdas_prefactor", "is not finite"),
    Wrong(92, PREFACTOR, "sdas_prefactor = -inf", "calibration.sdas_prefactor", "is not finite"),
    Wrong(92, PREFACTOR, "sdas_prefactor = 1e999", "calibration.sdas_prefactor", "is not finite"),
    Wrong(92, HYDROGEN, 'hydrogen = "nan ml/100g"', "melt.hydrogen", "does not start with a number"),
    Wrong(92, HYDROGEN, 'hydrogen = "inf ml/100g"', "melt.hydrogen", "does not start with a number"),
    Wrong(92, HYDROGEN, 'hydrogen = "1e999 ml/100g"', "melt.hydrogen", "is not finite"),
    Wrong(92, 'axis = "z"\noutboard = "+z"', "axis = [0, 0, nan]", "shape.axis[2]", "is not finite"),
    # 93: the wrong type, no unit, a comma that can mean two things
    Wrong(93, HYDROGEN, "hydrogen = 0.10", "melt.hydrogen", "0.1 has no unit; expected a quantity such as"),
    Wrong(93, HYDROGEN, "hydrogen = true", "melt.hydrogen", "is true/false"),
    Wrong(93, HYDROGEN, 'hydrogen = "0.10"', "melt.hydrogen", "has no unit"),
    Wrong(93, HYDROGEN, 'hydrogen = ["0.10 ml/100g"]', "melt.hydrogen", "is a list"),
    Wrong(93, HYDROGEN, "hydrogen = 2026-11-25", "melt.hydrogen", "is a date or time"),
    Wrong(93, HYDROGEN, 'hydrogen = ""', "melt.hydrogen", "does not start with a number"),
    Wrong(93, HYDROGEN, 'hydrogen = "0.10 ml"', "melt.hydrogen", "unit 'ml'"),
    Wrong(93, MELT_TEMP, 'melt_temp = "700 mm"', "process.melt_temp", "unit 'mm'"),
    Wrong(93, 'die_wall = "35 mm"', 'die_wall = "1,235 mm"', "process.die_wall", "comma or a thousands comma"),
    Wrong(93, PREFACTOR, "sdas_prefactor = true", "calibration.sdas_prefactor", "is true/false; expected a plain"),
    Wrong(93, PREFACTOR, 'sdas_prefactor = "9,6"', "calibration.sdas_prefactor", "is text; expected a plain number"),
    Wrong(93, "rim_flow_formed = true", "rim_flow_formed = 1", "process.rim_flow_formed", "is a number; expected true"),
    Wrong(93, "rim_flow_formed = true", 'rim_flow_formed = "yes"', "process.rim_flow_formed", "is text; expected true"),
    Wrong(93, NAME, "name = 7", "name", "is a number; expected text"),
    Wrong(93, NAME, 'name = ""', "name", "is empty"),
    Wrong(93, NAME, 'name = "a\\u0007b"', "name", "not printable"),
    Wrong(93, 'radius = ["0 mm", "75 mm"]', 'radius = ["0 mm"]', "shape.zone[1].radius", "holds 1 lengths"),
    Wrong(93, 'radius = ["0 mm", "75 mm"]', 'radius = ["75 mm", "0 mm"]', "shape.zone[1].radius", "runs from 75 mm"),
    Wrong(93, 'radius = ["0 mm", "75 mm"]', "radius = [0, 75]", "shape.zone[1].radius", "not a short text"),
    Wrong(93, '[[shape.zone]]', "[shape.zone]", "shape.zone", "is a table; expected a list of tables"),
    Wrong(93, 'axis = "z"\noutboard = "+z"', "axis = [0, 0]", "shape.axis", "is not a direction"),
    Wrong(93, 'axis = "z"\noutboard = "+z"', "axis = [0, 0, 0]", "shape.axis", "is not a direction"),
    Wrong(93, 'outboard = "+z"', 'outboard = "-x"', "shape.outboard", "does not lie on the axis"),
    # 94: what another notation would have guessed at
    Wrong(94, 'route = "low-pressure"', "route = NO", "line 18", "Invalid value near: route = NO"),
    Wrong(94, MELT_TEMP, "melt_temp = 700 degC", "line 19", "near: melt_temp = 700 degC; text and quantities"),
    Wrong(94, 'solution_time = "300 min"', "solution_time = 12:30", "line 44", "near: solution_time = 12:30"),
    Wrong(94, 'solution_time = "300 min"', "solution_time = 12:30:00", "heat_treatment.solution_time", "date or time"),
    Wrong(94, PREFACTOR, "sdas_prefactor = 012", "line 60", "near: sdas_prefactor = 012"),
    # 96, 97: nested or numbered beyond reason
    Wrong(96, PREFACTOR, "sdas_prefactor = " + "[" * 20_000 + "]" * 20_000, "", "nested too deeply; write them flat"),
    Wrong(96, PREFACTOR, "sdas_prefactor = " + "[" * 40 + "]" * 40, "calibration.sdas_prefactor", "is a list"),
    Wrong(97, PREFACTOR, "sdas_prefactor = " + "9" * 5000, "", "a number has thousands of digits"),
    Wrong(97, PREFACTOR, "sdas_prefactor = " + "9" * 4000, "calibration.sdas_prefactor", "far too large"),
    Wrong(97, HYDROGEN, "hydrogen = " + "9" * 4000, "melt.hydrogen", "is a number"),
    Wrong(97, HYDROGEN, 'hydrogen = "' + "9" * 5000 + ' ml/100g"', "melt.hydrogen", "is too long for a quantity"),
    # 100: files that are not there or cannot be
    Wrong(100, GEOMETRY, 'geometry = "none.stl"', "geometry", "there is no file 'none.stl'"),
    Wrong(100, GEOMETRY, 'geometry = "."', "geometry", "is a folder"),
    Wrong(100, GEOMETRY, 'geometry = "' + "w" * 300 + '.stl"', "geometry", "cannot be read (File name too long)"),
    Wrong(100, GEOMETRY, 'geometry = "a\\u0000b.stl"', "geometry", "not printable"),
    Wrong(100, GEOMETRY, "", "geometry", "is missing"),
    Wrong(100, GEOMETRY, GEOMETRY + '\nsection_table = "wheel.stl"', "section_table", "stands beside geometry"),
    Wrong(100, NAME, NAME + '\nalloy_table = "none.toml"', "alloy_table", "cannot be read"),
    # 102: metal that is not liquid, or is too hot
    Wrong(102, MELT_TEMP, 'melt_temp = "600 degC"', "process.melt_temp", "600 degC is not above the liquidus"),
    Wrong(102, MELT_TEMP, 'melt_temp = "700 degF"', "process.melt_temp", "did you mean 700 degC?"),
    Wrong(102, MELT_TEMP, 'melt_temp = "1300 degC"', "process.melt_temp", "did you mean 1300 degF (704 degC)?"),
    Wrong(102, MELT_TEMP, 'melt_temp = "900 degC"', "process.melt_temp", "is too hot to pour; expected at most 850"),
    Wrong(102, MELT_TEMP, 'melt_temp = "700 K"', "process.melt_temp", "is not above the liquidus"),
    Wrong(102, MELT_TEMP, 'melt_temp = "-400 degC"', "process.melt_temp", "is out of range"),
    # 103: a die in which nothing freezes
    Wrong(103, DIE_TEMP, 'die_temp = "620 degC"', "process.die_temp", "never freeze: die 620 degC, AlSi7Mg0.3 is"),
    Wrong(103, DIE_TEMP, 'die_temp = "557.8 degC"', "process.die_temp", "never freeze"),
    Wrong(103, '= "410 degC"', '= "600 degC"', "process.die_temp", "spoke-rim junction never freezes: die 600 degC"),
    Wrong(103, DIE_TEMP, 'die_temp = "-20 degC"', "process.die_temp", "is out of range"),
    # 105: coefficients, walls and pressures that cannot be
    Wrong(105, CONTACT, 'contact_coefficient = "0 W/m2K"', "process.contact_coefficient", "0 W/m2K is out of range"),
    Wrong(105, CONTACT, 'contact_coefficient = "1e9 W/m2K"', "process.contact_coefficient", "is out of range"),
    Wrong(105, GAP, 'gap_coefficient = "-500 W/m2K"', "process.gap_coefficient", "-500 W/m2K is out of range"),
    Wrong(105, GAP, 'gap_coefficient = "2500 W/m2K"', "process.gap_coefficient", "is above the one in contact"),
    Wrong(105, 'die_wall = "35 mm"', 'die_wall = "0 mm"', "process.die_wall", "0 mm is out of range"),
    Wrong(105, 'die_wall = "35 mm"', 'die_wall = "35 m"', "process.die_wall", "35000 mm is out of range"),
    Wrong(105, '"900 mbar"', '"900 bar"', "process.hold_pressure", "900 bar is out of range"),
    Wrong(105, 'route = "low-pressure"', 'route = "gravity"', "process.hold_pressure", "gravity casting has none"),
    Wrong(105, CONTACT, CONTACT + '\ncoating_thickness = "150 mm"', "process.coating_thickness", "150000 um is out of"),
    Wrong(105, CONTACT, CONTACT + '\ngap = "0 um"', "process.gap", "0 um is out of range"),
    Wrong(105, CONTACT, CONTACT + '\ncoating = "paint"', "process.coating", "'paint' is not a known coating"),
    Wrong(105, 'die_material = "1.2343"', 'die_material = "steel"', "process.die_material", "is not a known die"),
    Wrong(105, 'voxel = "2.5 mm"', 'voxel = "0.01 mm"', "shape.voxel", "0.01 mm is out of range"),
    Wrong(105, PREFACTOR, "sdas_prefactor = 0", "calibration.sdas_prefactor", "0 is out of range; expected 4 to 20"),
    Wrong(105, 'name = "line 2, week 14"', "", "calibration.name", "is missing"),
    Wrong(105, PREFACTOR, "", "calibration.sdas_prefactor_sigma", "stands without sdas_prefactor"),
    # 106: what is in the melt
    Wrong(106, MAGNESIUM, 'magnesium = "35 wt%"', "melt.magnesium", "did you mean 0.35 wt%?"),
    Wrong(106, 'silicon = "7.2 wt%"', 'silicon = "70 wt%"', "melt.silicon", "70 wt% is out of range"),
    Wrong(106, 'silicon = "7.2 wt%"', 'silicon = "0.072 wt%"', "melt.silicon", "is out of range; expected 4 to 12.6"),
    Wrong(106, 'iron = "0.11 wt%"', 'iron = "-0.1 wt%"', "melt.iron", "is out of range"),
    Wrong(106, 'strontium = "0.018 wt%"', 'strontium = "1.8 wt%"', "melt.strontium", "18000 ppm is out of range"),
    Wrong(106, HYDROGEN, 'hydrogen = "-0.1 ml/100g"', "melt.hydrogen", "-0.1 ml/100g is out of range"),
    Wrong(106, HYDROGEN, 'hydrogen = "12 ml/100g"', "melt.hydrogen", "12 ml/100g is out of range; expected 0 to 1.2"),
    Wrong(106, '"538 degC"', '"570 degC"', "heat_treatment.solution_temp", "570 degC melts the last eutectic"),
    Wrong(106, '"155 degC"', '"350 degC"', "heat_treatment.ageing_temp", "350 degC is out of range"),
    Wrong(106, 'ageing_time = "4 h"', 'ageing_time = "4 s"', "heat_treatment.ageing_time", "is out of range"),
    Wrong(106, 'quench_rate = "20 K/s"', 'quench_rate = "0 K/s"', "heat_treatment.quench_rate", "is out of range"),
    Wrong(106, '"190 MPa"', '"190 ksi"', "limits.spoke.ys_min", "is out of range"),
    Wrong(106, '"260 MPa"', '"150 MPa"', "limits.spoke.uts_min", "is below ys_min"),
    Wrong(106, '"6 %"', '"60 %"', "limits.spoke.elongation_min", "60 % is out of range"),
    Wrong(106, '"42 um"', '"42 mm"', "limits.spoke.sdas_max", "42000 um is out of range"),
    # 107: an alloy that is not known
    Wrong(107, ALLOY, 'alloy = "AlSi7Mg0,3"', "alloy", "is not a known alloy; did you mean AlSi7Mg0.3"),
    Wrong(107, ALLOY, 'alloy = "A355"', "alloy", "'A355' is not a known alloy; did you mean"),
    Wrong(107, ALLOY, 'alloy = "steel"', "alloy", "is not a known alloy"),
    Wrong(107, ALLOY, "alloy = 356", "alloy", "is a number; expected text"),
    Wrong(107, ALLOY, "", "alloy", "is missing; expected an alloy name; add alloy ="),
    # 108: a formula is text like any other, never worked out
    Wrong(108, HYDROGEN, 'hydrogen = "9**9**9 ml/100g"', "melt.hydrogen", "unit '**9**9 ml/100g'"),
    Wrong(108, HYDROGEN, "hydrogen = \"().__class__.__mro__\"", "melt.hydrogen", "does not start with a number"),
    Wrong(108, HYDROGEN, 'hydrogen = "=0.1+0.1"', "melt.hydrogen", "does not start with a number"),
    Wrong(108, ALLOY, "alloy = \"__import__('os')\"", "alloy", "is not a known alloy"),
)  # fmt: skip
