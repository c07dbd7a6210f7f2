"""Who asks, in which language: told from the connection, the cookie and the address line."""

from __future__ import annotations

import hmac
from collections.abc import Mapping

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from takeup.files.own import remove_own
from takeup.lab.places import station_of_key
from takeup.lab.secrets import new_token, same
from takeup.lab.sessions import NOBODY, Who, who_has
from takeup.lab.settings import desk_secret
from takeup.web.ask import Ask, Desk
from takeup.web.speech import LANGUAGES, language_of, speaker

COOKIE, LANGUAGE_COOKIE = "takeup", "takeup-lang"


class Caller:
    """Makes an :class:`Ask` of a request."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.secret = desk_secret(desk.lab)

    async def ask(self, request: Request, *, station_door: bool = False) -> Ask:
        """The request without its body."""
        query = dict(request.query_params)
        who = await run_in_threadpool(self._station if station_door else self._who, request)
        chosen = query.get("lang", "")
        if chosen not in LANGUAGES:
            chosen = request.cookies.get(LANGUAGE_COOKIE, "")
        lang = language_of(chosen, request.headers.get("accept-language", ""), self.desk.settings.lang)
        return Ask(
            desk=self.desk,
            who=who,
            lang=lang,
            path=request.url.path,
            address=request.client.host if request.client else "",
            parts={name: str(value) for name, value in request.path_params.items()},
            given=query,
            lists={name: request.query_params.getlist(name) for name in query},
            headers=_headers(request.headers),
            words=speaker(lang),
        )

    def _who(self, request: Request) -> Who:
        token = request.cookies.get(COOKIE, "")
        with self.desk.lab.reading() as db:
            who = who_has(db, token)
        if who.kind == "nobody":
            token = token or new_token()
            request.state.nobody_token = token
            return Who(form_token=self._token_of(token))
        return who

    def _station(self, request: Request) -> Who:
        key = request.headers.get("authorization", "").removeprefix("Bearer ").strip()
        with self.desk.lab.reading() as db:
            station = station_of_key(db, key) if key else None
        return Who(kind="station", station_id=station) if station else NOBODY  # type: ignore[arg-type]

    def _token_of(self, cookie: str) -> str:
        """The form token of a screen on which nobody is signed in: nothing of it need be kept."""
        return hmac.new(self.secret, cookie.encode("utf-8", "replace"), "sha256").hexdigest()

    def brings_token(self, ask: Ask) -> bool:
        """Whether a form carries its own session's token."""
        brought = ask.given.get("form_token", "") or ask.headers.get("x-form-token", "")
        return bool(ask.who.form_token) and same(brought, ask.who.form_token)

    @staticmethod
    def clean(ask: Ask) -> None:
        """Remove what a form brought and nobody moved away."""
        for file in ask.files.values():
            remove_own(file.path)


def _headers(found: Mapping[str, str]) -> dict[str, str]:
    return {name.lower(): value for name, value in found.items()}
