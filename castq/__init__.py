"""castq screens cast aluminium wheels: from shape, die and melt to porosity risk zones and tensile properties."""

__version__ = "0.1.0"
