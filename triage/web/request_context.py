"""One request as the pages see it, and how a page's function becomes a route."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, quote, unquote, urlencode, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from triage.errors import BadInput, Cancelled, Damaged, NoLibrary, TriageError, WrongUsage
from triage.library import queries
from triage.library.people import resembling
from triage.web.bodies import BodyTooLarge, as_form, as_json, read
from triage.web.render import plain_hint
from triage.web.wording import in_words, own_tags

if TYPE_CHECKING:
    from triage.library import Library
    from triage.library.records import Photo
    from triage.web.sessions import Session
    from triage.web.site import Site

_MAX_TEXT = 4_000


class WrongFields(BadInput):
    """Values of a form that cannot be taken: `fields` says what is wrong, by the name of the field."""

    def __init__(self, fields: Mapping[str, str]) -> None:
        super().__init__(" ".join(fields.values()), "Nothing was stored.")
        self.fields = dict(fields)


class NeedName(TriageError):
    """Somebody acts without having said who they are."""


class AskPerson(TriageError):
    """Somebody speaks under a name that differs in spelling only from a known one."""

    def __init__(self, name: str, known: str) -> None:
        self.name, self.known = name, known
        super().__init__(
            f"{known} has spoken in this library, and {name} differs in spelling only.",
            "Say once whether that is one person. Nothing was stored yet.",
        )


@dataclass
class RequestContext:
    """What one request asks: of which site and library, by whom, with which fields."""

    site: Site
    session: Session
    name: str
    path: dict[str, str]
    query: dict[str, str]
    form: dict[str, list[str]] = field(default_factory=dict)
    data: dict[str, Any] = field(default_factory=dict)
    wants_json: bool = False
    in_place: bool = False
    """Whether a form's script waits for the answer: it shows what is wrong at the fields."""
    here: str = "/"
    said_as: str = ""
    """The name that the asking tab shows; empty where it does not say."""

    @property
    def library(self) -> Library:
        """The library that the address names. Raises NoLibrary."""
        return self.site.home.library(self.name)

    @property
    def speaker(self) -> str:
        """The name that the asking tab shows, empty until somebody says one."""
        return self.said_as or (self.form.get("_as") or [""])[-1] or self.session.by

    @property
    def by(self) -> str:
        """Who speaks. Raises NeedName until somebody said a name, AskPerson while it may be a known one's."""
        speaker = self.speaker
        if not speaker:
            raise NeedName("Nobody is named as the speaker.", "Say who you are first.")
        if speaker != self.session.by and speaker not in self.session.names:
            raise NeedName(f"Nobody said the name {speaker!r} in this browser.", "Say who you are first.")
        if self.name and (self.name, speaker) not in self.session.asked:
            with self.library.read() as connection:
                known = resembling(connection, speaker)
            if known:
                raise AskPerson(speaker, known[0])
            self.session.asked.add((self.name, speaker))
        return speaker

    def words(self, text: object) -> str:
        """Return a sentence with every key of a tag or fact in words, this library's own tags too."""
        try:
            own = own_tags(self.library) if self.name else frozenset[str]()
        except TriageError:  # the sentence may be about a library that cannot be opened
            own = frozenset()
        return in_words(str(text), own)

    def done(self, where: str, told: str) -> Response:
        """Send the browser on after a form was taken; the page it comes to says what was done."""
        self.session.told = told
        return back(where + _came_from_ready(self.here, where))

    def url(self, where: str = "", **query: object) -> str:
        """Return the address of a page of this library."""
        return url(self.name, where, **query)

    def text(self, name: str, most: int = _MAX_TEXT) -> str:
        """Return one field of the form, stripped; empty where none is. Raises BadInput if too long."""
        value = (self.form.get(name) or [""])[-1].strip()
        if len(value) > most:
            raise BadInput(f"{name}: {len(value)} characters are too many.", f"Use at most {most}.")
        return value

    def need(self, name: str, what: str) -> str:
        """Return a field that must be there. Raises BadInput naming what is missing."""
        value = self.text(name)
        if not value:
            raise BadInput(f"{what} is missing.", "Fill it in and send the form again.")
        return value

    def take(self, **readers: Callable[[], Any]) -> dict[str, Any]:
        """Read several fields and return them by name. Raises WrongFields naming all that are wrong."""
        found: dict[str, Any] = {}
        wrong: dict[str, str] = {}
        for name, reader in readers.items():
            try:
                found[name] = reader()
            except (BadInput, WrongUsage) as error:
                wrong[name] = f"{error} {error.hint}".strip()
        if wrong:
            raise WrongFields(wrong)
        return found

    def deck(self) -> str:
        """Return the deck that the request names. Raises BadInput for one that is not there."""
        from triage.assess.said import known_deck

        named = self.query.get("d") or (self.form.get("deck") or [""])[-1] or self.data.get("deck") or ""
        return known_deck(self.library, str(named))

    def photo(self) -> Photo:
        """Return the photo of the address. Raises NotThere."""
        return photo_of(self.library, self.path.get("sha", ""))


