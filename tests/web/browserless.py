"""A client that sends exactly what a test tells it to: no browser, no cookies of its own will."""

from __future__ import annotations

import http.client
import json
import re
from dataclasses import dataclass
from urllib.parse import urlencode, urlsplit

from triage.web.server import Running


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode()

    @property
    def json(self):
        return json.loads(self.body)


class Client:
    """One browser of a running page; `enter()` swaps the token for the cookie."""

    def __init__(self, running: Running) -> None:
        self.running = running
        self.host = f"127.0.0.1:{running.port}"
        self.origin = f"http://{self.host}"
        self.cookie = ""

    def enter(self) -> Client:
        parts = urlsplit(self.running.url)
        done = self.ask("GET", f"{parts.path}?{parts.query}")
        assert done.status == 303, done.text
        self.cookie = done.headers["set-cookie"].split(";")[0]
        return self

    def ask(self, method, where, body=None, headers=None, *, bare=False) -> Answer:
        connection = http.client.HTTPConnection("127.0.0.1", self.running.port, timeout=30)
        given = {} if bare else {"Host": self.host}
        if self.cookie and not bare:
            given["Cookie"] = self.cookie
        if method == "POST" and not bare:
            given["Origin"] = self.origin
        given |= headers or {}
        given = {name: value for name, value in given.items() if value is not None}
        connection.putrequest(method, where, skip_host=True, skip_accept_encoding=True)
        for name, value in given.items():
            connection.putheader(name, value)
        if body is not None and "Content-Length" not in given:
            connection.putheader("Content-Length", str(len(body)))
        connection.endheaders()
        if body is not None:
            connection.send(body)
        answer = connection.getresponse()
        found = {name.lower(): value for name, value in answer.getheaders()}
        done = Answer(answer.status, found, answer.read())
        connection.close()
        return done

    def get(self, where, **query) -> Answer:
        return self.ask("GET", where + (f"?{urlencode(query)}" if query else ""))

    def form(self, where, **fields) -> Answer:
        body = urlencode(fields, doseq=True).encode()
        return self.ask("POST", where, body, {"Content-Type": "application/x-www-form-urlencoded"})

    def json(self, where, data) -> Answer:
        return self.ask("POST", where, json.dumps(data).encode(), {"Content-Type": "application/json"})

    def name(self, by: str) -> Client:
        assert self.form("/who", name=by, next="/").status == 303
        return self


def links(page: str) -> list[str]:
    return re.findall(r'href="([^"]+)"', page)
