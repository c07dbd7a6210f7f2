"""Keeps the machine code of the loops over samples and pixels, so that no check waits for the compiler, nor the first.

``python -m takeup.tasks.sound_loops`` (part of ``make setup``) and the building of a wheel compile the loops for the
plain kind of this machine's processors, try the code in a process of its own against the compiled loops, and only then
keep it beside the modules. Wherever no kept file fits (another kind of machine, other sources, an old processor) numba
compiles as usual: slower to start, the same figures.
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
from pathlib import Path
from typing import Any

import numpy as np

from takeup.errors import TakeupError
from takeup.files.beside import write_bytes
from takeup.measure import sound, video
from takeup.measure.sound.loops import Loops, compiled_loops
from takeup.measure.video import loops as video_loops
from takeup.tasks.video_trial import look_at_some

ROOM = Path(sound.__file__).parent
VIDEO_ROOM = Path(video.__file__).parent
VIDEO_SOURCES = ("line_loops.py", "loops.py", "plane_loops.py")
SOURCES = (
    "compiling.py",
    "ear.py",
    "framed_loops.py",
    "gap_loops.py",
    "loops.py",
    "sift.py",
    "sums.py",
    "top_loops.py",
    "tops_figures.py",
    "unpack.py",
    "weigh.py",
)
ARGUMENTS = {  # a: array of so many dimensions; i: whole number; f: float
    "hear_pair": ("a2", "i", "i", "i", "i", "f", "a2", "a2", "a1", "a2", "a2"),
    "weigh_pair": ("a2", "i", "i", "a1", "i", "a1", "a2"),
    "unpack_24": ("a1", "a1"),
    "thin_plane": ("a1", "a1", "i", "a1"),
    "fine_plane": ("a1", "i", "a1", "a2", "a2", "a2", "a2"),
    "slot_peaks": ("a1", "i", "a1"),
    "same_moments": ("a1", "i", "i", "a2", "a2"),
    "near_zero": ("a2", "i", "a1", "a2", "a2"),
    "flat_tops": ("a2", "i", "i", "i", "i", "i", "a2", "a1", "a2", "a2", "a1"),
}
VIDEO_ARGUMENTS = {
    "add_up": ("a2", "a2", "a1", "a2", "a3", "a2"),
    "compare": ("a2", "a2", "i", "i", "a1", "a1"),
    "lay_over": ("a2", "a2", "a1"),
    "stand_out": ("a2", "a2", "i", "f", "a2", "a3", "a4"),
    "count_codes": ("a2", "i", "a2"),
    "lay_lines": ("a2", "i", "f", "f", "a1", "a1", "a2", "a2"),
    "follow_lags": ("a2", "a2", "i", "i", "i", "f", "f", "a1", "a2"),
    "block_noise": ("a2", "i", "i", "a2", "a2", "a2"),
    "block_apart": ("a2", "a2", "i", "i", "a2", "a2", "a2"),
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
MARK = "takeup-loops/3"
PLAIN = {  # what is compiled for: processors of the last ten years; what they must be able to do
    "x86_64": ("x86-64-v3", ("avx2", "bmi", "bmi2", "f16c", "fma", "lzcnt", "popcnt")),
    "aarch64": ("generic", ()),
}
PLAIN["amd64"], PLAIN["arm64"] = PLAIN["x86_64"], PLAIN["aarch64"]


@cache
def quick_loops() -> Loops:
    """The loops of sound: from the kept machine code where it fits this computer, else compiled."""
    return _kept()[0] or compiled_loops()


@cache
def ready_pictures() -> video_loops.Loops:
    """The loops of pictures, the same way, handed over to the measures."""
    found = _kept()[1] or video_loops.compiled_loops()
    video_loops.hand_over(found)
    return found


@cache
def _kept() -> tuple[Loops | None, video_loops.Loops | None]:
    try:
        kept = next((path for path in _places() if path.is_file()), None)
        return _load(kept) if kept and _fits() else (None, None)
    except (OSError, ValueError, KeyError, RuntimeError):  # damaged, or not for here
        return None, None


def keep_loops(folder: Path | None = None) -> Path | None:
    """Compile, try out in another process, and keep. None where it cannot be done here; nothing is lost by that.

    One line on the standard error output says so when the loops do not compile, or their code gives other figures.

    Parameters
    ----------
    folder : Path, optional
        Where to keep it; beside the modules, else in the user's cache, when not told.
    """
    kind = PLAIN.get(platform.machine().lower())
    if kind is None:
        return None
    with tempfile.TemporaryDirectory() as room:
        made = Path(room) / "loops"
        environment = os.environ | {
            "NUMBA_CACHE_DIR": room,
            "NUMBA_CPU_NAME": kind[0],
            "NUMBA_CPU_FEATURES": ",".join(f"+{one}" for one in kind[1]),
            "PYTHONPATH": os.pathsep.join(path for path in sys.path if path),
        }
        for what in ("--make", "--try"):
            command = [sys.executable, "-m", "takeup.tasks.sound_loops", what, str(made)]
            done = subprocess.run(command, env=environment, capture_output=True, text=True, errors="replace")
            if done.returncode:
                last = (done.stderr.strip().splitlines() or [f"it ended with {done.returncode}"])[-1]
                sys.stderr.write(f"takeup: no machine code is kept, {what[2:]}: {last}\n")
                return None
        for place in [folder / _name()] if folder else _places():
            try:
                write_bytes(place, made.read_bytes())
                return place
            except TakeupError:
                continue
    return None


def _name() -> str:
    """A name that only code for these sources and this kind of machine has."""
    mark = hashlib.sha256(MARK.encode())
    for path in [ROOM / name for name in SOURCES] + [VIDEO_ROOM / name for name in VIDEO_SOURCES]:
        mark.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return f"loops-{sys.platform}-{platform.machine().lower()}-{mark.hexdigest()[:16]}.bin"


def _places() -> list[Path]:
    """Where the code may be kept: beside the modules, or in the user's cache."""
    user = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or "~/.cache"
    return [ROOM / "kept" / _name(), Path(user).expanduser() / "takeup" / _name()]


