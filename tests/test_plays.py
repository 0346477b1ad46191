"""Plays of the attack: their files, their arrays, what ``check`` says of them, and their page.

What the kernel makes of them: test_plays_played.py.
"""

from __future__ import annotations

import math
import re
import shlex
from pathlib import Path
from typing import Any

import pytest
from browser import Chromium
from input_files import play, scenario, write, write_all
from report_pages import A4, LAPTOP, PHONE, pages_of
from sheet_files import write_evening

from engine import cli
from engine.checks.files import check_path
from engine.errors import InputError
from engine.inputs import configs_root, load_alignment, load_constants, load_play, load_rules, load_scenario
from engine.inputs.files import shipped
from engine.inputs.plays import Play, play_from
from engine.state.arrays import MOST_MOVES, MOST_STEPS
from engine.state.words import REGIONS, STARTS, WHO, Only
from engine.still.holes import TOP_SPEED_MPS
from engine.still.plays import findings, shown, stills
from engine.world.court import build_court
from engine.world.pack import pack

pytest_plugins = ("evening_pages",)

PLAYS = configs_root() / "plays"
SHIPPED = tuple(load_play(name) for name in shipped("plays"))


# --- files ----------------------------------------------------------------------------------------------


def changed(path: str, value: Any) -> dict[str, Any]:
    """The play of the tests with the value at "step/0/move/1/who" replaced; None takes it away."""
    data: Any = play()
    *parts, last = (int(part) if part.isdigit() else part for part in path.split("/"))
    inner = data
    for part in parts:
        inner = inner[part]
    if value is None:
        del inner[last]
    else:
        inner[last] = value
    return data  # type: ignore[no-any-return]


@pytest.mark.parametrize(
    ("path", "value", "key", "shown_value", "allowed"),
    [
        ("against", "zones", "against", "'zones'", "zone, men; nearest 'zone'"),
        ("against", [], "against", "[]", ""),
        ("titel", "x", "unknown key titel", "", "nearest 'title'"),
        ("title", None, "title is missing", "", ""),
        ("step", None, "step", "", ""),
        (
            "step/0/when",
            "passed",
            "step[1].when",
            "'passed'",
            "pass, hold, drive, escape, then; nearest 'pass'",
        ),
        ("step/0/wen", "pass", "unknown key step[1].wen", "", "nearest 'when'"),
        ("step/0/ball", "wings", "step[1].ball", "'wings'", "nearest 'wing'"),
        ("step/0/ball", [], "step[1].ball", "[]", ""),
        ("step/0/lasts_s", 0, "step[1].lasts_s", "0", "above 0"),
        ("step/0/lasts_s", None, "step[1].lasts_s is missing", "", ""),
        ("step/0/lasts_s", "long", "step[1].lasts_s", "'long'", "number"),
        ("step/0/often", 1.5, "step[1].often", "1.5", "1"),
        ("step/0/often", -0.1, "step[1].often", "-0.1", "0"),
        ("step/0/next", "go onn", "step[1].next", "'go onn'", "begin, go on, cut; nearest 'go on'"),
        ("step/2/name", "begin", "step[3].name", "'begin'", "each name once"),
        ("step/1/when", "drive", "step[2].move[1].who", "'passer'", "unless when is pass or then"),
        ("step/0/move/0/pace", 0.5, "step[1].move[1].pace", "0.5", "none for the handler"),
        ("step/0/move/0/within_m", 3.0, "step[1].move[1].within_m", "3.0", "none unless who is nearest"),
        ("step/0/next", None, "step[2].when", "'then'", "some step with next ="),
        ("step/2/held_s", 0.5, "step[3].held_s", "0.5", '0 unless when = "hold"'),
        ("step/0/after_s", 0.4, "step[1].after_s", "0.4", "held_s in its place"),
        ("step/2/after_s", 0, "step[3].after_s", "0", "held_s in its place"),
        ("step/0/move", [], "step[1].move", "", ""),
        ("step/0/move/1/who", "nobody", "step[1].move[2].who", "'nobody'", "handler, passer, nearest"),
        ("step/0/move/1/near", None, "step[1].move[2].near is missing", "", "nearest"),
        ("step/0/move/1/near", "wingg", "step[1].move[2].near", "'wingg'", "nearest 'wing'"),
        ("step/0/move/1/near", 3, "step[1].move[2].near", "3", "a named spot, [x, y] in metres, or a table"),
        ("step/0/move/1/to", [40.0, 0.0], "step[1].move[2].to", "[40.0, 0.0]", "-7.62 to 7.62"),
        ("step/0/move/1/to", [7.0, -2.9], "step[1].move[2].to", "[7.0, -2.9]", "on the court"),
        ("step/0/move/1/to", None, "step[1].move[2].to is missing", "", ""),
        ("step/0/move/1/pace", 1.2, "step[1].move[2].pace", "1.2", "1"),
        ("step/0/move/1/pace", 0, "step[1].move[2].pace", "0", "above 0"),
        ("step/0/move/1/within_m", 0, "step[1].move[2].within_m", "0", "above 0"),
        ("step/0/move/1/after_s", -1, "step[1].move[2].after_s", "-1", "0"),
        ("step/0/move/1/only_if", "open", "step[1].move[2].only_if", "'open'", "way_open, denied"),
        ("step/0/move/1/paces", 1, "unknown key step[1].move[2].paces", "", "nearest 'pace'"),
        ("step/1/move/0/near", "wing", "step[2].move[1].near", "a place", 'none unless who = "nearest"'),
        ("step/2/move/0/who", "handler", "step[3].move[1].who", "'handler'", 'unless when = "hold"'),
        ("step/0/move/0/after_s", 0.5, "step[1].move[1].who", "'handler'", "no after_s and no only_if"),
        ("step/0/move/0/only_if", "denied", "step[1].move[1].who", "'handler'", "no after_s and no only_if"),
    ],
)
def test_what_is_wrong_is_one_line(
    tmp_path: Path, path: str, value: Any, key: str, shown_value: str, allowed: str
) -> None:
    file = write(tmp_path, "play.toml", changed(path, value))
    with pytest.raises(InputError) as told:
        load_play(file)
    text = str(told.value)
    assert "\n" not in text and text.startswith(f"{file}: {key}")
    assert shown_value in text and allowed in text


