"""The peer of the fast engines: the same logic in C, compiled with gcc -O2.

The C is made from the gates of the core, without timers, and runs its own loop over the scans.
"""

from __future__ import annotations

import ctypes
import shutil
import subprocess
from pathlib import Path
from tempfile import TemporaryDirectory
from time import process_time

from rungs.core.nodes import Core, Lit


def c_text(core: Core, words: bool = False) -> str:
    """A function `run(n, x, shown)`: n scans; the inputs change by a counter, so that nothing can
    be worked out beforehand; the outputs are folded into what is returned."""
    first_state, first_gate = core.first_state, core.first_gate

    def text(lit: Lit) -> str:
        node = lit >> 1
        if node == 0:
            return "1" if lit else "0"
        if node < first_state:
            name = f"x{node - 1}"
        elif node < first_gate:
            name = f"s{node - first_state}"
        else:
            name = f"g{node}"
        return f"!{name}" if lit & 1 else name

    lines = ["unsigned run(long n, unsigned seed) {", "  unsigned folded = 0;"]
    lines += [f"  _Bool s{i} = 0;" for i in range(len(core.state))]
    lines.append("  for (long k = 0; k < n; k++) {")
    lines.append("    seed = seed * 1664525u + 1013904223u;")
    for i in range(len(core.signals)):
        lines.append(f"    _Bool x{i} = seed >> {i % 31} & 1;")
    for number, gate in enumerate(core.gates, first_gate):
        lines.append(f"    _Bool g{number} = {' & '.join(text(lit) for lit in gate)};")
    for output in core.outputs:
        lines.append(f"    folded = folded * 3 + {text(output.lit)};")
    for i, bit in enumerate(core.state):
        lines.append(f"    _Bool n{i} = {text(bit.next)};")
    lines += [f"    s{i} = n{i};" for i in range(len(core.state))]
    return "\n".join([*lines, "  }", "  return folded;", "}"])


def c_scan_us(core: Core, scans: int) -> float | None:
    """Microseconds of CPU a scan in C; None where there is no gcc."""
    if shutil.which("gcc") is None:
        return None
    with TemporaryDirectory() as folder:
        source, library = Path(folder) / "scan.c", Path(folder) / "scan.so"
        source.write_text(c_text(core), encoding="ascii")
        subprocess.run(
            ["gcc", "-O2", "-shared", "-fPIC", "-o", str(library), str(source)], check=True
        )
        run = ctypes.CDLL(str(library)).run
        run.argtypes = [ctypes.c_long, ctypes.c_uint]
        run(scans // 10, 1)
        start = process_time()
        run(scans, 2)
        return (process_time() - start) / scans * 1e6
