from __future__ import annotations

import re
from datetime import date

import pytest

from rungs.bench.drawing import RungLook, element_at, lines_of, place_of
from rungs.bench.keys import KEYS, PANES, Pane, footer, words, works_in
from rungs.bench.pages.devices import Devices, bar, device_lines, device_rows
from rungs.bench.pages.status import footer_hits, footer_line, status_line
from rungs.bench.pages.switches import switch_at, switch_detail, switch_lines, switch_rows
from rungs.bench.pages.words import (
    ASCII_SIGNS,
    SIGNS,
    Line,
    Signs,
    fit,
    passed_text,
    time_text,
    when_text,
)
from rungs.bench.session.session import Session
from rungs.cells import columns
from rungs.draw.layout import picture_of
from rungs.draw.signs import wire_sign
from rungs.program.nodes import leaves
from tests.bench.harness import plain
from tests.bench.panels import SHED, session_of


def toned_ladder(
    session: Session,
    width: int,
    signs: Signs = SIGNS,
    forced: frozenset[str] = frozenset(),
    stale: bool = False,
) -> list[list[Line]]:
    return [
        lines_of(
            picture_of(rung, session.program, width),
            RungLook(
                rung.number, session.live(), session.reading(rung), forced=forced, stale=stale
            ),
            signs,
        )
        for rung in session.program.rungs
    ]


def ladder(session: Session, width: int, signs: Signs = SIGNS) -> list[list[str]]:
    return [[plain(line) for line in lines] for lines in toned_ladder(session, width, signs)]


def devices_of(session: Session) -> Devices:
    return Devices(
        session.relays(),
        session.timers(),
        session.counters(),
        session.clocks(),
        session.status().wall,
    )


@pytest.mark.parametrize(
    ("ms", "text"),
    [
        (0, "0.0 s"),
        (71_290, "71.2 s"),
        (99_999, "99.9 s"),
        (100_000, "1m40s"),
        (5_999_999, "99m59s"),
        (6_000_000, "1h40m"),
        (360_000_000, "4d04h"),
        (366 * 86_400_000, "366d00h"),
    ],
)
def test_times_are_short(ms: int, text: str) -> None:
    assert time_text(ms) == text


def test_a_coming_moment_says_no_more_than_it_must() -> None:
    now = (date(2026, 11, 25), 80_000_000)
    assert when_text((date(2026, 11, 25), 82_800_000), now) == "23:00"
    assert when_text((date(2026, 11, 26), 21_600_000), now) == "06:00"
    assert when_text((date(2026, 11, 26), 82_800_000), now) == "Thu 23:00"
    assert when_text((date(2027, 3, 1), 0), now) == "1 Mar"


@pytest.mark.parametrize("text", ["plain", "a longer text", "日本語のラベル", "x\x1b[31m", ""])
@pytest.mark.parametrize("width", [0, 1, 2, 5, 12])
@pytest.mark.parametrize("signs", [SIGNS, ASCII_SIGNS])
def test_fit_takes_its_columns_and_no_control_character(
    text: str, width: int, signs: Signs
) -> None:
    shown = fit(text, width, signs)
    assert columns(shown) == width
    assert shown.isprintable()


def test_a_bar_is_full_only_at_the_end() -> None:
    assert [bar(f, 4, ASCII_SIGNS) for f in (0.0, 0.5, 0.99, 1.0)] == [
        "....",
        "##..",
        "###.",
        "####",
    ]


def test_all_signs_of_one_set_differ() -> None:
    for signs in (SIGNS, ASCII_SIGNS):
        assert len({signs.on, signs.off, signs.pressed, signs.free}) == 4
        assert len({signs.closed, signs.open, signs.broken, signs.shorted}) == 4
        assert signs.full != signs.empty
    assert all(s.isascii() for s in vars_of(ASCII_SIGNS))


def vars_of(signs: Signs) -> list[str]:
    return [v for n in signs.__slots__ if isinstance(v := getattr(signs, n), str)]


@pytest.mark.parametrize("width", [60, 80, 140])
def test_the_top_line_keeps_its_width_and_places(width: int) -> None:
    session = session_of()
    lines = []
    for speed, ms in ((1, 10), (3600, 100_000), (10, 0)):
        session.speed = speed
        session.tick(ms)
        lines.append(plain(status_line(session.status(), width, SIGNS)))
    session.pause()
    session.switch_power(False)
    lines.append(plain(status_line(session.status(), width, SIGNS)))
    assert {columns(line) for line in lines} == {width}
    assert len({line.index(" x") for line in lines}) == 1
    assert "paused" in lines[-1]
    assert "no power" in lines[-1]


@pytest.mark.parametrize("width", [60, 80, 110, 140, 200])
@pytest.mark.parametrize("pane", PANES)
def test_the_footer_fits_and_a_mouse_finds_its_words(width: int, pane: Pane) -> None:
    line = plain(footer_line(width, pane))
    assert len(line.rstrip()) <= width
    found = {line[start:end]: key_id for start, end, key_id in footer_hits(width, pane)}
    assert found == {words(key): key.id for key in footer(width - 2, pane)}
    own = {"switches": "space operate", "rungs": "enter edit here", "devices": "enter its rung"}
    more = {"chart": "right later", "text": "esc leave"}
    assert (own | more)[pane] in found
    assert ("F1 help" if pane == "text" else "? help") in found
    assert ("q quit" in found) == (pane != "text")


