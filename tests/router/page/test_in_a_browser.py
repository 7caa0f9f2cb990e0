"""The page as a browser shows it, and what a person can do there."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from router.page.server import STATIC
from tests.support.browser import (
    LAPTOP,
    PHONE,
    VIEWS,
    ShownTexts,
    browser_running,
    page_open,
    serious_findings,
    turn_to,
)
from tests.support.page_server import PageServer
from tests.support.page_states import LOG, THROUGH, evening_state, quiet_state, rig

pytestmark = pytest.mark.xdist_group("browser")

HOSTILE = [
    "<img src=x onerror=alert(1)>",
    "\u202eright to left\u2066",
    "x" * 200,
    "two\nlines\x1b[2J",
    "שלום keys",
    "'\"&lt;`${1}",
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all of these tests."""
    with browser_running() as running:
        yield running


Opened = Callable[..., tuple[Page, PageServer]]


@pytest.fixture
def opened(browser: Browser) -> Iterator[Opened]:
    """Open the page of a daemon in some state: `page, server = opened(state)`."""
    with ExitStack() as closing:

        def opened(
            state: Mapping[str, Any], size: tuple[int, int] = PHONE, *, may_control: bool = True, **more: Any
        ) -> Any:
            server = closing.enter_context(PageServer(state, may_control=may_control))
            return closing.enter_context(page_open(browser, server.address, size, **more)), server

        yield opened


def answering(data: Mapping[str, Any]) -> Callable[[Mapping[str, Any]], Mapping[str, Any]]:
    """Answer every question with these data."""
    return lambda question: {"ok": True, "error": None, "data": data}


def refusing(words: str) -> Callable[[Mapping[str, Any]], Mapping[str, Any]]:
    """Refuse every question."""
    return lambda question: {"ok": False, "error": words, "data": {}}


# -- Now --------------------------------------------------------------------------------------------------------------


def test_now_shows_trouble_first_then_the_song_and_the_switches(opened: Opened) -> None:
    """The order on the screen is the order in which a player needs it."""
    page, _ = opened(evening_state())
    expect(page.locator(".trouble li")).to_have_count(3)
    expect(page.locator(".song-title")).to_have_text("Harbour Lights")
    expect(page.locator(".song-where")).to_have_text("2 of 5, next: Slow Tide")
    expect(page.locator(".song-about")).to_have_text("Capo 2.\nBells only from the bridge on.")
    expect(page.locator(".tape-time")).to_have_text(re.compile("^12:0"))
    tops = [page.locator(place).bounding_box() for place in (".trouble", ".beat", ".song", ".switches")]
    heights = [top["y"] for top in tops if top is not None]
    assert heights == sorted(heights)
    assert len(heights) == 4


def test_a_switch_is_shown_by_word_and_shape_and_changes_where_it_is(opened: Opened) -> None:
    """A press asks the daemon; what the daemon says then is what is shown, and the finger's place stays."""
    page, server = opened(evening_state())
    bells = page.get_by_role("switch", name="bells")
    expect(bells).to_have_attribute("aria-checked", "false")
    bells.focus()
    bells.click()
    switches = server.state["switch_states"]
    server.change(switch_states={**switches, "bells": {**switches["bells"], "at": True}})
    expect(bells).to_have_attribute("aria-checked", "true")
    expect(bells).to_contain_text("on")
    expect(bells).to_be_focused()
    server.was_asked({"do": "switch", "name": "bells", "value": "on"})


def test_every_kind_of_switch_can_be_pressed(opened: Opened) -> None:
    """One of a few values, one of many, a number, on and off; a number stops at its ends."""
    page, server = opened(evening_state())
    page.get_by_text("hall").click()
    page.get_by_label("sound").select_option("far choir")
    page.get_by_role("button", name="key down").click()
    page.get_by_role("switch", name="giant").click()
    expect(page.locator("#notice")).to_be_hidden()
    switches = server.state["switch_states"]
    server.change(switch_states={**switches, "key": {**switches["key"], "at": -3}})
    expect(page.get_by_role("button", name="key down")).to_have_attribute("aria-disabled", "true")
    page.get_by_role("button", name="key down").click(force=True)
    assert [(one["name"], one["value"]) for one in server.has_asked(4)] == [
        ("place", "hall"),
        ("sound", "far choir"),
        ("key", "-3"),
        ("giant", "off"),
    ]


