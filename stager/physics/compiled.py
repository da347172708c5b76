"""Machine code for the numerical kernels, made once and kept on disk; the same source as plain Python without numba.

`compiled` marks a scalar function of a kernel, `entry` one that ordinary Python calls. Both leave the function as it
is, except in the processes that compile (`build.py`): there they are numba's. What these return is kept, and loaded
through llvmlite, so that a command does not load a compiler, which takes longer than most commands.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, suppress
from ctypes import CFUNCTYPE, addressof, c_char, c_double, c_int64, c_void_p
from functools import cache, cached_property
from importlib import import_module
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Lock
from typing import Annotated, Any, NamedTuple, TypeVar, get_args, get_origin, get_type_hints

import numpy as np

from stager.errors import StagerError
from stager.physics.announcement import announce

COMPILES = os.environ.get("STAGER_COMPILE", "1") != "0" and find_spec("numba") is not None
"""Whether the kernels are compiled."""
BUILDING = "STAGER_BUILDING"
"""Environment variable of the processes that compile."""
builds = BUILDING in os.environ
"""Whether this is such a process."""
numba: Any = import_module("numba") if builds else None

Function = TypeVar("Function", bound=Callable[..., Any])
SOURCES = (
    "bounds", "physics/barrel.py", "physics/build.py", "physics/compiled.py", "physics/contact", "physics/friction.py",
    "physics/rate.py", "physics/transient.py", "physics/wheel.py",
)  # fmt: skip
"""Files and folders of the package that hold compiled functions; a change in any of them outdates what is kept."""
INNER = {
    "nogil": True, "error_model": "numpy", "fastmath": {"contract"}, "_nrt": False, "no_cpython_wrapper": True,
    "no_cfunc_wrapper": True,
}  # fmt: skip
"""Kernels make no arrays, so that none is counted, ordinary Python does not call their functions, and a·b + c may be
rounded once instead of twice, which saves a tenth of the time."""
DIGEST = 32
"""Bytes of the digest in front of kept machine code."""


def compiled(function: Function) -> Function:
    """Compile a function that other compiled functions call."""
    made: Function = numba.njit(**INNER)(function) if builds else function
    return made


def inlined(function: Function) -> Function:
    """Compile a small function into the body of those that call it; for what is called in every step."""
    made: Function = numba.njit(**INNER, forceinline=True)(function) if builds else function
    return made


def entry(function: Callable[..., Any]) -> Entry:
    """Compile a function that ordinary Python calls.

    Its annotations say what it takes: `int`, `float` and `bool`, the arrays `Vector`, `Matrix`, `Block`, `Integers` and
    `IntegerMatrix` of `stager.model.arrays`, and named tuples of these. It writes its results to arrays, or returns an
    `int`.
    """
    return Entry(function)


class Scalar(NamedTuple):
    """A parameter that is a number; c: its type in C."""

    c: Any

    def pass_on(self, value: Any, given: list[Any], alive: list[Any]) -> None:
        """Append the arguments in C of a value to `given`, and what must stay in memory to `alive`."""
        given.append(value)


class Array(NamedTuple):
    """A parameter that is an array of `axes` axes; dtype: of its elements."""

    dtype: Any
    axes: int

    def pass_on(self, value: Any, given: list[Any], alive: list[Any]) -> None:
        """Append address and shape; a view by broadcasting, which nobody may write to, is copied."""
        if value.dtype != self.dtype or value.ndim != self.axes:
            raise TypeError(f"a kernel takes {self.dtype} of {self.axes} axes, not {value.dtype} of {value.ndim}")
        try:
            given.append(addressof(c_char.from_buffer(value)))
        except (TypeError, ValueError):
            # It cannot be written to, has no elements, or is not contiguous.
            if value.flags.writeable and not value.flags.c_contiguous:
                raise TypeError("a kernel takes contiguous arrays") from None
            alive.append(np.ascontiguousarray(value))
            given.append(alive[-1].ctypes.data)
        given.extend(value.shape)


class Named(NamedTuple):
    """A parameter that is a named tuple; kind: its class; fields: their parameters."""

    kind: Any
    fields: tuple[Any, ...]

    def pass_on(self, value: Any, given: list[Any], alive: list[Any]) -> None:
        """Append all fields."""
        for field, part in zip(self.fields, value, strict=True):
            field.pass_on(part, given, alive)


NUMBERS: dict[Any, Any] = {int: c_int64, bool: c_int64, float: c_double, type(None): None}
"""Types of numbers in C."""


def parameter(hint: Any) -> Any:
    """Return the parameter that an annotation describes."""
    if get_origin(hint) is Annotated:
        array, axes = get_args(hint)
        return Array(np.dtype(get_args(get_args(array)[1])[0]), axes)
    if hint in NUMBERS:
        return Scalar(NUMBERS[hint])
    hints = get_type_hints(hint, include_extras=True)
    return Named(hint, tuple(parameter(hints[name]) for name in hint._fields))


def types_in_c(parameters: Iterable[Any]) -> Iterator[Any]:
    """Yield the types in C of parameters: of an array its address and its shape."""
    for each in parameters:
        if isinstance(each, Named):
            yield from types_in_c(each.fields)
        elif isinstance(each, Array):
            yield from (c_void_p, *[c_int64] * each.axes)
        else:
            yield each.c


class Entry:
    """A kernel as ordinary Python calls it: machine code from its first call on."""

    def __init__(self, function: Callable[..., Any]) -> None:
        self.function = function
        self._code: Any = None
        self._engine: Any = None

    def __call__(self, *given: Any) -> Any:
        """Run the kernel.

        Raises TypeError where an argument is of another kind than its annotation says.
        """
        if not COMPILES:
            return self.function(*given)
        if self._code is None:
            self.load()
        passed: list[Any] = []
        alive: list[Any] = []
        for each, value in zip(self.parameters, given, strict=True):
            each.pass_on(value, passed, alive)
        return self._code(*passed)

    @property
    def name(self) -> str:
        """Return its name, that of its module included."""
        return f"{self.function.__module__}.{self.function.__name__}"

    @cached_property
    def parameters(self) -> tuple[Any, ...]:
        """Return what it takes."""
        hints = get_type_hints(self.function, include_extras=True)
        return tuple(parameter(hint) for name, hint in hints.items() if name != "return")

    @cached_property
    def returns(self) -> Any:
        """Return the type in C of its result."""
        return NUMBERS[get_type_hints(self.function)["return"]]

    @property
    def kept(self) -> bool:
        """Whether its machine code is on disk."""
        return read(self) is not None

    def load(self) -> None:
        """Load its machine code; where none is kept it is made first, which takes seconds.

        Raises StagerError where the compiler fails.
        """
        with LOADING:
            if self._code is not None:
                return
            found = read(self)
            if found is None:
                announce()
                found = build(self)
            llvm = compiler()
            self._engine = llvm.create_mcjit_compiler(llvm.parse_assembly(""), target_machine())
            self._engine.add_object_file(llvm.ObjectFileRef.from_data(found))
            self._engine.finalize_object()
            kind = CFUNCTYPE(self.returns, *types_in_c(self.parameters))
            self._code = kind(self._engine.get_function_address(self.name))


LOADING = Lock()
"""Held while machine code is loaded or made."""


@cache
def compiler() -> Any:
    """Return the part of llvmlite that loads machine code, ready for this machine."""
    llvm = import_module("llvmlite.binding")
    with suppress(RuntimeError):  # Newer ones need no start, and refuse it.
        llvm.initialize()
    llvm.initialize_native_target()
    llvm.initialize_native_asmprinter()
    return llvm


def target_machine() -> Any:
    """Return what describes the processor of this machine."""
    llvm = compiler()
    return llvm.Target.from_default_triple().create_target_machine(
        cpu=llvm.get_host_cpu_name(), features=llvm.get_host_cpu_features().flatten(), opt=3, jit=True,
        codemodel="jitdefault",
    )  # fmt: skip


def read(kernel: Entry) -> bytes | None:
    """Return the kept machine code of a kernel; None where there is none, or none that is whole."""
    name = file_name(kernel)
    for folder in folders():
        with suppress(OSError):
            content = (folder / name).read_bytes()
            if hashlib.sha256(content[DIGEST:]).digest() == content[:DIGEST]:
                return content[DIGEST:]
    return None


def keep(kernel: Entry, code: bytes) -> None:
    """Write the machine code of a kernel to the first folder that takes it, in place of what is outdated."""
    name = file_name(kernel)
    for folder in folders():
        with suppress(OSError):
            folder.mkdir(parents=True, exist_ok=True)
            part = folder / f"{name}.{os.getpid()}"
            try:
                part.write_bytes(hashlib.sha256(code).digest() + code)
                part.replace(folder / name)
            except OSError:
                part.unlink(missing_ok=True)
                raise
            for old in folder.glob(f"{kernel.name}-*-{machine()}.o"):
                if old.name != name:
                    old.unlink(missing_ok=True)
            return


def folders() -> Iterator[Path]:
    """Yield the folders of kept machine code: beside its source, and the user's cache."""
    yield Path(__file__).parent / "__pycache__"
    from platformdirs import user_cache_path

    yield user_cache_path("stager", appauthor=False)


