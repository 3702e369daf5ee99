"""Which names a request may use for this computer, and which requests are visits.

A foreign page cannot read what another server answers, unless the page's own name is made to lead to that server (DNS
rebinding): so names are answered only where they are this computer's. It can still send requests, such as the fetching
of an image: so a kernel is started only for a person who opens a page.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterable, Mapping
from urllib.parse import urlsplit


def is_loopback(host: str) -> bool:
    """Say whether only this computer can reach `host`.

    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def own_names(host: str) -> frozenset[str]:
    """Give this computer's names: localhost, what it calls itself, and the name it was told to listen on.

    Its name in the network is looked up, which may take seconds, only where the network can reach it.
    """
    names = ["localhost", socket.gethostname(), host, *([] if is_loopback(host) else [socket.getfqdn()])]
    return frozenset(name.lower().rstrip(".") for name in names if name)


def is_own(name: str, names: Iterable[str]) -> bool:
    """Say whether the name in a request's Host is a literal address or one of `names`.

    Examples
    --------
    >>> [is_own(name, {"press-office"}) for name in ("192.0.2.7", "[::1]", "Press-Office", "foreign.example")]
    [True, True, True, False]
    """
    try:
        ipaddress.ip_address(name.removeprefix("[").removesuffix("]"))
    except ValueError:
        return name.lower().rstrip(".") in names
    return True


def is_visit(headers: Mapping[str, str], host: str) -> bool:
    """Say whether a request is a person's opening of a page, and not a foreign page's fetching of something.

    Browsers say so in ``Sec-Fetch-…`` (W3C Fetch Metadata), but only to addresses they trust, which plain HTTP to
    another computer is not; there, an opening asks for HTML and for no mixed content, which a page's script cannot ask
    of another site. What is no browser sends no ``Accept`` and is let in.

    Parameters
    ----------
    headers : mapping of str to str
        The request's headers; names in any case.
    host : str
        The request's Host, with its port.
    """
    site = headers.get("Sec-Fetch-Site")
    if site in ("same-origin", "none"):
        return True
    if "prefetch" in headers.get("Sec-Purpose", "") + headers.get("Purpose", ""):
        return False
    if site is not None:
        return headers.get("Sec-Fetch-Mode") == "navigate" and headers.get("Sec-Fetch-Dest") == "document"
    accepted = headers.get("Accept")
    if accepted is None or urlsplit(headers.get("Referer", "")).netloc == host:
        return True
    return "text/html" in accepted and headers.get("Upgrade-Insecure-Requests") == "1"
