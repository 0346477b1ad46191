"""What the model shows of the trade's patterns, held to what was seen: a claim once shown stays shown.

``engine.study.patterns`` measures them on one shared run. Losing a claim that is on record as shown fails;
winning one is reported in the summary and is no error. Nothing was tuned to make a claim hold. The default
plays a tenth of the usual possessions, the mark ``full`` three times as many as usual, as the record does.
The record is written, never edited, by

    python -m tests.record_patterns
"""

from __future__ import annotations

import json
import warnings
from math import nan, sqrt
from typing import Any

import pytest
from record_patterns import FILE, FULL, TENTH, by_name, errors, record

from engine.errors import InputError
from engine.report.screen.patterns import patterns_text
from engine.report.words import WIDTH
from engine.study.patterns.common import MARGIN, NOT_SHOWN, REVERSED, SHOWN, VERDICTS, Claim, Mean
from engine.study.patterns.table import PATTERNS, PatternsResult, measure

#: What was seen of each claim, by its pattern's number and its name: its verdict at FULL, and its gap in
#: standard errors at TENTH.
RECORD: dict[str, dict[str, Any]] = json.loads(FILE.read_text("utf-8"))
#: Those on record as shown.
HELD = [name for name, found in RECORD.items() if found["verdict"] == SHOWN]


def is_lost(recorded: float | None, claim: Claim, scale: float) -> bool:
    """Whether a claim on record as shown is shown no more, at this scale.

    In full, and for exact claims, its verdict says so. At a tenth it stood at ``recorded`` standard errors:
    the difference of two such figures has an error of sqrt(2), and 4 of these, or a verdict's margin, decide.
    Where nothing was judged at a tenth (too few traps set) only the whole run tells.
    """
    if scale >= FULL or claim.exact:
        return claim.verdict != SHOWN
    if recorded is None:
        return False
    least = min(MARGIN, recorded - 4.0 * sqrt(2.0))
    return not claim.gap.mean > least * claim.gap.se


def won(record: dict[str, dict[str, Any]], claims: dict[str, Claim]) -> list[str]:
    """Claims shown now that are on record as not shown, or reversed."""
    return [
        f"{name}: shown now, on record as {record[name]['verdict']} (python -m tests.record_patterns)"
        for name, claim in claims.items()
        if claim.verdict == SHOWN and name in record and record[name]["verdict"] != SHOWN
    ]


@pytest.fixture(
    scope="session", params=[TENTH, pytest.param(FULL, marks=[pytest.mark.full, pytest.mark.timeout(3600)])]
)
def table(request: pytest.FixtureRequest) -> PatternsResult:
    result = measure(request.param)
    print(patterns_text(result.to_dict()))
    for text in won(RECORD, by_name(result)):
        warnings.warn(text, stacklevel=1)
    return result


@pytest.fixture(scope="session")
def claims(table: PatternsResult) -> dict[str, Claim]:
    return by_name(table)


@pytest.mark.long
def test_every_claim_is_on_record(table: PatternsResult, claims: dict[str, Claim]) -> None:
    assert list(RECORD) == list(claims)
    assert len(claims) == len(table.claims), "two claims of one name"
    assert {found["verdict"] for found in RECORD.values()} <= set(VERDICTS)
    assert {claim.pattern for claim in table.claims} == set(PATTERNS) == set(range(1, 17))
    assert all(claim.source and claim.figures for claim in table.claims)


@pytest.mark.long
@pytest.mark.parametrize("name", HELD)
def test_no_shown_claim_is_lost(table: PatternsResult, claims: dict[str, Claim], name: str) -> None:
    found = claims[name]
    recorded = RECORD[name]["at_a_tenth"]
    assert not is_lost(recorded, found, table.scale), f"{found.figures}; {found.gap}; recorded {recorded}"