def test_a_switch_that_is_refused_goes_back_and_says_why(opened: Opened) -> None:
    """What is shown is how the switch is, not what was wished."""
    page, server = opened(evening_state())
    server.answer = refusing("the page may only look")
    page.get_by_text("hall").click()
    expect(page.get_by_role("alert")).to_contain_text("the page may only look")
    expect(page.get_by_role("radio", name="cave")).to_be_checked()


def test_songs_go_on_and_back_and_stop_at_the_ends(opened: Opened) -> None:
    """The last song has no next one, unless the list begins again."""
    page, server = opened(evening_state())
    page.get_by_role("button", name="Next").click()
    page.get_by_role("button", name="Previous").click()
    songs = server.state["songs"]
    server.change(songs={**songs, "at": 4})
    expect(page.locator(".song-where")).to_have_text("5 of 5, the last song")
    expect(page.get_by_role("button", name="Next")).to_have_attribute("aria-disabled", "true")
    server.change(songs={**songs, "at": 4, "wrap": True})
    expect(page.locator(".song-where")).to_have_text("5 of 5, next: Overture")
    page.get_by_role("button", name="Next").click()
    expect(page.locator("#notice")).to_be_hidden()
    songs_asked = [{"do": "song", "to": to} for to in ("next", "previous", "next")]
    server.was_asked(*songs_asked)


def test_the_lamp_of_the_beat_follows_the_clock(opened: Opened) -> None:
    """One lamp of the bar is on, and the bar is counted; where the clock stops, none is."""
    page, server = opened(evening_state())
    expect(page.locator(".lamp")).to_have_count(4)
    expect(page.locator(".lamp.on")).to_have_count(1)
    expect(page.locator(".bar-number")).to_have_text(re.compile(r"bar 1\d"))
    server.change(clock={"from": "seq", "take": False, "bpm": 97.5, "running": False, "beats": None, "beats_a_bar": 3})
    expect(page.locator(".lamp")).to_have_count(3)
    expect(page.locator(".lamp.on")).to_have_count(0)
    expect(page.locator(".time")).to_have_text("stopped97.5 BPMclock of seq")
    server.change(clock={"from": "seq", "take": True, "bpm": 97.5, "running": False, "beats": None, "beats_a_bar": 3})
    expect(page.locator(".time")).to_have_text("stopped97.5 BPMclock of the take")
    server.change(clock={"from": "seq", "take": False, "bpm": 97.5, "running": True, "beats": 63.5, "beats_a_bar": 64})
    expect(page.locator(".lamp.on")).to_have_count(1)
    assert page.evaluate("() => document.documentElement.scrollWidth") == PHONE[0]


def test_the_beat_runs_on_between_messages_and_forgives_late_ones(opened: Opened) -> None:
    """120 BPM are two beats a second. A message that came late moves nothing much; another place is taken at once."""
    page, _ = opened(quiet_state())
    places = page.evaluate(
        """async () => {
          const { BeatClock } = await import("/static/beat.js");
          const clock = new BeatClock();
          const told = (beats, bpm = 120) => ({ running: true, beats, bpm });
          const found = [clock.beatsAt(0)];
          clock.take(told(8), 1000);
          found.push(clock.beatsAt(1500), clock.beatsAt(3000));
          clock.take(told(11.8), 3000);
          found.push(clock.beatsAt(3000));
          clock.take(told(0), 4000);
          found.push(clock.beatsAt(4000));
          clock.take({ ...told(5), running: false }, 5000);
          found.push(clock.beatsAt(6000));
          return found;
        }"""
    )
    assert places[:3] == [None, 9, 12]
    assert places[3] == pytest.approx(11.99)
    assert places[4:] == [0, None]


