"""Where the page can be reached."""

from __future__ import annotations

from ipaddress import ip_address

from router.page.invitation import code_lines, network_addresses, page_addresses


def test_addresses_of_networks_are_those_that_others_can_reach() -> None:
    """None is this computer's own."""
    for address in network_addresses():
        assert ip_address(address).version == 4
        assert not ip_address(address).is_loopback


def test_an_address_carries_the_token() -> None:
    """Where there is one."""
    assert page_addresses(["10.42.0.1"], 8765, "clef") == ["http://10.42.0.1:8765/?token=clef"]
    assert page_addresses(["127.0.0.1"], 8765, None) == ["http://127.0.0.1:8765/"]


def test_a_code_is_a_square_with_light_around_it() -> None:
    """Two rows a line, since letters are twice as high as wide. Its three corners are what a camera looks for."""
    lines = code_lines("http://10.42.0.1:8765/?token=clef-and-stave")
    rows = [_row(line, half) for line in lines for half in (_UPPER, _LOWER)]
    size = len(lines[0])
    assert {len(line) for line in lines} == {size}
    assert len(rows) in (size, size + 1)
    assert all(rows[0])
    assert all(rows[1])
    corner = [row[2:9] for row in rows[2:9]]
    dark = [[not light for light in row] for row in corner]
    assert dark[0] == dark[6] == [True] * 7
    assert [row[0] and row[6] for row in dark] == [True] * 7
    assert dark[3] == [True, False, True, True, True, False, True]
    assert [row[-9:-2] for row in rows[2:9]] == corner


_UPPER, _LOWER = "█▀", "█▄"
"""Letters that are light in one half of a line."""


def _row(line: str, light: str) -> list[bool]:
    return [letter in light for letter in line]
