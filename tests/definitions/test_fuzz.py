"""Whatever the bytes of a DBC file are: it is read, or refused in one line."""

import random
import time
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from canwheel.definitions.assign import find_wheels
from canwheel.definitions.dbc import read_definitions
from canwheel.errors import DefinitionsError
from canwheel.vehicle import Vehicle

SMALL = (
    b'VERSION "1"\nNS_ :\n\tVAL_\nBS_:\nBU_: A B\n'
    b"BO_ 426 WHEELS: 8 A\n"
    b' SG_ SEL M : 60|2@1+ (1,0) [0|3] "" B\n'
    b' SG_ SPEED_FL m0 : 7|12@0+ (0.1,-67.67) [0|300] "km/h" B\n'
    b' SG_ SPEED_FR m0 : 23|12@0+ (0.1,-67.67) [0|300] "km/h" B\n'
    b' SG_ SPEED_RL m1 : 7|12@0- (1E-1,-67.67) [0|300] "km/h" B,A\n'
    b' SG_ SPEED_RR m1 : 23|12@0+ (.1,-67.67) [0|300] "km/h" B\n\n'
    b'CM_ SG_ 426 SPEED_FL "front \\"left\\"";\nBA_DEF_ BO_ "GenMsgCycleTime" INT 0 1000;\n'
    b'BA_DEF_DEF_ "GenMsgCycleTime" 0;\nBA_ "GenMsgCycleTime" BO_ 426 20;\n'
    b'VAL_ 426 SPEED_FL 4095 "SNA" 0 "standstill" ;\nSIG_VALTYPE_ 426 SPEED_RL : 0;\n'
    b"SG_MUL_VAL_ 426 SPEED_FL SEL 0-0, 2-2;\nBO_TX_BU_ 426 : A,B;\n"
)

STATEMENTS = st.sampled_from([line + b"\n" for line in SMALL.split(b"\n") if line])
PIECES = st.one_of(
    STATEMENTS,
    st.binary(max_size=12),
    st.sampled_from(
        [b'"', b"SG_ ", b"BO_ ", b"9" * 400, b"1e9999", b"0-4294967295", b"m3M", b"\n"]
    ),
)

LONGEST_S = 5.0
"""A text of this size that takes longer hangs. [s]"""


def read_or_refuse(path: Path, content: bytes) -> bool:
    """Whether it could be read; anything but an error of the definitions fails the test."""
    path.write_bytes(content)
    started_s = time.perf_counter()
    refused = ""
    try:
        find_wheels(read_definitions(path), Vehicle())
    except DefinitionsError as error:
        refused = str(error)
    assert time.perf_counter() - started_s < LONGEST_S
    assert "\n" not in refused
    return not refused


@given(st.lists(PIECES, max_size=25))
@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_shuffled_statements_and_bytes(tmp_path: Path, pieces: list[bytes]) -> None:
    read_or_refuse(tmp_path / "car.dbc", b"".join(pieces))


def test_the_whole_one_is_read(tmp_path: Path) -> None:
    assert read_or_refuse(tmp_path / "car.dbc", SMALL)


def test_mutated_copies(tmp_path: Path) -> None:
    rng = random.Random(20)  # noqa: S311 - no secret
    read = 0
    for _ in range(2000):
        content = bytearray(SMALL)
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(len(content))
            match rng.randrange(4):
                case 0:
                    content[at] = rng.randrange(256)
                case 1:
                    del content[at : at + rng.randint(1, 20)]
                case 2:
                    content[at:at] = rng.choice([b"9" * 30, b'"', b"e99999", b";", b"\n", b"m1M "])
                case _:
                    content[at:at] = content[at : at + rng.randint(1, 60)]
        read += read_or_refuse(tmp_path / "car.dbc", bytes(content))
    assert 0 < read < 2000  # some changes do no harm, and some do


def test_every_cut_copy(tmp_path: Path) -> None:
    for end in range(0, len(SMALL), 7):
        read_or_refuse(tmp_path / "car.dbc", SMALL[:end])
