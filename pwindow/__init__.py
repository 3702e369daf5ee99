"""Process windows for printed conductive lines and gaps: trial → surfaces → window → picture.

>>> import pwindow as pw
>>> trial = pw.read_trial(pw.demo("trial_first.csv"))
>>> len(trial.prints)
65
"""

from importlib import import_module

from pwindow.demo import demo

_HOMES = {
    "Product": "product",
    "Study": "study",
    "Surfaces": "surfaces",
    "Trial": "trials",
    "Window": "window",
    "find_window": "window",
    "fit": "surfaces",
    "read_product": "product",
    "read_study": "study",
    "read_trial": "trials",
}

__all__ = [
    "Product",
    "Study",
    "Surfaces",
    "Trial",
    "Window",
    "demo",
    "find_window",
    "fit",
    "read_product",
    "read_study",
    "read_trial",
]


def __getattr__(name: str) -> object:
    """Import what is asked for: the server of the pages is of this package, and needs none of it."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
