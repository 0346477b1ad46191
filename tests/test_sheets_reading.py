"""Sheets as spreadsheets save them: the same meaning, or one clear line."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_files import (
    CALLS,
    EVENING,
    GAME,
    OPPONENT,
    OWN,
    SHOTS,
    Habits,
    Table,
    save,
    with_cell,
    with_key,
    write_evening,
)

from engine import cli
from engine.errors import InputError
from engine.inputs import config_hash
from engine.inputs.sheets import Evening, load_evening
from engine.inputs.sheets.cells import Cells, Tried, number_in
from engine.inputs.sheets.read import Row, clean, decode, read_sheet

FEW = settings(max_examples=40, deadline=None)


def meaning(evening: Evening) -> tuple[str, dict[str, object]]:
    """What an evening says, whatever file said it; remarks name files, one line quotes cells: left out."""
    told = evening.to_dict()
    told.pop("remarks")
    told["assumptions"] = [line for line in told["assumptions"] if not line.startswith("Read as meant")]
    return config_hash(evening.scenario), told


@pytest.fixture(scope="module")
def expected(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, dict[str, object]]:
    return meaning(load_evening(write_evening(tmp_path_factory.mktemp("plain"))))


@st.composite
def habits(draw: st.DrawFn) -> Habits:
    separator = draw(st.sampled_from(",;\t|"))
    blank = draw(st.sampled_from(["", " ", "  ", "\u00a0"] if separator != "\t" else ["", " "]))
    return Habits(
        separator=separator,
        encoding=draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])),
        decimal_comma=draw(st.booleans()),
        quoted=draw(st.booleans()),
        line_end=draw(st.sampled_from(["\r\n", "\n", "\r"])),
        blank=blank,
        upper=draw(st.booleans()),
    )


@st.composite
def disturbed(draw: st.DrawFn, table: Table) -> Table:
    """The table with its columns in another order, a strange column, and empty rows."""
    order = draw(st.permutations(range(len(table[0]))))
    rows = [[row[i] for i in order] for row in table]
    if draw(st.booleans()):
        at = draw(st.integers(0, len(order)))
        for i, row in enumerate(rows):
            row.insert(
                at, "favourite dish" if i == 0 else draw(st.sampled_from(["", "soup, hot", 'say "ah"']))
            )
    for _ in range(draw(st.integers(0, 3))):
        rows.insert(draw(st.integers(1, len(rows))), [""] * draw(st.integers(0, len(rows[0]))))
    if draw(st.booleans()):  # a spreadsheet that pads every row on the right
        rows = [[*row, "", ""] for row in rows]
    return rows


@FEW
@given(data=st.data(), how=habits())
def test_a_spreadsheets_habits_change_nothing(
    data: st.DataObject, how: Habits, expected: tuple[str, dict[str, object]]
) -> None:
    tables = {name: data.draw(disturbed(table)) for name, table in EVENING.items()}
    with tempfile.TemporaryDirectory() as folder:
        found = load_evening(write_evening(Path(folder), tables, how))
    assert meaning(found) == expected


@FEW
@given(st.data())
def test_makes_and_attempts_in_any_spelling(data: st.DataObject) -> None:
    made = data.draw(st.integers(0, 110))
    tried = data.draw(st.integers(max(made, 1), 110))
    spelled = data.draw(
        st.sampled_from(
            [
                f"{made}/{tried}",
                f" {made} / {tried} ",
                f"{made} of {tried}",
                f'"{made}/{tried}"',
                f"{made}:{tried}",
            ]
        )
    )
    cells = Cells("opponent.csv", Row(2, {"threes": clean(spelled)}))
    assert cells.tried("threes") == Tried(made, tried)
    apart = Cells("opponent.csv", Row(2, {"threes": str(made), "threes_attempted": f"{tried}"}))
    assert apart.tried("threes", "threes_attempted") == Tried(made, tried)


@FEW
@given(st.decimals(0, 300, places=2), st.sampled_from([".", ","]), st.sampled_from(["", " ", "\u00a0"]))
def test_decimal_points_commas_and_percent_signs(value: object, point: str, blank: str) -> None:
    text = str(value).replace(".", point)
    assert number_in(clean(f"{blank}{text}{blank}")) == pytest.approx(float(str(value)))
    assert number_in(clean(f"{text}{blank}%")) == pytest.approx(float(str(value)) / 100)


@pytest.mark.parametrize(
    "text", ["1.234,5", "1,234.5", "1e3", "nan", "inf", "0x10", "\u0663", "\u00bd", "5\u00b2", "--1"]
)
def test_what_is_no_number_is_not_taken_for_one(text: str) -> None:
    assert number_in(text) is None


def one_line(error: InputError) -> str:
    text = str(error)
    assert len(text.splitlines()) == 1 and text.isprintable(), text
    return text


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_whatever_stands_in_a_cell_it_is_read_or_told_in_one_line(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(EVENING)))
    table = EVENING[name]
    row = data.draw(st.integers(1, len(table) - 1))
    column = data.draw(st.sampled_from(table[0]))
    value = data.draw(
        st.one_of(
            st.text(max_size=30),
            st.sampled_from(
                ["10-Mar", "03.10.2026", "#REF!", "34/0", "9" * 40, "-1", "1/2/3", "\x00", '"', "'", "=1+1"]
            ),
        )
    )
    changed = with_cell(table, row, column, value)
    with tempfile.TemporaryDirectory() as folder:
        write_evening(Path(folder))
        (Path(folder) / name).write_bytes(save(changed).decode().encode("utf-8", "replace"))
        try:
            load_evening(folder)
        except InputError as error:
            assert name in one_line(error)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(sorted(EVENING)), st.binary(max_size=300), st.booleans())
def test_any_bytes_are_read_or_told_in_one_line(name: str, junk: bytes, behind: bool) -> None:
    with tempfile.TemporaryDirectory() as folder:
        write_evening(Path(folder))
        (Path(folder) / name).write_bytes(save(EVENING[name]) + junk if behind else junk)
        try:
            load_evening(folder)
        except InputError as error:
            assert name in one_line(error)


def test_the_rule_of_the_encodings() -> None:
    text = "number;initials\r\n7;\u00c4.\u00d6.\r\n"
    for encoding in ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"):
        assert decode(text.encode(encoding), "own.csv").lstrip("\ufeff") == text, encoding
    with pytest.raises(InputError, match="saved as CSV"):
        decode(b"PK\x03\x04rest of a workbook", "own.csv")
    with pytest.raises(InputError, match="UTF-8, UTF-16 or Windows-1252"):
        decode(b"\x81\x00\x81", "own.csv")


def sheet(tmp_path: Path, text: str) -> list[dict[str, str]]:
    path = tmp_path / "own.csv"
    path.write_text(text, encoding="utf-8", newline="")
    names = {"number": "number", "initials": "initials", "pace": "pace"}
    return [row.cells for row in read_sheet(path, "own.csv", names, ("number",)).rows]


def test_titles_above_the_headings_and_sep_lines_are_passed_over(tmp_path: Path) -> None:
    wanted = [{"number": "7", "pace": "quick"}]
    assert sheet(tmp_path, "sep=;\r\nnumber;pace\r\n7;quick\r\n") == wanted
    assert sheet(tmp_path, "Our team, Friday\n\nnumber,pace\n7,quick\n") == wanted
    assert sheet(tmp_path, "number,pace\n\n , \n7,quick,\n") == wanted
    assert sheet(tmp_path, 'number,pace\n"7" ,"quick" \n') == wanted


def test_a_stray_quotation_mark_swallows_no_rows(tmp_path: Path) -> None:
    rows = sheet(tmp_path, 'number,initials,pace\n7,"A.B.,quick\n8,C.D.,slow\n')
    assert [row["number"] for row in rows] == ["7", "8"]
    assert rows[0]["initials"] == "A.B." and rows[0]["pace"] == "quick"


def test_an_unquoted_decimal_comma_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"row 2: '3 cells' is not allowed.*decimal comma.*semicolons"):
        sheet(tmp_path, "number,pace\n7,1,85\n")


#: sheet, row, column, value -> what the line must hold.
BAD_CELLS = [
    (OWN, 1, "number", "seven", "row 2, column number: 'seven'"),
    (OWN, 2, "number", "4", "a number no other player has (row 2 has it)"),
    (OWN, 3, "number", "", "column number is missing"),
    (OWN, 1, "number", "100", "from 0 to 99"),
    (OWN, 1, "starts", "perhaps", "yes or no"),
    (OWN, 1, "starts", "no", "yes for exactly 5 players"),
    (OWN, 1, "height_order", "tall", "a whole number from 1 to 99 (1 = tallest)"),
    (OWN, 2, "height_order", "5", "each place in the order once (row 2 has it)"),
    (OWN, 1, "place", "goalkeeper", "left or right guard"),
    (OWN, 1, "pace", "fast-ish", "quick, normal or slow"),
    (OWN, 1, "prone_to_fouls", "a bit", "yes or no"),
    (OWN, 1, "minutes", "45", "minutes of a game of 30"),
    (OWN, 1, "fouls", "2.5", "a whole number from 0 to 999"),
    (OWN, 1, "height_cm", "500", "from 1.2 to 2.5"),
    (OWN, 1, "sprint_10m_s", "0.9", "from 1.4 to 4"),
    (OWN, 1, "sprint_20m_s", "99%", "from 2.4 to 7.5"),
    (OWN, 1, "twos", "40/38", "made at most attempted"),
    (OWN, 1, "threes", "10-Mar", "write 3 of 10"),
    (OWN, 1, "free_throws_attempted", "12", "column free_throws is missing"),
    (OPPONENT, 1, "turnovers", "2.5", "a whole number from 0 to 9999 (balls lost)"),
    (OPPONENT, 1, "turnovers", "-3", "a whole number from 0 to 9999 (balls lost)"),
    (OPPONENT, 1, "position", "libero", "guard, wing or big, or 1 to 5"),
    (OPPONENT, 1, "shooter", "blue", "sure, ordinary or shaky"),
    (OPPONENT, 1, "from_where", "corner, moon", "corner, wing, top, inside"),
    (OPPONENT, 1, "hand", "foot", "right, left or both"),
    (OPPONENT, 1, "handles_pressure", "sometimes not", "yes, some or no"),
    (OPPONENT, 1, "passes_from_big", "maybe", "yes or no"),
    (OPPONENT, 1, "free_throw_shooter", "52", "good, average or bad"),
    (OPPONENT, 1, "twos", "40/38", "made at most attempted"),
    (OPPONENT, 1, "threes", "10-Mar", "write 3 of 10"),
    (OPPONENT, 1, "threes", "135%", "made (12), made/attempted"),
    (OPPONENT, 1, "free_throws", "many", "made (12), made/attempted"),
    (OPPONENT, 1, "fouls", "-3", "a whole number from 0 to 999"),
    (OPPONENT, 1, "twos_attempted", "12", "at most the 12 attempted (or a percentage: 38%)"),
    (OPPONENT, 2, "FT%", "450", "a percentage from 0 to 100"),
    (OPPONENT, 1, "free_throws_attempted", "12", "column free_throws is missing"),
    (SHOTS, 1, "distance", "far", "5.5 m or 18 ft"),
    (SHOTS, 1, "distance", "40", "in front of the half-court line"),
    (SHOTS, 1, "distance", "21", "feet: write 21 ft"),
    (SHOTS, 1, "distance", "", "distance is missing"),
    (SHOTS, 1, "unit", "", "column unit is missing; needed: m or ft"),
    (SHOTS, 1, "unit", "yards", "m or ft"),
    (SHOTS, 1, "made", "x", "yes or no (made or missed)"),
    (SHOTS, 1, "made", "", "column made is missing"),
    (SHOTS, 1, "made", "in", "column made: 'in'"),
    (SHOTS, 1, "contested", "rather", "contested or open"),
    (SHOTS, 1, "x", "right", "column x"),
    (CALLS, 1, "word", "a very long word that nobody would ever shout", "at most 20 letters"),
    (CALLS, 1, "where", "moon", "one of corner, short corner, wing, top, half court corner"),
    (CALLS, 1, "where", "", "column where is missing"),
    (
        CALLS,
        1,
        "how_often",
        "now and then",
        "every time, every second, third or fourth time, a percentage",
    ),
    (CALLS, 1, "how_often", "0%", "a percentage such as 40%"),
    (CALLS, 1, "how_often", "40", "a percentage such as 40%"),
    (CALLS, 1, "most_a_game", "few", "a number of uses such as 6, or 2 a quarter"),
    (CALLS, 1, "most_a_game", "0", "a number of uses such as 6"),
    (CALLS, 1, "on_whom", "77", "those who start for Paper Kites (5, 10, 12, 20, 33)"),
    (CALLS, 1, "whose", "nobody", "ours or theirs"),
    (CALLS, 1, "on_whom", "the tall one", "shirt numbers of those who start for Paper Kites"),
    (
        CALLS,
        1,
        "who_doubles",
        "near guard",
        "two of near guard, far guard, near forward, far forward, centre",
    ),
    (CALLS, 1, "who_doubles", "near guard and goalkeeper", "or nearest two"),
    (CALLS, 1, "trigger", "when I say so", "one of pass in the air, catch, back turned"),
    (CALLS, 1, "trigger", "over half court", "one of pass in the air, catch, back turned"),
]
BAD_KEYS = [
    ("age_group", "young", "an age such as 16 or under 16"),
    ("age_group", "3", "from 5 to 40"),
    ("zone_allowed", "sometimes", "yes, no or don't know"),
    ("trap_allowed", "only once", "yes, no or don't know"),
    ("press_when_far_ahead", "2", "yes, no or don't know"),
    ("plays", "the triangle", "some of back cut, ball screen"),
    ("screens", "hedge", "one of drop, under, show, switch"),
    ("counted_against", "presses", "one of man-to-man, zone, both; or leave it empty"),
    ("their_defence", "5-0", "one of 2-3 zone, 3-2 zone"),
    ("opponent_front", "one 70, two", "a share beside each front"),
    ("level", "galactic", "one of college, professional, school, under_14"),
    ("level", "under_14", "another level"),
    ("rules", "street", "one of college, high_school, international, professional"),
    ("quarter_minutes", "0", "from 1 to 60"),
    ("periods", "2.5", "a whole number from 1 to 10"),
    ("shot_clock", "soon", "from 0 to 120"),
    ("them", "Copper Kettles", "another name than your own team's"),
    ("opponent_front", "five", "one (guard), two (guards) or overload"),
    ("high_post", "rarely", "yes, no or don't know"),
    ("short_corner", "rarely", "yes, no or don't know"),
    ("signal_wing", "RED", "a word that no other signal has"),
    ("signal_wing", "a very long word that nobody would ever shout", "at most 30 letters"),
]
NAMES = {id(table): name for name, table in EVENING.items()}


def _told(folder: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """The one line that ``check`` writes about a bad sheet."""
    assert cli.run(["check", str(folder)]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1 and err.startswith("trapledger: "), (out, err)
    return err


@pytest.mark.parametrize(("table", "row", "column", "value", "words"), BAD_CELLS)
def test_a_bad_cell_of_every_column_is_one_line(
    table: Table,
    row: int,
    column: str,
    value: str,
    words: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    name = NAMES[id(table)]
    write_evening(tmp_path, {name: with_cell(table, row, column, value)})
    told = _told(tmp_path, capsys)
    assert words in told and name in told


@pytest.mark.parametrize(("key", "value", "words"), BAD_KEYS)
def test_a_bad_answer_to_every_question_is_one_line(
    key: str, value: str, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_evening(tmp_path, {"game.csv": with_key(key, value)})
    told = _told(tmp_path, capsys)
    assert words in told and "game.csv" in told and key in told


def test_every_column_and_key_has_a_bad_example_here() -> None:
    from engine.inputs.sheets.columns import (
        CALL_COLUMNS,
        SHOT_COLUMNS,
        opponent_columns,
        own_columns,
    )
    from engine.inputs.sheets.data import load_grades
    from engine.inputs.sheets.questions import game_keys

    grades = load_grades()
    asked = (*own_columns(grades), *opponent_columns(grades), *CALL_COLUMNS, *SHOT_COLUMNS)
    columns = {c.name for c in asked}
    free = {"initials", "y", "threes_attempted"}  # any text; like x; like twos_attempted
    assert columns - free <= {column for _, _, column, _, _ in BAD_CELLS}
    keys = {key.name for key in game_keys()} - {"us"}  # like them
    assert keys - {key for key, _, _ in BAD_KEYS} == {"signal_corner", "signal_short_corner", "signal_top"}


@pytest.mark.parametrize("command", ["compare", "play", "stress", "check"])
def test_a_bad_sheet_stops_every_command_with_status_two(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_evening(tmp_path, {"own.csv": with_cell(OWN, 1, "pace", "fast-ish")})
    assert cli.run([command, str(tmp_path)]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1 and "own.csv: row 2, column pace: 'fast-ish' is not allowed" in err


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ([["shirt", "pace", "Pace"], ["4", "quick", "slow"]], "the column pace once"),
        ([["name", "pace"], ["A.B.", "quick"]], "the heading row above the rest (number, initials, starts,"),
        ([], "a sheet with the columns number"),
    ],
)
def test_bad_headings_are_told(table: Table, words: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as told:
        load_evening(write_evening(tmp_path, {"own.csv": table}))
    assert words in one_line(told.value)


def test_a_key_given_twice_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"row 14, key level: 'school'.*each key once \(row 6 has it\)"):
        load_evening(write_evening(tmp_path, {"game.csv": [*GAME, ["Level", "school"]]}))


def test_unknown_columns_and_keys_are_remarked_on_once(tmp_path: Path) -> None:
    own = with_cell(OWN, 1, "favourite dish", "soup")
    found = load_evening(write_evening(tmp_path, {"own.csv": own, "game.csv": with_key("weather", "dry")}))
    assert [line for line in found.remarks if "favourite dish" in line] == [
        f"{tmp_path}/own.csv: not used, because unknown here: the column(s) favourite dish"
    ]
    assert sum("weather" in line for line in found.remarks) == 1
