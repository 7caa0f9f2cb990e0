"""How much somebody may ask for."""

from __future__ import annotations

from router.page.allowance import Allowance, Allowances
from tests.support.fake_clock import FakeClock


def taken(allowance: Allowance, tries: int) -> int:
    """How many of so many tries are allowed."""
    return sum(allowance.take() for _ in range(tries))


def test_so_many_at_once_and_then_so_many_a_second() -> None:
    """What isn't taken is saved up, but no more than can be taken at once."""
    clock = FakeClock()
    allowance = Allowance(2, 5, clock.clock)
    assert taken(allowance, 10) == 5
    clock.now += 1_000_000_000
    assert taken(allowance, 10) == 2
    clock.now += 3_600_000_000_000
    assert taken(allowance, 10) == 5


def test_each_address_has_its_own() -> None:
    """One that asks without end takes nothing from the others."""
    clock = FakeClock()
    allowances = Allowances(1, 3, clock.clock)
    assert taken(allowances.of("10.0.0.1"), 9) == 3
    assert taken(allowances.of("10.0.0.2"), 9) == 3
    assert taken(allowances.of("10.0.0.1"), 9) == 0


def test_only_so_many_addresses_are_remembered() -> None:
    """The one that has been silent longest is forgotten first."""
    clock = FakeClock()
    allowances = Allowances(1, 1, clock.clock)
    assert allowances.of("first").take()
    assert allowances.of("second").take()
    for number in range(254):
        allowances.of(str(number)).take()
    assert not allowances.of("first").take()
    allowances.of("one more")
    assert not allowances.of("first").take()
    assert allowances.of("second").take()
