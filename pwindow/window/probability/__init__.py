"""Probabilities of rectangles under multivariate t distributions."""