def test_a_wider_footer_loses_no_word() -> None:
    for pane in PANES:
        for width in range(20, 300):
            assert set(footer(width, pane)) <= set(footer(width + 1, pane))
        every = {key for key in KEYS if key.rank and works_in(key, pane)}
        assert set(footer(1_000, pane)) == every


def test_switches_take_the_roomiest_form_that_fits() -> None:
    assert [switch_rows(6, 30, h) for h in (25, 24, 19, 18, 13, 12, 1)] == [4, 3, 3, 2, 2, 1, 1]
    assert [switch_rows(6, 18, h) for h in (25, 19, 13, 7)] == [3, 3, 2, 1]


@pytest.mark.parametrize("size", [(18, 22), (18, 5), (30, 40), (19, 1)])
@pytest.mark.parametrize("signs", [SIGNS, ASCII_SIGNS])
def test_every_line_of_the_lists_fits_its_pane(size: tuple[int, int], signs: Signs) -> None:
    session = session_of()
    session.fault("stop", "broken")
    session.press("start")
    session.tick(6_000)
    lines = switch_lines(session.switches(), "stop", {"stop"}, size, signs)
    lines += device_lines(devices_of(session), {"lamp"}, size, signs)
    for line in lines:
        assert columns(plain(line)) <= size[0]
        if signs.ascii_only:
            assert plain(line).isascii()


@pytest.mark.parametrize("size", [(18, 22), (18, 5), (30, 40)])
def test_a_switch_is_found_where_it_is_drawn(size: tuple[int, int]) -> None:
    session = session_of()
    names = [view.name for view in session.switches()]
    lines = switch_lines(session.switches(), None, (), size, SIGNS)
    for number, name in enumerate(names):
        at = next(i for i, line in enumerate(lines) if name in plain(line))
        assert switch_at(at, len(names), *size) == number
    assert switch_at(0, len(names), *size) is None
    assert switch_at(99, len(names), *size) is None


def test_states_of_switches_read_without_colour() -> None:
    session = session_of()
    seen = set()
    for operated in (False, True):
        for fault in ("sound", "broken", "shorted"):
            session.operate("lamp_switch", operated)
            session.fault("lamp_switch", fault)
            for rows, height in ((1, 2), (2, 8)):
                lines = switch_lines(session.switches()[:1], None, (), (18, height), SIGNS)
                seen.add((rows, "\n".join(map(plain, lines[1 : 1 + rows]))))
    assert len(seen) == 12


def test_a_wide_list_says_coil_and_load_in_words() -> None:
    session = session_of()
    text = "\n".join(map(plain, device_lines(devices_of(session), (), (34, 40), SIGNS)))
    flap = next(line for line in text.split("\n") if "flap" in line)
    assert flap.split() == ["R3", "flap", "○", "off", "load", "on"]
    assert "from      23:00" in text
    assert "COUNTERS" in text


def test_a_clock_without_power_still_says_what_comes() -> None:
    session = session_of()
    session.to_next_event()
    session.switch_power(False)
    text = "\n".join(map(plain, device_lines(devices_of(session), (), (34, 40), SIGNS)))
    line = next(line for line in text.split("\n") if "night" in line)
    assert line.startswith("○")
    assert "until" in line
    assert "06:00" in line


# --- the ladder


def test_dead_and_live_rungs_are_drawn_apart() -> None:
    session = session_of()
    assert ladder(session, 40)[0] == [
        " 1 The lamp follows the switch",
        "┃━┫ ├╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌( )╌┃",
        "┃▲lamp_switch                     lamp ┃",
    ]
    session.touch("lamp_switch")
    session.one_scan()
    assert ladder(session, 40)[0] == [
        " 1 The lamp follows the switch",
        "┃━┫ ┣━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━( )━┃",
        "┃ lamp_switch                     lamp ┃",
    ]


def test_the_ladder_in_ascii() -> None:
    session = session_of()
    session.press("start")
    session.to_next_change()
    assert ladder(session, 52, ASCII_SIGNS)[1] == [
        " 2 The pump runs until it is stopped",
        "|+=| |===+=| |===|/|=========================+=( )=|",
        "|| start : stop  rest                        |pump |",
        "|+=| |---+                                   +=(C)=|",
        "|  pump                                      |runs |",
        "|                                            +=(T)=|",
        "|                                             warm |",
    ]


def test_only_the_first_open_contact_is_marked_and_none_without_power() -> None:
    session = session_of()
    session.one_scan()  # in the first scan rung 7 has power
    for rung in ladder(session, 60):
        assert "".join(rung).count("▲") == 1
    session.switch_power(False)
    for rung in ladder(session, 60):
        assert "▲" not in "".join(rung)
        assert not set("━┃┫┣┳") & set("".join(rung))


