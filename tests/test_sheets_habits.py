"""Sheets as people write and name them: percentages, words of the trade, other file names; read once."""

from __future__ import annotations

from pathlib import Path

import pytest
from sheet_files import EVENING, OPPONENT, OWN, Table, with_cell, write_evening

from engine import cli
from engine.inputs import configs_root
from engine.inputs.sheets import load_evening
from engine.inputs.sheets.columns import SHEETS

NAMES = {id(table): name for name, table in EVENING.items()}


def told(folder: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """The one line that ``check`` writes about a folder it refuses."""
    assert cli.run(["check", str(folder)]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    return err


@pytest.mark.parametrize(("heading", "cell"), [("2P%", "45"), ("twos pct", "0,45"), ("2P %", "45%")])
def test_a_column_of_percentages_is_not_taken_as_makes(heading: str, cell: str, tmp_path: Path) -> None:
    table = with_cell(with_cell(OPPONENT, 4, "twos", ""), 4, heading, cell)
    given, wanted = (
        load_evening(write_evening(tmp_path / str(i), {"opponent.csv": one}))
        for i, one in enumerate((table, OPPONENT))
    )
    assert given.scenario.offence_team == wanted.scenario.offence_team and given.remarks == ()
    assert any("counts like 40 attempts" in line for line in given.assumptions)


def test_percentages_with_attempts_are_makes(tmp_path: Path) -> None:
    table = with_cell(with_cell(OPPONENT, 5, "twos", ""), 5, "2P%", "50")
    found = load_evening(write_evening(tmp_path, {"opponent.csv": with_cell(table, 5, "2PA", "118")}))
    assert [(n.made, n.attempted) for n in found.shooting if n.number == 33] == [(59, 118)]


def test_makes_alone_are_said_to_be_makes(tmp_path: Path) -> None:
    said = load_evening(write_evening(tmp_path)).assumptions
    assert any("If a number was meant as a percentage, write 45%" in line for line in said)


@pytest.mark.parametrize(
    ("table", "row", "column", "word", "same"),
    [
        (OPPONENT, 1, "position", "PG", "point guard"),
        (OPPONENT, 2, "position", "SG", "guard"),
        (OPPONENT, 2, "position", "small forward", "wing"),
        (OPPONENT, 4, "position", "PF", "big"),
        (OPPONENT, 4, "position", "C", "centre"),
        (OWN, 1, "place", "PG", "guard"),
        (OWN, 3, "place", "pf", "forward"),
        (OWN, 5, "place", "C", "centre"),
        (OWN, 1, "pace", "fast", "quick"),
        (OPPONENT, 1, "pace", "average", "normal"),
    ],
)
def test_the_trades_own_words_are_read(
    table: Table, row: int, column: str, word: str, same: str, tmp_path: Path
) -> None:
    name = NAMES[id(table)]
    one, other = (
        load_evening(
            write_evening(tmp_path / str(i), {name: with_cell(table, row, column, written)})
        ).scenario
        for i, written in enumerate((word, same))
    )
    assert (one.offence_team, one.defence_team) == (other.offence_team, other.defence_team)


@pytest.mark.parametrize("name", ["game (1).csv", "Game - Copy.csv", "copy of game.csv", "game2.csv"])
def test_a_sheet_under_a_second_name_istold(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = write_evening(tmp_path)
    (folder / "game.csv").rename(folder / name)
    assert f"'{name}' is not allowed; allowed: the name game.csv" in told(folder, capsys)
    (folder / name).rename(folder / "my game notes.csv")
    assert any("game.csv is not there" in line for line in load_evening(folder).assumptions)


@pytest.mark.parametrize("command", ["compare", "plan", "check"])
def test_a_misspelt_folder_is_told_about_folders(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_evening(tmp_path / "friday")
    assert cli.run([command, str(tmp_path / "firday")]) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1) and "folder" in err and "trapledger new FOLDER" in err
    assert command == "check" or "nearest 'friday'" in err


# --- read once ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "line",
    [
        "compare SHEETS -n 40",
        "play SHEETS -n 40",
        "stress SHEETS --worlds 16 -n 10",
        "replay SHEETS -n 40 --pick 3 -o OUT",
        "trace SHEETS --index 1 -o OUT",
    ],
)
def test_a_command_reads_the_sheets_once(line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was assumed is of the sheets that were played, also when somebody saves them meanwhile."""
    sheets = write_evening(tmp_path / "sheets")
    read: list[str] = []
    plain = Path.read_bytes

    def counted(path: Path) -> bytes:
        read.append(path.name)
        return plain(path)

    monkeypatch.setattr(Path, "read_bytes", counted)
    stands = {"SHEETS": str(sheets), "OUT": str(tmp_path / "out")}
    assert cli.run([stands.get(word, word) for word in [*line.split(), "--quiet"]]) == 0
    assert [sum(name == sheet for name in read) for sheet in SHEETS] == [1, 1, 1, 1, 1]


def test_the_risk_is_added_up_over_the_same_number_of_calls_everywhere(tmp_path: Path) -> None:
    file = configs_root() / "scenarios" / "friday_night.toml"
    bare = tmp_path / "bare.toml"
    lines = file.read_text(encoding="utf-8").splitlines(keepends=True)
    bare.write_text("".join(line for line in lines if not line.startswith("over_n")), encoding="utf-8")
    assert (
        load_evening(bare).scenario.over_n
        == load_evening(write_evening(tmp_path / "sheets")).scenario.over_n
        == 10
    )


def test_answers_that_change_nothing_and_signals_said_anyway_are_told(tmp_path: Path) -> None:
    game = [*EVENING["game.csv"], ["short_corner", "yes"], ["signal_top", "Switch"]]
    game = [["opponent_front", "two"] if row[0] == "opponent_front" else row for row in game]
    where = tmp_path / "game.csv"
    assert load_evening(write_evening(tmp_path, {"game.csv": game})).remarks == (
        f"{where}: short_corner changes nothing: opponent_front and high_post say how they play.",
        f"{where}: high_post changes nothing with opponent_front two.",
        f'{where}: the signal "Switch" is also said for something else on the floor.',
    )