def test_the_clock_of_our_own_starts_stops_and_takes_taps(opened: Opened) -> None:
    """There are buttons for what can be done: stop while it runs, start and continue while it doesn't."""
    page, server = opened(evening_state())
    page.get_by_role("button", name="Tap").click()
    page.get_by_role("button", name="Stop", exact=True).click()
    server.change(clock={**server.state["clock"], "running": False, "beats": None})
    page.get_by_role("button", name="Continue").click()
    expect(page.get_by_role("button", name="Start")).to_be_visible()
    server.change(clock={**server.state["clock"], "from": "seq"})
    expect(page.get_by_role("button", name="Tap")).to_have_count(0)
    server.was_asked({"do": "tap"}, {"do": "clock", "command": "stop"}, {"do": "clock", "command": "continue"})


def test_a_recording_shows_its_time_and_ends_by_one_press(opened: Opened) -> None:
    """The button says what it does next."""
    page, server = opened(evening_state())
    expect(page.get_by_text("Recording 2026-11-29 20.14.05.mid")).to_be_visible()
    page.get_by_role("button", name="Stop recording").click()
    server.change(recording=None, recording_s=None)
    expect(page.get_by_text("Not recording")).to_be_visible()
    page.get_by_role("button", name="Record", exact=True).click()
    server.was_asked({"do": "record", "on": False}, {"do": "record", "on": True})


def test_a_take_that_plays_shows_where_it_is_and_can_be_paused(opened: Opened) -> None:
    """With its bar, unless it has none; the next one can be played at once."""
    page, server = opened(evening_state())
    tune = {
        "file": "takes/tune.mid",
        "as": ["keys"],
        "seconds": 61.0,
        "of": 122.0,
        "bar": 31,
        "paused": False,
        "waits": False,
    }
    server.change(playing=tune)
    expect(page.get_by_text("Playing tune.mid bar 31, 1:01 of 2:02")).to_be_visible()
    page.get_by_role("button", name="Pause").click()
    server.change(playing={**tune, "bar": 0, "paused": True})
    expect(page.get_by_text("Paused: tune.mid 1:01 of 2:02")).to_be_visible()
    server.change(playing={**tune, "seconds": 0.0, "bar": 0, "paused": True, "waits": True})
    expect(page.get_by_text("Waits to begin: tune.mid 0:00 of 2:02")).to_be_visible()
    page.get_by_role("button", name="Next take").click()
    page.get_by_role("button", name="Go on").click()
    server.change(playing={**tune, "seconds": 0.0, "bar": 0, "waits": True})
    page.get_by_role("button", name="Begin").click()
    expect(page.get_by_role("button", name="Pause")).to_be_hidden()
    server.was_asked(*[{"do": "take", "command": command} for command in ("pause", "next", "pause", "next")])


def test_new_trouble_is_said_once_however_its_numbers_grow(opened: Opened) -> None:
    """A reader of the screen hears of what is new, not of every message that is lost."""
    page, server = opened(quiet_state())
    said = page.locator("#said")
    expect(page.get_by_text("No trouble")).to_be_visible()
    server.change(trouble=[{"kind": "lost", "words": "output rack: 3 messages lost"}])
    expect(said).to_have_text("output rack: 3 messages lost")
    server.change(trouble=[{"kind": "lost", "words": "output rack: 17 messages lost"}])
    expect(page.locator(".trouble li")).to_have_text("output rack: 17 messages lost")
    turn_to(page, "log")
    server.change(trouble=[{"kind": "port", "words": "input keys is missing"}])
    expect(said).to_have_text("input keys is missing")
    expect(page.locator("#trouble-count")).to_have_text("▲11 thing needs a look")


