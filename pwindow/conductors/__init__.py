"""Resistance of lines, meshes and tiles: pure functions."""
