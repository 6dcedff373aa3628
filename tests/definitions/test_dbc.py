"""DBC files as people have them: read, put right and named, or refused with the line."""

import codecs
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from canwheel.definitions.dbc import DefinedSignal, Definitions, read_definitions
from canwheel.definitions.layout import BitField, Multiplex, RawRange
from canwheel.errors import DefinitionsError
from canwheel.frames import IdPattern

Define = Callable[[str | bytes], Definitions]

SPEEDS = """VERSION ""

NS_ :
\tNS_DESC_
\tCM_
\tBA_DEF_
\tVAL_
\tSIG_VALTYPE_
\tSG_MUL_VAL_

BS_:

BU_: BRAKE_UNIT TESTER

BO_ 426 WHEELS: 8 BRAKE_UNIT
 SG_ SPEED_FL : 0|16@1+ (0.01,-100) [-100|555.35] "km/h" TESTER
 SG_ SPEED_FR : 23|16@0- (0.01,0) [0|0] "km/h" TESTER
"""


def signals(definitions: Definitions) -> dict[str, DefinedSignal]:
    return {
        signal.place.path: signal for message in definitions.messages for signal in message.signals
    }


def test_a_signal_is_what_the_file_says(define: Define) -> None:
    place = signals(define(SPEEDS))["WHEELS.SPEED_FL"].place
    assert place.frame_id == 426
    assert place.ids == IdPattern.exactly(426, extended=False)
    assert place.bits == BitField(0, 16, "little_endian")
    assert (place.scale, place.offset, place.unit) == (0.01, -100, "km/h")
    assert (place.minimum, place.maximum) == (-100, 555.35)
    other = signals(define(SPEEDS))["WHEELS.SPEED_FR"].place
    assert other.bits == BitField(23, 16, "big_endian", is_signed=True)
    assert (other.minimum, other.maximum) == (None, None)  # [0|0]: none stated


def test_comments_tables_number_types_and_cycle_times(define: Define) -> None:
    text = SPEEDS + (
        'CM_ SG_ 426 SPEED_FL "front left; \\"the\\" wheel";\n'
        'CM_ BO_ 426 "four wheels";\n'
        'BA_DEF_ BO_ "GenMsgCycleTime" INT 0 10000;\nBA_DEF_DEF_ "GenMsgCycleTime" 0;\n'
        'BA_ "GenMsgCycleTime" BO_ 426 20;\n'
        'VAL_ 426 SPEED_FL 65535 "SNA" 65534 "Fehler" 0 "Init" 1 "one" ;\n'
        'BO_ 1 F: 8 X\n SG_ HALF : 0|32@1- (1,0) [0|0] "" X\n\nSIG_VALTYPE_ 1 HALF : 1;\n'
    )
    definitions = define(text)
    assert definitions.passed_over == ()
    speed = signals(definitions)["WHEELS.SPEED_FL"]
    assert speed.place.comment == 'front left; "the" wheel'
    assert speed.place.cycle_s == 0.02
    assert speed.words[1] == "one"
    assert speed.place.not_values == (
        RawRange(65534, 65534, "Fehler"),
        RawRange(65535, 65535, "SNA"),
    )
    assert definitions.messages[0].comment == "four wheels"
    assert signals(definitions)["F.HALF"].place.bits.is_float


def test_nested_selectors(define: Define) -> None:
    text = (
        "BO_ 9 M: 8 X\n"
        ' SG_ OUTER M : 0|4@1+ (1,0) [0|0] "" X\n'
        ' SG_ INNER m1M : 4|4@1+ (1,0) [0|0] "" X\n'
        ' SG_ SPEED m0 : 8|16@1+ (1,0) [0|0] "" X\n\n'
        "SG_MUL_VAL_ 9 INNER OUTER 1-1;\nSG_MUL_VAL_ 9 SPEED INNER 2-3, 5-5;\n"
    )
    place = signals(define(text))["M.SPEED"].place
    assert place.multiplex == (
        Multiplex(BitField(0, 4, "little_endian"), frozenset({1})),
        Multiplex(BitField(4, 4, "little_endian"), frozenset({2, 3, 5})),
    )