# -- PANIC and what a page may do -------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [PHONE, LAPTOP, (740, 360)], ids=["phone", "laptop", "phone on its side"])
def test_panic_is_in_sight_in_every_view_and_takes_one_tap(opened: Opened, size: tuple[int, int]) -> None:
    """Wherever the page is, and however far it is scrolled."""
    page, server = opened(evening_state(), size, may_control=False)
    for view in VIEWS:
        turn_to(page, view)
        page.mouse.wheel(0, 3000)
        expect(page.locator("#panic")).to_be_in_viewport(ratio=1)
        page.click("#panic")
        expect(page.locator("#panic-note")).to_have_text("done: silent")
    server.was_asked(*[{"do": "panic"}] * len(VIEWS))


def test_a_panic_that_failed_says_so(opened: Opened) -> None:
    """Nobody may take silence for granted that didn't come."""
    page, server = opened(quiet_state())
    server.answer = refusing("the daemon didn't answer within 2 s")
    page.click("#panic")
    expect(page.get_by_role("alert")).to_contain_text("PANIC failed. the daemon didn't answer within 2 s")
    page.get_by_role("button", name="OK").click()
    expect(page.locator("#notice")).to_be_hidden()


def test_a_page_that_may_only_look_shows_states_and_no_buttons(opened: Opened) -> None:
    """Nothing that can be pressed is there, but PANIC and what changes the view itself."""
    page, _ = opened(evening_state(), may_control=False)
    expect(page.locator(".tile", has_text="giant")).to_contain_text("on")
    expect(page.locator("#view-now").get_by_role("button")).to_have_count(0)
    expect(page.locator("#view-now input, #view-now select")).to_have_count(0)
    expect(page.get_by_text("This page only looks")).to_be_visible()
    for view, buttons in (("log", ["Hold still"]), ("rules", [])):
        turn_to(page, view)
        assert page.locator(f"#view-{view}").get_by_role("button").all_inner_texts() == buttons


def test_a_page_that_was_opened_elsewhere_may_do_as_much(opened: Opened) -> None:
    """The address of a view opens it; what may be done is known in the others as well."""
    page, _ = opened(evening_state())
    turn_to(page, "rig")
    page.reload()
    expect(page.locator(".node.in", has_text="keys")).to_be_visible()
    turn_to(page, "now")
    expect(page.get_by_role("switch", name="giant")).to_be_visible()
    expect(page.get_by_text("This page only looks")).to_be_hidden()


# -- Rig --------------------------------------------------------------------------------------------------------------


def test_the_rig_shows_what_sounds_what_is_missing_and_what_is_closed(opened: Opened) -> None:
    """By words and shapes as well as by colour."""
    page, server = opened(evening_state())
    turn_to(page, "rig")
    expect(page.locator(".node.in", has_text="seq")).to_contain_text("missing")
    expect(page.locator(".node.rule", has_text="bells on the pads")).to_contain_text("closed")
    expect(page.locator(".node.device", has_text="bell box")).to_contain_text("E5 G5 C6 +1")
    expect(page.locator(".node.out", has_text="cable_b")).to_contain_text("DIN 87 %")
    expect(page.locator(".sounding li").first).to_contain_text("▲ 2 notes, held 0:42")
    server.change(sounding=[])
    expect(page.get_by_text("Nothing sounds.")).to_be_visible()
    expect(page.locator(".node.device", has_text="bell box")).to_contain_text("channel 3")
    server.change(activity={**server.state["activity"], "keys": 1205})
    expect(page.locator(".node.in", has_text="keys").locator(".light.on")).to_have_count(1)


def test_a_line_of_the_rig_shows_its_last_messages_and_why(opened: Opened) -> None:
    """By a tap on the line, or by the names at its ends."""
    page, server = opened(evening_state())
    server.answer = answering(THROUGH)
    turn_to(page, "rig")
    page.get_by_role("button", name="right hand").click()
    page.get_by_role("button", name="right hand → bell box").click()
    expect(page.locator(".messages li")).to_have_count(2)
    expect(page.locator(".messages li").first).to_contain_text("to cable_b: note-on 3 E5 101")
    expect(page.locator(".messages li").first).to_contain_text('rule "right hand": matches')
    server.answer = answering({"messages": []})
    line = page.locator(".near").first
    place = line.evaluate(
        """line => {
          const middle = line.getPointAtLength(line.getTotalLength() / 2).matrixTransform(line.getScreenCTM());
          return [middle.x, middle.y];
        }"""
    )
    page.mouse.click(*place)
    expect(page.locator(".panel")).to_contain_text("Nothing took this way")
    server.was_asked(
        {"do": "through", "rule": "right hand", "to": "bell box"},
        {"do": "through", "from": "keys", "rule": "left hand"},
    )


