"""What a WebSocket frame of a kernel channel must look like before anything parses it.

A frame of the v1 kernel protocol is a count of offsets, the offsets, and the parts between them: channel, header,
parent header, metadata, content, and any buffers. All numbers are 8 bytes, little-endian.
"""

from __future__ import annotations

import json
import struct

V1 = "v1.kernel.websocket.jupyter.org"
NUMBER = 8  # bytes
FEWEST_OFFSETS = 6  # of a message without buffers: five parts and the end
MOST_OFFSETS = 1024  # an upload has one buffer a file
LONGEST_HEADER = 64 * 1024  # bytes; pages send a few hundred
CHANNELS = (b"shell", b"control", b"stdin", b"iopub")
UNSUPPORTED_DATA, INVALID_DATA = 1003, 1007
"""Close codes of RFC 6455, section 7.4.1."""


class MalformedFrame(ValueError):
    """A frame that is not a message of the v1 kernel protocol.

    Attributes
    ----------
    code : int
        The close code that tells the client so.
    """

    def __init__(self, reason: str, code: int = INVALID_DATA):
        super().__init__(reason)
        self.code = code


def check_frame(frame: bytes | str) -> None:
    """Check a frame in a time that does not depend on the numbers it states.

    Raises
    ------
    MalformedFrame
        If the frame is text, its offsets do not divide it, or its header names no kind of message.

    Examples
    --------
    >>> check_frame(b"\\xff" * 64)
    Traceback (most recent call last):
    ...
    pwindow.server.frames.MalformedFrame: the count of offsets is not from 6 to 1024
    """
    if isinstance(frame, str):
        raise MalformedFrame("text where the kernel protocol v1 is binary", UNSUPPORTED_DATA)
    offsets = _offsets(frame)
    if frame[offsets[0] : offsets[1]] not in CHANNELS:
        raise MalformedFrame("no such channel")
    _check_header(frame[offsets[1] : offsets[2]])


def _offsets(frame: bytes) -> tuple[int, ...]:
    count = int.from_bytes(frame[:NUMBER], "little")
    if not FEWEST_OFFSETS <= count <= MOST_OFFSETS:
        raise MalformedFrame(f"the count of offsets is not from {FEWEST_OFFSETS} to {MOST_OFFSETS}")
    start = NUMBER * (1 + count)
    if len(frame) < start:
        raise MalformedFrame("the frame ends before its offsets do")
    offsets = struct.unpack_from(f"<{count}Q", frame, NUMBER)
    if offsets[0] != start or offsets[-1] != len(frame) or list(offsets) != sorted(offsets):
        raise MalformedFrame("the offsets do not divide the frame")
    return offsets


def _check_header(text: bytes) -> None:
    if len(text) > LONGEST_HEADER:
        raise MalformedFrame(f"the header is longer than {LONGEST_HEADER} bytes")
    try:
        header = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise MalformedFrame("the header is not JSON") from error
    if not isinstance(header, dict) or not isinstance(header.get("msg_type"), str):
        raise MalformedFrame("the header names no kind of message")
