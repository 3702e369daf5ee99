"""What the process that kernels are forked from does once: it is done as this module is imported."""

from __future__ import annotations

import gc

import ipykernel.kernelapp  # noqa: F401 - each kernel needs it

from pwindow.panels import get_ready

get_ready()
gc.collect()
gc.freeze()  # what is shared stays so: kernels do not go through it for what can be thrown away
