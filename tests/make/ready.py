"""A process that has imported what the commands need, and turns a copy of itself into each command it is told."""

from __future__ import annotations

import atexit
import gc
import json
import os
import pkgutil
import socket
import sys
import threading
import time
from importlib import import_module
from typing import Any

from takeup.tables.loader import load_rows
from takeup.words.sentences import FOLDER, load_sentences

ROOMS = ("takeup.cli", "takeup.tasks")
ON_USE = ("fpdf", "llvmlite.binding", "lxml.etree", "tesserocr")  # what commands import only when they come to it


def main() -> None:
    """Read orders from the socket that is standard input, until nobody is at its other end."""
    for room in ROOMS:
        for module in pkgutil.iter_modules(import_module(room).__path__):
            import_module(f"{room}.{module.name}")
    for name in ON_USE:
        import_module(name)
    load_rows()
    for table in FOLDER.iterdir():
        load_sentences(table.name)
    gc.freeze()  # or every copy would copy what it collects
    with socket.socket(fileno=os.dup(0)) as orders:
        while True:
            order, files, _, _ = socket.recv_fds(orders, 1 << 16, 2)
            if not order:
                return
            while not order.endswith(b"\n"):
                order += orders.recv(1 << 16)
            child = os.fork()
            if not child:
                orders.close()
                break
            for file in files:
                os.close(file)
            orders.sendall(b"%d\n" % child)
            orders.sendall(b"%d\n" % os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
    become(json.loads(order), files)


def become(order: dict[str, Any], files: list[int]) -> None:
    """The command itself: its words, folder, environment and streams as if it had just been started."""
    nothing = os.open(os.devnull, os.O_RDONLY)
    for file, place in zip((nothing, *files), (0, 1, 2)):
        os.dup2(file, place)
        os.close(file)
    os.chdir(order["cwd"])
    os.environ.clear()
    os.environ.update(order["environment"])
    time.tzset()
    sys.argv = ["takeup", *order["words"]]
    try:
        import_module("takeup.cli.main").run()
    except SystemExit as end:
        threading._shutdown()
        atexit._run_exitfuncs()
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(end.code)  # taking down what was imported takes longer than most commands


if __name__ == "__main__":
    main()
