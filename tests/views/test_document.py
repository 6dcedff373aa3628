"""The JSON documents against the names, types and units that other programs are promised."""

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import jsonschema
import msgspec
import pytest

from canwheel.corners import CORNERS, Corner
from canwheel.outcome import Event, Finding, NotJudged, Outcome, Span
from canwheel.pipeline import Check, Comparison
from canwheel.views.document import (
    CheckDocument,
    CompareDocument,
    document_check,
    document_comparison,
    json_schema,
    render_json,
)

NUMBER = (int, float)
OR_NULL = (int, float, type(None))

CHECK_FIELDS: dict[str, Any] = {
    "schema": str,
    "capture": {
        "file": str,
        "sha256": str,
        "frames": int,
        "first_time": NUMBER,
        "duration_s": NUMBER,
        "unreadable_lines": int,
    },
    "definitions": {
        "file": str,
        "wheels": {
            corner.value: {"message": str, "frame_id": int, "signal": str, "unit": str}
            for corner in CORNERS
        },
    },
    "drive": {
        "distance_km": NUMBER,
        "moving_s": NUMBER,
        "top_speed_kph": NUMBER,
        "stops": int,
        "straight_s": NUMBER,
        "left_turn_s": NUMBER,
        "right_turn_s": NUMBER,
    },
    "verdict": str,
    "corners": {
        corner.value: {
            "verdict": str,
            "typical_error_pct": OR_NULL,
            "findings": list,
            "not_judged": list,
        }
        for corner in CORNERS
    },
    "events": list,
    "lamps": dict,
    "next_steps": list,
    "cautions": list,
}
FINDING_FIELDS: dict[str, Any] = {
    "kind": str,
    "confidence": NUMBER,
    "from_s": NUMBER,
    "to_s": NUMBER,
    "count": int,
    "says": str,
    "evidence": dict,
}
COMPARE_FIELDS: dict[str, Any] = {
    "schema": str,
    "verdict": str,
    "corners": {
        corner.value: {"before": list, "after": list, "verdict": str} for corner in CORNERS
    },
    "proof": {
        "confidence": NUMBER,
        "clean_km": NUMBER,
        "clean_km_needed": NUMBER,
        "speed_bands_missing_kph": list,
    },
    "before": CHECK_FIELDS,
    "after": CHECK_FIELDS,
}

FOUND = Outcome(
    findings=(
        Finding(
            corner=Corner.RL,
            kind="dropout",
            confidence=0.97,
            spans=(Span(10.00049, 10.5), Span(20.0, 20.25)),
            count=2,
            says="Falls to nothing 2 times.",
            evidence={"count": 2, "per_km": 0.6, "longest_s": 0.5, "with": "nothing", "lit": True},
        ),
    ),
    events=(Event("wheel_lock", Corner.FR, 91.2, 91.9, "Stands still."),),
    not_judged=(NotJudged(Corner.FL, "crossed", "no turn sharp enough"),),
)


def has(document: Any, fields: Any, where: str = "$") -> None:
    """Every field is there and of its type, whatever else is there."""
    if not isinstance(fields, dict):
        assert isinstance(document, fields), where
        return
    for name, inner in fields.items():
        assert name in document, f"{where}.{name}"
        has(document[name], inner, f"{where}.{name}")


def test_the_check_document_has_what_is_promised(shipped: Comparison) -> None:
    document = json.loads(render_json(document_check(shipped.before)))
    has(document, CHECK_FIELDS)
    assert document["schema"] == "canwheel-check/1"
    assert document["verdict"] == "fault_found"
    assert document["corners"]["RL"]["verdict"] == "faulty"
    (finding,) = document["corners"]["RL"]["findings"]
    has(finding, FINDING_FIELDS)
    assert finding["kind"] == "no_signal"
    assert finding["evidence"]["others_top_kph"] == pytest.approx(84.8, abs=2)
    assert set(document["lamps"]) == {"abs", "stability", "brake"}
    has(document["lamps"]["abs"], {"went_out_s": OR_NULL, "after_moving_s": OR_NULL})


