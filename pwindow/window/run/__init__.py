"""Prints that were made, against what a product requires."""