def test_what_is_lost_and_what_is_won() -> None:
    def claim(gap: float, exact: bool = False) -> Claim:
        return Claim(1, "name", "source", Mean(gap, 0.0 if exact else 1.0), "figures", exact)

    assert not is_lost(1.0, claim(4.1), FULL) and is_lost(1.0, claim(3.9), FULL)
    # 10 standard errors at a tenth: whatever luck does, the claim is still shown.
    assert not is_lost(10.0, claim(4.1), 0.1) and is_lost(10.0, claim(3.9), 0.1)
    # 5: luck alone can hide it; well on the wrong side it is lost.
    assert not is_lost(5.0, claim(0.0), 0.1) and is_lost(5.0, claim(-1.0), 0.1)
    assert not is_lost(0.0, claim(0.0, exact=True), 0.1) and is_lost(0.0, claim(0.1, exact=True), 0.1)
    assert is_lost(5.0, claim(nan), 0.1)
    assert not is_lost(None, claim(nan), 0.1) and is_lost(None, claim(nan), FULL)

    on_record = {"1 a": {"verdict": NOT_SHOWN}, "1 b": {"verdict": REVERSED}, "1 c": {"verdict": SHOWN}}
    assert won(on_record, {name: claim(3.9) for name in on_record}) == []
    reported = won(on_record, {name: claim(5.0) for name in on_record})
    assert [text.split(":")[0] for text in reported] == ["1 a", "1 b"]

    assert [errors(claim(5.0)), errors(claim(0.0, exact=True)), errors(claim(nan))] == [5.0, 0.0, None]
    written = record({"1 a": claim(5.0)}, {"1 a": claim(2.5)})
    assert written == {"1 a": {"verdict": SHOWN, "at_a_tenth": 2.5}}


@pytest.mark.long
def test_what_holds_by_construction_holds_exactly(claims: dict[str, Claim]) -> None:
    exact = [claim for claim in claims.values() if claim.exact]
    assert len(exact) == 4  # one for each call: readiness without effect
    assert all(claim.verdict == SHOWN for claim in exact)


@pytest.mark.long
def test_the_table_is_printed_whole(table: PatternsResult) -> None:
    lines = patterns_text(table.to_dict()).splitlines()
    assert lines[-1].startswith(f"{table.whole} of {len(PATTERNS)} patterns shown whole")
    assert max(map(len, lines)) <= WIDTH
    heads = [line for line in lines if line[:2].strip().isdigit() and line[2:4] == ". "]
    assert [int(line[:2]) for line in heads] == list(PATTERNS)
    assert sum(line[4:8] == "PASS" for line in heads) == table.whole
    assert sum(line[4:].startswith(VERDICTS) for line in lines if line[:4] == "    ") == len(table.claims)


@pytest.mark.long
def test_the_result_as_json_says_the_same(table: PatternsResult) -> None:
    found = json.loads(json.dumps(table.to_dict(), allow_nan=False))
    assert found["command"] == "patterns"
    assert found["possessions"] == table.possessions > 2_000_000 * table.scale
    assert found["shown_whole"] == sum(one["verdict"] == "pass" for one in found["patterns"])
    told = {
        f"{one['number']} {claim['name']}": claim["verdict"]
        for one in found["patterns"]
        for claim in one["claims"]
    }
    assert told == {name: claim.verdict for name, claim in by_name(table).items()}
    for one in found["patterns"]:
        assert (one["verdict"] == "pass") == (one["claims_shown"] == len(one["claims"]) > 0)


@pytest.mark.long
@pytest.mark.full
def test_threads_do_not_change_the_table_and_progress_is_told() -> None:
    seen: list[tuple[int, int]] = []
    one = measure(0.001, threads=1, progress=lambda done, total: seen.append((done, total)))
    other = measure(0.001, threads=2)
    # as told: where nothing was seen, a gap is no number, and none equals another
    assert [claim.to_dict() for claim in one.claims] == [claim.to_dict() for claim in other.claims]
    assert seen[0] == (0, 16) and seen[-1] == (16, 16) and seen == sorted(seen)


@pytest.mark.parametrize("scale", [0.0, -1.0, float("nan"), float("inf"), 101.0, True, "1"])
def test_a_bad_scale_is_one_clear_line(scale: float) -> None:
    with pytest.raises(InputError, match="--scale"):
        measure(scale)