@pytest.mark.parametrize("width", [40, 41, 60, 100])
def test_all_lines_of_a_rung_have_the_width_and_never_move(width: int) -> None:
    session = session_of()
    before = ladder(session, width)
    session.press("start")
    session.tick(6_000)
    after = ladder(session, width)
    for old, new in zip(before, after, strict=True):
        assert {len(line) for line in (*old[1:], *new[1:])} == {width}
        assert len(old) == len(new)
        assert [c for c in old if c.isalnum()] == [c for c in new if c.isalnum()]


def test_a_long_rung_is_folded_and_keeps_every_contact() -> None:
    names = [f"contact_{n}" for n in range(12)]
    inputs = "\n".join(f"input {name} at I{n}" for n, name in enumerate(names))
    series = " and ".join(names)
    session = session_of(f"{inputs}\noutput o at R1\nrung {series} -> o")
    (rung,) = ladder(session, 40)
    text = "\n".join(rung)
    assert all(name in text for name in names)
    ends, begins = re.findall(r"(\d)>┃", text), re.findall(r"┃(\d)>", text)
    assert ends == begins == [str(n) for n in range(1, (len(rung) - 1) // 2)]
    assert max(map(len, rung)) == 40


def test_what_cannot_be_folded_becomes_wider_than_the_pane() -> None:
    deep = "a"
    for _ in range(12):
        deep = f"b and (a or {deep})"
    session = session_of(f"input a at I1\ninput b at I2\noutput o at R1\nrung {deep} -> o")
    picture = picture_of(session.program.rungs[0], session.program, 40)
    assert picture.width > 40


def test_wire_signs_have_the_arms_asked_for() -> None:
    # FROM MEMORY of the Unicode chart: U+2503, U+254C, U+2513, U+2521
    assert wire_sign(2, 2, 0, 0, False) == "┃"
    assert wire_sign(0, 0, 1, 1, False) == "╌"
    assert wire_sign(0, 2, 2, 0, False) == "┓"
    assert wire_sign(2, 1, 0, 2, False) == "┡"
    assert wire_sign(1, 0, 1, 2, True) == "+"


def test_a_force_is_marked_at_every_place_of_its_device() -> None:
    session = session_of()
    forced = frozenset({"pump"})
    tones = [
        (text.strip(), tone)
        for lines in toned_ladder(session, 60, forced=forced)
        for line in lines
        for text, tone in line
        if "pump" in text and "The" not in text
    ]
    assert len(tones) >= 4
    assert {tone for _, tone in tones} == {"forced"}
    session.force("pump", True)
    session.force("start", False)
    lines = device_lines(devices_of(session), (), (30, 40), SIGNS)
    assert any(("!pump" in text, tone) == (True, "forced") for line in lines for text, tone in line)
    switch = "\n".join(map(plain, switch_lines(session.switches(), None, (), (30, 20), SIGNS)))
    assert SIGNS.held_off in switch
    assert "FORCED open" in switch_detail(session.switch("start"))


def test_what_an_older_text_said_is_quiet() -> None:
    for lines in toned_ladder(session_of(), 60, stale=True):
        assert {tone for line in lines for text, tone in line if text.strip()} == {"quiet"}


@pytest.mark.parametrize("width", [40, 60, 100])
def test_every_contact_and_coil_is_found_where_it_is_drawn(width: int) -> None:
    session = session_of()
    for rung in session.program.rungs:
        picture = picture_of(rung, session.program, width)
        for element in range(len(leaves(rung.circuit)) + len(rung.actions)):
            assert element_at(picture, *place_of(picture, element)) == element
        assert element_at(picture, 0, 5) is None


@pytest.mark.parametrize("size", [(19, 30), (19, 10), (34, 40)])
def test_every_device_is_found_on_its_line(size: tuple[int, int]) -> None:
    devices = devices_of(session_of())
    lines = [plain(line) for line in device_lines(devices, (), size, SIGNS)]
    rows = device_rows(devices, size)
    assert len(rows) == len(lines)
    for line, name in zip(lines, rows, strict=True):
        assert name is None or name in line
    names = [name for name in rows if name is not None]
    assert names == ["lamp", "pump", "flap", "ready", "rest", "warm", "runs", "night"]


def test_a_stretch_of_time_is_told_to_the_scan() -> None:
    assert [passed_text(ms) for ms in (10, 71_200, 100_000)] == ["0.010 s", "71.200 s", "1m40s"]


def test_alarms_stand_before_the_title() -> None:
    session = session_of(SHED + 'never "dark and wet" lamp and pump\n')
    session.touch("lamp_switch")
    session.force("pump", True)
    session.tick(100)
    for width, head in ((140, " !1 forced 1 broken * + keeping S"), (80, " !1 1 broken * + ")):
        line = plain(status_line(session.status(), width, SIGNS, "* + ", True))
        assert columns(line) == width
        assert line.startswith(head)
    for width in range(60, 200):
        line = plain(status_line(session.status(), width, SIGNS, "* + ", True))
        assert columns(line) == width
        assert line.startswith(" !1")
