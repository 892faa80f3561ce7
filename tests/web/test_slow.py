"""Slow requests, also those of a browser that was let in, shut nobody out."""

import socket

from tests.web.browserless import Client
from triage.web.held import MAX_CONNECTIONS


def test_slow_uploads_with_a_key_leave_room_for_others(running, page):
    slow = []
    try:
        for _ in range(MAX_CONNECTIONS + 20):
            one = socket.create_connection(("127.0.0.1", running.port), timeout=30)
            one.sendall(
                f"POST /who HTTP/1.1\r\nHost: 127.0.0.1:{running.port}\r\n"
                f"Origin: http://127.0.0.1:{running.port}\r\nCookie: {page.cookie}\r\n"
                "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 1000\r\n\r\na".encode()
            )
            slow.append(one)
        for _ in range(5):
            assert page.get("/l/library/").status == 200
        other = Client(running).enter()
        assert other.get("/").status == 200
    finally:
        for one in slow:
            one.close()
