"""HTML from templates: the one owner of the environment that fills them, and of the parts that they share.

A template escapes whatever it is given, unless that is `Markup`: what another template has made.
"""

from pwindow.markup.parts import capitalize_first, part, templates_of

__all__ = ["capitalize_first", "part", "templates_of"]
