"""The same headers on everything that is answered."""

from __future__ import annotations

from collections.abc import Mapping

from tornado.httputil import HTTPHeaders
from tornado.web import OutputTransform


def on_every_answer(headers: Mapping[str, str]) -> type[OutputTransform]:
    """Give a transform that puts `headers` on pages, files, errors and redirects alike, whoever answers."""

    class Headers(OutputTransform):
        def transform_first_chunk(
            self, status_code: int, headers_so_far: HTTPHeaders, chunk: bytes, finishing: bool
        ) -> tuple[int, HTTPHeaders, bytes]:
            for name, value in headers.items():
                headers_so_far[name] = value
            return status_code, headers_so_far, chunk

    return Headers