@pytest.mark.parametrize(
    "encoded",
    [
        "Drehzahl, Räder".encode("cp1252"),
        "Drehzahl, Räder".encode(),
    ],
)
def test_comments_in_either_encoding(encoded: bytes, define: Define) -> None:
    text = SPEEDS.encode() + b'CM_ SG_ 426 SPEED_FL "' + encoded + b'";\n'
    assert signals(define(text))["WHEELS.SPEED_FL"].place.comment == "Drehzahl, Räder"


def test_byte_order_marks_and_line_ends(define: Define) -> None:
    for content in (
        codecs.BOM_UTF8 + SPEEDS.encode(),
        codecs.BOM_UTF16_LE + SPEEDS.encode("utf-16-le"),
        SPEEDS.replace("\n", "\r\n").encode(),
    ):
        assert len(signals(define(content))) == 2


def test_29_bit_identifiers_without_their_mark(define: Define) -> None:
    text = (
        "BO_ 217056256 A: 8 X\n"  # 0xCF00400
        ' SG_ S : 0|8@1+ (1,0) [0|0] "" X\n\n'
        'CM_ SG_ 217056256 S "what it is";\nVAL_ 217056256 S 255 "invalid" ;\n'
        'BA_DEF_ BO_ "GenMsgCycleTime" INT 0 9;\nBA_DEF_DEF_ "GenMsgCycleTime" 0;\n'
        'BA_ "GenMsgCycleTime" BO_ 217056256 50;\n'
    )
    definitions = define(text)
    place = signals(definitions)["A.S"].place
    assert place.ids == IdPattern.exactly(0xCF00400, extended=True)
    assert place.comment == "what it is"
    assert place.not_values == (RawRange(255, 255, "invalid"),)
    assert place.cycle_s == 0.05
    assert definitions.passed_over == (
        "line 1: message A lacks the mark of a 29-bit identifier; it is read as one",
    )


def test_what_is_passed_over_is_named(define: Define) -> None:
    text = SPEEDS + (
        ' SG_ SPEED_FL : 32|16@1+ (1,0) [0|0] "" TESTER\n'
        ' SG_ 5TH : 32|16@1+ (1,0) [0|0] "" TESTER\n'
        ' SG_ NOTHING : 32|0@1+ (1,0) [0|0] "" TESTER\n\n'
        "BO_ 426 WHEELS: 8 BRAKE_UNIT\n"
        ' SG_ SPEED_FL : 0|8@1+ (1,0) [0|0] "" TESTER\n\n'
        "BO_ 3221225472 VECTOR__INDEPENDENT_SIG_MSG: 0 Vector__XXX\n"
        ' SG_ LOOSE : 0|8@1+ (1,0) [0|0] "" TESTER\n\n'
        "BO_ 1073741824 TOO_LONG: 8 X\n"
        ' SG_ S : 0|8@1+ (1,0) [0|0] "" TESTER\n\n'
        'VAL_ 426 GONE 1 "x" ;\n'
        'VAL_ 3221225472 LOOSE 1 "x" ;\n'
        "SIG_VALTYPE_ 426 GONE : 1;\n"
        'CM_ SG_ 426 "no signal named";\n'
        'CM_ "nobody closed this"\n'
        "BO_TX_BU_ 426 : BRAKE_UNIT,TESTER;\n"
    )
    definitions = define(text)
    assert set(signals(definitions)) == {"WHEELS.SPEED_FL", "WHEELS.SPEED_FR"}
    assert definitions.messages[0].senders == ("BRAKE_UNIT", "TESTER")
    assert definitions.passed_over == (
        "line 18: signal SPEED_FL a second time in its message",
        "line 19: signal 5TH, whose name starts with a digit",
        "line 20: signal NOTHING, which has no bits",
        "line 22: message WHEELS a second time",
        "line 28: message TOO_LONG, whose identifier has more than 29 bits",
        "line 31: value table for signal GONE, which is not there",
        "line 32: value table for signal LOOSE, which is not there",
        "line 33: number type for signal GONE, which is not there",
        "line 34: comment that is not written as one",
        "line 35: comment that is not written as one",
    )


