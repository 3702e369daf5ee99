"""A new trial against the fit of the trials before it."""
