"""What a service manager hears, over a real datagram socket; the form is that of sd_notify(3)."""

from __future__ import annotations

import os
import socket
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from router.daemon.service_manager import ServiceManager

SECOND = 1_000_000_000


class Manager:
    """A service manager that listens."""

    def __init__(self, address: str, bound: str) -> None:
        self.address = address
        self.ear = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.ear.setblocking(False)
        self.ear.bind(bound)

    def heard(self) -> list[list[str]]:
        """The lines of each datagram since it was asked last."""
        found = []
        while True:
            try:
                found.append(self.ear.recv(4096).decode().split("\n"))
            except BlockingIOError:
                return found


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest) -> Iterator[Manager]:
    """A manager at a path, and one at an abstract name."""
    with tempfile.TemporaryDirectory() as folder:
        path = f"{folder}/notify"
        listening = Manager(path, path) if request.param == "path" else Manager(f"@{path}", f"\0{path}")
        with listening.ear:
            yield listening


@pytest.fixture
def service(manager: Manager) -> Iterator[ServiceManager]:
    """The daemon's line to it, with a watchdog of 30 seconds."""
    line = ServiceManager(
        {"NOTIFY_SOCKET": manager.address, "WATCHDOG_USEC": "30000000", "WATCHDOG_PID": str(os.getpid())}
    )
    yield line
    line.close()


def test_readiness_is_told_with_a_line_for_people(manager: Manager, service: ServiceManager) -> None:
    """One datagram; words of several lines stay one line."""
    service.ready("2 rules\nREADY=0")
    service.ready()
    assert manager.heard() == [["READY=1", "STATUS=2 rules\\x0aREADY=0"], ["READY=1"]]


def test_a_reload_is_told_with_its_time(manager: Manager, service: ServiceManager) -> None:
    """Both in one datagram, since systemd fails a reload without the time (systemd.service(5), notify-reload)."""
    service.reloading()
    service.ready("rejected")
    (first, time_line), ready = manager.heard()
    assert first == "RELOADING=1"
    assert time_line.removeprefix("MONOTONIC_USEC=").isdecimal()
    assert ready == ["READY=1", "STATUS=rejected"]


def test_leaving_is_told(manager: Manager, service: ServiceManager) -> None:
    """The manager knows that it is no crash."""
    service.stopping()
    assert manager.heard() == [["STOPPING=1", "STATUS=ending held notes"]]


def test_signs_of_life_come_three_times_within_the_limit(manager: Manager, service: ServiceManager) -> None:
    """However often the loop comes by, and at once at the start."""
    for quarter in range(0, 30 * 4):
        service.beat(5 * SECOND + quarter * SECOND // 4)
    assert manager.heard() == [["WATCHDOG=1"]] * 3


@pytest.mark.parametrize(
    "watchdog",
    [
        {},
        {"WATCHDOG_USEC": ""},
        {"WATCHDOG_USEC": "soon"},
        {"WATCHDOG_USEC": "0"},
        {"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "1"},
    ],
)
def test_who_is_not_watched_gives_no_signs(manager: Manager, watchdog: dict[str, str]) -> None:
    """No limit, or one that is meant for another process."""
    line = ServiceManager({"NOTIFY_SOCKET": manager.address, **watchdog})
    line.beat(5 * SECOND)
    line.close()
    assert manager.heard() == []


def sockets() -> list[str]:
    """Those that this process has open."""
    folder = Path("/proc/self/fd")
    return [target for name in os.listdir(folder) if (target := _target(folder / name)).startswith("socket:")]


def _target(path: Path) -> str:
    try:
        return os.readlink(path)
    except FileNotFoundError:  # the folder that is being listed
        return ""


@pytest.mark.parametrize("address", ["", "relative", "vsock:2:1", "/no/such/socket", "@nobody listens here"])
def test_without_a_manager_nothing_happens(address: str) -> None:
    """Started by hand, the daemon tells nobody and misses nothing."""
    before = sockets()
    line = ServiceManager({"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "30000000"})
    line.ready("plays")
    line.reloading()
    line.beat(SECOND)
    line.stopping()
    line.close()
    line.ready("after the end")
    assert sockets() == before


def test_a_manager_that_goes_or_does_not_listen_holds_nobody_up(manager: Manager, service: ServiceManager) -> None:
    """Its ear full, what comes next is lost; its ear gone, everything is."""
    for _ in range(10_000):
        service.ready("again")
    assert 0 < len(manager.heard()) < 10_000
    manager.ear.close()
    if manager.address.startswith("/"):
        Path(manager.address).unlink()
    service.ready("to nobody")