def _fits() -> bool:
    """Whether this processor can do what the kept code asks of it."""
    import llvmlite.binding as llvm

    able = llvm.get_host_cpu_features()
    return all(able.get(one, False) for one in PLAIN[platform.machine().lower()][1])


def _make(target: Path) -> None:
    """Compile afresh (the cache folder is a new one) and write the objects down."""
    _use(compiled_loops())
    look_at_some(video_loops.compiled_loops())
    loops = {name: getattr(compiled_loops(), name) for name in ARGUMENTS}
    loops |= {name: getattr(video_loops.compiled_loops(), name) for name in VIDEO_ARGUMENTS}
    parts, names = [], {}
    for name, loop in loops.items():
        kinds = list(loop.overloads.values())
        if len(kinds) != 1:
            raise ValueError(f"{name} is compiled for {len(kinds)} kinds of arrays; the trial must call it with one")
        (compiled,) = kinds
        _, kind, (code, _) = compiled.library.serialize_using_object_code()
        if kind != "object":
            raise ValueError(kind)
        names[name] = [compiled.fndesc.llvm_func_name, len(code)]
        parts.append(code)
    body = b"".join(parts)
    head = {"mark": MARK, "sha256": hashlib.sha256(body).hexdigest(), "loops": names}
    target.write_bytes(json.dumps(head).encode() + b"\n" + body)


def _load(path: Path) -> tuple[Loops, video_loops.Loops]:
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
    kinds = ARGUMENTS | VIDEO_ARGUMENTS
    made = {
        name: _callable(engine.get_function_address(symbol), kinds[name]) for name, (symbol, _) in told["loops"].items()
    }
    of_video = video_loops.Loops(**{name: made.pop(name) for name in VIDEO_ARGUMENTS})
    return Loops(**made), of_video


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
            raise RuntimeError("the loop did not end as it should")

    return call


def _use(loops: Loops) -> list[np.ndarray]:
    """What the loops make of some seeded sound, for comparing."""
    from takeup.measure.sound.fine import begin_fine, step_fine
    from takeup.measure.sound.gaps import begin_gaps, finish_gaps, step_gaps
    from takeup.measure.sound.hops import begin_hops, finish_hops, step_hops
    from takeup.measure.sound.thin import begin_thin, finish_thin, step_thin
    from takeup.measure.sound.tops import begin_tops, finish_tops, step_tops

    rng = np.random.default_rng(1)
    found: list[np.ndarray] = []
    for rate, channels in ((48_000, 2), (96_000, 1)):
        samples = np.clip(0.5 * rng.standard_normal((20_000, channels)), -0.9, 0.9).astype(np.float32)
        state, hops = step_hops(begin_hops(rate, channels, loops), samples)
        for part in (hops, finish_hops(state)):
            found += [part.k_squares, part.squares, part.peak, part.high_count, part.low_runs, part.pair]
        found.append(finish_thin(step_thin(begin_thin(rate, channels, loops), samples)[0]))
        found.append(step_fine(begin_fine(rate, channels, loops), samples)[1])
    twice = np.concatenate([samples[:8000], samples[7000:]])  # a thousand samples come twice
    clicked = samples.copy()
    clicked[12_000] = 100.0
    for broken in (twice, clicked):  # where a repeat is found no step is looked for
        gaps = finish_gaps(step_gaps(begin_gaps(96_000, loops), broken))
        found.append(np.array([*gaps.steps, *(one.at for one in gaps.places)], float))
    counts = np.zeros((4, 576), np.float32)
    lines = np.ascontiguousarray(samples.reshape(2, -1)).astype(np.float32)
    room = np.empty((2, lines.shape[1]), np.float32)
    loops.near_zero(lines, 576, np.array([0.01, 0.1], np.float32), room, counts)
    found.append(counts.sum(axis=1))
    cut = np.clip(np.sin(np.arange(20_000) * 0.03) + 0.01 * samples[:, 0], -0.7, 0.7).astype(np.float32)[:, None]
    state, hops = step_hops(begin_hops(48_000, 1, loops), cut)
    tops = finish_tops(step_tops(begin_tops(48_000, 1, state.hop, loops), cut, hops), 200)
    found.append(np.array([tops.level, tops.tops, tops.slope, tops.ear] if tops else [], float))
    out = np.empty(400, np.float32)
    loops.unpack_24(np.frombuffer(rng.bytes(1200), np.uint32), out)
    return [*found, out]


def _try(path: Path) -> None:
    """Compare kept code with compiled code: sums may be rounded in another order, nothing more."""
    of_sound, of_video = _load(path)
    ours = [*_use(of_sound), *look_at_some(of_video)]
    for one, other in zip(ours, [*_use(compiled_loops()), *look_at_some(video_loops.compiled_loops())], strict=True):
        if one.shape != other.shape or not np.allclose(one, other, rtol=1e-5, atol=1e-12):
            raise ValueError("the kept loops give other figures")


if __name__ == "__main__":
    if len(sys.argv) == 3:
        {"--make": _make, "--try": _try}[sys.argv[1]](Path(sys.argv[2]))
    elif keep_loops() is None:
        _use(compiled_loops()), look_at_some(video_loops.compiled_loops())  # at least numba's own cache holds them then