def test_forty_rules_stay_lines_between_names(opened: Opened) -> None:
    """A large rig is long, but nothing of it leaves the screen at its side, and every line has both ends."""
    ports = [(f"keyboard {n}", "in") for n in range(6)] + [(f"cable {n}", "out") for n in range(8)]
    rules = [(f"part {n} of the evening", [f"keyboard {n % 6}"], [f"module {n % 24}"], n % 5 > 0) for n in range(40)]
    devices = [(f"module {n}", f"cable {n % 8}", n % 16 + 1) for n in range(24)]
    page, _ = opened({**quiet_state(), "rig": rig(ports, rules, devices)})
    turn_to(page, "rig")
    expect(page.locator(".node.rule")).to_have_count(40)
    expect(page.locator(".track[d]")).to_have_count(80)
    assert page.evaluate("() => document.documentElement.scrollWidth") == PHONE[0]


# -- Log --------------------------------------------------------------------------------------------------------------


def test_the_log_has_the_newest_first_and_keeps_to_a_port(opened: Opened) -> None:
    """Entries that were left out are counted where they would be."""
    page, server = opened(evening_state())
    turn_to(page, "log")
    server.say({"type": "log", "log": LOG, "skipped": 0})
    rows = page.locator(".entries li")
    expect(rows).to_have_count(len(LOG))
    expect(rows.first).to_contain_text("note-on 3 E5 101")
    expect(rows.last).to_contain_text('playing as "pointsman"')
    page.get_by_label("Show").select_option(label="Port keys")
    expect(rows).to_have_count(3)
    page.get_by_label("Show").select_option(label="What the daemon says")
    expect(rows).to_have_count(2)
    server.say({"type": "log", "log": [{"at": LOG[0]["at"], "say": "panic: everything was silenced"}], "skipped": 1200})
    expect(rows.first).to_contain_text("1,200 left out before this")


def test_the_log_holds_still_to_be_read_and_catches_up(opened: Opened) -> None:
    """What comes in meanwhile is counted, and not lost."""
    page, server = opened(evening_state())
    turn_to(page, "log")
    server.say({"type": "log", "log": LOG[:4], "skipped": 0})
    rows = page.locator(".entries li")
    expect(rows).to_have_count(4)
    page.get_by_role("button", name="Hold still").click()
    server.say({"type": "log", "log": LOG[4:], "skipped": 0})
    expect(page.get_by_text("The list holds still; 6 more came in.")).to_be_visible()
    expect(rows).to_have_count(4)
    page.get_by_role("button", name="Go on").click()
    expect(rows).to_have_count(len(LOG))


def test_the_last_minutes_are_saved_from_the_log(opened: Opened) -> None:
    """The answer names the file."""
    page, server = opened(evening_state())
    server.answer = answering({"file": "takes/2026-11-29 20.14.05.mid"})
    turn_to(page, "log")
    page.get_by_role("button", name="Save the last 5 minutes").click()
    expect(page.get_by_role("alert")).to_contain_text("Saved takes/2026-11-29 20.14.05.mid")
    server.was_asked({"do": "save", "minutes": 5})


def test_a_long_log_stays_short_on_the_screen(opened: Opened) -> None:
    """An evening of messages doesn't fill the memory of a phone."""
    page, server = opened(quiet_state())
    turn_to(page, "log")
    for part in range(20):
        entries = [{"at": 1.0, "say": f"line {part * 300 + number}"} for number in range(300)]
        server.say({"type": "log", "log": entries, "skipped": 0})
    expect(page.locator(".entries li").first).to_contain_text("line 5999")
    assert page.locator(".entries li").count() == 250


