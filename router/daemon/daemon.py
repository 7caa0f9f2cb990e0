"""The command `run`: the daemon, put together."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any, Final

from router.daemon.control_server import ControlServer, Conversation, Handler, Stream
from router.daemon.effects import Effects
from router.daemon.interpreter import prefer_latency
from router.daemon.last_run import RunKeeper, read_last_rules, read_last_run
from router.daemon.live import Live
from router.daemon.log_thread import LogThread
from router.daemon.music_verbs import music_handlers
from router.daemon.play_conversation import PlayConversation
from router.daemon.prepared_rules import Prepared, prepare, prepare_texts
from router.daemon.preparing_process import PreparingProcess
from router.daemon.realtime import Realtime, beside_the_loop, take_realtime
from router.daemon.recent_lines import RecentLines
from router.daemon.recording_verbs import recorder_handlers
from router.daemon.reloader import Reloader
from router.daemon.rule_verbs import reload_state, reloader_handlers
from router.daemon.run_settings import RunSettings
from router.daemon.service_manager import ServiceManager
from router.daemon.signals import signals_heeded
from router.daemon.watch import Watch
from router.files.clock import SYSTEM_CLOCK, Clock
from router.midi.backend_choice import choose_backend
from router.midi.library_stderr import LibraryStderr
from router.midi.port_manager import PortManager
from router.recording.recorder import Recorder
from router.text.exit_codes import FINE
from router.text.formatting import count
from router.text.version import version
from rules.errors import MachineError, RuleFileError
from rules.journal.format import Names
from rules.midi.sounding_notes import SoundingNote
from rules.program.switch_states import State

_TELL_MISSED_EVERY_NS: Final = 10_000_000_000
_MOST_LINES: Final = 20


def run(settings: RunSettings) -> int:
    """Play until told to leave; return the exit code.

    Raises RuleFileError, MachineError or UsageError for what keeps the daemon from starting; nothing does later.
    """
    with ExitStack() as closing:
        stderr = closing.enter_context(LibraryStderr())
        log = LogThread()
        closing.callback(log.stop)
        prepared, faults = rules_to_start(settings, log.say)
        daemon = Daemon(
            settings, prepared, log.say, stderr.lines, faults=faults, losses=lambda: (stderr.missed, stderr.overruns)
        )
        control = ControlServer(
            settings.name, daemon.handlers(), log.say, streams=daemon.streams(), conversations=daemon.conversations()
        )
        control.start()
        closing.callback(control.stop)
        backend = choose_backend(settings.backend, settings.name)
        closing.callback(backend.close)
        daemon.play(PortManager(backend), control)
    return FINE


def rules_to_start(settings: RunSettings, say: Callable[[str], None]) -> tuple[Prepared, str | None]:
    """The rules to start with; and, where they are those that ran last, why the rule files can't be used.

    Raises RuleFileError, MachineError or UsageError as `prepare` does, where that isn't wanted or there are none.
    """
    try:
        return prepare(settings.rules), None
    except (RuleFileError, MachineError) as error:
        texts = read_last_rules(settings.name, settings.rules) if settings.last_good else None
        if texts is None:
            raise
        try:
            prepared = prepare_texts(texts)
        except RuleFileError:  # another version of Pointsman may refuse what this one allowed
            raise error from None
        faults = str(error)
    say("THE RULE FILES CAN'T BE USED. The rules that ran last play instead:")
    for line in faults.splitlines()[:_MOST_LINES]:
        say(f"  {line}")
    return prepared, faults


class Daemon:
    """The loop and its helpers: the recorder, who watches the rule files, the service manager.

    `noises` gives what the libraries of the MIDI system have to say by themselves. `losses` counts the messages that
    had no room at an input, and how often ALSA lost an unknown number. `faults` is why `prepared` are not what the rule
    files hold, but the rules that ran last.
    """

    def __init__(
        self,
        settings: RunSettings,
        prepared: Prepared,
        say: Callable[[str], None],
        noises: Callable[[], list[str]],
        clock: Clock = SYSTEM_CLOCK,
        faults: str | None = None,
        losses: Callable[[], tuple[int, int]] = lambda: (0, 0),
    ) -> None:
        self._losses = losses
        self._missed_told = (0, -_TELL_MISSED_EVERY_NS)
        self._settings = settings
        self._prepared, self._faults = prepared, faults
        self._said = RecentLines(say, clock)
        say = self._say = self._said.say
        self._noises = noises
        self._clock = clock
        self._service = ServiceManager(clock=clock)
        self._recorder = Recorder(say, clock=clock)
        self._preparing = PreparingProcess(say, clock)
        self._reloader = Reloader(
            settings.rules,
            prepared,
            self._swap,
            say,
            self._service.reloading,
            lambda outcome: self._service.ready(),
            clock,
            prepare=self._preparing.prepare,
            compare=self._preparing.compare,
            rest=self._preparing.rest,
        )
        takes = Path(settings.record) if settings.record is not None else None
        self._effects = Effects(self._recorder, self._reloader.request, say, takes, clock)
        self._live: Live | None = None
        self._keeper: RunKeeper | None = None
        self._realtime = Realtime()

    def play(self, ports: PortManager, control: ControlServer) -> None:
        """Play until a signal says to leave; outputs are silenced first where something may sound from before."""
        live = self._live = self._live_on(ports, self._look_back(control))
        keeper = self._keeper = RunKeeper(
            self._settings.name, self._settings.rules, lambda: live.switches, self._say, self._clock
        )
        if self._faults is None:
            keeper.keep_rules(self._prepared.texts)
        live.switched = keeper.note_change
        self._recorder.switches = lambda: live.switches
        self._recorder.start()
        self._effects.start()
        with signals_heeded(live.stop, self._reloader.request):
            try:
                self._begin(live, keeper, control)
                live.run()
                keeper.end()
                self._service.stopping()
            finally:
                self._stop()

    def _live_on(self, ports: PortManager, restored: Mapping[str, State] | None) -> Live:
        return Live(
            self._reloader.prepared,
            ports,
            self._recorder.log,
            self._say,
            self._look,
            self._effects.ask,
            self._clock,
            restored,
            lambda: sum(self._losses()),
        )

    def _begin(self, live: Live, keeper: RunKeeper, control: ControlServer) -> None:
        """Open the ports, and start all that goes on beside the loop."""
        if self._settings.record is not None:
            self._recorder.record_into(Path(self._settings.record))
        live.begin(in_silence=control.follows_a_crash)
        if control.follows_a_crash:
            self._say("the last daemon with this name crashed or was killed: all outputs are silenced")
            control.follows_a_crash = False
        keeper.start()
        self._reloader.start()
        prefer_latency()
        self._realtime = take_realtime()
        if not self._reloader.prepared.ruleset.rules:
            self._say("there are no rules: nothing that is played goes anywhere")
        self._say(f'playing as "{self._settings.name}"; Ctrl-C ends it')
        self._service.ready(f"playing {', '.join(self._settings.rules)}")

    def _stop(self) -> None:
        self._effects.stop()
        self._recorder.stop()
        self._preparing.stop()
        self._reloader.stop()  # may wait for a disk that doesn't answer: the take is saved by now
        self._service.close()

    def _look_back(self, control: ControlServer) -> Mapping[str, State] | None:
        """Return how the last daemon of this name ended; how its switches are to stand, or None."""
        last = read_last_run(self._settings.name)
        if last is None or last.ended:
            return None
        control.follows_a_crash = True  # a power cut takes the socket along by which it is known otherwise
        restored = last.restored(self._settings.rules, self._clock.wall_s())
        if restored is not None:
            self._say("switches are restored as they were before the crash")
        return restored

    def _look(self) -> None:
        self._service.beat(self._clock.now_ns())
        for line in self._noises():
            self._say(f"the MIDI system says: {line}")
        self._tell_missed(self._clock.now_ns())

    def _tell_missed(self, now: int) -> None:
        """Say how many messages came in too fast; not more often than every ten seconds."""
        missed, _ = self._losses()
        told, told_at = self._missed_told
        if missed > told and now - told_at >= _TELL_MISSED_EVERY_NS:
            self._missed_told = (missed, now)
            self._say(
                f"{count(missed - told, 'message')} came in faster than Pointsman can take them, and got lost. "
                "If a note hangs, run pointsman panic"
            )

    # -- rules --------------------------------------------------------------------------------------------------------

    def _swap(self, prepared: Prepared) -> None:
        """Put rules in force; called in the thread that reads them."""
        live = self._playing
        live.do(lambda: live.swap(prepared))
        self._faults = None
        if self._keeper is not None:
            self._keeper.keep_rules(prepared.texts)

    # -- what one can ask ---------------------------------------------------------------------------------------------

    def handlers(self) -> Mapping[str, Handler]:
        """Return what the control socket answers, by verb."""
        return {
            "status": lambda asked: self._status(),
            **music_handlers(lambda: self._playing),
            **reloader_handlers(self._reloader),
            **recorder_handlers(self._recorder),
        }

    def streams(self) -> Mapping[str, Stream]:
        """Return what the control socket answers without end, by verb."""
        return {"watch": Watch(self, self._recorder, self._said, self._clock, beside_the_loop).lines}

    def conversations(self) -> Mapping[str, Callable[[], Conversation]]:
        """Return what answers the questions of one client that belong together, by verb."""
        return {"play": lambda: PlayConversation(self._playing)}

    def whole(self) -> dict[str, Any]:
        """Return everything that a watcher is told."""
        since = self._recorder.recording_since
        return {**self._status(), "recording_since": since, "last_reload": reload_state(self._reloader)}

    def glance(self) -> dict[str, Any]:
        """Return what of that changes while music plays."""
        live = self._playing
        return live.do(live.glance)

    def sounding(self) -> tuple[Names, Sequence[SoundingNote]]:
        """Return what sounds, and what the numbers of ports mean."""
        live = self._playing
        return live.do(live.sounding)

    @property
    def _playing(self) -> Live:
        if self._live is None:
            raise MachineError("the daemon doesn't play yet: try again")
        return self._live

    def _status(self) -> dict[str, Any]:
        live = self._playing
        last, recording = self._reloader.last, self._recorder.recording
        return {
            "name": self._settings.name,
            "pid": os.getpid(),
            "version": version(),
            **live.do(live.status),
            "realtime": self._realtime._asdict(),
            "missed": self._losses()[0],
            "history": self._recorder.history,
            "rules": {
                "files": [name for name, _ in self._reloader.prepared.texts],
                "applied": self._reloader.applied_at,
                "last_good": self._faults is not None,
                "error": "\n".join(last.words) if last.kind == "rejected" else self._faults,
                "refused": last.refused,
            },
            "recording": None if recording is None else str(recording),
        }
