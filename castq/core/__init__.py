"""Relation register, units, errors, sampling: what everything else stands on."""
