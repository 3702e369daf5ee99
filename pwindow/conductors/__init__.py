"""Resistance and silver of lines, meshes and tiles: pure functions."""