def _came_from_ready(here: str, where: str) -> str:
    """Return the end of an address that keeps the way back to the list of what is left to do."""
    came = parse_qs(urlsplit(here).query)
    if came.get("from") != ["ready"]:
        return ""
    more = urlencode({"from": "ready", **({"rd": came["rd"][0]} if "rd" in came else {})})
    return f"{'&' if '?' in where else '?'}{more}"


class NotThere(TriageError):
    """There is nothing at this address."""


def photo_of(library: Library, sha: object) -> Photo:
    """Return a photo by its whole hash, and by nothing else. Raises NotThere."""
    if isinstance(sha, str) and len(sha) == 64 and set(sha) <= set("0123456789abcdef"):
        found = queries.photos_by_sha(library, [sha])
        if found:
            return found[0]
    raise NotThere("There is no such photo in this library.", "It may have been removed.")


def number(value: object) -> float:
    """Return a number from JSON. Raises BadInput for anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BadInput("A number was expected.", "Load the page again.")
    return float(value)


def url(name: str, where: str = "", **query: object) -> str:
    """Return the address of a page of a library, everything escaped."""
    given = {key: str(value) for key, value in query.items() if value is not None and value != ""}
    return f"/l/{quote(name)}/{where}" + (f"?{urlencode(given)}" if given else "")


Page = Callable[[RequestContext], Response]


def route(path: str, page: Page, *, posts: bool = False, json: bool = False) -> Route:
    """Make a route of a page's function, which runs in a worker thread.

    Its errors become a page of one sentence and a hint, or JSON with `error` and `hint`.
    """

    async def endpoint(request: Request) -> Response:
        site: Site = request.app.state.site
        ask = RequestContext(
            site,
            request.scope["session"],
            str(request.path_params.get("lib", "")),
            {key: str(value) for key, value in request.path_params.items()},
            dict(request.query_params),
            wants_json=json,
            here=_here(request),
            said_as=unquote(request.headers.get("x-speaks-as", ""))[:200],
            in_place=request.headers.get("x-form") == "fields",
        )
        try:
            if posts:
                await _take_body(request, ask)
            answered = await run_in_threadpool(page, ask)
            if ask.in_place and isinstance(answered, RedirectResponse):
                return JSONResponse({"where": answered.headers["location"]})
            return answered
        except TriageError as error:
            return refused(ask, error)
        except OSError as error:
            return refused(ask, TriageError(f"{error.strerror or error}.", "Check the disk and try again."))

    return Route(path, endpoint, methods=["POST"] if posts else ["GET"])


def _here(request: Request) -> str:
    """Return the page's own address; for a form the one of the page it stood on."""
    if request.method == "GET":
        return request.url.path + (f"?{request.url.query}" if request.url.query else "")
    came = urlsplit(request.headers.get("referer", ""))
    return (came.path or "/") + (f"?{came.query}" if came.query else "")


async def _take_body(request: Request, ask: RequestContext) -> None:
    kind = request.headers.get("content-type", "").split(";")[0].strip()
    body = await read(request)
    if kind == "application/json":
        ask.data = as_json(body)
    elif kind == "application/x-www-form-urlencoded":
        ask.form = as_form(body)
    elif body:
        raise BadInput("This address takes forms and JSON only.", "Load the page again.")


def status_of(error: TriageError) -> int:
    """Return the HTTP status that fits an error."""
    if isinstance(error, NotThere | NoLibrary):
        return 404
    if isinstance(error, BodyTooLarge):
        return 413
    if isinstance(error, NeedName | AskPerson):
        return 403
    if isinstance(error, Damaged):
        return 500
    return 409 if isinstance(error, Cancelled) else 400


def refused(ask: RequestContext, error: TriageError) -> Response:
    """Return what a person sees of an error."""
    if ask.wants_json or ask.in_place:
        wrong = error.fields if isinstance(error, WrongFields) else {}
        told = {
            "error": ask.words(error),
            "hint": ask.words(plain_hint(error.hint)),
            "need_name": isinstance(error, NeedName),
            "fields": {
                name: ask.words(plain_hint(words)) or "This value does not fit."
                for name, words in wrong.items()
            },
        }
        return JSONResponse(told, status_code=status_of(error))
    return ask.site.show(
        "error.html",
        ask,
        status=status_of(error),
        message=ask.words(error),
        hint=error.hint,
        need_name=isinstance(error, NeedName),
        person=error if isinstance(error, AskPerson) else None,
    )


def back(where: str) -> Response:
    """Send the browser on after a form was taken."""
    return RedirectResponse(where, status_code=303)
