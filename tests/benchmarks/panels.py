"""A panel of ordinary size for the prover: four winches that share a supply, each with a pause.

Forty rungs, eight inputs, six timers, ten properties, in the manner of the demos.
"""

from __future__ import annotations


def panel() -> str:
    """The text of the panel."""
    lines = ['title "Four winches"', "supply main 24 V 6 A"]
    lines += [
        "input stop_button at I1 momentary NC",
        "input master at I2 maintained NO",
        "input up_a at I3 momentary NO debounce 30ms",
        "input down_a at I4 momentary NO debounce 30ms",
        "input up_b at I5 momentary NO",
        "input down_b at I6 momentary NO",
        "input overload at I7 maintained NC",
        "input reset_button at I8 momentary NO",
    ]
    outputs = ["raise_a", "lower_a", "raise_b", "lower_b", "lamp", "horn"]
    lines += [
        f"output {name} at R{number} NO load 24 V 0.4 A coil"
        for number, name in enumerate(outputs, 1)
    ]
    relays = ["ready", "busy", "fault retained", "armed", "turn_a", "turn_b", "hold_a", "hold_b"]
    relays += ["asked_a", "asked_b", "slow", "warned", "told", "quiet", "first", "second"]
    relays += ["slack_a", "slack_b", "calm", "shown"]
    lines += [f"relay {name}" for name in relays]
    lines += [
        "timer rest_a off-delay 1s",
        "timer rest_b off-delay 1s",
        "timer long_a on-delay 40s",
        "timer long_b on-delay 45s",
        "timer blink flasher 500ms on 500ms off",
        "timer patience on-delay 10min",
    ]
    rungs = [
        "master and stop_button and overload and not fault -> ready",
        "raise_a or lower_a or raise_b or lower_b -> busy",
        "raise_a or lower_a -> long_a",
        "raise_b or lower_b -> long_b",
        "long_a or long_b -> latch fault",
        "not overload -> latch fault",
        "reset_button and not busy -> unlatch fault",
        "rising master -> latch armed",
        "not master or patience -> unlatch armed",
        "not busy and armed -> patience",
        "up_a and not down_a -> asked_a",
        "up_b and not down_b -> asked_b",
        "rising up_a and ready -> latch turn_a",
        "falling up_a or not ready -> unlatch turn_a",
        "rising up_b and ready -> latch turn_b",
        "falling up_b or not ready -> unlatch turn_b",
        "down_a and not up_a and ready -> hold_a",
        "down_b and not up_b and ready -> hold_b",
        "(turn_a or asked_a) and ready and armed and not hold_a -> first",
        "(turn_b or asked_b) and ready and armed and not hold_b -> second",
        "first and not lower_a and not rest_a and stop_button -> raise_a",
        "hold_a and not raise_a and not rest_a and stop_button and armed -> lower_a",
        "raise_a or lower_a -> rest_a",
        "second and not lower_b and not rest_b and stop_button -> raise_b",
        "hold_b and not raise_b and not rest_b and stop_button and armed -> lower_b",
        "raise_b or lower_b -> rest_b",
        "fault or warned -> blink",
        "blink or busy -> lamp",
        "rising fault -> latch told",
        "reset_button -> unlatch told",
        "told and not quiet and not shown -> horn",
        "told and rising up_a -> latch quiet",
        "not told -> unlatch quiet",
        "rest_a and rest_b -> slow",
        "slow and busy -> latch warned",
        "not busy and not slow -> unlatch warned",
        "rest_a and not raise_a and not lower_a -> slack_a",
        "rest_b and not raise_b and not lower_b -> slack_b",
        "slack_a and slack_b and not fault -> calm",
        "calm and armed or warned and not calm -> shown",
    ]
    lines += [f"rung {text}" for text in rungs]
    lines += [
        'never "both ways, a" raise_a and lower_a',
        'never "both ways, b" raise_b and lower_b',
        'require "stop means stop, a" when not stop_button then not raise_a and not lower_a',
        'require "stop means stop, b" when not stop_button then not raise_b and not lower_b',
        'require "a broken stop wire stops it"\n'
        "    when broken stop_button then not raise_a and not raise_b",
        'require "an overload stops it" when not overload then not raise_a and not lower_b',
        'require "no winch runs for ever" when raise_a then fault within 41s',
        'require "a fault is told" when fault then lamp within 2s',
        'never "the horn without a fault told" horn and not told',
        'always "armed or still" armed or not raise_a',
    ]
    return "\n".join(lines) + "\n"
