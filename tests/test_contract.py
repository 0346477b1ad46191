"""The JSON contract, its identities, and that a result does not depend on threads or blocks.

Identities marked "estimates" follow from the definitions of the quantities; they are checked on the
numbers as printed, so they see a mistake anywhere between the kernel's records and the file.
"""

from __future__ import annotations

import copy
import json
import os
import stat
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import engine
from engine.errors import InputError
from engine.estimate.rounding import of_hundred
from engine.report import contract, words
from engine.report.screen.compare import compare_text, play_text
from engine.run import blocks as run

SCENARIO = Path(__file__).parents[1] / "configs" / "scenarios" / "friday_night.toml"
N = 2000
Found = dict[str, Any]


@pytest.fixture(scope="module")
def scenario() -> Any:
    return engine.load(SCENARIO)


@pytest.fixture(scope="module")
def compared(scenario: Any) -> Found:
    return engine.compare(scenario, N, seed=1, threads=1).to_dict()


@pytest.fixture(scope="module")
def played(scenario: Any) -> Found:
    return engine.play(scenario, N, seed=1, threads=1).to_dict()


def setting_names(scenario: Any) -> list[str]:
    return [setting.name for setting in scenario.settings]


# --- the contract -------------------------------------------------------------------------------------


def test_compare_keeps_the_contract(compared: Found) -> None:
    assert contract.broken(compared) == []
    assert compared["schema"] == 1
    assert compared["tool"] == "trapledger"
    assert (compared["command"], compared["seed"], compared["possessions"]) == ("compare", 1, N)
    assert len(compared["config_hash"]) == 64
    assert compared["settings"], "the demo weighs at least one setting"
    assert sum(call["called"] for setting in compared["settings"] for call in setting["calls"]) > 0


def test_play_keeps_the_contract(played: Found, scenario: Any) -> None:
    assert contract.broken(played) == []
    for name in setting_names(scenario):
        assert contract.broken(engine.play(scenario, 300, 1, 1, name).to_dict()) == []


def test_pace_fills_the_playing_time_of_a_game(played: Found, scenario: Any) -> None:
    clock = scenario.rules.clock
    one_s = played["seconds_per_possession"]["mean"] + played["seconds_before_start"]
    assert played["seconds_before_start"] == scenario.constants["backcourt_used_s"] > 0
    assert played["possessions_per_game"] % clock.periods == 0  # whole ones in each
    apart_s = 2 * played["possessions_per_game"] / clock.periods * one_s - clock.period_s
    assert abs(apart_s) <= one_s
    set_up = scenario.model_copy(update={"start": "frontcourt"})
    assert engine.play(set_up, 50, 1, 1).to_dict()["seconds_before_start"] == 0.0


def test_json_is_strict_and_reads_back(compared: Found, played: Found) -> None:
    for result in (compared, played):
        text = contract.to_text(result)
        assert text.isascii()
        assert json.loads(text) == result
    with pytest.raises(ValueError, match="JSON"):
        contract.to_text({"value": float("nan")})


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("ends", "made_shot"), lambda n: n + 1),
        (("box", "points"), lambda n: n + 1),
        (("box", "fga"), lambda n: float(n)),
        (("box", "ftm"), lambda n: -1),
        (("points_per_possession", "mean"), lambda x: x + 1e-3),
        (("net_points_per_possession", "low"), lambda x: x + 10),
        (("seconds_per_possession",), lambda x: None),
    ],
)
def test_a_broken_play_block_is_noticed(played: Found, path: tuple[str, ...], value: Any) -> None:
    bad = copy.deepcopy(played)
    at = bad
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value(at[path[-1]])
    assert contract.broken(bad)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("outcomes", "steal"), lambda x: x + 0.01),
        (("turnover_rate",), lambda x: 1.5),
        (("called",), lambda n: N + 1),
        (("value", "high"), lambda x: -100.0),
        (("conceded",), lambda x: {"called": x["called"]}),
        (("over_n",), lambda x: {"n": x["n"]}),
        (("after_escape",), lambda x: {}),
    ],
)
def test_a_broken_call_is_noticed(compared: Found, path: tuple[str, ...], value: Any) -> None:
    bad = copy.deepcopy(compared)
    at = max(
        (call for setting in bad["settings"] for call in setting["calls"]), key=lambda call: call["called"]
    )
    for key in path[:-1]:
        at = at[key]
    at[path[-1]] = value(at[path[-1]])
    assert contract.broken(bad)


@pytest.mark.parametrize("key", contract.HEAD)
def test_a_missing_head_key_is_noticed(played: Found, key: str) -> None:
    assert contract.broken({k: v for k, v in played.items() if k != key})


