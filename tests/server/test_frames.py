"""No frame stops the server, and only one protocol is spoken."""

import json
import struct
import time
import uuid

import pytest
import websocket
from jupyter_server.services.kernels.connection.base import serialize_msg_to_ws_v1

from pwindow.server.frames import V1, MalformedFrame, check_frame
from tests.helpers.servers import wait_until

HEADER = {"msg_id": "1", "msg_type": "kernel_info_request", "session": "s", "username": "u", "version": "5.3"}


def frame(header=HEADER, channel="shell", buffers=()):
    header = header if isinstance(header, bytes) else json.dumps(header).encode()
    return serialize_msg_to_ws_v1([header, b"{}", b"{}", b"{}", *buffers], channel)


def with_offsets(*offsets):
    return struct.pack(f"<{1 + len(offsets)}Q", len(offsets), *offsets) + b"shell{}{}{}{}"


RUBBISH = {
    "nothing": b"",
    "a count of 2**24": (2**24).to_bytes(8, "little") + bytes(100),
    "a count of 2**28": (2**28).to_bytes(8, "little") + bytes(100),
    "all ones": b"\xff" * 64,
    "no offsets": bytes(64),
    "five offsets": with_offsets(48, 53, 55, 57, 59),
    "offsets cut off": frame()[:20],
    "offsets that fall": with_offsets(56, 61, 59, 63, 65, 69),
    "offsets past the end": with_offsets(56, 61, 63, 65, 67, 2**60),
    "offsets into themselves": with_offsets(0, 61, 63, 65, 67, 69),
    "a part too many bytes": frame() + b"x",
    "no such channel": frame(channel="other"),
    "a header that is no JSON": frame(b"\xff{"),
    "a header that is too deep": frame(b"[" * 60_000),
    "a header that is too long": frame(b" " * 70_000 + b"{}"),
    "a header that is a list": frame([]),
    "a header without a kind": frame({}),
    "text": '{"channel": "shell"}',
}


@pytest.mark.parametrize("channel", ["shell", "control", "stdin", "iopub"])
def test_what_pages_send_is_well_formed(channel):
    check_frame(frame(channel=channel))
    check_frame(frame(channel=channel, buffers=[b"", bytes(1000)]))


@pytest.mark.parametrize("name", RUBBISH)
def test_rubbish_is_told_at_once(name):
    start = time.perf_counter()
    with pytest.raises(MalformedFrame) as problem:
        check_frame(RUBBISH[name])
    assert time.perf_counter() - start < 0.2
    assert problem.value.code == (1003 if name == "text" else 1007)
    assert len(str(problem.value)) <= 123, "the reason of a close has no more room"


@pytest.fixture(scope="module")
def visitor(visiting):
    with visiting() as visitor:
        yield visitor


@pytest.fixture(scope="module")
def kernel(visitor):
    return visitor.open_page()


@pytest.mark.slow
@pytest.mark.parametrize("name", RUBBISH)
def test_rubbish_closes_its_socket_and_stops_nobody(visitor, kernel, name):
    line = visitor.connect(kernel)
    sent = RUBBISH[name]
    line.send(sent) if isinstance(sent, str) else line.send_binary(sent)
    start = time.monotonic()
    assert visitor.ask("GET", "/")[0] == 200
    assert time.monotonic() - start < 3
    kind = None
    while kind != websocket.ABNF.OPCODE_CLOSE:
        kind, data = line.recv_data()
    assert int.from_bytes(data[:2], "big") == (1003 if name == "text" else 1007)
    line.close()
    assert visitor.kernel_exists(kernel)


@pytest.mark.slow
@pytest.mark.parametrize("protocols", [None, ["other.kernel.websocket.jupyter.org"]])
def test_only_the_v1_protocol_is_spoken(visitor, kernel, protocols):
    assert visitor.refused(kernel, subprotocols=protocols) == 400
    line = visitor.connect(kernel, subprotocols=[*(protocols or []), V1])
    assert line.subprotocol == V1
    line.send_binary(frame({**HEADER, "msg_id": uuid.uuid4().hex}))  # a kernel hears the same message once
    while b"kernel_info_reply" not in line.recv():
        pass
    line.close()


@pytest.mark.slow
@pytest.mark.parametrize("session", ["", "x" * 300, "%00", "%ff"])
def test_a_session_without_a_plain_name_is_refused(visitor, kernel, session):
    path = "/api/kernels/{}/channels?session_id=" + session
    assert visitor.refused(kernel, path) == 400


@pytest.mark.slow
def test_a_page_has_few_sockets(visitor, kernel):
    lines = []
    assert wait_until(lambda: _is_open(visitor, kernel, lines) and len(lines) == 4)
    assert visitor.refused(kernel) == 429
    for line in lines:
        line.close()
    assert wait_until(lambda: _is_open(visitor, kernel, lines))
    lines[-1].close()


def _is_open(visitor, kernel, lines):
    try:
        lines.append(visitor.connect(kernel))
    except websocket.WebSocketBadStatusException:
        return False
    return True
