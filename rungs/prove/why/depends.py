"""What depends on what: which devices can have a say in which, and which depend on themselves.

A device that depends on itself is one whose explanation has to leave the loop that it lies in.
"""

from __future__ import annotations

from rungs.program.nodes import Program, leaves


def reads(program: Program) -> dict[str, set[str]]:
    """For each device, the devices that the rungs which act on it read."""
    found: dict[str, set[str]] = {device.name: set() for device in program.devices}
    for rung in program.rungs:
        names = {leaf.name for leaf in leaves(rung.circuit) if leaf.name}
        for action in rung.actions:
            found[action.name] |= names
    return found


def loops(program: Program) -> dict[str, str]:
    """For each device, the name that its loop goes by; two that depend on each other have the same.

    Strongly connected parts of the graph of what reads what (Kosaraju's two walks). A device that
    depends on nothing of the kind is alone under its own name.
    """
    read = reads(program)
    read_by: dict[str, set[str]] = {name: set() for name in read}
    for name, seen in read.items():
        for other in seen:
            read_by[other].add(name)
    found: dict[str, str] = {}
    for root in reversed(_leaving_order(read)):
        waiting = [root] if root not in found else []
        while waiting:
            name = waiting.pop()
            if name not in found:
                found[name] = root
                waiting += read_by[name]
    return found


def _leaving_order(read: dict[str, set[str]]) -> list[str]:
    """The devices in the order in which a walk in depth leaves them."""
    order: list[str] = []
    done: set[str] = set()
    for root in read:
        stack = [(root, iter(sorted(read[root])))] if root not in done else []
        done.add(root)
        while stack:
            name, rest = stack[-1]
            following = next((other for other in rest if other not in done), None)
            if following is None:
                order.append(name)
                stack.pop()
            else:
                done.add(following)
                stack.append((following, iter(sorted(read[following]))))
    return order


def reached(program: Program, name: str) -> set[str]:
    """Everything that the device can depend on, by any number of steps."""
    read = reads(program)
    found: set[str] = set()
    waiting = [name]
    while waiting:
        each = waiting.pop()
        if each not in found:
            found.add(each)
            waiting += read[each]
    return found
