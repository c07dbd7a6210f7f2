"""Starts the desk, says where it is, and ends it within seconds when it is told to, live pages open or not."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
from collections.abc import Callable, Iterator
from pathlib import Path

import uvicorn

from takeup.errors import NotAllowedNow, NotPossible
from takeup.files.lock import held
from takeup.lab.port import open_lab
from takeup.settings import Settings
from takeup.web.app import make_app
from takeup.web.ask import Desk
from takeup.web.wire import Wire
from takeup.work.workers import Workers

END_S = 2  # open connections are given so long


class _Server(uvicorn.Server):
    """Ends quietly, with status 0, and ends the live streams first: they would keep it waiting."""

    wire: Wire

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        def told(_number: int, _frame: object) -> None:
            self.should_exit = True
            self.wire.loop.call_soon_threadsafe(self.wire.close) if self.wire.loop else None

        before = {number: signal.signal(number, told) for number in (signal.SIGINT, signal.SIGTERM)}
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)


def open_desk(home: Path, settings: Settings, *, demo: bool = False) -> Desk:
    """The desk of a home, not yet serving."""
    lab = open_lab(home, settings.database)
    (home / "boxes").mkdir(exist_ok=True)
    wire = Wire()
    return Desk(lab=lab, home=home, settings=settings, wire=wire, workers=Workers(lab, home, wire), demo=demo)


def serve(desk: Desk, host: str, port: int, ready: Callable[[str], None]) -> None:
    """Serve until told to stop (SIGTERM, Ctrl-C).

    Parameters
    ----------
    ready : callable
        Told the address once a browser can reach it.

    Raises
    ------
    NotPossible
        ``desk.port-taken``: another program has that port; ``desk.open-already``: another desk serves this home.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as error:
        listening.close()
        raise NotPossible("desk.port-taken", host=host, port=port, error=error.strerror or str(error)) from error
    shown = f"[{host}]" if ":" in host else host
    url = f"http://{shown}:{listening.getsockname()[1]}/"
    config = uvicorn.Config(
        make_app(desk), log_level="warning", access_log=False, proxy_headers=False, server_header=False,
        timeout_graceful_shutdown=END_S, lifespan="on", ws="none",
    )  # fmt: skip
    server = _Server(config)
    server.wire = desk.wire

    async def run() -> None:
        serving = asyncio.create_task(server.serve(sockets=[listening]))
        while not server.started and not serving.done():
            await asyncio.sleep(0.02)
        if server.started:
            ready(url)
        await serving

    try:
        with held(desk.home, "desk", 0.0):
            asyncio.run(run())
    except NotAllowedNow as error:
        raise NotPossible("desk.open-already", path=str(desk.home)) from error
    finally:
        desk.workers.stop()
        desk.lab.close()
