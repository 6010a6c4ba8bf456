"""What the benchmarks share: timing, the printed line, and programs of a given size."""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from statistics import median
from time import process_time


def timed(work: Callable[[], object], times: int = 5) -> float:
    """The median CPU time of the work, in ms."""
    found = []
    for _ in range(times):
        start = process_time()
        work()
        found.append((process_time() - start) * 1000)
    return median(found)


def show(what: str, value: float, unit: str, ratio: str) -> None:
    """One line of the result."""
    print(f"{what:<44}{value:>10,.2f} {unit:<4} {ratio}", flush=True)


def ladder_text(rungs: int, seed: int = 1, timers: int = 0) -> str:
    """Ladder-like text: about 4.5 contacts a rung, half the rungs drive relays, 16 inputs."""
    rng = Random(seed)
    half = rungs // 2
    lines = [f"input i{n} at I{n}" for n in range(16)]
    lines += [f"relay r{n}" for n in range(half)]
    lines += [f"timer t{n} on-delay {rng.randint(1, 90)}s" for n in range(timers)]
    lines += [f"output o{n} at R{n}" for n in range(rungs - half - timers)]
    names = [f"i{n}" for n in range(16)]
    targets = [f"r{n}" for n in range(half)] + [f"t{n}" for n in range(timers)]
    for target in targets + [f"o{n}" for n in range(rungs - half - timers)]:
        contacts = [rng.choice(("", "not ")) + rng.choice(names) for _ in range(rng.randint(3, 6))]
        series = " and ".join(contacts[2:])
        lines.append(f"rung\n    ({contacts[0]} or {contacts[1]}) and {series} -> {target}")
        names.append(target)
    return "\n".join(lines)


def rows_text(signals: int, outputs: int, seed: int = 3) -> str:
    """A program without memory: each output of five contacts drawn from the signals."""
    rng = Random(seed)
    names = [f"a{n}" for n in range(signals)]
    text = "".join(f"input {name} at I{n}\n" for n, name in enumerate(names))
    for n in range(outputs):
        contacts = [rng.choice(("", "not ")) + rng.choice(names) for _ in range(5)]
        text += f"output o{n} at R{n}\nrung ({contacts[0]} or {contacts[1]}) and "
        text += f"({contacts[2]} or {' and '.join(contacts[3:])}) -> o{n}\n"
    return text
