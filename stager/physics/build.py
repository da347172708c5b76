"""Compile kernels to machine code: `python -m stager.physics.build FOLDER KERNEL…`, run by `compiled.build`.

numba compiles a function of C types around each kernel, llvmlite translates it for this processor. What it would call
must be in every Python process: functions of mathematics.
"""

from __future__ import annotations

import os
import sys
from ctypes import c_double, c_int64
from importlib import import_module
from pathlib import Path
from threading import Thread
from typing import Any

from stager.physics.compiled import INNER, Array, Entry, Named, Scalar, compiler, numba, target_machine


def main(folder: str, names: list[str]) -> None:
    """Write the machine code of the kernels named to files of their names in `folder`."""
    Thread(target=end_with_input, daemon=True).start()
    for name in names:
        module, _, function = name.rpartition(".")
        (Path(folder) / name).write_bytes(machine_code(getattr(import_module(module), function)))


def end_with_input() -> None:
    """End this process when that which started it has ended."""
    os.read(sys.stdin.fileno(), 1)
    os._exit(1)


def machine_code(kernel: Entry) -> bytes:
    """Return the machine code of a kernel, as an object file that defines its name.

    Raises RuntimeError where it calls what other processes do not have.
    """
    wrapped = numba.cfunc(signature(kernel), error_model="numpy")(wrapper(kernel))
    llvm = compiler()
    module = llvm.parse_assembly(wrapped.inspect_llvm().replace(wrapped.native_name, kernel.name))
    remove_error_paths(module, kernel.name)
    foreign = sorted(
        each.name for each in module.functions
        if each.is_declaration and each.name.startswith(("numba_", "NRT_", "Py", "_Py"))
    )  # fmt: skip
    if foreign:
        raise RuntimeError(f"{kernel.name} calls {', '.join(foreign)}: does it raise an exception?")
    return bytes(target_machine().emit_object(module))


def remove_error_paths(module: Any, name: str) -> None:
    """Remove the handling of exceptions from a module: once functions are its own, LLVM sees that none raises."""
    llvm = compiler()
    for each in (*module.functions, *module.global_variables):
        if not each.is_declaration and each.name != name:
            each.linkage = "internal"
    builder = llvm.create_pass_builder(target_machine(), llvm.create_pipeline_tuning_options(speed_level=1))
    builder.getModulePassManager().run(module, builder)


def signature(kernel: Entry) -> Any:
    """Return the types in C that numba compiles for."""
    types = numba.types
    numbers = {None: types.void, c_int64: types.int64, c_double: types.float64}

    def of(each: Any) -> list[Any]:
        if isinstance(each, Named):
            return [kind for field in each.fields for kind in of(field)]
        if isinstance(each, Array):
            return [types.CPointer(numba.from_dtype(each.dtype)), *[types.int64] * each.axes]
        return [numbers[each.c]]

    return numbers[kernel.returns](*[kind for each in kernel.parameters for kind in of(each)])


def wrapper(kernel: Entry) -> Any:
    """Return a function of numbers and addresses in C that calls the kernel; its source is generated."""
    scope: dict[str, Any] = {"kernel": numba.njit(**INNER)(kernel.function), "carray": numba.carray}
    names: list[str] = []

    def value(each: Any) -> str:
        """Return the expression of a parameter, and add the names that it takes."""
        if isinstance(each, Named):
            scope[each.kind.__name__] = each.kind
            return f"{each.kind.__name__}({', '.join(map(value, each.fields))})"
        first = f"p{len(names)}"
        names.append(first)
        if isinstance(each, Scalar):
            return first
        shape = [f"p{len(names) + axis}" for axis in range(each.axes)]
        names.extend(shape)
        return f"carray({first}, ({', '.join(shape)},))"

    call = f"kernel({', '.join(map(value, kernel.parameters))})"
    exec(f"def wrapped({', '.join(names)}):\n    {'return ' if kernel.returns else ''}{call}", scope)
    return scope["wrapped"]


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