def file_name(kernel: Entry) -> str:
    """Return the name of the file of a kernel: with digests of its sources and of machine and compiler."""
    return f"{kernel.name}-{stamp(Path(kernel.function.__code__.co_filename))}-{machine()}.o"


def build(kernel: Entry) -> bytes:
    """Make machine code in processes of their own, one a part of the package; return that of `kernel`.

    All kernels that are not kept are made at once: the next command will need them. Raises StagerError where the
    compiler fails.
    """
    missing = [each for each in kernels() if each is kernel or not each.kept]
    missing += [] if kernel in missing else [kernel]
    with TemporaryDirectory(prefix="stager-") as folder, ExitStack() as processes:
        parts: dict[str, list[str]] = {}
        for each in missing:
            parts.setdefault(each.name.split(".")[1], []).append(each.name)
        begun = [processes.enter_context(_begin(folder, names)) for names in parts.values()]
        try:
            said = [process.stderr.read() for process in begun if process.stderr]
        finally:
            for process in begun:
                process.kill()
        for each in missing:
            with suppress(OSError):
                keep(each, (Path(folder) / each.name).read_bytes())
        made = Path(folder) / kernel.name
        if not made.exists():
            error = StagerError("the kernels could not be compiled; STAGER_COMPILE=0 runs them as plain Python, slowly")
            error.add_note("\n".join(text.decode(errors="replace").strip() for text in said))
            raise error
        return made.read_bytes()


