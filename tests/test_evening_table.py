"""How the table of questions and outputs reads an answer out of a text."""

from __future__ import annotations

import pytest
from evening_table import agree, worth


@pytest.mark.parametrize(
    ("said", "read"),
    [
        ("saves 0.17 points a call (0.11 to 0.22)", "0.17 (0.11 to 0.22)"),
        ("saves 0.17 (0.11-0.22)", "0.17 (0.11 to 0.22)"),
        ("costs 0.17 (0.11 to 0.22)", "-0.17 (-0.22 to -0.11)"),
        ("-0.17 (-0.22 to -0.11)", "-0.17 (-0.22 to -0.11)"),
        ("no clear difference (0.05 lost to 0.12 saved points a call)", "? (-0.05 to 0.12)"),
        ("no clear difference", "? (? to ?)"),
        ("0.17", "0.17 (? to ?)"),
        ("cannot be told apart (1.8 lost to 0.9 saved)", "? (-1.80 to 0.90)"),
    ],
)
def test_a_worth_is_read_in_every_spelling(said: str, read: str) -> None:
    assert worth(said) == read
    assert agree([read, "? (? to ?)"])
    assert agree([read, "7.00 (6.00 to 8.00)"]) == (said == "no clear difference")
