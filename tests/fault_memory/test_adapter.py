"""Opening an adapter that may send: with python-can's own resolution, failures in one line."""

import can
import pytest

from canwheel.bus.adapters import AdapterSettings, resolve_adapter
from canwheel.bus.listening import LinkFacts
from canwheel.errors import AdapterError, CanwheelError, RequestError
from canwheel.fault_memory import adapter
from canwheel.fault_memory.adapter import open_for_diagnosis


def test_given_options_open_a_bus() -> None:
    settings = AdapterSettings("virtual", "adapter test", 500_000, {"receive_own_messages": True})
    with open_for_diagnosis(settings) as bus:
        assert isinstance(bus, can.BusABC)
        bus.send(can.Message(arbitration_id=1))
        assert bus.recv(1) is not None


def test_python_can_s_own_configuration_is_used(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CAN_INTERFACE", "virtual")
    monkeypatch.setenv("CAN_CHANNEL", "from the environment")
    with open_for_diagnosis(resolve_adapter()) as bus:
        assert "from the environment" in bus.channel_info


@pytest.mark.parametrize(
    "settings",
    [
        AdapterSettings("no such interface", "0", 500_000),
        AdapterSettings("socketcan", "nowhere0"),
        AdapterSettings("socketcan"),
        AdapterSettings("slcan", "/dev/nowhere", 500_000),
        AdapterSettings("slcan", "/dev/nowhere"),
        AdapterSettings("udp_multicast", "not an address"),
    ],
)
def test_failures_are_one_line(settings: AdapterSettings) -> None:
    with pytest.raises(CanwheelError) as caught:
        open_for_diagnosis(settings)
    assert "\n" not in str(caught.value)
    assert caught.value.remedy


def test_an_adapter_that_only_listens_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """It would take every request and send none: the unit would seem to be silent."""
    monkeypatch.setattr(adapter, "read_link", lambda _name: LinkFacts("listen only", 500_000))
    with pytest.raises(AdapterError, match="can0 is set to listen only") as caught:
        open_for_diagnosis(AdapterSettings("socketcan", "can0"))
    assert "listen-only off" in caught.value.remedy
    told = AdapterSettings("slcan", "/dev/nowhere", 500_000, {"listen_only": "True"})
    with pytest.raises(RequestError, match="told to listen only"):
        open_for_diagnosis(told)