def _begin(folder: str, names: list[str]) -> subprocess.Popen[bytes]:
    """Start a process that makes the machine code of the kernels named; it ends when its input does, as with this."""
    return subprocess.Popen(
        [sys.executable, "-m", "stager.physics.build", folder, *names], stdin=subprocess.PIPE, stderr=subprocess.PIPE,
        env={**os.environ, BUILDING: "1", "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip


def kernels() -> list[Entry]:
    """Return the kernels of the package."""
    root = Path(__file__).parents[2]
    found: list[Entry] = []
    for path in sources():
        if "\n@entry\n" in path.read_text(encoding="utf-8"):
            module = import_module(".".join(path.relative_to(root).with_suffix("").parts))
            found += [each for each in vars(module).values() if isinstance(each, Entry) and each not in found]
    return found


@cache
def stamp(file: Path) -> str:
    """Return a digest of all sources of the kernels, and of one that is none of the package's."""
    digest = hashlib.sha256()
    for path in sorted({*sources(), file}):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


@cache
def machine() -> str:
    """Return a digest of this processor and of the versions of Python and the compiler."""
    llvm = compiler()
    of = (
        llvm.get_host_cpu_name(), llvm.get_host_cpu_features().flatten(), version("numba"), version("llvmlite"),
        sys.implementation.cache_tag, sys.platform,
    )  # fmt: skip
    return hashlib.sha256(" ".join(map(str, of)).encode()).hexdigest()[:16]


@cache
def sources() -> tuple[Path, ...]:
    """Return the files that hold compiled functions."""
    here = Path(__file__).parents[1]
    found = [here / name for name in SOURCES]
    return tuple(sorted(file for path in found for file in (path.glob("*.py") if path.is_dir() else [path])))
