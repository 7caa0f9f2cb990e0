"""The ALSA sequencer: clients with numbers, and pools that overflow."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from router.midi import alsa_sequencer
from router.midi.rtmidi_backend import Client, Library, MidiIn, MidiOut, RtmidiBackend
from rules.ports.pacing import Limit, Rate


class AlsaBackend(RtmidiBackend):
    """The sequencer.

    Between clients a sysex travels in pieces of 28 bytes through the receiver's pool, 200 of them unless it asked for
    more; what doesn't fit is lost, together with what waits there, and nobody is told.
    """

    name = "ALSA"
    sysex_limit = 5_572

    def __init__(self, library: Library, api: int, client: str) -> None:
        self._descriptors: dict[Client, int] = {}
        self._numbers: dict[Client, int] = {}
        super().__init__(library, api, client)

    def is_ours(self, name: str) -> bool:
        """By the client's number, which is ours alone."""
        number = alsa_sequencer.client_number(name)
        return number in self._numbers.values() if number is not None else super().is_ours(name)

    def _limit(self, client: Client, name: str) -> Limit | None:
        """Another program's pool can be asked how full it is. Hardware has none, and who listens to us isn't known."""
        number, descriptor = alsa_sequencer.client_number(name), self._descriptors.get(client)
        if number is None or descriptor is None or not alsa_sequencer.pool_of(descriptor, number):
            return Rate(burst=100, a_second=10_000)
        return alsa_sequencer.PoolRoom(descriptor, number)

    def _make_in(self, name: str) -> MidiIn:
        with alsa_sequencer.new_client() as made:
            client = super()._make_in(name)
        for descriptor in made:
            alsa_sequencer.enlarge_input_pool(descriptor)
        self._note(client, made)
        return client

    def _make_out(self, name: str) -> MidiOut:
        with alsa_sequencer.new_client() as made:
            client = super()._make_out(name)
        self._note(client, made)
        return client

    def _note(self, client: Client, made: Sequence[int]) -> None:
        for descriptor in made:
            self._descriptors[client] = descriptor
            self._numbers[client] = alsa_sequencer.own_number(descriptor)

    def _connection(self, client: Client) -> Callable[[], bool]:
        """A device that is plugged in again may get the number that it had, so that its name tells nothing."""
        descriptor = self._descriptors.get(client)
        if descriptor is None:
            return lambda: True
        is_input = hasattr(client, "get_message")
        return lambda: alsa_sequencer.is_connected(descriptor, is_input)

    def _delete(self, client: Client) -> None:
        self._descriptors.pop(client, None)
        self._numbers.pop(client, None)
        super()._delete(client)