def test_a_fraction_without_its_nought(define: Define) -> None:
    text = 'BO_ 1 A: 8 X\n SG_ S : 0|8@1+ (.25,-.5) [-.5|1.] "" X\n'
    place = signals(define(text))["A.S"].place
    assert (place.scale, place.offset, place.minimum) == (0.25, -0.5, -0.5)


def test_numbers_as_programs_write_them(define: Define) -> None:
    text = 'BO_ 1 A: 8 X\n SG_ S : 0|8@1+ (1E-05,-1.5e+002) [0|1.67772e+006] "" X\n'
    place = signals(define(text))["A.S"].place
    assert (place.scale, place.offset, place.maximum) == (1e-5, -150.0, 1677720.0)


def test_a_signal_that_nobody_receives(define: Define) -> None:
    text = 'BO_ 1 A: 8 X\n SG_ S : 0|8@1+ (1,0) [0|0] "rpm"\n SG_ T : 8|8@1+ (1,0) [0|0] ""\n'
    assert set(signals(define(text))) == {"A.S", "A.T"}


def test_keywords_in_comments_are_no_statements(define: Define) -> None:
    text = SPEEDS + 'CM_ BO_ 426 "first line\nBO_ 1 NO: 8 X\nVAL_ 1 NO 0 ""x"";\n'
    text = text.replace('""x""', "'x'") + '";\n'
    definitions = define(text)
    assert len(definitions.messages) == 1
    assert "BO_ 1 NO" in definitions.messages[0].comment


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (SPEEDS + ' SG_ BROKEN 0|16@1+ (1,0) [0|0] "" X\n', 18),
        (SPEEDS + "\n\nBO_ abc NAME: 8 X\n", 20),
        (SPEEDS.replace("(0.01,-100)", "(0,01,-100)"), 16),
        (SPEEDS[: SPEEDS.index("(0.01,-100)")], 16),
        (SPEEDS.rstrip() + "\n SG_ CUT : 32|16@1+ (1,0) [0|0", 18),
        ("this is no DBC file\n", 1),
        ('\n\nVERSION ""\n\n<html>\n', 5),
        (SPEEDS + "BO_ 1 A: 4000000 X\n", 18),
        (SPEEDS + ' SG_ FAR : 0|99999999@1+ (1,0) [0|0] "" X\n', 18),
        (SPEEDS + 'BA_DEF_ BO_ "X" INT 0 1;\nBA_ "X" BO_ 426 1e999999999;\n', 19),
        (SPEEDS + "SG_MUL_VAL_ 426 SPEED_FL SPEED_FR 0-4294967295;\n", 18),
    ],
)
def test_what_does_not_parse_is_refused_with_its_line(text: str, line: int, define: Define) -> None:
    with pytest.raises(DefinitionsError) as caught:
        define(text)
    assert f"car.dbc, line {line}:" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_nested_selectors_that_would_multiply_are_refused(define: Define) -> None:
    signals = "".join(f' SG_ S{i} m0M : {8 * i}|8@1+ (1,0) [0|0] "" X\n' for i in range(1, 7))
    selections = "".join(f"SG_MUL_VAL_ 9 S{i} S{i - 1} 0-30;\n" for i in range(1, 7))
    text = f'BO_ 9 M: 64 X\n SG_ S0 M : 0|8@1+ (1,0) [0|0] "" X\n{signals}\n{selections}'
    with pytest.raises(DefinitionsError, match="its message has more selected signals"):
        define(text)


@pytest.mark.parametrize("content", ["", " \n\t\n"])
def test_an_empty_file(content: str, define: Define) -> None:
    with pytest.raises(DefinitionsError, match="is empty"):
        define(content)


def test_files_that_are_none(tmp_path: Path) -> None:
    with pytest.raises(DefinitionsError, match="cannot be read: No such file"):
        read_definitions(tmp_path / "nowhere.dbc")
    with pytest.raises(DefinitionsError, match="cannot be read: Is a directory"):
        read_definitions(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no sparse files to rely on")
def test_a_recording_given_for_a_dbc_is_not_read_whole(tmp_path: Path) -> None:
    path = tmp_path / "drive.log"
    with path.open("wb") as file:
        file.truncate(1 << 33)
    with pytest.raises(DefinitionsError, match="larger than 16 MB"):
        read_definitions(path)
