"""Turns a page's answer into what travels: templates in the reader's language, cookies, the headers of every answer."""

from __future__ import annotations

import tempfile
import traceback
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

from jinja2 import BytecodeCache, Environment, FileSystemLoader, StrictUndefined, pass_context, select_autoescape
from jinja2.bccache import Bucket
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from takeup.lab.hours import zone_of
from takeup.lab.secrets import new_token
from takeup.web import shapes
from takeup.web.ask import Answer, Ask, Desk, Document, SeeOther, Served, Shown, Streamed, Told
from takeup.web.caller import COOKIE, LANGUAGE_COOKIE
from takeup.web.speech import LANGUAGES, catalogue
from takeup.words.sentences import say

HERE = Path(__file__).parent
STATIC = HERE / "static"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; "
    "connect-src 'self'; font-src 'self'; manifest-src 'self'; form-action 'self'; frame-ancestors 'none'; "
    "base-uri 'none'"
)
PICTURE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox"
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "x-frame-options": "DENY",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "cache-control": "no-store",
}


class _Compiled(BytecodeCache):
    """Every template as it was compiled, kept while the process runs: words are put in only when a page is painted, so
    both languages, and every desk of this process, share one."""

    def __init__(self) -> None:
        self.kept: dict[tuple[str, str], Any] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        bucket.code = self.kept.get((bucket.key, bucket.checksum))

    def dump_bytecode(self, bucket: Bucket) -> None:
        self.kept[bucket.key, bucket.checksum] = bucket.code


COMPILED = _Compiled()


class Painter:
    """Paints answers for one desk."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.rooms = {lang: self._room(lang) for lang in LANGUAGES}

    def _room(self, lang: str) -> Environment:
        room = Environment(
            loader=FileSystemLoader(HERE / "templates"),
            autoescape=select_autoescape(default=True),
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            extensions=["jinja2.ext.i18n"],
            bytecode_cache=COMPILED,
        )
        room.install_gettext_translations(catalogue(lang), newstyle=True)  # type: ignore[attr-defined]
        room.globals.update(keys=_keys, languages=LANGUAGES, **shapes.of(lang))
        room.globals["term"] = lambda key: say("terms", key, lang)
        return room

    def html(self, ask: Ask, shown: Shown, query: Mapping[str, str]) -> str:
        """A page's text; ``query`` is what its address asks for, which a change of language keeps."""
        room = self.rooms[ask.lang]
        with self.desk.lab.reading() as db:
            zone = zone_of(db)
        room.globals["moment"] = lambda text: shapes.moment(text, zone)  # the lab may change its zone at any time
        template = room.get_template(shown.template)
        here = {"ask": ask, "who": ask.who, "lang": ask.lang, "demo": self.desk.demo}
        here["in_language"] = lambda lang: "?" + urlencode({**query, "lang": lang})
        return template.render(here | dict(shown.facts))

    def told(self, ask: Ask, facts: Any, status: int) -> Response:
        return JSONResponse(facts, status)

    def paint(self, ask: Ask, answer: Answer, request: Request) -> Response:
        """The response."""
        response = self._made(ask, answer, request)
        secure = request.url.scheme == "https"
        if isinstance(answer, SeeOther) and answer.token:
            response.set_cookie(COOKIE, answer.token, httponly=True, samesite="lax", secure=secure, max_age=366 * 86400)
        elif isinstance(answer, SeeOther) and answer.forget:
            response.delete_cookie(COOKIE, httponly=True, samesite="lax")
        elif isinstance(answer, Shown) and (token := getattr(request.state, "nobody_token", None)):
            response.set_cookie(COOKIE, token, httponly=True, samesite="lax", secure=secure)
        if request.query_params.get("lang") in LANGUAGES:
            response.set_cookie(LANGUAGE_COOKIE, ask.lang, samesite="lax", secure=secure, max_age=366 * 86400)
        return response

    def _made(self, ask: Ask, answer: Answer, request: Request) -> Response:
        if isinstance(answer, Shown):
            if "application/json" in request.headers.get("accept", "") and answer.template == "told.html":
                return JSONResponse({"why": answer.facts.get("sentence", "")}, answer.status)
            headers = {"content-language": ask.lang} | ({"retry-after": "600"} if answer.status == 429 else {})
            html = self.html(ask, answer, request.query_params)
            return Response(html, answer.status, headers, "text/html; charset=utf-8")
        if isinstance(answer, SeeOther):
            return RedirectResponse(answer.url if _is_inside(answer.url) else "/", 303)
        if isinstance(answer, Told):
            return JSONResponse(answer.facts, answer.status)
        if isinstance(answer, Served):
            headers = {"content-security-policy": PICTURE_POLICY} if answer.kind.startswith("image/") else {}
            return FileResponse(answer.path, media_type=answer.kind, headers=headers)
        if isinstance(answer, Streamed):
            return StreamingResponse(answer.events, media_type="text/event-stream", headers={"x-accel-buffering": "no"})
        if isinstance(answer, Document):
            headers = {"content-security-policy": PICTURE_POLICY} if answer.kind.startswith("image/") else {}
            if answer.name:
                headers["content-disposition"] = f"attachment; filename*=UTF-8''{quote(answer.name)}"
            return Response(answer.body, answer.status, headers, answer.kind)
        raise TypeError(type(answer).__name__)


def _is_inside(url: str) -> bool:
    """Whether an address stays at the desk: a path, nothing that a browser reads as another host."""
    return url.startswith("/") and not url.startswith(("//", "/\\")) and not any(sign in url for sign in "\\\r\n\t")


@pass_context
def _keys(context: Any, version: int | None = None) -> Markup:
    """The hidden fields that every form brings: its session's token, its own number, the version it was filled from."""
    row = "" if version is None else Markup('<input type="hidden" name="version" value="{}">').format(version)
    return (
        Markup('<input type="hidden" name="form_token" value="{}"><input type="hidden" name="once" value="{}">').format(
            context["who"].form_token, new_token()
        )
        + row
    )


def plain_fault(error: Exception) -> Response:
    """The program's own fault: a number on the page, the traceback in a file, nothing of either shown."""
    try:
        with tempfile.NamedTemporaryFile("w", prefix="takeup-desk-", suffix=".log", delete=False) as log:
            traceback.print_exception(error, file=log)
        number = Path(log.name).stem.removeprefix("takeup-desk-")
    except OSError:
        number = "-"
    text = (
        f"takeup itself could not do this; nothing of yours was removed. Please tell staff: {number}. "
        f"程序自身出了问题，您的文件没有被删除，请告诉馆员：{number}。"
    )
    return Response(text, 500, HEADERS, "text/plain; charset=utf-8")


class Tidy:
    """Puts the desk's headers on every answer, those of files and faults included."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        static = scope["path"].startswith("/static/")

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                has = {name for name, _ in message["headers"]}
                more = HEADERS | ({"cache-control": "max-age=300"} if static else {})
                message["headers"] = [*message["headers"], *(
                    (name.encode(), value.encode()) for name, value in more.items() if name.encode() not in has
                )]  # fmt: skip
            await send(message)

        await self.app(scope, receive, sent)


__all__ = ["STATIC", "Painter", "Tidy", "plain_fault"]