def test_too_many_moves_and_only_steps_that_follow(tmp_path: Path) -> None:
    data = play()
    move = data["step"][1]["move"][0]
    data["step"][1]["move"] = [move] * (MOST_MOVES + 1)
    with pytest.raises(InputError, match=rf"step\[2\]\.move.*{MOST_MOVES}"):
        load_play(write(tmp_path, "play.toml", data))
    data = play()
    data["step"] = [data["step"][1] | {"next": "go on"}]
    with pytest.raises(
        InputError, match=r"step\[1\]\.when: 'then' is not allowed; allowed: an occasion for at least one"
    ):
        load_play(write(tmp_path, "play.toml", data))


def with_plays(folder: Path, names: Any) -> Path:
    write_all(folder)
    data = scenario()
    data["offence"]["plays"] = names
    return write(folder, "scenario.toml", data)


@pytest.mark.parametrize(
    ("names", "key", "allowed"),
    [
        (["gap_kik"], "offence.plays[1]: 'gap_kik'", "nearest shipped play 'gap_kick'"),
        (["gap_kick", "gap_kick"], "offence.plays[2]: 'gap_kick'", "each play once"),
        (["play.toml", "zone.toml"], "", "zone.toml"),
        ("gap_kick", "offence.plays", ""),
    ],
)
def test_a_scenario_with_wrong_plays(tmp_path: Path, names: Any, key: str, allowed: str) -> None:
    with pytest.raises(InputError) as told:
        load_scenario(with_plays(tmp_path, names))
    assert key in str(told.value) and allowed in str(told.value) and "\n" not in str(told.value)


def test_too_many_steps_together(tmp_path: Path) -> None:
    first = play()["step"][2]
    each = MOST_STEPS // 2
    for name in ("one", "two"):
        steps = [first | {"name": str(i)} for i in range(each)]
        write(tmp_path, f"{name}.toml", play() | {"name": name, "step": steps})
    most = load_scenario(with_plays(tmp_path, ["one.toml", "two.toml"]))
    assert pack(most).home[0].n_steps == MOST_STEPS
    with pytest.raises(InputError, match=rf"offence\.plays: '{MOST_STEPS + 3} steps'.*at most {MOST_STEPS}"):
        load_scenario(with_plays(tmp_path, ["one.toml", "two.toml", "play.toml"]))


def test_a_scenario_runs_the_shipped_plays_if_it_says_nothing(tmp_path: Path) -> None:
    write_all(tmp_path)
    data = scenario()
    del data["offence"]["plays"]
    named = load_scenario(write(tmp_path, "scenario.toml", data)).plays
    assert sorted(one.name for one in named) == sorted(shipped("plays"))
    assert load_scenario(with_plays(tmp_path, [])).plays == ()


# --- arrays ---------------------------------------------------------------------------------------------