# --- identities (estimates) ---------------------------------------------------------------------------


def test_compare_and_play_agree(compared: Found, played: Found, scenario: Any) -> None:
    """A branch of compare is the same run as play: same possessions, same luck."""
    keys = ("box", "ends", "points_per_possession", "net_points_per_possession", "seconds_per_possession")
    for key in keys:
        assert compared["baseline"][key] == played[key]
    setting = compared["settings"][0]
    alone = engine.play(scenario, N, seed=1, threads=1, setting=setting["name"]).to_dict()
    for key in keys:
        assert setting[key] == alone[key]
    assert [call["called"] for call in setting["calls"]] == [call["called"] for call in alone["calls"]]


def test_change_is_the_difference_of_the_means(compared: Found) -> None:
    home = compared["baseline"]["net_points_per_possession"]["mean"]
    for setting in compared["settings"]:
        own = setting["net_points_per_possession"]["mean"]
        assert setting["change"]["mean"] == pytest.approx(own - home, abs=1e-12)


def test_values_of_first_calls_add_up_to_the_change(compared: Found) -> None:
    """Where nothing was called the branches are the same, so the calls carry the whole change."""
    for setting in compared["settings"]:
        assert setting["uncalled_differences"] == 0
        saved = sum(call["called"] * call["value"]["mean"] for call in setting["calls"] if call["called"])
        assert saved == pytest.approx(-N * setting["change"]["mean"], abs=1e-6)


def test_values_of_all_calls_add_up_to_the_change(compared: Found) -> None:
    for setting in compared["settings"]:
        rows = [row for call in setting["calls"] for row in call["by_order"]]
        saved = sum(row["calls"] * row["value"]["mean"] for row in rows)
        assert saved == pytest.approx(-N * setting["change"]["mean"], abs=1e-6)
        for call in setting["calls"]:
            first = sum(row["calls"] for row in call["by_order"] if row["number_in_possession"] == 1)
            assert first == call["called"]
            assert sum(row["calls"] for row in call["by_order"]) == call["calls"]


def test_break_even_identity(compared: Found) -> None:
    """value = (t - t*) (c_N - c_T), exactly."""
    seen = 0
    for setting in compared["settings"]:
        for call in setting["calls"]:
            even = call["break_even"]
            if even["t_star"]["mean"] is None:
                assert call["break_even_turnover_rate"] is None
                continue
            seen += 1
            gain = even["net_conceded_otherwise"] - even["net_conceded_with_turnover"]
            expected = (call["turnover_rate"] - even["t_star"]["mean"]) * gain
            assert call["value"]["mean"] == pytest.approx(expected, abs=1e-12)
    assert seen


# --- threads, blocks, seeds ---------------------------------------------------------------------------


def test_threads_and_repeats_give_the_same_bytes(scenario: Any, compared: Found) -> None:
    once = contract.to_text(compared)
    assert contract.to_text(engine.compare(scenario, N, seed=1, threads=1).to_dict()) == once
    assert contract.to_text(engine.compare(scenario, N, seed=1, threads=2).to_dict()) == once


def test_blocks_give_the_same_bytes(scenario: Any, compared: Found, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "BLOCK", 173)
    assert contract.to_text(engine.compare(scenario, N, seed=1, threads=2).to_dict()) == contract.to_text(
        compared
    )


def test_another_seed_gives_another_result(scenario: Any, played: Found) -> None:
    other = engine.play(scenario, N, seed=2, threads=1).to_dict()
    assert other["box"] != played["box"]
    assert other["config_hash"] == played["config_hash"]


def test_one_possession_has_no_interval(scenario: Any) -> None:
    result = engine.compare(scenario, 1, seed=3, threads=1).to_dict()
    assert contract.broken(result) == []
    assert result["baseline"]["points_per_possession"]["low"] is None
    assert compare_text(result, with_detail=True)


def test_progress_counts_every_possession(scenario: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "BLOCK", 100)
    seen: list[tuple[int, int]] = []
    engine.play(scenario, 450, 1, 2, progress=lambda done, total: seen.append((done, total)))
    assert seen == [(0, 450), (100, 450), (200, 450), (300, 450), (400, 450), (450, 450)]