def test_the_compare_document_has_what_is_promised(shipped: Comparison) -> None:
    document = json.loads(render_json(document_comparison(shipped)))
    has(document, COMPARE_FIELDS)
    assert document["schema"] == "canwheel-compare/1"
    assert document["verdict"] == "repair_proven"
    assert document["corners"]["RL"] == {
        "before": ["no_signal"],
        "after": [],
        "verdict": "repaired",
    }
    assert document["before"] == json.loads(render_json(document_check(shipped.before)))
    assert document["after"] == json.loads(render_json(document_check(shipped.after)))


def test_findings_events_and_reasons_reach_the_document(
    shipped: Comparison, rejudge: Callable[..., Check]
) -> None:
    document = json.loads(render_json(document_check(rejudge(shipped.after, FOUND))))
    assert document["corners"]["RL"]["findings"] == [
        {
            "kind": "dropout",
            "confidence": 0.97,
            "from_s": 10.0,
            "to_s": 20.25,
            "count": 2,
            "says": "Falls to nothing 2 times.",
            "evidence": {
                "count": 2,
                "per_km": 0.6,
                "longest_s": 0.5,
                "with": "nothing",
                "lit": True,
            },
        }
    ]
    assert document["events"] == [
        {
            "kind": "wheel_lock",
            "corner": "FR",
            "from_s": 91.2,
            "to_s": 91.9,
            "says": "Stands still.",
        }
    ]
    assert document["corners"]["FL"]["not_judged"] == [
        {"kind": "crossed", "why": "no turn sharp enough"}
    ]


def test_an_open_band_has_no_upper_end(
    shipped: Comparison, recompare: Callable[..., Comparison], rejudge: Callable[..., Check]
) -> None:
    wrong = Finding(
        Corner.FL, "wrong_ratio", 0.99, (Span(0.0, shipped.after.track.duration_s),), 1, "Says."
    )
    before = rejudge(shipped.after, Outcome(findings=(wrong,)))
    coverage = before.judgement.coverage
    slow = tuple(replace(own, km=own.km * [[1], [1], [1], [0], [0]]) for own in coverage.corners)
    after = rejudge(shipped.after, Outcome(), replace(coverage, corners=slow))
    document = json.loads(render_json(document_comparison(recompare(before, after))))
    assert document["verdict"] == "repair_not_proven"
    assert document["proof"]["speed_bands_missing_kph"] == [[50, 80], [80, None]]
    (claim,) = document["proof"]["claims"]
    assert claim["to_drive"] == document["proof"]["to_drive"]


@pytest.mark.parametrize("document_type", [CheckDocument, CompareDocument])
def test_documents_hold_against_their_json_schema(
    shipped: Comparison,
    rejudge: Callable[..., Check],
    document_type: type[CheckDocument | CompareDocument],
) -> None:
    # Outside reference: the jsonschema library's own validator of JSON Schema 2020-12.
    schema = json_schema(document_type)
    validator = jsonschema.Draft202012Validator(schema)
    validator.check_schema(schema)
    documents = (
        [document_check(shipped.before), document_check(rejudge(shipped.after, FOUND))]
        if document_type is CheckDocument
        else [document_comparison(shipped)]
    )
    for document in documents:
        value = json.loads(render_json(document))
        validator.validate(value)
        assert msgspec.convert(value, document_type) == document
        del value["verdict"]
        assert not validator.is_valid(value)


def test_a_file_name_that_is_no_unicode_is_spelt_out(shipped: Comparison) -> None:
    odd = replace(shipped.after, summary=replace(shipped.after.summary, file="dr\udcefve.log"))
    document = json.loads(render_json(document_check(odd)))
    assert document["capture"]["file"] == "dr\\udcefve.log"
