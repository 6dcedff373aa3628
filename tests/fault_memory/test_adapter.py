"""Opening an adapter that may send: python-can's own resolution, failures in one line."""

from pathlib import Path

import can
import pytest

from canwheel.errors import RequestError
from canwheel.fault_memory.adapter import AdapterChoice, open_for_diagnosis


def test_given_options_open_a_bus() -> None:
    bus = open_for_diagnosis(AdapterChoice("virtual", "adapter test", 500_000))
    assert isinstance(bus, can.BusABC)
    bus.shutdown()


def test_python_can_s_own_configuration_is_used(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CAN_INTERFACE", "virtual")
    monkeypatch.setenv("CAN_CHANNEL", "from the environment")
    bus = open_for_diagnosis(AdapterChoice())
    assert "from the environment" in bus.channel_info
    bus.shutdown()


@pytest.mark.parametrize(
    "choice",
    [
        AdapterChoice("no such interface", "0"),
        AdapterChoice("socketcan", "nowhere0"),
        AdapterChoice("slcan", "/dev/nowhere", 500_000),
        AdapterChoice("udp_multicast", "not an address"),
    ],
)
def test_failures_are_one_line(choice: AdapterChoice) -> None:
    with pytest.raises(RequestError, match="cannot open the adapter") as caught:
        open_for_diagnosis(choice)
    assert "\n" not in str(caught.value)
    assert "--interface" in str(caught.value)


def test_nothing_named_is_one_line(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name in ("CAN_INTERFACE", "CAN_CHANNEL", "CAN_BITRATE", "CAN_CONFIG"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    with pytest.raises(RequestError, match="cannot open the adapter: nobody named it"):
        open_for_diagnosis(AdapterChoice())