def test_an_interrupt_drops_the_blocks_that_wait(scenario: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(run, "BLOCK", 10)
    seen: list[int] = []

    def stop(done: int, total: int) -> None:
        seen.append(done)
        if done >= 50:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        engine.play(scenario, 10_000_000, 1, 2, progress=stop)
    assert seen == [0, 10, 20, 30, 40, 50]


@pytest.mark.parametrize(
    ("sizes", "named"),
    [
        ({"possessions": 0}, "--possessions: 0 "),
        ({"possessions": -5}, "--possessions: -5 "),
        ({"possessions": 2.5}, "--possessions: 2.5 "),
        ({"seed": -1}, "--seed: -1 "),
        ({"seed": 2**64}, f"--seed: {2**64} "),
        ({"threads": 0}, "--threads: 0 "),
        ({"threads": True}, "--threads: true "),
    ],
)
def test_sizes_out_of_range_are_named(scenario: Any, sizes: dict[str, Any], named: str) -> None:
    with pytest.raises(InputError) as caught:
        engine.play(scenario, **sizes)
    assert str(caught.value).startswith(named)
    assert "allowed: a whole number from" in str(caught.value)


# --- pandas views and replay --------------------------------------------------------------------------


def test_pandas_views_hold_the_numbers_of_the_json(scenario: Any) -> None:
    played = engine.play(scenario, 300, seed=1, threads=1)
    found = played.to_dict()
    assert played.box().to_dict() == found["box"]
    assert played.ends().to_dict() == found["ends"]
    assert played.table().loc["points_per_possession", "mean"] == found["points_per_possession"]["mean"]
    assert played.shots()["attempts"].sum() == found["box"]["fga"]
    both = engine.compare(scenario, 300, seed=1, threads=1)
    assert list(both.table().index) == ["home", *setting_names(scenario)]
    assert len(both.calls()) == sum(len(setting.calls) for setting in scenario.settings)
    assert both.calls()["called"].tolist() == [
        call["called"] for setting in both.to_dict()["settings"] for call in setting["calls"]
    ]
    for table, result in ((played.table(), found), *((one, both.to_dict()) for one in
                          (both.table(), both.calls(), both.factors()))):  # fmt: skip
        assert table.attrs == {key: result[key] for key in table.attrs} and table.attrs["seed"] == 1
        assert {"sources of the kernel", "processor", "mathematics library"} < table.attrs["versions"].keys()


def test_replay_is_the_possession_of_the_batch(scenario: Any) -> None:
    """One possession by itself: the replayed record adds up to what a run of that possession tallied."""
    name = setting_names(scenario)[0]
    alone = engine.play(scenario, 1, seed=1, threads=1, setting=name).to_dict()
    again = engine.replay(scenario, 0, name, seed=1)
    record = again.record()
    assert {key: int(record[key]) for key in alone["box"]} == alone["box"]
    assert alone["ends"][record["end"]] == 1
    frames, events = again.frames(), again.events()
    assert len(frames) > 1
    assert (frames["t_s"].diff().dropna() > 0).all()
    assert frames["region"].ne("").all()
    assert events["event"].iloc[-1] == "end"
    assert (events["t_s"].diff().dropna() >= 0).all()


def test_replay_refuses_what_is_not_there(scenario: Any) -> None:
    with pytest.raises(InputError, match="--index: -1 "):
        engine.replay(scenario, -1)
    with pytest.raises(InputError, match="setting: 'nowhere' is not allowed; allowed: one of home"):
        engine.replay(scenario, 0, "nowhere")


# --- text ---------------------------------------------------------------------------------------------


def test_text_fits_a_terminal(compared: Found, played: Found) -> None:
    for text in (compare_text(compared), play_text(played)):
        assert text.isascii()
        assert max(len(line) for line in text.splitlines()) <= words.WIDTH
        assert "None" not in text
        assert "nan" not in text.split()
    for setting in compared["settings"]:
        assert words.plain(setting["name"]) in compare_text(compared)
    assert compared["config_hash"] not in compare_text(compared)
    assert compared["config_hash"] in compare_text(compared, with_detail=True)


def test_text_says_so_when_a_call_was_never_or_hardly_made(compared: Found) -> None:
    changed = copy.deepcopy(compared)
    call = changed["settings"][0]["calls"][0]
    call["called"] = 0
    assert f"never came up in {N:,} possessions, not judged" in compare_text(changed)
    call["called"] = words.FEW_CALLS - 1
    assert f"came up {words.FEW_CALLS - 1} times in {N:,} possessions: not judged" in compare_text(changed)


def test_text_warns_of_cut_possessions(played: Found) -> None:
    assert "CAUTION" not in play_text(played)
    changed = copy.deepcopy(played)
    changed["checks"]["overflow"] = 3
    assert "CAUTION: 3 possessions were cut" in play_text(changed)


@pytest.mark.parametrize(
    ("found", "said"),
    [
        ((2.1, 1.5, 2.7), "saves 2.1 points (1.5 to 2.7)"),
        ((-2.1, -2.7, -1.5), "costs 2.1 points (1.5 to 2.7)"),
        ((0.1, -0.4, 0.6), "no clear difference (0.4 lost to 0.6 saved points)"),
        ((0.0, 0.0, 0.0), "no difference at all"),
        ((0.02, 0.01, 0.03), "saves 0.02 points (0.01 to 0.03)"),
        ((0.002, 0.001, 0.04), "saves under 0.01 points (under 0.01 to 0.04)"),
        ((0.1, 0.06, 0.14), "saves 0.10 points (0.06 to 0.14)"),  # not 0.1 (0.1 to 0.1)
        ((-0.1, -0.14, -0.06), "costs 0.10 points (0.06 to 0.14)"),
        ((0.1, 0.099, 0.101), "saves about 0.10 points"),
        ((0.5, None, None), "too few to tell"),
        ((None, None, None), "nothing to go by"),
    ],
)
def test_points_saved_in_words(found: tuple[float | None, ...], said: str) -> None:
    assert words.saved(dict(zip(("mean", "low", "high"), found, strict=True)), 1, "points") == said


def test_a_range_whose_ends_are_written_alike_gets_a_digit_or_is_about() -> None:
    def told(*found: float | None) -> str:
        return words.around(dict(zip(("mean", "low", "high"), found, strict=True)), 1)

    assert told(0.1, 0.06, 0.14) == "0.10 (0.06 to 0.14)" and told(0.1, 0.04, 0.14) == "0.1 (0.04 to 0.1)"
    assert told(0.1, 0.1001, 0.1002) == "about 0.10" and told(-0.01, -0.3, 0.2) == "0.0 (-0.3 to 0.2)"
    assert told(0.2, None, None) == "0.2 (too few for a range)" and told(None, None, None) == "-"
    assert words.span("97", "97") == "about 97" and words.ranged("7", "7", "8", "-") == "7 (7-8)"


@given(st.lists(st.integers(0, 1000), min_size=1, max_size=9).filter(any))
def test_shares_of_a_hundred_add_up(counts: list[int]) -> None:
    shares = [count / sum(counts) for count in counts]
    whole = of_hundred(shares)
    assert sum(whole) == 100
    assert all(abs(n - 100 * share) < 1 for n, share in zip(whole, shares, strict=True))


def test_percent_never_hides_a_small_share() -> None:
    assert [words.percent(x) for x in (0.0, 0.001, 0.38, 1.0, None)] == ["0%", "under 1%", "38%", "100%", "-"]


# --- writing ------------------------------------------------------------------------------------------


def test_a_file_is_replaced_as_a_whole(tmp_path: Path) -> None:
    target = tmp_path / "out.json"
    target.write_text("old")
    target.chmod(0o640)
    contract.write("new\n", str(target))
    assert target.read_text() == "new\n"
    assert stat.S_IMODE(target.stat().st_mode) == 0o640
    assert os.listdir(tmp_path) == ["out.json"]


def test_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real.json").write_text("old")
    (tmp_path / "link.json").symlink_to(tmp_path / "real.json")
    contract.write("new\n", str(tmp_path / "link.json"))
    assert (tmp_path / "link.json").is_symlink()
    assert (tmp_path / "real.json").read_text() == "new\n"


def test_a_failed_write_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "out.json"
    target.write_text("old")

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(InputError, match="No space left on device"):
        contract.write("new\n", str(target))
    assert target.read_text() == "old"
    assert os.listdir(tmp_path) == ["out.json"]


def test_a_device_is_written_to_and_stays_a_device() -> None:
    contract.check_target(os.devnull)
    contract.write("text\n", os.devnull)
    assert stat.S_ISCHR(os.stat(os.devnull).st_mode)


@pytest.mark.parametrize("target", ["missing/out.json", "folder", "folder/", "file/out.json", "nul\0.json"])
def test_targets_that_cannot_be_written_are_refused(tmp_path: Path, target: str) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match=r"^--json: .* allowed: a file that can be written \(.+\)$"):
        contract.check_target(f"{tmp_path}/{target}")
    assert sorted(os.listdir(tmp_path)) == ["file", "folder"]
    assert os.listdir(tmp_path / "folder") == []


def test_checking_a_target_leaves_nothing(tmp_path: Path) -> None:
    contract.check_target(str(tmp_path / "out.json"))
    assert os.listdir(tmp_path) == []
