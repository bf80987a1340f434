"""Validation table: every outside check of castq as one line of S, D and their uncertainties."""
