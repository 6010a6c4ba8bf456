"""The check of an explanation: whatever it claims is found out again by evaluating.

Kept apart from the finding, so that a mistake there shows as a complaint and is not repeated here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import islice, product
from typing import assert_never

from rungs.program.nodes import Clock, Compare, Rung
from rungs.prove.why.facts import Facts
from rungs.prove.why.history import History
from rungs.prove.why.nodes import (
    Cause,
    Counted,
    Driven,
    Either,
    Explanation,
    Forced,
    Held,
    PowerUp,
    Reason,
    Switch,
    Timed,
    Together,
    Unrecorded,
    Window,
    causes,
    others,
    walk,
)
from rungs.prove.why.scans import Record, Shown, forced, show
from rungs.scan.forces import work_held
from rungs.scan.reference import State

WORKS = 32  # ways of taking causes away, or of choosing among them, that are tried


def verified(history: History, explanation: Explanation) -> tuple[str, ...]:
    """What is wrong with an explanation, found by evaluating again; empty if nothing is.

    For every rung in it: with the causes held as they were, whatever its other contacts are made to
    read, the rung's power is the same (sufficiency: contacts only ever close a rung, so all others
    open and all others closed are the two extremes); and with one contact of every reason taken
    away the reference interpreter turns the rung over, and the device with it where it follows its
    rung (necessity). Besides, values and readings agree with the record, and every cause lies at an
    earlier point of the run, so that there is no circle.
    """
    wrong: list[str] = []
    facts = Facts(history)
    for each in walk(explanation):
        if isinstance(each.how, Unrecorded):
            continue
        if facts.value(each.fact) != each.value:
            wrong.append(f"{each.fact} is not {each.value}")
        wrong += _since_is_true(history, each)
        wrong += _how_is_true(history, each)
        for cause in causes(each.reason):
            if (cause.fact.t, cause.fact.upto) >= _point(each) and cause.leaf is not None:
                wrong.append(f"{cause.fact} is not before {each.fact}")
            if not _reads_as(cause, facts.value(cause.fact)):
                wrong.append(f"{cause.fact} does not make its contact read {cause.conducts}")
        if each.rung is not None and each.reason is not None and each.decided is not None:
            rung = facts.rung(each.rung.number)
            wrong += _rung_is_true(history, each, each.reason, rung, each.decided.t)
    return tuple(wrong)


def _point(explanation: Explanation) -> tuple[int, int]:
    """The scan and rung before which the contacts that decided were read."""
    rung, decided = explanation.rung, explanation.decided
    if rung is None or decided is None:
        return explanation.fact.t, explanation.fact.upto + 1
    return decided.t, rung.number


def _reads_as(cause: Cause, value: bool | int) -> bool:
    """Whether a contact conducts as it must with this value behind it."""
    if isinstance(cause.leaf, Compare):
        return cause.leaf.holds(value) == cause.conducts
    if cause.leaf is None:
        return bool(value) == cause.conducts
    return (bool(value) != cause.leaf.negated) == cause.conducts


_CLOSED_IN = {
    "off": False,
    "done": True,
    "held": True,
    "ended": False,
    "spent": False,
    "holding": False,
    "reset": False,
    "bright": True,
    "dark": False,
}


def _how_is_true(history: History, each: Explanation) -> Iterator[str]:
    """What is said beside the causes agrees with the panel, its clocks and its timers."""
    record, name = history.record(each.fact.t), each.fact.name
    match each.how:
        case Switch(operated, side, wire, circuit, bouncing):
            moved = operated != (side == "NC")
            right = circuit == (moved if wire == "sound" else wire == "shorted")
            if not right or (circuit != each.value) != (bouncing is not None):
                yield f"{name} at {each.fact.t} ms: the switch does not explain it"
        case Window(since, until):
            clock = history.program.by_name[name]
            assert isinstance(clock, Clock)
            inside = (since is None or since <= record.wall) and (
                until is None or record.wall < until
            )
            if not inside or history.calendar.is_closed(clock, record.wall) != each.value:
                yield f"{name} at {each.fact.t} ms: the clock does not explain it"
        case PowerUp(kept):
            if bool(each.value) != kept:
                yield f"{name} at {each.fact.t} ms: power-up does not explain it"
        case Forced():
            yield from _force_is_true(history, each, each.how)
        case Timed(kind=kind, phase=phase):
            closed = kind in ("off-delay", "pulse") if phase == "timing" else _CLOSED_IN[phase]
            if each.fact.kind == "contact" and closed != each.value:
                yield f"{name} at {each.fact.t} ms: it is not {phase}"
        case _:
            return


def _force_is_true(history: History, each: Explanation, how: Forced) -> Iterator[str]:
    """The contact is held as it stands, or was, and nothing has moved it after that."""
    name, t = each.fact.name, each.fact.t
    last = t if how.until is None else how.until
    if history.record(last).forces.get(name) != how.closed:
        yield f"{name} was not held {how.closed} at {last} ms"
    if how.since is not None:
        held = list(_records(history, how.since, last))
        if any(record.forces.get(name) != how.closed for record in held):
            yield f"{name} was not held {how.closed} since {how.since} ms"
    # a timer is timing while its coil is on and its contact open
    shows = not how.closed if each.fact.kind == "timing" else how.closed
    if each.value != shows:
        yield f"{name} at {t} ms: the force does not explain it"
    if how.until is None:
        return
    after = [record for record in _records(history, how.until, t) if record.t > how.until]
    if any(record.forces.get(name) is not None for record in after):
        yield f"{name} was held after {how.until} ms"
    if any(record.after.contacts[name] != how.closed for record in after if record.t < t):
        yield f"{name} was moved between {how.until} and {t} ms"


def _records(history: History, since: int, until: int) -> Iterator[Record]:
    """The kept scans that tell of the stretch from one time to another, the last one first."""
    t = until
    while True:
        record = history.base(t)
        yield record
        if record.t <= since or record.t <= history.begins:
            return
        t = record.t - 1


def _since_is_true(history: History, each: Explanation) -> Iterator[str]:
    """The device has stood so after every kept scan since."""
    if each.since is None or each.fact.kind not in ("contact", "coil", "count"):
        return
    name, kind, since = each.fact.name, each.fact.kind, each.since.t
    t = history.scan_at(each.fact.t)
    while t > since:
        t = history.base(t - 1).t
        if t < since:
            break
        if show(history.program, history.base(t).after, name).of(kind) != each.value:
            yield f"{name} was not {each.value} at {t} ms, though since {since}"


def _rung_is_true(
    history: History, each: Explanation, reason: Reason, rung: Rung, t: int
) -> Iterator[str]:
    """The causes alone decide the rung, and without one of each the rung turns over."""
    worked = history.worked(t)[rung.number - 1]
    for cause in (*causes(reason), *others(reason)):
        if cause.leaf is None or worked.conducts[cause.index] != cause.conducts:
            yield f"rung {rung.number} at {t} ms: contact {cause.index} read otherwise"
    before, base = history.part_way(t, rung.number - 1), history.base(t)

    def after(conducts: dict[int, bool]) -> State:
        now = _copy(before)
        held = forced(rung, conducts, before.first)
        work_held(history.program, base.before, now, held, base.forces)
        return now

    for chosen in islice(_choices(reason), WORKS):
        held = dict.fromkeys(range(len(worked.conducts)), not worked.power)
        held.update({index: worked.conducts[index] for index in chosen})
        if after(held).powers[rung.number] != worked.power:
            yield f"rung {rung.number} at {t} ms: {sorted(chosen)} alone do not decide it"
    name = each.fact.name
    for taken in islice(_ways_out(reason), WORKS):
        turned = after({index: not worked.conducts[index] for index in taken})
        if turned.powers[rung.number] == worked.power:
            yield f"rung {rung.number} at {t} ms: without {sorted(taken)} nothing changes"
        now = show(history.program, turned, name)
        if _follows(each) and _followed(each, now) == _followed(each, worked.after[name]):
            yield f"{name} at {t} ms: without {sorted(taken)} it stays as it is"


def _follows(each: Explanation) -> bool:
    """Whether the device turns over with its rung, in the scan in which that decided it."""
    match each.how:
        case Driven() | Held() | Counted():
            return True
        case Timed(phase=phase):
            return phase != "reset"
        case _:
            return False


def _followed(each: Explanation, shown: Shown) -> bool | int:
    """What of a device turns over with its rung."""
    match each.how:
        case Counted():
            return shown.count
        case Timed():
            return shown.coil
        case Driven() if each.fact.kind == "coil":
            return shown.coil
        case _:
            return shown.contact


def _copy(state: State) -> State:
    """A state that a rung may work on while the first stays as it is."""
    return replace(
        state,
        contacts=dict(state.contacts),
        coils=dict(state.coils),
        counts=dict(state.counts),
        since=dict(state.since),
        edges=dict(state.edges),
        powers=dict(state.powers),
        moved_by=dict(state.moved_by),
    )


def _choices(reason: Reason) -> Iterator[frozenset[int]]:
    """Sets of contacts each of which decides the rung: all of Together, one of each Either."""
    match reason:
        case Cause():
            yield frozenset((reason.index,))
        case Together():
            for sets in product(*(list(islice(_choices(p), WORKS)) for p in reason.parts)):
                yield frozenset().union(*sets)
        case Either():
            for part in (*reason.parts, *reason.others):
                yield from _choices(part)
        case _:
            assert_never(reason)


def _ways_out(reason: Reason) -> Iterator[frozenset[int]]:
    """Sets of contacts that turn the rung over: one of each Together, all of every Either."""
    match reason:
        case Cause():
            yield frozenset((reason.index,))
        case Together():
            for part in reason.parts:
                yield from _ways_out(part)
        case Either():
            parts = (*reason.parts, *reason.others)
            for sets in product(*(list(islice(_ways_out(part), WORKS)) for part in parts)):
                yield frozenset().union(*sets)
        case _:
            assert_never(reason)