def bits(mask: int, words: tuple[str, ...]) -> set[str]:
    return {word for i, word in enumerate(words) if mask >> i & 1}


def test_the_arrays_of_a_play(tmp_path: Path) -> None:
    w = pack(load_scenario(with_plays(tmp_path, ["gap_kick", "play.toml"]))).home[0]
    before = len(load_play("gap_kick").steps)
    assert w.n_steps == before + 3
    begin, then, cut = (w.steps[before + i] for i in range(3))
    assert [STARTS[one.start] for one in (begin, then, cut)] == ["hold", "then", "pass"]
    assert bits(begin.regions, REGIONS) == {"top", "slot"} and bits(cut.regions, REGIONS) == {"wing"}
    assert bits(then.regions, REGIONS) == set(REGIONS)
    assert bits(begin.against, ("zone", "men")) == {"zone", "men"}
    assert bits(w.steps[0].against, ("zone", "men")) == {"zone"}
    # the steps that follow count from the first step of all plays
    assert [one.next for one in (begin, then, cut)] == [before + 1, -1, -1]
    assert (begin.after_s, begin.lasts_s, begin.often, begin.n_moves) == (0.4, 1.5, 0.5, 3)
    handler, far_wing, corner = (begin.moves[i] for i in range(3))
    assert [WHO[one.who] for one in (handler, far_wing, corner)] == ["handler", "nearest", "nearest"]
    assert (handler.x_m, handler.y_m) == (1.0, 6.0)
    # the far side is x < 0, its shift mirrored with it
    wing = build_court(load_rules("high_school")).spot("wing")
    assert (far_wing.near_x_m, far_wing.near_y_m) == pytest.approx((-wing[0] - 0.5, wing[1] - 0.5))
    assert (far_wing.within_m, far_wing.pace, far_wing.after_s) == (3.0, 0.5, 0.2)
    assert (corner.only, corner.within_m, corner.pace) == (Only.DENIED, 4.0, 1.0)
    assert WHO[then.moves[0].who] == "passer"


# --- what check says --------------------------------------------------------------------------------------


def of_steps(*steps: dict[str, Any], against: Any = "zone") -> Play:
    head = {"name": "p", "title": "P", "source": "invented", "against": against}
    return play_from({**head, "step": list(steps)}, "p.toml")


def step(name: str, when: str, *moves: dict[str, Any], **more: Any) -> dict[str, Any]:
    some = moves or ({"who": "passer" if when == "pass" else "nearest", "near": "top", "to": "top"},)
    moves = tuple({k: v for k, v in one.items() if k != "near" or one["who"] == "nearest"} for one in some)
    return {"name": name, "when": when, "lasts_s": 2.0, "move": list(moves), **more}


def run_to(to: Any, near: Any = "wing", **more: Any) -> dict[str, Any]:
    return {"who": "nearest", "near": near, "to": to, **more}


@pytest.mark.parametrize("one", SHIPPED, ids=lambda one: one.name)
def test_nothing_is_wrong_with_the_shipped_plays(one: Play) -> None:
    assert findings(one) == []
    assert one.source == "common practice, no source"


@pytest.mark.parametrize(
    ("steps", "kind", "text"),
    [
        ([step("a", "hold", ball="backcourt")], "never", "backcourt"),
        ([step("a", "hold", often=0.0)], "never", "often is 0"),
        (
            [step("a", "hold", ball="top", next="b"), step("b", "then", ball="corner")],
            "seldom",
            "after a the ball is in the corner only where it was passed on meanwhile",
        ),
        (
            [step("a", "hold"), step("b", "then", next="c"), step("c", "then", next="b")],
            "never",
            "no step that can come leads to it",
        ),
        ([step("a", "hold", often=0.0, next="b"), step("b", "then")], "never", "leads to it"),
        ([step("a", "hold", run_to("top", near=[0.0, 12.0], within_m=1.0))], "nobody", "within 1 m"),
        ([step("a", "hold", run_to("rim"), ball="top", lasts_s=0.5)], "late", "there are 0.5 s"),
        (
            [step("a", "hold", run_to([0.0, 5.0]), ball="top")],
            "crowd",
            "positions 2 and 5 end 0.1 m apart",
        ),
    ],
)  # fmt: skip
def test_what_is_wrong_with_a_play_is_found(steps: list[dict[str, Any]], kind: str, text: str) -> None:
    found = findings(of_steps(*steps))
    assert any(one.kind == kind and text in one.text for one in found)
    assert {one.kind for one in found} <= {kind, "crowd"}


