"""Meshes, voxels, local thickness, zones, and a parametric wheel."""
