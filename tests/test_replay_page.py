"""``trapledger replay``: the page in a real browser.

It is opened from disk in headless Chromium (tests/browser.py); what it shows is compared with the tables of
``engine.study.replay.replay``. tests/test_pick.py has the rules that pick the possession.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import Chromium, Page

from engine import cli
from engine.inputs import load_scenario
from engine.report.replay.page import replay_page
from engine.report.replay.sentences import event_sentence, job_words, option_words
from engine.state.words import EVENTS, JOBS
from engine.study.replay.pick import pick_possession
from engine.study.replay.replay import AGENTS, DETAILS, Replay, replay

pytest_plugins = ("evening_pages",)

ROOT = Path(__file__).parents[1]
SCENARIO = ROOT / "configs" / "scenarios" / "friday_night.toml"
N = 3000
CORNER = "corner trap"
#: A team whose name would do harm if it were not escaped. The word is the test's own.
BAD_NAME = "<script>window.harm=1</script><img src=x onerror=window.harm=2>"


@pytest.fixture(scope="module")
def scenario() -> Any:
    return load_scenario(SCENARIO)


# --- words --------------------------------------------------------------------------------------------


def test_every_event_and_every_job_has_words() -> None:
    for name in EVENTS:
        for code, detail in DETAILS.get(name, {0: ""}).items():
            event = {"event": name, "value": 1.0, "code": code, "detail": detail, "call": "corner"}
            event |= {"player": "offence_1", "player_number": 3, "other": "defence_2", "other_number": 7}
            assert event_sentence(event, {"corner": "corner trap"}, 2).strip()
    for job in (*JOBS, "box_out", "loose_ball"):
        assert len(job_words(job)) > 3


# --- the page -----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Replay]:
    """A page made by the command, and the possession that it must show."""
    path = tmp_path_factory.mktemp("page") / "page.html"
    arguments = ["--call", "corner", "--pick", "punished", "-n", str(N), "--quiet", "-o", str(path)]
    assert cli.run(["replay", str(SCENARIO), *arguments]) == 0
    index = pick_possession(SCENARIO, "corner", "punished", possessions=N).index
    return path, replay(SCENARIO, index, CORNER)


@pytest.fixture
def page(chromium: Chromium, shown: tuple[Path, Replay]) -> Iterator[Page]:
    opened = chromium.page(1366, 768)
    opened.open(shown[0])
    yield opened
    assert opened.problems == []
    assert opened.requests == [shown[0].resolve().as_uri()]
    opened.close()


def places(page: Page) -> np.ndarray:
    """Where the ten stand in the picture: centimetres, float64[10, 2]."""
    texts = page.run(
        "[...Array(10).keys()].map((i) => document.getElementById('agent-' + i).getAttribute('transform'))"
    )
    return np.array([[float(x) for x in re.findall(r"-?[\d.]+", text)] for text in texts])


def expected(found: Replay, tick: int) -> np.ndarray:
    """Where the ten stood in the possession, centimetres on the screen (y down), float64[10, 2]."""
    row = found.frames().iloc[tick]
    return np.array([[100 * row[f"{agent}_x_m"], -100 * row[f"{agent}_y_m"]] for agent in AGENTS])


def slide_to(page: Page, tick: int) -> None:
    page.run(
        f"(() => {{ const s = document.getElementById('moment'); s.value = {tick};"
        " s.dispatchEvent(new Event('input', {bubbles: true})); })()"
    )


def tick_of(page: Page) -> int:
    return int(page.run("Number(document.getElementById('moment').value)"))


def test_the_scrubber_moves_the_players_as_in_the_frames(page: Page, shown: tuple[Path, Replay]) -> None:
    last = len(shown[1].frames()) - 1
    seen = []
    for tick in (0, last // 3, last // 2, last):
        slide_to(page, tick)
        seen.append(places(page))
        np.testing.assert_allclose(seen[-1], expected(shown[1], tick), atol=0.51)  # whole centimetres
    for one, other in zip(seen, seen[1:], strict=False):
        assert np.abs(one - other).max() > 50


def test_the_ball_flies_where_the_frames_say(page: Page, shown: tuple[Path, Replay]) -> None:
    table = shown[1].frames()
    tick = int(np.flatnonzero(table["mode"] == "pass in flight")[0])
    slide_to(page, tick)
    text = page.run("document.getElementById('ball').getAttribute('transform')")
    x, y = (float(part) for part in re.findall(r"-?[\d.]+", text))
    assert (x, y) == pytest.approx((100 * table["ball_x_m"][tick], -100 * table["ball_y_m"][tick]), abs=0.51)


def test_nobodys_number_is_hidden(page: Page, shown: tuple[Path, Replay]) -> None:
    """At no moment does another sign or the ball cover a number."""
    last = len(shown[1].frames()) - 1
    hidden = """(() => {
      const box = (e) => {
        const r = e.getBoundingClientRect();
        return [r.left + 1, r.top + 1, r.right - 1, r.bottom - 1];
      };
      const signs = [...document.querySelectorAll('#court .sign')];
      const all = (part) => signs.map((e) => box(e.querySelector(part)));
      const bodies = all('.body'), numbers = all('text');
      const ball = box(document.querySelector('#court .leather'));
      const meet = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
      const digits = ([l, t, r, b]) => [l, t + (b - t) / 4, r, b - (b - t) / 4];
      return numbers.map(digits).some((n, i) => (
        meet(n, ball) || bodies.some((other, j) => i !== j && meet(n, other))));
    })()"""
    for tick in range(0, last + 1, 3):
        slide_to(page, tick)
        assert not page.run(hidden), tick


def test_the_same_possession_without_the_call_plays_on_the_same_clock(
    page: Page, shown: tuple[Path, Replay]
) -> None:
    pick = pick_possession(SCENARIO, "corner", "punished", possessions=N)
    other = replay(SCENARIO, pick.index, CORNER, max_calls=0)
    assert int(other.record()["points"]) == pick.base_points
    assert page.run("document.getElementById('other').offsetHeight") == 0
    page.click("#beside")
    assert page.run("document.getElementById('other').offsetHeight") > 100
    times, others = shown[1].frames()["t_s"].to_numpy(), other.frames()
    tick = len(times) // 2
    slide_to(page, tick)
    row = others.iloc[int(np.searchsorted(others["t_s"].to_numpy(), times[tick] + 1e-6)) - 1]
    text = page.run("document.getElementById('without-agent-0').getAttribute('transform')")
    x, y = (float(part) for part in re.findall(r"-?[\d.]+", text))
    assert math.dist((x, y), (100 * row["offence_1_x_m"], -100 * row["offence_1_y_m"])) < 60  # a step's run
    assert page.run("document.getElementById('without-now').textContent").startswith("Without the call: ")


def test_play_runs_and_stops(page: Page) -> None:
    assert page.run("document.getElementById('play').textContent") == "Play"
    page.click("#play")
    assert page.wait("Number(document.getElementById('moment').value) >= 4")
    assert page.run("document.getElementById('play').textContent") == "Pause"
    page.click("#play")
    stopped = tick_of(page)
    at = places(page)
    assert not page.wait(f"Number(document.getElementById('moment').value) > {stopped}", 0.5)
    np.testing.assert_array_equal(places(page), at)
    assert page.run("document.getElementById('play').textContent") == "Play"


def test_play_ends_at_the_end_and_starts_again(page: Page, shown: tuple[Path, Replay]) -> None:
    last = len(shown[1].frames()) - 1
    slide_to(page, last - 3)
    page.click("#play")
    assert page.wait(f"Number(document.getElementById('moment').value) === {last}")
    assert page.wait("document.getElementById('play').textContent === 'Play'")
    page.click("#play")
    assert page.wait(f"Number(document.getElementById('moment').value) < {last // 2}")
    page.click("#play")


def test_speed_changes_how_fast_it_plays(page: Page) -> None:
    def seconds_to(tick: int, speed: str) -> float:
        page.run(f"document.getElementById('speed').value = '{speed}'")
        slide_to(page, 0)
        found = page.run(
            "new Promise((done) => { const start = performance.now();"
            " document.getElementById('play').click();"
            " const look = () => Number(document.getElementById('moment').value) >= "
            f"{tick} ? done((performance.now() - start) / 1000) : requestAnimationFrame(look); look(); }})"
        )
        page.click("#play")
        return float(found)

    assert seconds_to(10, "0.5") > 1.5 * seconds_to(10, "2")


def test_the_keyboard_plays_steps_and_jumps(page: Page, shown: tuple[Path, Replay]) -> None:
    last = len(shown[1].frames()) - 1
    page.press("End")
    assert tick_of(page) == last
    page.press("ArrowLeft")
    assert tick_of(page) == last - 1
    page.press("Home")
    assert tick_of(page) == 0
    page.press("ArrowRight")
    page.press("ArrowRight")
    assert tick_of(page) == 2
    page.press(" ")
    assert page.wait("Number(document.getElementById('moment').value) >= 5")
    page.press(" ")
    stopped = tick_of(page)
    assert not page.wait(f"Number(document.getElementById('moment').value) > {stopped}", 0.4)
    # On the scrubber itself a key moves one tick, not two.
    page.run("document.getElementById('moment').focus()")
    page.press("ArrowRight")
    assert tick_of(page) == stopped + 1
    assert page.run("scrollY") == 0


def test_decisions_step_and_show_what_was_weighed(page: Page, shown: tuple[Path, Replay]) -> None:
    table = shown[1].options()
    times = table.groupby("decision")["t_s"].first().tolist()
    frames = shown[1].frames()["t_s"].to_numpy()
    for number in range(2):
        page.press("ArrowRight", shift=True)
        assert frames[tick_of(page)] == pytest.approx(times[number], abs=1e-6)
    rows = page.run(
        "[...document.querySelectorAll('#options tbody tr')]"
        ".map((row) => [...row.children].map((cell) => cell.textContent))"
    )
    weighed = table[table["t_s"] == times[1]]
    assert len(rows) == len(weighed)
    assert sorted(row[1] for row in rows) == sorted(f"{value:.2f}" for value in weighed["value_points"])
    taken = [row for row in rows if row[3] == "taken"]
    assert len(taken) == 1
    chosen = weighed[weighed["chosen"]].iloc[0]
    assert taken[0][1] == f"{chosen['value_points']:.2f}"
    assert taken[0][0].startswith(option_words(chosen))
    assert page.run("document.getElementById('decision-title').textContent") == (
        f"Decision 2: attacker {chosen['player_number']}, now"
    )
    page.press("ArrowLeft", shift=True)
    assert frames[tick_of(page)] == pytest.approx(times[0], abs=1e-6)


def test_jobs_clock_and_trap_stand_beside_the_picture(page: Page, shown: tuple[Path, Replay]) -> None:
    table = shown[1].frames()
    tick = int(np.flatnonzero((table["trap_phase"] == "coming") & (table["mode"] == "held"))[0])
    slide_to(page, tick)
    jobs = page.run("[...document.querySelectorAll('#jobs tbody tr')].map((r) => r.children[1].textContent)")
    two = [i for i, job in enumerate(jobs) if job == "on his way to the trap"]
    states = shown[1].trace.states
    assert two == sorted(int(states[f"trapper_{k}"][tick]) - 5 for k in range(2))
    rest = [(job, agent) for i, (job, agent) in enumerate(zip(jobs, AGENTS[5:], strict=True)) if i not in two]
    assert [job for job, _ in rest] == [job_words(table[f"{agent}_job"][tick]) for _, agent in rest]
    now = page.run("document.getElementById('now').textContent")
    assert f"{table['t_s'][tick]:.1f} s; shot clock {table['clock_s'][tick]:.1f} s" in now
    assert "corner trap called, on its way" in now
    assert page.run("document.querySelectorAll('.traps.on').length") == 2


def test_the_list_of_events_jumps_and_marks_the_moment(page: Page, shown: tuple[Path, Replay]) -> None:
    texts = page.run("[...document.querySelectorAll('#events li span')].map((e) => e.textContent)")
    events = shown[1].events()
    assert [text for text in texts if text.startswith("Call:")] == [
        f"Call: corner trap, on attacker {number}."
        for number in events[events["event"] == "call"]["player_number"]
    ]
    call = next(i for i, text in enumerate(texts) if text.startswith("Call:"))
    page.click(f"#events li:nth-child({call + 1}) button")
    called_s = events[events["event"] == "call"]["t_s"].iloc[0]
    assert shown[1].frames()["t_s"][tick_of(page)] == pytest.approx(called_s, abs=1e-6)
    assert (
        page.run("[...document.querySelectorAll('#events li')].findIndex((e) => e.ariaCurrent === 'true')")
        == call
    )


def test_less_motion_means_still_pictures(page: Page, shown: tuple[Path, Replay]) -> None:
    page.media(prefers_reduced_motion="reduce")
    assert page.wait("!document.getElementById('still').hidden")
    page.run("document.getElementById('speed').value = '2'")
    page.run(
        "window.seen = [];"
        " new MutationObserver(() => window.seen.push(document.getElementById('moment').value))"
        ".observe(document.getElementById('agent-0'), {attributes: true});"
        " document.getElementById('play').click()"
    )
    assert page.wait("new Set(window.seen).size >= 3", 6)
    page.run("document.getElementById('play').click()")
    allowed = page.run("[...document.querySelectorAll('#events button')].map((b) => b.dataset.frame)")
    assert set(page.run("window.seen")) <= set(allowed) | {str(len(shown[1].frames()) - 1)}


def test_focus_is_seen_and_all_controls_have_names(page: Page) -> None:
    for _ in range(3):
        page.press("Tab")
        style = page.run(
            "(() => { const style = getComputedStyle(document.activeElement);"
            " return [style.outlineStyle, style.outlineWidth]; })()"
        )
        assert style == ["solid", "4px"]
    nodes = page.send("Accessibility.getFullAXTree")["nodes"]
    controls = [
        node
        for node in nodes
        if node.get("role", {}).get("value") in ("button", "slider", "combobox", "checkbox", "image")
    ]
    assert len(controls) > 8
    assert all(node["name"]["value"].strip() for node in controls)


@pytest.mark.parametrize("width", [360, 1366])
def test_it_fits_phone_and_laptop(chromium: Chromium, shown: tuple[Path, Replay], width: int) -> None:
    page = chromium.page(width, 740, mobile=width < 600)
    page.open(shown[0])
    assert page.run("document.documentElement.scrollWidth") <= width
    assert page.run("document.getElementById('court').getBoundingClientRect().width") > 300
    assert page.run("document.getElementById('play').getBoundingClientRect().bottom") < 740
    assert (
        page.run("Math.min(...[...document.querySelectorAll('.controls button')].map((b) => b.offsetHeight))")
        >= 40
    )


def test_print_leaves_the_controls_out(page: Page) -> None:
    page.media("print")
    assert page.run("getComputedStyle(document.querySelector('.controls')).display") == "none"
    assert page.run("document.getElementById('events').offsetHeight") > 100
    options = "getComputedStyle(document.getElementById('options')).display"
    assert page.run(options) == "none"  # no decision yet: no empty table
    page.press("End")
    assert page.run(options) == "table"
    assert page.pdf().startswith(b"%PDF")


def test_a_harmful_name_shows_as_text(chromium: Chromium, scenario: Any, tmp_path: Path) -> None:
    team = scenario.offence_team.model_copy(update={"name": BAD_NAME})
    setting = scenario.settings[0].model_copy(update={"name": "</script><script>window.harm=3</script>"})
    call = setting.calls[0].model_copy(update={"title": "</title><b>trap</b>"})
    setting = setting.model_copy(update={"calls": (call,)})
    bad = scenario.model_copy(
        update={"offence_team": team, "title": f"Night of {BAD_NAME}", "settings": (setting,)}
    )
    pick = pick_possession(bad, "corner", "typical", possessions=1000)
    target = tmp_path / "harm.html"
    target.write_text(
        replay_page(bad, replay(bad, pick.index, setting.name), pick, ("<script>care</script>",)),
        encoding="utf-8",
    )
    page = chromium.page()
    page.open(target)
    page.click("#to-call")
    assert page.run("window.harm") is None
    assert page.problems == []
    assert page.requests == [target.resolve().as_uri()]
    assert page.run("document.querySelector('h1').textContent") == f"Night of {BAD_NAME}"
    assert BAD_NAME in page.run("document.getElementById('about').textContent")
    assert "</title><b>trap</b>" in page.run("document.getElementById('now').textContent")
    assert page.run("document.querySelectorAll('b:not(#jobs b), img').length") == 0
    assert page.run("document.scripts.length") == 2


def test_the_page_says_why_and_takes_care(page: Page, shown: tuple[Path, Replay]) -> None:
    about = page.run("document.getElementById('about').textContent")
    pick = pick_possession(SCENARIO, "corner", "punished", possessions=N)
    assert f"{pick.alike} of {pick.called} possessions with this call" in about
    assert "the ball left the trap by pass, retreat or split" in about
    assert "the model's play, not a person's" in about
    for player in (
        *load_scenario(SCENARIO).offence_team.players,
        *load_scenario(SCENARIO).defence_team.players,
    ):
        assert player.name not in page.run("document.body.textContent")


def test_no_part_of_the_page_points_elsewhere(shown: tuple[Path, Replay]) -> None:
    text = shown[0].read_text(encoding="utf-8")
    page = re.sub(r"<script.*?</script>", "", text, flags=re.S)
    assert "<script" not in page
    assert not re.search(r"(?i)\b(src|href|action|poster|xlink:href)\s*=|@import|url\(|://", page)
    own = (ROOT / "engine" / "report" / "templates" / "replay.js").read_text(encoding="utf-8")
    assert set(re.findall(r"https?://[^\"']+", own)) == {
        "http://www.w3.org/2000/svg"
    }  # the name of SVG, not an address
    assert not re.search(r"\b(fetch|XMLHttpRequest|WebSocket|import|sendBeacon)\b", own)
    found = re.search(r'<script id="possession" type="application/json">(.*?)</script>', text, re.S)
    assert found is not None
    assert set(json.loads(found[1])) == {
        "ticks", "decisions", "events", "in_hand", "without", "without_end",
    }  # fmt: skip


def test_staying_home_can_be_replayed_by_number(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "home.html"
    assert cli.run(["replay", str(SCENARIO), "--setting", "home", "--pick", "4", "-o", str(target)]) == 0
    assert "makes no call" in capsys.readouterr().out
    assert "Possession 4, home" in target.read_text(encoding="utf-8")


def test_another_defence_has_its_own_people(tmp_path: Path) -> None:
    """Names and numbers of a setting's own defence, here a 1-3-1 with two wings, not those of the 2-3."""
    target = tmp_path / "other.html"
    six = str(SCENARIO.with_name("six_defences.toml"))
    assert cli.run(["replay", six, "--setting", "1-3-1", "--pick", "2", "--quiet", "-o", str(target)]) == 0
    found = re.findall(r'<th scope="row"><b>(\d+)</b> ([a-z ]+)</th>', target.read_text(encoding="utf-8"))
    other = load_scenario(six)
    zone = next(setting.zone for setting in other.settings if setting.name == "1-3-1")
    assert zone is not None
    players = other.defence_team.on_court
    assert found == [
        (str(players[place - 1].number), name.replace("_", " ")) for name, place in zone.persons.items()
    ]
    assert any("wing" in name for _, name in found)


# --- around it ----------------------------------------------------------------------------------------


def test_the_browser_helper_sees_errors_and_requests(chromium: Chromium, tmp_path: Path) -> None:
    """Without this, "no problem" and "no request" could mean a deaf helper."""
    target = tmp_path / "bad.html"
    target.write_text(
        "<!doctype html><link rel=stylesheet href=other.css><script>nowhere()</script>", encoding="utf-8"
    )
    page = chromium.page()
    page.open(target)
    assert any("nowhere is not defined" in problem for problem in page.problems)
    assert (tmp_path / "other.css").as_uri() in page.requests