def test_a_man_who_keeps_his_move_has_the_next_step_for_it_too() -> None:
    first = step("a", "hold", run_to("rim"), ball="top", lasts_s=0.6, next="b")
    other = step("b", "then", run_to("top", near="high_post"), lasts_s=2.0)
    assert not [one for one in findings(of_steps(first, other)) if one.kind == "late"]
    again = step("b", "then", run_to("corner", near="rim", within_m=2.0), lasts_s=2.0)
    assert [one.step for one in findings(of_steps(first, again)) if one.kind == "late"] == ["a"]


def test_who_has_passed_may_go_in_the_next_step_too() -> None:
    first = step("a", "pass", run_to("short_corner", near="corner"), ball="wing", next="b")
    play = of_steps(first, step("b", "then", {"who": "passer", "to": "rim"}))
    assert [one for one in findings(play) if one.kind == "nobody"] == []
    found = stills(play, load_alignment("high_post_short_corner"), build_court(load_rules("international")))
    for still in found["b"]:
        assert still.came is not None and still.runs[0] is not None
        assert still.runs[0].man == still.came.passer != still.handler


def test_still_pictures_of_a_pass() -> None:
    """The one-guard front: the pass from the top to the wing, by hand."""
    court, alignment = build_court(load_rules("international")), load_alignment("high_post_short_corner")
    cut = {"who": "passer", "to": [0.8, 1.0], "after_s": 0.3, "pace": 0.5}
    found = stills(of_steps(step("a", "pass", cut, ball="wing")), alignment, court)["a"]
    one = next(still for still in found if still.ball_from == "top")
    assert (one.handler, one.region) == (2, "wing") and one.passer == 1
    run = one.runs[0]
    assert run is not None and run.man == 1 and run.start == court.spot("top") and run.end == (0.8, 1.0)
    # v(t) = vmax (1 - exp(-t / tau)) from rest covers the way in that time
    tau, top, time_s = load_constants()["sprint_tau_s"].value, 0.5 * TOP_SPEED_MPS, run.to_s - 0.3
    way = top * (time_s - tau * (1.0 - math.exp(-time_s / tau)))
    assert run.from_s == 0.3 and way == pytest.approx(math.dist(court.spot("top"), (0.8, 1.0)))
    assert one.after[1] == (0.8, 1.0) and one.after[3] == pytest.approx(
        (-court.spot("wing")[0], court.spot("wing")[1])
    )
    assert all(still.places[still.handler][0] > -0.6 for still in found)  # the ball's side is always x > 0


def test_a_step_that_follows_is_drawn_where_the_one_before_leaves_them() -> None:
    court, alignment = build_court(load_rules("international")), load_alignment("high_post_short_corner")
    for one in SHIPPED:
        drawn = shown(one, stills(one, alignment, court))
        assert list(drawn) and set(drawn) == {each.name for each in one.steps}
        for each in one.steps:
            if each.when == "then":
                before = drawn[each.name].came
                assert before is not None and any(before is other for other in drawn.values())
                assert drawn[each.name].places == before.after


# --- the words, the page, the guide -----------------------------------------------------------------------


