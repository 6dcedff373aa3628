"""The bit rate is found by listening, and in no other way."""

from collections.abc import Callable
from typing import Any

import pytest

from canwheel.bus.adapters import AdapterSettings
from canwheel.bus.bitrate import USUAL_BITRATES, Heard, find_bitrate
from canwheel.bus.listening import Listener, open_listener
from canwheel.errors import AdapterError, RequestError


def open_and_feed(adapter: Any) -> Callable[[AdapterSettings], Listener]:
    def open_one(settings: AdapterSettings) -> Listener:
        listener = open_listener(settings)
        adapter.hears(*[b"t1A02%04X" % number for number in range(60)])
        return listener

    return open_one


def settings_of(adapter: Any) -> AdapterSettings:
    return AdapterSettings("slcan", str(adapter.path), options={"sleep_after_open": 0})


@pytest.mark.parametrize("rate", [500_000, 125_000])
def test_the_rate_of_the_bus_is_found_and_what_was_heard_is_told(
    serial_adapter: Callable[..., Any], rate: int
) -> None:
    adapter = serial_adapter(bus_rate=rate)
    told: list[Heard] = []
    found = find_bitrate(
        settings_of(adapter), open_and_feed(adapter), listen_s=0.2, tell=told.append
    )
    assert found == rate
    assert [heard.frames for heard in told] == [0] * USUAL_BITRATES.index(rate) + [50]
    assert b"O" not in adapter.commands
    assert adapter.sent == []


def test_a_silent_bus_is_told_with_what_was_tried(serial_adapter: Callable[..., Any]) -> None:
    adapter = serial_adapter()
    with pytest.raises(AdapterError, match="ignition") as told:
        find_bitrate(settings_of(adapter), open_listener, listen_s=0.01)
    assert "500 kbit/s: 0 frames" in told.value.details


def test_errors_only_is_the_wrong_rate() -> None:
    assert not Heard(500_000, frames=0, errors=0).is_clean
    assert not Heard(500_000, frames=3, errors=200).is_clean
    assert Heard(500_000, frames=50, errors=1).is_clean


def test_it_is_never_looked_for_by_an_adapter_that_acknowledges(
    serial_adapter: Callable[..., Any],
) -> None:
    adapter = serial_adapter(listens=False)
    with pytest.raises(RequestError, match="listen-only mode"):
        find_bitrate(settings_of(adapter), open_listener, listen_s=0.01)
    with pytest.raises(RequestError, match="listen-only mode"):
        find_bitrate(
            settings_of(adapter), lambda s: open_listener(s, acknowledge=True), listen_s=0.01
        )


@pytest.mark.parametrize("interface", ["virtual", "udp_multicast", "socketcan", "socketcand"])
def test_an_interface_without_a_rate_says_so(interface: str) -> None:
    with pytest.raises(RequestError, match="no bit rate"):
        find_bitrate(AdapterSettings(interface), open_listener)
