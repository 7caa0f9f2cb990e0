"""A computer's MIDI system in memory: devices that are plugged and unplugged, and a backend that connects to them.

hub = Hub()
stage = hub.plug("Pit Keyboard")           # a keyboard: full name "Pit Keyboard 20:0", as ALSA would list it
ports = PortManager(FakeBackend(hub))        # ... want, scan ...
stage.play(b"\\x90\\x3c\\x64")            # what the musician does
stage.heard                            # what the device was sent
hub.unplug(stage)
hub.die(), hub.revive()                # the sound server
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from rules.errors import MachineError
from rules.ports.pacing import Limit


class Device:
    """One port of the computer: `sends` is what we can listen to, `receives` what we can send to."""

    def __init__(self, hub: Hub, name: str, full_name: str, sends: bool, receives: bool) -> None:
        self.hub = hub
        self.name = name
        self.full_name = full_name
        self.sends = sends
        self.receives = receives
        self.made = False  # by us, as a virtual port
        self.plugged = True
        self.heard: list[bytes] = []
        self.listeners: list[FakeInput] = []

    def play(self, *messages: bytes) -> None:
        """Send messages to whoever is connected."""
        for message in messages:
            for listener in self.listeners:
                listener.waiting.append(message)

    def hear(self, message: bytes) -> None:
        """Receive a message, if the cable is there."""
        if self.plugged and not self.hub.dead:
            self.heard.append(message)

    @property
    def messages(self) -> list[bytes]:
        """What was heard since the last look."""
        heard, self.heard = self.heard, []
        return heard


class Hub:
    """All devices, in the order in which they were plugged. `numbered`: names have client numbers, as on ALSA.

    With `tells` the system knows whether a connection still stands.
    """

    def __init__(self, numbered: bool = True, tells: bool = False) -> None:
        self.numbered = numbered
        self.tells = tells
        self.devices: list[Device] = []
        self.dead = False
        self._last_seen: list[Device] = []
        self._next = 20

    def plug(self, name: str, sends: bool = True, receives: bool = True) -> Device:
        """Plug a device in; it gets a new number each time."""
        full_name = f"{name} {self._next}:0" if self.numbered else name
        self._next += 1
        device = Device(self, name, full_name, sends, receives)
        self.devices.append(device)
        return device

    def unplug(self, device: Device) -> None:
        """Take a device away; nobody is told."""
        device.plugged = False
        device.listeners.clear()
        if device in self.devices:
            self.devices.remove(device)

    def find(self, name: str) -> Device:
        """The device, or virtual port, of a name."""
        return next(device for device in self.devices if device.name == name)

    def listed(self) -> list[Device]:
        """The devices that a program sees: as they were last, when the server is dead."""
        return self._last_seen if self.dead else list(self.devices)

    def die(self) -> None:
        """The sound server dies: what is sent is lost, names stay as they were, nothing can be opened."""
        self._last_seen = list(self.devices)
        self.dead = True
        self.devices = [device for device in self.devices if not device.made]
        for device in self._last_seen:
            device.listeners.clear()

    def revive(self) -> None:
        """The sound server is there again, with all its devices; old connections and virtual ports are gone."""
        self.dead = False


class FakeInput:
    """An open input."""

    def __init__(self, device: Device) -> None:
        self.device = device
        self.waiting: deque[bytes] = deque()
        self.closed = False
        device.listeners.append(self)

    def get_message(self) -> tuple[Sequence[int], float] | None:
        """The next message, as a list of numbers."""
        return (list(self.waiting.popleft()), 0.0) if self.waiting else None

    def is_connected(self) -> bool:
        """Whether the cable is still the one that was plugged in, where the system tells."""
        return not self.device.hub.tells or self.device.plugged

    def close(self) -> None:
        """Disconnect."""
        self.closed = True
        if self in self.device.listeners:
            self.device.listeners.remove(self)


class FakeVirtualInput(FakeInput):
    """A port that other programs send to: what its device hears arrives here."""

    def __init__(self, device: Device) -> None:
        super().__init__(device)
        device.made = True

    def get_message(self) -> tuple[Sequence[int], float] | None:
        """The next message."""
        self.waiting.extend(self.device.messages)
        return super().get_message()

    def close(self) -> None:
        """Take the port away."""
        super().close()
        self.device.hub.unplug(self.device)


class FakeOutput:
    """An open output, which takes everything at once. `virtual` ones send to their listeners."""

    limit: Limit | None = None

    def __init__(self, device: Device, virtual: bool = False) -> None:
        self.device = device
        self.virtual = virtual
        self.closed = False
        device.made = device.made or virtual

    def send_message(self, message: Sequence[int]) -> None:
        """Send; what nobody gets is lost without a sign."""
        if self.closed:
            raise AssertionError("sent on a closed port")
        if self.virtual:
            self.device.heard.append(bytes(message))
            if not self.device.hub.dead:
                self.device.play(bytes(message))
        else:
            self.device.hear(bytes(message))

    def is_connected(self) -> bool:
        """Whether the cable is still the one that was plugged in, where the system tells."""
        return not self.device.hub.tells or self.device.plugged

    def close(self) -> None:
        """Disconnect."""
        self.closed = True
        if self.virtual and self.device in self.device.hub.devices:
            self.device.hub.unplug(self.device)


class FakeBackend:
    """A Backend over a hub. `opened` counts what was opened, `tidied` how often it was tidied up.

    With `server`, it can die as a sound server does, and has a loopback that tells.
    """

    name = "fake"
    has_virtual = True
    sysex_limit: int | None = 1_000
    sysex_sticks = True
    descriptor: int | None = None
    ports_changed = False
    overflows = 0

    def __init__(self, hub: Hub, client: str = "pointsman", server: bool = False) -> None:
        self.hub = hub
        self.client = client
        self.server = server
        self.opened = 0
        self.tidied = 0
        self.keeps_ready = False
        self.is_lost = False
        self.losses = 0
        self.closed = False

    def receive(self) -> bool:
        """Nothing waits anywhere but in the inputs."""
        return False

    def input_names(self) -> list[str]:
        """What can be listened to; as it was last, when the server is dead."""
        return [device.full_name for device in self.hub.listed() if device.sends]

    def output_names(self) -> list[str]:
        """What can be sent to."""
        return [device.full_name for device in self.hub.listed() if device.receives]

    def is_ours(self, name: str) -> bool:
        """Whether a port is ours, by its client's name."""
        return name.startswith(f"{self.client}:")

    def open_input(self, name: str, label: str, named: bool = False) -> FakeInput:
        """Connect to a device that sends."""
        return FakeInput(self._device(name))

    def open_output(self, name: str, label: str, named: bool = False) -> FakeOutput:
        """Connect to a device that receives."""
        return FakeOutput(self._device(name))

    def virtual_input(self, label: str) -> FakeInput:
        """Make a port that others send to."""
        self._open()
        return FakeVirtualInput(self.hub.plug(f"{self.client}:{label}", sends=False))

    def virtual_output(self, label: str) -> FakeOutput:
        """Make a port that others listen to."""
        self._open()
        return FakeOutput(self.hub.plug(f"{self.client}:{label}", receives=False), virtual=True)

    def loopback(self) -> tuple[FakeInput, FakeOutput] | None:
        """What goes out comes in, as long as the server lives."""
        if not self.server:
            return None
        output = self.virtual_output("heartbeat")
        return FakeInput(output.device), output

    untidy = 1

    def tidy(self) -> None:
        """Nothing to do here but to count."""
        self.tidied += 1

    def lose(self) -> None:
        """Nothing here is freed too early."""
        self.losses += 1
        self.is_lost = True

    def revive(self) -> bool:
        """Whether the server is there again."""
        self.is_lost = self.hub.dead
        return not self.is_lost

    def close(self) -> None:
        """Nothing is left open here."""
        self.closed = True

    def _device(self, name: str) -> Device:
        self._open()
        found = [device for device in self.hub.devices if device.full_name == name]
        if not found:
            raise MachineError(f'"{name}" can\'t be opened: it has gone')
        return found[0]

    def _open(self) -> None:
        if self.hub.dead:
            raise MachineError("the fake MIDI system isn't there")
        self.opened += 1
