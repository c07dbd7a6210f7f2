"""Keeps the machine code of the sound loops, so that a check need not load the compiler (a second saved each time).

``python -m takeup.tasks.sound_loops`` (part of ``make setup``) compiles the loops, tries the kept code in a process of
its own against the compiled ones, and only then keeps it. Without a kept file, or with one for another machine, version
or source, numba compiles as usual: slower to start, the same figures. The kept file is native code of this computer, as
numba's own cache is; it lies beside the modules or in the user's cache folder.
"""

from __future__ import annotations

import ctypes
import hashlib
import json
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Callable
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from takeup.errors import TakeupError
from takeup.files.beside import write_bytes
from takeup.measure import sound
from takeup.measure.sound.loops import Loops, compiled_loops

ROOM = Path(sound.__file__).parent
SOURCES = ("compiling.py", "ear.py", "loops.py", "sums.py", "unpack.py", "weigh.py")
ARGUMENTS = {  # a: array of so many dimensions; i: whole number; f: float
    "hear_pair": ("a2", "i", "i", "i", "i", "f", "a2", "a2", "a1", "a2", "a2"),
    "weigh_pair": ("a2", "i", "i", "a1", "i", "a1", "a2"),
    "unpack_24": ("a1", "a1"),
}
RUNTIME = (  # named by numba's code beside the loops, never reached: our arrays come without an owner, nothing raises
    "NRT_Free",
    "NRT_MemInfo_call_dtor",
    "NRT_adapt_ndarray_from_python",
    "numba_do_raise",
    "numba_gil_ensure",
    "numba_gil_release",
    "numba_runtime_build_excinfo_struct",
    "numba_unpickle",
)
MARK = "takeup-loops/1"


@cache
def quick_loops() -> Loops:
    """The loops: from the kept machine code where it fits this computer, else compiled."""
    try:
        kept = next((path for path in _places() if path.is_file()), None)
        return _load(kept) if kept else compiled_loops()
    except (OSError, ValueError, KeyError, RuntimeError):  # damaged, or not for here
        return compiled_loops()


def keep_loops() -> Path | None:
    """Compile, try out in another process, and keep. None where it cannot be done here; nothing is lost by that."""
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "loops"
        environment = os.environ | {"NUMBA_CACHE_DIR": folder}
        for what in ("--make", "--try"):
            command = [sys.executable, "-m", "takeup.tasks.sound_loops", what, str(made)]
            if subprocess.run(command, env=environment, capture_output=True).returncode:
                return None
        for place in _places():
            try:
                write_bytes(place, made.read_bytes())
                return place
            except TakeupError:
                continue
    return None


def _places() -> list[Path]:
    """Where the code for this computer, these versions and these sources may be kept."""
    import llvmlite.binding as llvm

    told = [MARK, version("numba"), version("llvmlite"), np.__version__, sys.version, platform.platform()]
    told += [llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten()]
    mark = hashlib.sha256("\n".join(told).encode())
    for name in SOURCES:
        mark.update((ROOM / name).read_bytes())
    name = f"loops-{mark.hexdigest()[:32]}.bin"
    user = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or "~/.cache"
    return [ROOM / "__pycache__" / name, Path(user).expanduser() / "takeup" / name]


def _make(target: Path) -> None:
    """Compile afresh (the cache folder is a new one) and write the objects down."""
    _use(compiled_loops())
    loops = compiled_loops()
    parts, names = [], {}
    for name in ARGUMENTS:
        (compiled,) = getattr(loops, name).overloads.values()
        _, kind, (code, _) = compiled.library.serialize_using_object_code()
        if kind != "object":
            raise ValueError(kind)
        names[name] = [compiled.fndesc.llvm_func_name, len(code)]
        parts.append(code)
    body = b"".join(parts)
    head = {"mark": MARK, "sha256": hashlib.sha256(body).hexdigest(), "loops": names}
    target.write_bytes(json.dumps(head).encode() + b"\n" + body)


