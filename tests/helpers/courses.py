"""What happened to a page in a browser, for whoever has to find out why it never came."""

from __future__ import annotations

import time

from playwright.sync_api import Page, WebSocket

_TELLING = ("/voila/render/", "/api/kernels/", "/voila/api/")


def watched(page: Page) -> list[str]:
    """A list that fills with a line for each message, error, answer and connection of a page."""
    course: list[str] = []
    begin = time.monotonic()

    def say(*words: object) -> None:
        course.append(f"{time.monotonic() - begin:7.2f} s  " + " ".join(map(str, words))[:300])

    def connected(socket: WebSocket) -> None:
        frames = {"received": 0, "sent": 0}

        def count(kind: str) -> None:
            frames[kind] += 1
            if frames[kind] == 1:
                say("first frame", kind)

        say("connected", socket.url.rpartition("?")[0])
        socket.on("framereceived", lambda _: count("received"))
        socket.on("framesent", lambda _: count("sent"))
        socket.on("close", lambda _: say("connection closed after", frames))
        socket.on("socketerror", lambda error: say("connection failed:", error))

    page.on("console", lambda message: say(message.type, message.text))
    page.on("pageerror", lambda error: say("error", error))
    page.on("crash", lambda _: say("the page crashed"))
    page.on("requestfailed", lambda request: say("no answer:", request.url, request.failure))
    page.on(
        "response",
        lambda answer: (
            say(answer.status, answer.url)
            if answer.status >= 400 or any(part in answer.url for part in _TELLING)
            else None
        ),
    )
    page.on("websocket", connected)
    return course
