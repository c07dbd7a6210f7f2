"""The desk as one application: every page's address, the checks around it, the headers of every answer."""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Awaitable, Callable
from contextlib import asynccontextmanager
from typing import Any
from urllib.parse import quote

from sqlalchemy.exc import IntegrityError
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Match, Mount, Route
from starlette.staticfiles import StaticFiles

from takeup.errors import TakeupError
from takeup.lab.port import Stale
from takeup.lab.sessions import note_sent, sent_before
from takeup.web.answers import STATIC, Painter, Tidy, plain_fault
from takeup.web.ask import Answer, Ask, Desk, Refused, SeeOther, Shown
from takeup.web.body import TooLarge, read_body
from takeup.web.caller import Caller
from takeup.web.door import way_in
from takeup.web.listed import PAGES
from takeup.web.pages import Entry, entries_of
from takeup.web.station_api import take_what_waits
from takeup.words.sentences import say
from takeup.work.nightly import Nightly


def make_app(desk: Desk) -> Starlette:
    """The application for one desk."""
    painter, caller = Painter(desk), Caller(desk)
    sending = _Sending()
    routes: list[Any] = [
        Route(
            entry.path, _endpoint(entry, desk, painter, caller, sending), methods=["POST"] if entry.changes else ["GET"]
        )
        for entry in entries_of(PAGES)
    ]

    @asynccontextmanager
    async def life(_app: Starlette) -> Any:
        desk.wire.start()
        desk.workers.start()
        await run_in_threadpool(take_what_waits, desk)
        nightly = Nightly(desk.lab)
        nightly.start()
        yield
        nightly.stop()
        desk.wire.close()
        await run_in_threadpool(desk.workers.stop)

    shown = [route for route in routes if "GET" in route.methods]

    async def nowhere(request: Request, error: Exception) -> Response:
        ask = await caller.ask(request)
        if request.method == "GET" and getattr(error, "status_code", 404) == 405 and (above := _above(shown, request)):
            return painter.paint(ask, SeeOther(url=above), request)
        sentence = ask.words("There is no such page.")
        return painter.paint(ask, Shown(template="told.html", facts={"sentence": sentence}, status=404), request)

    async def own_fault(request: Request, error: Exception) -> Response:
        return plain_fault(error)

    return Starlette(
        routes=[*routes, Mount("/static", StaticFiles(directory=STATIC))],
        middleware=[Middleware(Tidy)],
        exception_handlers={404: nowhere, 405: nowhere, Exception: own_fault},
        lifespan=life,
    )


def _above(shown: list[Route], request: Request) -> str:
    """Where the page of a form is: its address opened by hand, by going back, or by a change of language."""
    path = request.url.path.rpartition("/")[0]
    while path:
        if any(route.matches({**request.scope, "path": path})[0] == Match.FULL for route in shown):
            return path
        path = path.rpartition("/")[0]
    return ""


class _Sending:
    """One lock for each form being sent, so that a double click waits for the first."""

    def __init__(self) -> None:
        self.guard = threading.Lock()
        self.locks: dict[str, threading.Lock] = defaultdict(threading.Lock)

    def lock(self, token: str) -> threading.Lock:
        with self.guard:
            if len(self.locks) > 10_000:
                self.locks = defaultdict(threading.Lock, {k: v for k, v in self.locks.items() if v.locked()})
            return self.locks[token]


def _endpoint(
    entry: Entry, desk: Desk, painter: Painter, caller: Caller, sending: _Sending
) -> Callable[[Request], Awaitable[Response]]:
    async def endpoint(request: Request) -> Response:
        ask = await caller.ask(request, station_door=entry.door == "station")
        if entry.door == "station":
            if ask.who.kind != "station":
                return painter.told(
                    ask, {"why": ask.words("This station's key is not known here; pair it again.")}, 403
                )
        else:
            way = await run_in_threadpool(way_in, desk.lab, entry.door, ask.who, ask.parts.get("box"))
            if way != "in":
                return _turned_away(ask, way, painter, request, changes=entry.changes)
        try:
            if entry.changes:
                ask = await read_body(request, ask, entry)
                if entry.door != "station" and not caller.brings_token(ask):
                    return _no_token(ask, painter, request)
            answer = await run_in_threadpool(_answered, entry, ask, sending)
        except TooLarge:
            answer = _sorry(ask, ask.words("This is larger than fits here; nothing was changed."), 413)
        finally:
            caller.clean(ask)
        return painter.paint(ask, answer, request)

    return endpoint


def _answered(entry: Entry, ask: Ask, sending: _Sending) -> Answer:
    """The page's own answer; what cannot be becomes a sentence."""
    token = ask.given.get("once", "")[:100] if entry.changes and entry.once and entry.door != "station" else ""
    try:
        if not token:
            return entry.call(ask)
        key = f"{ask.who.session_id}/{token}"
        with sending.lock(key):
            with ask.desk.lab.reading() as db:
                before = sent_before(db, key)
            if before is not None:
                return SeeOther(url=before)
            answer = entry.call(ask)
            if isinstance(answer, SeeOther) and answer.token is None and not answer.forget:
                with ask.desk.lab.writing() as db:
                    note_sent(db, key, answer.url)
            return answer
    except Refused as no:
        return _sorry(ask, no.sentence, no.status)
    except Stale:
        sentence = ask.words(
            "Somebody changed this while you had it open. Nothing was overwritten: look again, then change it."
        )
        return _sorry(ask, sentence, 409)
    except IntegrityError:
        return _sorry(
            ask, ask.words("Something of this was taken or made a moment ago. Nothing was changed: look again."), 409
        )
    except TakeupError as error:
        return _sorry(ask, say("faults", error.key, ask.lang, error.facts), 400 if error.exit_status == 2 else 500)


def _sorry(ask: Ask, sentence: str, status: int) -> Shown:
    return Shown(template="told.html", facts={"sentence": sentence}, status=status)


def _no_token(ask: Ask, painter: Painter, request: Request) -> Response:
    sentence = ask.words(
        "This form was not from this screen's own page, or the page was too old. Nothing was changed: load it again."
    )
    return painter.paint(ask, _sorry(ask, sentence, 403), request)


def _turned_away(ask: Ask, way: str, painter: Painter, request: Request, *, changes: bool) -> Response:
    if way in ("sign-in", "code") and not changes and "text/html" in request.headers.get("accept", "text/html"):
        return painter.paint(ask, SeeOther(url=_where_to(way, ask.path)), request)
    sentence = ask.words("This page is not for this screen. Staff can sign in; visitors type their slip's code.")
    return painter.paint(ask, _sorry(ask, sentence, 403), request)


def _where_to(way: str, path: str) -> str:
    """Where to sign in, and where to go on to."""
    return f"/{way}?next={quote(path, safe='')}"