def test_check_says_what_a_play_means(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = check_path(write(tmp_path, "play.toml", play()))
    assert lines[0].endswith('play.toml: play "Play of the tests", against a zone and man-to-man, 3 steps')
    told = [line.strip() for line in lines]
    assert told[1] == (
        '"begin" begins when the ball is held at the top or in the slot, 0.4 s after the catch at the '
        "earliest, in 50 of 100 such moments, less often where another play may begin; lasts 1.5 s; then "
        '"go on"'
    )
    assert told[2].startswith(
        "A: the man with the ball dribbles to the place 6 m in front of the rim, 1 m to the"
    )
    assert told[3].startswith(
        "B: who is nearest to the far wing (0.5 m outward, 0.5 m nearer to the baseline) (within 3 m) waits "
        "0.2 s and goes to the top at 50% of his speed ("
    )
    assert told[4].endswith("if a defender stands in the lane between the ball and him")
    assert told[5] == '"go on" follows "begin"; lasts 1 s; then everybody goes back to his place'
    assert told[7].startswith('"cut" begins when a pass to the wing has just left; lasts 1 s')
    # a scenario names its plays in a line
    said = check_path(with_plays(tmp_path, ["play.toml", "gap_kick"]))
    assert '  plays of Team of the tests: "Play of the tests", "dribble into the gap, pass to' in said[1]
    assert check_path(with_plays(tmp_path, []))[1].endswith(": none")


def page_of(*paths: Path | str, to: Path) -> str:
    assert cli.run(["check", "--quiet", *(str(path) for path in paths), "--picture", str(to)]) == 0
    return to.read_text(encoding="utf-8")


def test_the_picture_is_a_page_by_itself(tmp_path: Path, chromium: Chromium) -> None:
    """Every shipped play: no request, nothing to scroll across on a phone, no label on a sign, A4 printed."""
    out = tmp_path / "plays.html"
    page_of(PLAYS, to=out)
    n_steps = sum(len(one.steps) for one in SHIPPED)
    overlaps = """[...document.querySelectorAll('svg.court')].map(svg => {
      const box = e => e.getBoundingClientRect(), signs = [...svg.querySelectorAll('.man')].map(box);
      return [...svg.querySelectorAll('.label')].map(box).filter(a => signs.some(b =>
        Math.min(a.right, b.right) - Math.max(a.left, b.left) > 4 &&
        Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 6)).length }).reduce((a, b) => a + b, 0)"""
    for width in (PHONE, LAPTOP):
        page = chromium.page(width=width, height=740)
        page.open(out)
        assert page.problems == [] and page.requests == [out.as_uri()]
        assert page.run("document.documentElement.scrollWidth") <= width
        assert page.run("document.querySelectorAll('svg.court').length") == n_steps
        assert page.run("document.querySelectorAll('svg.court .man').length") == 5 * n_steps
        assert page.run(overlaps) == 0
        seen = page.run("document.body.innerText")
        assert "Seen from behind the basket" in seen and all(one.title in seen for one in SHIPPED)
        if width == LAPTOP:
            assert 1 < pages_of(page.pdf(**A4), tmp_path) <= len(SHIPPED)
            page.media("print")  # a play is not torn from its heading
            assert page.run("getComputedStyle(document.querySelector('.play')).breakInside") == "avoid"
        page.close()


def test_a_picture_of_a_scenario_and_of_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A scenario's plays stand on its own alignment; what is a user's own is escaped."""
    data = play() | {"title": "<script>harm</script>"}
    path = with_plays(tmp_path, ["bad.toml"])
    write(tmp_path, "bad.toml", data)
    found = page_of(path, to=tmp_path / "page.html")
    assert "Alignment of the tests" in found and "<script" not in found and "&lt;script&gt;" in found
    # two scenarios: each play once for each alignment that it is run from
    other = scenario()
    other["offence"] |= {"plays": ["bad.toml", "gap_kick"], "alignment": "overload"}
    second = write(tmp_path, "second.toml", other)
    found = page_of(path, second, path, to=tmp_path / "page.html")
    assert (
        found.count('<section class="play">') == 3 and found.count("Drawn in: Alignment of the tests;") == 1
    )
    # an evening: the plays that check names of it
    folder = tmp_path / "evening"
    page = page_of(write_evening(folder, {}), folder, to=tmp_path / "evening.html")  # once, named twice
    (said,) = [line for line in check_path(folder) if "plays of" in line]
    named = re.findall('"([^"]+)"', said)
    assert page.count('<section class="play">') == len(named) > 1
    assert not [title for title in named if title not in page]
    capsys.readouterr()
    assert cli.run(["check", str(tmp_path / "zone.toml"), "--picture", str(tmp_path / "no.html")]) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "zon" in said and "plays, a folder with some" in said
    assert not (tmp_path / "no.html").exists()


def test_the_guide(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every block of new_play.md in its order: files are written, commands are run as they stand."""
    text = (PLAYS / "new_play.md").read_text(encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    commands = []
    for language, block in re.findall(r"(?ms)^```(\w*)\n(.*?)^```$", text):
        if language == "toml":
            named = re.match(r"# ([\w.]+)\n", block)
            assert named
            Path(named[1]).write_text(block, encoding="utf-8")
        else:
            assert language == "sh"
            for line in block.splitlines():
                name, *words = shlex.split(line)
                assert name == "trapledger" and cli.run(words) == 0
                commands.append(words[0])
                told = capsys.readouterr().out
                assert not re.search('(?m)^  (never|nobody|crowd): |^  late: "', told)
    assert commands == ["check", "play", "compare"] and Path("corner_cut.html").stat().st_size > 5000
    assert {one.name for one in load_scenario("tuesday.toml").plays} >= {"corner_cut", "gap_kick"}
    # every word of a file is explained, and every finding
    for word in (
        *STARTS,
        *WHO,
        "denied",
        "way_open",
        "within_m",
        "lasts_s",
        "often",
        "pace",
        "after_s",
        "held_s",
    ):
        assert f"`{word}`" in text, word
    assert all(f"**{kind}**" in text for kind in ("never", "nobody", "late", "crowd"))
