"""What can be asked of the music over the control socket: silence, switches, our clock, the take that plays."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from router.daemon.live import Live
from router.daemon.take_player import TAKE_ORDERS
from router.files.switch_values import read_switch
from router.text.usage import UsageError
from rules.program.clock_orders import CONTINUE_ORDER, START_ORDER, STOP_ORDER, TAP_ORDER, ClockOrder
from rules.rulefile.clock_table import FASTEST_BPM, SLOWEST_BPM

Asked = Mapping[str, Any]


def music_handlers(playing: Callable[[], Live]) -> dict[str, Callable[[dict[str, Any]], dict[str, Any]]]:
    """Return what can be asked, by verb. `playing` returns the loop that plays, and raises MachineError before it does.

    `panic` {"every_key": true} also sends a note-off for each key. `switch` {"name": "song", "value": "chorus"} turns
    one, without "value" on. `take` {"do": "next"} is for the take that plays. `tap`, and `clock` {"do": "start"} or
    {"bpm": 96}, give how the clock is then, as `status` has it.
    """
    verbs = _MusicVerbs(playing)
    return {
        "panic": verbs.panic,
        "switch": verbs.turn,
        "take": verbs.order_take,
        "tap": verbs.tap,
        "clock": verbs.order_clock,
    }


class _MusicVerbs:
    def __init__(self, playing: Callable[[], Live]) -> None:
        self._playing = playing

    def panic(self, asked: Asked) -> dict[str, Any]:
        live = self._playing()
        live.do(lambda: live.panic(asked.get("every_key") is True))
        return {}

    def turn(self, asked: Asked) -> dict[str, Any]:
        live = self._playing()
        name, value = asked.get("name"), asked.get("value")
        if not isinstance(name, str) or not isinstance(value, str | None):
            raise UsageError('write the switch and its state: {"name": "song", "value": "chorus"}')
        switch, state = read_switch(name if value is None else f"{name}={value}", live.session.ruleset)
        live.do(lambda: live.turn(switch, state))
        return {}

    def order_take(self, asked: Asked) -> dict[str, Any]:
        live = self._playing()
        order = f"take {asked.get('do')}"
        if order not in TAKE_ORDERS:
            raise UsageError('write what the take is to do: {"do": "next"}, or "pause" or "end"')
        live.do(lambda: live.order_take(order))
        return {}

    def tap(self, _: Asked) -> dict[str, Any]:
        return self._to_clock(TAP_ORDER)

    def order_clock(self, asked: Asked) -> dict[str, Any]:
        do, bpm = asked.get("do"), asked.get("bpm")
        if do in (START_ORDER, CONTINUE_ORDER, STOP_ORDER) and bpm is None:
            return self._to_clock(do)
        if do is None and isinstance(bpm, int | float) and SLOWEST_BPM <= bpm <= FASTEST_BPM:
            return self._to_clock(float(bpm))
        raise UsageError(
            'write what your clock does: {"do": "start"}, "continue" or "stop"; or its tempo, '
            f'{SLOWEST_BPM} to {FASTEST_BPM} BPM: {{"bpm": 96}}'
        )

    def _to_clock(self, order: ClockOrder) -> dict[str, Any]:
        live = self._playing()
        return {"clock": live.do(lambda: live.order_clock(order))}
