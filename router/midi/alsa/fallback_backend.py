"""The ALSA sequencer by way of python-rtmidi, for computers where the records can't be opened: it is polled."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from router.midi.alsa import kernel_calls
from router.midi.alsa.peers_room import PeersRoom
from router.midi.rtmidi_backend import Client, Library, MidiIn, MidiOut, RtmidiBackend
from rules.ports.pacing import Limit, Rate


class AlsaFallbackBackend(RtmidiBackend):
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
        number = kernel_calls.client_number(name)
        return number in self._numbers.values() if number is not None else super().is_ours(name)

    def _limit(self, client: Client, name: str) -> Limit | None:
        """Another program's pool can be asked how full it is. Hardware has none, and who listens to us isn't known."""
        number, descriptor = kernel_calls.client_number(name), self._descriptors.get(client)
        if number is None or descriptor is None or not kernel_calls.pool_of(descriptor, number):
            return Rate(burst=100, a_second=10_000)
        pool = partial(kernel_calls.pool_of, descriptor, number)
        return PeersRoom(lambda: ((number, 0),), lambda port: pool(), in_pieces=False)

    def _make_in(self, name: str) -> MidiIn:
        with kernel_calls.new_client() as made:
            client = super()._make_in(name)
        for descriptor in made:
            kernel_calls.enlarge_input_pool(descriptor)
        self._note(client, made)
        return client

    def _make_out(self, name: str) -> MidiOut:
        with kernel_calls.new_client() as made:
            client = super()._make_out(name)
        self._note(client, made)
        return client

    def _note(self, client: Client, made: Sequence[int]) -> None:
        for descriptor in made:
            self._descriptors[client] = descriptor
            self._numbers[client] = kernel_calls.own_number(descriptor)

    def _connection(self, client: Client) -> Callable[[], bool]:
        """A device that is plugged in again may get the number that it had, so that its name tells nothing."""
        descriptor = self._descriptors.get(client)
        if descriptor is None:
            return lambda: True
        is_input = hasattr(client, "get_message")
        return lambda: kernel_calls.is_connected(descriptor, is_input)

    def _delete(self, client: Client) -> None:
        self._descriptors.pop(client, None)
        self._numbers.pop(client, None)
        super()._delete(client)
