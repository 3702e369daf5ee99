"""Process windows for printed conductive lines and gaps: trial → surfaces → window → picture.

>>> import pwindow as pw
>>> trial = pw.read_trial(pw.demo("trial_first.csv"))
>>> len(trial.prints)
65
"""

from importlib import import_module
from typing import TYPE_CHECKING

from pwindow.shipped import __version__, demo

if TYPE_CHECKING:
    from pwindow.product import Product, read_product
    from pwindow.study import Study, read_study
    from pwindow.surfaces import Surfaces, fit
    from pwindow.trials import Trial, read_trial
    from pwindow.window import Window, find_window

__all__ = [
    "Product",
    "Study",
    "Surfaces",
    "Trial",
    "Window",
    "__version__",
    "demo",
    "find_window",
    "fit",
    "read_product",
    "read_study",
    "read_trial",
]

_HOMES = {
    "Product": "pwindow.product",
    "Study": "pwindow.study",
    "Surfaces": "pwindow.surfaces",
    "Trial": "pwindow.trials",
    "Window": "pwindow.window",
    "find_window": "pwindow.window",
    "fit": "pwindow.surfaces",
    "read_product": "pwindow.product",
    "read_study": "pwindow.study",
    "read_trial": "pwindow.trials",
}


def __getattr__(name: str) -> object:
    """Load a public name when it is first asked for: commands start, and can be ended, within a blink."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found = getattr(import_module(_HOMES[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