# -- Rules ------------------------------------------------------------------------------------------------------------


def test_mistakes_are_marked_below_their_line(opened: Opened) -> None:
    """With the number of the line, and what is wrong in words."""
    page, _ = opened(evening_state())
    turn_to(page, "rules")
    expect(page.get_by_text("The files can't be used. The rules from before play on.")).to_be_visible()
    expect(page.locator(".file").first.get_by_text("1 mistake")).to_be_visible()
    expect(page.locator(".code .wrong")).to_have_text(['"bell box" = { port = "cable_c", channel = 3 }'])
    expect(page.locator(".code .wrong + .mistake")).to_contain_text('there is no port named "cable_c"')
    expect(page.locator(".file").last.get_by_text("no mistakes")).to_be_visible()


def test_what_the_last_reload_changed_can_be_opened(opened: Opened) -> None:
    """In as many words as there are; it stays open while other things change."""
    page, server = opened(evening_state())
    turn_to(page, "rules")
    expect(page.locator("summary")).to_be_hidden()
    differences = [
        "notes C1.. from keys: now reach reed box",
        "controller sustain from keys: no longer reaches bell box",
    ]
    reload = {"at": 1.0, "outcome": "applied", "words": ['rules: changed "left hand"'], "differences": differences}
    server.change(last_reload=reload, going_back=True)
    page.get_by_text("What plays differently (2)").click()
    expect(page.locator("details li")).to_have_text(differences)
    server.change(rules_files=[])
    expect(page.locator(".file")).to_have_count(0)
    expect(page.locator("details li").first).to_be_visible()
    expect(page.get_by_text("The former rules play, until you save a rule file.")).to_be_visible()


def test_former_rules_take_two_presses(opened: Opened) -> None:
    """All rules change at once: a slip of the finger must not do that."""
    page, server = opened(evening_state())
    turn_to(page, "rules")
    page.get_by_role("button", name="Back to the former rules", exact=True).click()
    assert server.asked == []
    page.get_by_role("button", name="Press again").click()
    expect(page.get_by_role("alert")).to_contain_text("The former rules play again.")
    server.was_asked({"do": "former rules"})


# -- the line to the daemon -------------------------------------------------------------------------------------------


def test_a_daemon_that_is_gone_is_said_and_what_is_old_turns_grey(opened: Opened) -> None:
    """Until it is back; the page goes on by itself."""
    page, server = opened(evening_state())
    server.say({"type": "gone"})
    expect(page.get_by_role("status")).to_contain_text("The daemon is not running")
    expect(page.locator("html[data-link=gone]")).to_have_count(1)
    assert "grayscale" in page.locator("main").evaluate("one => getComputedStyle(one).filter")
    expect(page.locator(".lamp.on")).to_have_count(0)
    server.say({"type": "back"})
    server.say({"type": "state", "state": {**evening_state(), "trouble": []}, "may_control": True})
    expect(page.locator("#banner")).to_be_hidden()
    expect(page.get_by_text("No trouble")).to_be_visible()


def test_a_lost_connection_comes_back_by_itself_with_the_state_of_now(opened: Opened) -> None:
    """The program that serves the page ends, and begins again."""
    page, server = opened(evening_state())
    server.stop()
    expect(page.get_by_role("status")).to_contain_text("There is no connection")
    page.get_by_role("switch", name="bells").click()
    expect(page.get_by_role("alert")).to_contain_text("There is no connection: nothing was changed.")
    server.state["songs"]["at"] = 2
    server.start()
    expect(page.locator(".song-title")).to_have_text("Slow Tide")
    expect(page.locator("html[data-link=live]")).to_have_count(1)
    assert server.asked == []


def test_a_panic_without_connection_goes_out_as_soon_as_there_is_one(opened: Opened) -> None:
    """It tries at once, however long the page would have waited."""
    page, server = opened(evening_state())
    server.stop()
    expect(page.locator("html[data-link=lost]")).to_have_count(1)
    page.click("#panic")
    server.start()
    expect(page.locator("#panic-note")).to_have_text("done: silent")
    server.was_asked({"do": "panic"})


