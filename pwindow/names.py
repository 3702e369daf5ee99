"""Public names of a package, loaded when they are first asked for."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from importlib import import_module


def loading(package: str, homes: Mapping[str, str]) -> Callable[[str], object]:
    """A ``__getattr__`` for a package: what is imported of it costs only what is used.

    Parameters
    ----------
    package : str
        Its dotted name.
    homes : mapping of str to str
        For each public name the module that has it, or that it is itself.

    Examples
    --------
    >>> loading("pwindow", {"listed": "pwindow.wording"})("listed")(["a", "b"])
    'a and b'
    """

    def load(name: str) -> object:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        home = import_module(homes[name])
        found = home if homes[name] == f"{package}.{name}" else getattr(home, name)
        setattr(sys.modules[package], name, found)
        return found

    return load
