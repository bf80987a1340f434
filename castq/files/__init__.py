"""Strict readers and atomic writers."""
