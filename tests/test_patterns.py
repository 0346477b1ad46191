"""What the model shows of the trade's patterns, held to what was seen.

``engine.study.patterns`` measures them on one shared run. A claim that holds must go on holding by 4
standard errors, and one that does not is on record as not holding, so that neither a loss nor a gain goes
unnoticed. Nothing was tuned to make a claim hold. The record is written, never edited, by

    python -m engine.report.screen.patterns 1 tests/patterns_record.json
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from engine.errors import InputError
from engine.report.screen.patterns import patterns_text
from engine.report.words import WIDTH
from engine.study.patterns import PATTERNS, PatternsResult, measure
from engine.study.patterns.common import (
    MARGIN,
    NOT_SHOWN,
    REVERSED,
    SHOWN,
    VERDICTS,
    Claim,
)

#: What was seen of each claim, by its pattern's number and its name.
RECORD: dict[str, str] = json.loads((Path(__file__).parent / "patterns_record.json").read_text("utf-8"))
#: Standard errors that a claim on record as failing may move before the record is called out of date.
SLACK = 1.0


def those(verdict: str) -> list[str]:
    return [claim for claim, found in RECORD.items() if found == verdict]


@pytest.fixture(scope="session")
def table() -> PatternsResult:
    result = measure()
    print(patterns_text(result.to_dict()))
    return result


@pytest.fixture(scope="session")
def claims(table: PatternsResult) -> dict[str, Claim]:
    return {f"{claim.pattern} {claim.name}": claim for claim in table.claims}


def test_every_claim_is_on_record(table: PatternsResult, claims: dict[str, Claim]) -> None:
    assert list(RECORD) == list(claims)
    assert len(claims) == len(table.claims), "two claims of one name"
    assert set(RECORD.values()) <= set(VERDICTS)
    assert {claim.pattern for claim in table.claims} == set(PATTERNS) == set(range(1, 14))
    assert all(claim.source and claim.figures for claim in table.claims)


@pytest.mark.parametrize("claim", those(SHOWN))
def test_pattern_holds(claims: dict[str, Claim], claim: str) -> None:
    found = claims[claim]
    assert found.verdict == SHOWN, f"{found.figures}; {found.gap}"


@pytest.mark.parametrize("claim", those(NOT_SHOWN))
def test_pattern_is_reported_as_not_shown(claims: dict[str, Claim], claim: str) -> None:
    found = claims[claim]
    within = abs(found.gap.mean) < (MARGIN + SLACK) * found.gap.se
    assert found.verdict == NOT_SHOWN or within, f"out of date: {found.figures}; {found.gap}"


@pytest.mark.parametrize("claim", those(REVERSED))
def test_pattern_is_reported_as_reversed(claims: dict[str, Claim], claim: str) -> None:
    found = claims[claim]
    assert found.gap.mean < -(MARGIN - SLACK) * found.gap.se, f"out of date: {found.figures}; {found.gap}"


def test_what_holds_by_construction_holds_exactly(claims: dict[str, Claim]) -> None:
    exact = [claim for claim in claims.values() if claim.exact]
    assert len(exact) == 4  # one for each call: readiness without effect
    assert all(claim.verdict == SHOWN for claim in exact)


def test_the_table_is_printed_whole(table: PatternsResult) -> None:
    lines = patterns_text(table.to_dict()).splitlines()
    assert lines[-1].startswith(f"{table.whole} of {len(PATTERNS)} patterns shown whole")
    assert max(map(len, lines)) <= WIDTH
    heads = [line for line in lines if line[:2].strip().isdigit() and line[2:4] == ". "]
    assert [int(line[:2]) for line in heads] == list(PATTERNS)
    assert sum(line[4:8] == "PASS" for line in heads) == table.whole
    assert sum(line[4:].startswith(VERDICTS) for line in lines if line[:4] == "    ") == len(table.claims)


def test_the_result_as_json_says_the_same(table: PatternsResult) -> None:
    found = json.loads(json.dumps(table.to_dict(), allow_nan=False))
    assert found["command"] == "patterns" and found["possessions"] == table.possessions > 2_000_000
    assert found["shown_whole"] == sum(one["verdict"] == "pass" for one in found["patterns"])
    told = {
        f"{one['number']} {claim['name']}": claim["verdict"]
        for one in found["patterns"]
        for claim in one["claims"]
    }
    assert told == table.record()
    for one in found["patterns"]:
        assert (one["verdict"] == "pass") == (one["claims_shown"] == len(one["claims"]) > 0)


def test_threads_do_not_change_the_table_and_progress_is_told() -> None:
    seen: list[tuple[int, int]] = []
    one = measure(0.001, threads=1, progress=lambda done, total: seen.append((done, total)))
    assert one.claims == measure(0.001, threads=2).claims
    assert seen[0] == (0, 13) and seen[-1] == (13, 13) and seen == sorted(seen)


@pytest.mark.parametrize("scale", [0.0, -1.0, float("nan"), float("inf"), 101.0, True, "1"])
def test_a_bad_scale_is_one_clear_line(scale: float) -> None:
    with pytest.raises(InputError, match="--scale"):
        measure(scale)
