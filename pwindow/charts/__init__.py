"""Figures made from results; no widget here."""