def _load(path: Path) -> Loops:
    """Link kept objects into this process."""
    import llvmlite.binding as llvm

    head, _, body = path.read_bytes().partition(b"\n")
    told = json.loads(head)
    if told["mark"] != MARK or hashlib.sha256(body).hexdigest() != told["sha256"]:
        raise ValueError("the kept loops are not whole")
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    machine = llvm.Target.from_default_triple().create_target_machine(jit=True)
    engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), machine)
    for name in RUNTIME:
        if llvm.address_of_symbol(name) is None:
            llvm.add_symbol(name, ctypes.cast(_NEVER, ctypes.c_void_p).value)
    at = 0
    for _, length in told["loops"].values():
        engine.add_object_file(llvm.ObjectFileRef.from_data(body[at : at + length]))
        at += length
    engine.finalize_object()
    _ENGINES.append(engine)
    made = {
        name: _callable(engine.get_function_address(symbol), ARGUMENTS[name])
        for name, (symbol, _) in told["loops"].items()
    }
    return Loops(**made)


_ENGINES: list[Any] = []  # linked code lives as long as its engine
_NEVER = ctypes.CFUNCTYPE(None)(lambda: None)


def _callable(address: int, kinds: tuple[str, ...]) -> Callable[..., None]:
    """A Python function around native code that takes its arguments as numba hands them over."""
    pointer, whole = ctypes.c_void_p, ctypes.c_int64
    types: list[Any] = [pointer, pointer]
    for kind in kinds:
        if kind[0] == "a":
            types += [pointer, pointer, whole, whole, pointer] + [whole] * (2 * int(kind[1]))
        else:
            types.append(whole if kind == "i" else ctypes.c_double)
    native = ctypes.CFUNCTYPE(ctypes.c_int, *types)(address)

    def call(*arguments: Any) -> None:
        result, fault = pointer(), pointer()
        flat: list[Any] = [ctypes.addressof(result), ctypes.addressof(fault)]
        for kind, argument in zip(kinds, arguments, strict=True):
            if kind[0] != "a":
                flat.append(argument)
                continue
            if argument.ndim != int(kind[1]) or not argument.flags.c_contiguous:
                raise ValueError("the loops take contiguous arrays")
            place = argument.__array_interface__["data"][0]
            flat += [None, None, argument.size, argument.itemsize, place, *argument.shape, *argument.strides]
        if native(*flat):
            raise RuntimeError("the sound loop did not end as it should")

    return call


def _use(loops: Loops) -> list[np.ndarray]:
    """What the loops make of some seeded sound, for comparing."""
    from takeup.measure.sound.hops import begin_hops, finish_hops, step_hops

    rng = np.random.default_rng(1)
    found: list[np.ndarray] = []
    for rate, channels in ((48_000, 2), (96_000, 1)):
        samples = np.clip(0.5 * rng.standard_normal((20_000, channels)), -0.9, 0.9).astype(np.float32)
        state, hops = step_hops(begin_hops(rate, channels, loops), samples)
        for part in (hops, finish_hops(state)):
            found += [part.k_squares, part.squares, part.peak, part.high_count, part.low_runs, part.pair]
    out = np.empty(400, np.float32)
    loops.unpack_24(np.frombuffer(rng.bytes(1200), np.uint32), out)
    return [*found, out]


def _try(path: Path) -> None:
    """Compare kept code with compiled code, bit for bit."""
    for one, other in zip(_use(_load(path)), _use(compiled_loops()), strict=True):
        if not np.array_equal(one, other):
            raise ValueError("the kept loops give other figures")


if __name__ == "__main__":
    if len(sys.argv) == 3:
        {"--make": _make, "--try": _try}[sys.argv[1]](Path(sys.argv[2]))
    else:
        compiled_loops().unpack_24(np.frombuffer(bytes(12), np.uint32), np.empty(4, np.float32))
        _use(compiled_loops())
        keep_loops()