def test_a_phone_that_wakes_up_finds_the_daemon_again(opened: Opened) -> None:
    """Its line has died in its sleep without a word: the page opens another, and shows what is now."""
    page, server = opened(evening_state())
    server.is_mute = True
    server.change(songs={**server.state["songs"], "at": 3})
    page.clock.fast_forward(20 * 60_000)
    expect(page.get_by_role("status")).to_contain_text("There is no connection")
    server.is_mute = False
    page.clock.fast_forward(10_000)
    expect(page.locator(".song-title")).to_have_text("Seven Ladders")
    expect(page.locator("#banner")).to_be_hidden()


def test_a_panic_on_a_line_that_died_goes_out_on_the_next(opened: Opened) -> None:
    """Panic may be done twice: it needs no answer to be sent again, and an answer may be overtaken by the next line."""
    page, server = opened(evening_state())
    server.is_mute = True
    page.clock.pause_at(page.evaluate("() => Date.now() + 2000"))
    note = ShownTexts(page, "#panic-note")
    page.click("#panic")
    server.is_mute = False
    page.clock.resume()
    page.clock.fast_forward(4_500)
    note.has("done: silent")
    assert all(question == {"do": "panic"} for question in server.has_asked(1))


def test_an_address_that_is_no_longer_valid_is_said(opened: Opened) -> None:
    """The page was begun again, and has another token: only a new code helps."""
    page, server = opened(quiet_state())
    server.is_valid = False
    server.stop()
    server.start()
    expect(page.get_by_role("status")).to_contain_text("This address is no longer valid: scan the new code")


# -- names, keys, readers of the screen -------------------------------------------------------------------------------


@pytest.mark.parametrize("may_control", [True, False], ids=["control", "look"])
def test_hostile_names_are_text_and_leave_the_page_in_one_piece(opened: Opened, may_control: bool) -> None:
    """Names come from rule files, which may be anyone's: they make no elements, and push nothing off the screen."""
    inputs, outputs = [f"in {name}" for name in HOSTILE], [f"out {name}" for name in HOSTILE]
    state = evening_state()
    state["ports"] = [{**state["ports"][0], "name": name} for name in inputs]
    state["rig"] = rig(
        [*((name, "in") for name in inputs), *((name, "out") for name in outputs)],
        [(name, inputs, [name], True) for name in HOSTILE],
        [(name, outputs[0], 1) for name in HOSTILE],
    )
    state["songs"] = {"names": HOSTILE, "at": 0, "wrap": False, "about": HOSTILE[0]}
    state["switch_states"] = {name: {"at": HOSTILE[0], "values": HOSTILE, "kind": "values"} for name in HOSTILE} | {
        f"up {name}": {"at": True, "values": [], "kind": "on-off"} for name in HOSTILE
    }
    state["sounding"] = [{"device": name, "port": outputs[0], "notes": ["C4"], "longest_s": 1.0} for name in HOSTILE]
    state["trouble"] = [{"kind": "port", "words": f"input {name} is missing"} for name in HOSTILE]
    state["rules_files"] = [{"name": name, "text": name, "errors": [{"line": 1, "words": name}]} for name in HOSTILE]
    state["last_reload"] = {"at": 1.0, "outcome": "rejected", "refused": "files", "words": HOSTILE}
    state["recording"] = HOSTILE[2]
    page, server = opened(state, may_control=may_control)
    for at in range(len(HOSTILE)):
        server.change(songs={**state["songs"], "at": at})
        expect(page.locator(".song-where")).to_contain_text(f"{at + 1} of {len(HOSTILE)}")
        assert page.evaluate("() => document.documentElement.scrollWidth") == PHONE[0]
    server.say(
        {
            "type": "log",
            "skipped": 0,
            "log": [{"at": 1.0, "port": name, "direction": "in", "text": name} for name in HOSTILE],
        }
    )
    for view in VIEWS:
        turn_to(page, view)
        expect(page.locator(f"#view-{view}")).to_contain_text("<img src=x onerror=alert(1)>")
        expect(page.locator(f"#view-{view}")).not_to_contain_text("\u202e")
        assert page.locator("img").count() == 0
        assert page.evaluate("() => document.documentElement.scrollWidth") == PHONE[0]


