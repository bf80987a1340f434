"""Transient heat flow: when each place freezes."""
