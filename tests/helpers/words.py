"""Texts of pages as they are read."""


def plain(text: str) -> str:
    """A text without the spaces that keep a number and its unit on one line."""
    return text.replace("\u00a0", " ").replace("&nbsp;", " ")