def test_the_keyboard_alone_does_everything(opened: Opened) -> None:
    """PANIC is the first stop of the tab key; then come the views, and what is in them."""
    page, server = opened(evening_state(), LAPTOP)
    server.answer = answering(THROUGH)
    page.keyboard.press("Tab")
    expect(page.locator("#panic")).to_be_focused()
    page.keyboard.press("Enter")
    page.get_by_role("switch", name="bells").focus()
    page.keyboard.press("Space")
    page.get_by_role("radio", name="cave").focus()
    page.keyboard.press("ArrowRight")
    expect(page.get_by_role("radio", name="hall")).to_be_checked()
    page.locator("#panic").focus()
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#view-rig")).to_be_visible()
    for _ in range(3):
        page.keyboard.press("Tab")
    expect(page.locator(".node.in", has_text="keys")).to_be_focused()
    page.keyboard.press("Enter")
    page.locator(".panel .line").first.focus()
    page.keyboard.press("Enter")
    expect(page.locator(".messages li")).to_have_count(2)
    asked = [question["do"] for question in server.has_asked(4)]
    assert asked == ["panic", "switch", "switch", "through"]


@pytest.mark.parametrize("may_control", [True, False], ids=["control", "look"])
def test_the_rules_of_accessibility_find_nothing_serious(opened: Opened, may_control: bool) -> None:
    """Contrast, names for readers of the screen, roles, sizes: axe-core looks at each view, on a phone and a laptop."""
    page, server = opened(evening_state(), may_control=may_control)
    server.answer = answering(THROUGH)
    server.say({"type": "log", "log": LOG, "skipped": 3})
    found = {}
    for view in VIEWS:
        turn_to(page, view)
        if view == "rig":
            page.get_by_role("button", name="left hand").click()
            page.get_by_role("button", name="left hand → reed box").click()
            expect(page.locator(".messages li")).to_have_count(2)
        if view == "log":
            expect(page.locator(".entries li")).to_have_count(len(LOG))
        for width, height in (LAPTOP, PHONE):
            page.set_viewport_size({"width": width, "height": height})
            found[view, width] = serious_findings(page)
    server.say({"type": "gone"})
    turn_to(page, "now")
    expect(page.locator("#banner")).to_be_visible()
    found["gone", PHONE[0]] = serious_findings(page)
    assert len(found) == 2 * len(VIEWS) + 1
    assert [one for one in found.items() if one[1]] == []


@pytest.mark.parametrize("may_control", [True, False], ids=["control", "look"])
def test_what_can_be_tapped_is_large_enough_for_a_finger(opened: Opened, may_control: bool) -> None:
    """48 pixels each way, in every view."""
    page, _ = opened(evening_state(), may_control=may_control)
    small = {}
    for view in VIEWS:
        turn_to(page, view)
        small[view] = page.evaluate(
            """() => [...document.querySelectorAll("button, a, select, label.choice")]
              .filter(one => one.checkVisibility())
              .map(one => [one.textContent, one.getBoundingClientRect()])
              .filter(([_, box]) => box.width < 48 || box.height < 48)
              .map(([words, box]) => `${words}: ${box.width} x ${box.height}`)"""
        )
    assert [found for found in small.values() if found] == []


def test_the_page_is_small_and_whole_without_a_network(opened: Opened) -> None:
    """150 kB at most with everything, and nothing comes from anywhere else."""
    page, server = opened(evening_state())
    addresses = page.evaluate("() => performance.getEntriesByType('resource').map(one => one.name)")
    assert all(address.startswith(server.address) for address in addresses)
    assert server.sent < 150_000
    assert sum(file.stat().st_size for file in STATIC.iterdir()) < 150_000
