"""The drawn picture of plays (``check --picture``): what stands where on it, and which passes are drawn."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from browser import Chromium
from input_files import write
from report_pages import LAPTOP, PHONE

from engine import cli
from engine.inputs import configs_root

pytest_plugins = ("evening_pages",)

#: On every court of the page: what a label covers, which signs are on each other, a ball on a sign, and which
#: of these are over the outer lines. Boxes in the drawing's centimetres; of a label's height that of its
#: capitals.
COVERED = """[...document.querySelectorAll('svg.court')].flatMap(svg => {
  const box = e => { const b = e.getBBox(); return [b.x, b.y, b.x + b.width, b.y + b.height]; };
  const all = (css, f) => [...svg.querySelectorAll(css)].map(e => [css, (f || box)(e)]);
  const text = e => { const b = e.getBBox(), y = +e.getAttribute('y');
    return [b.x, y - 42, b.x + b.width, y + 2]; };
  const along = [...svg.querySelectorAll('.run, .driven, .thrown')].flatMap(e => {
    const n = Math.ceil(e.getTotalLength() / 5);
    return [...Array(n + 1).keys()].map(k => e.getPointAtLength(e.getTotalLength() * k / n))
      .map(p => ['an arrow', [p.x, p.y, p.x, p.y]]); });
  const signs = all('.man'), ball = all('.ball'), labels = all('.label', text);
  const fixed = [...signs, ...ball, ...all('.head'), ...all('.ring'), ...all('.board'), ...along];
  const [x0, y0, x1, y1] = box(svg.querySelector('.outline'));
  const meet = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
  const where = svg.getAttribute('aria-label').slice(0, 30);
  const found = labels.flatMap(([, a], i) => [...fixed, ...labels.slice(i + 1)]
    .filter(([, b]) => meet(a, b)).map(([what]) => `${where}: a label on ${what}`));
  for (const [what, [ax, ay, bx, by]] of [...labels, ...signs, ...ball])
    if (ax < x0 || bx > x1 || by > y1) found.push(`${where}: ${what} over the lines`);
  const v = svg.viewBox.baseVal;
  for (const [what, [, ay]] of [...labels, ...signs, ...ball])
    if (ay < v.y) found.push(`${where}: ${what} cut above`);
  signs.forEach(([, a], i) => signs.slice(i + 1).forEach(([, b]) => {
    if (Math.hypot(a[0] - b[0], a[1] - b[1]) < a[2] - a[0]) found.push(`${where}: a sign on a sign`); }));
  for (const [, a] of ball) for (const [, b] of signs)
    if (Math.hypot(a[0] + a[2] - b[0] - b[2], a[1] + a[3] - b[1] - b[3]) / 2 < 60)
      found.push(`${where}: the ball on a sign`);
  return found; })"""


def go(who: Any, to: Any, **more: Any) -> dict[str, Any]:
    """A move: ``who`` is ``passer``, ``handler``, ``screener``, or the place that its man is nearest to."""
    nearest = {} if who in ("passer", "handler", "screener") else {"near": who, "who": "nearest"}
    return {"who": who} | nearest | {"to": to, **more}


def step(name: str, when: str, *moves: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"name": name, "when": when, "lasts_s": 2.5, "move": list(moves), **more}


FAR_CORNER, FAR_WING = ({"spot": spot, "side": "far"} for spot in ("corner", "wing"))
SCREEN = {"who": "nearest", "near": "high_post", "within_m": 6.0, "does": "screen"}
#: Four long labels at once, two men in one place, men and the ball in corners, runs under the rim and along
#: the baseline.
CROWDED = [
    step("swing", "pass", go("passer", [0.3, -0.9], after_s=0.4),
         go("high_post", [-1.5, -0.5], after_s=0.3),
         go(FAR_WING, FAR_CORNER, pace=0.6, only_if="way_open"),
         go("top", [7.2, 3.0], within_m=8.0, after_s=0.5),
         ball=["corner", "short_corner"], next="flood"),
    step("flood", "then", go("corner", [-7.0, -1.0], after_s=0.2), go("rim", "low_post"), ball="wing"),
    step("out of it", "escape", go("rim", [0.0, -1.0], within_m=9.0, after_s=0.2),
         go("corner", [4.0, -1.2])),
    step("screen", "hold", SCREEN, go("top", FAR_WING), ball=["wing", "corner"], next="roll"),
    step("roll", "then", go("screener", "rim")),
    step("baseline", "hold", go("handler", [1.0, -1.2]), go("high_post", "rim"), ball="corner"),
    step("drive", "drive", go("high_post", [0.0, 1.0]), go("top", [-0.5, -1.2], within_m=8.0),
         ball=["short_corner", "low_post"]),
]  # fmt: skip


def page_of(folder: Path, steps: list[dict[str, Any]], *more: Path) -> Path:
    data = {"name": "own", "title": "own", "source": "no source", "against": ["zone", "men"], "step": steps}
    play, out = write(folder, "own.toml", data), folder / "own.html"
    assert cli.run(["check", "--quiet", str(play), *map(str, more), "--picture", str(out)]) == 0
    return out


@pytest.mark.parametrize("width", [PHONE, LAPTOP])
def test_labels_signs_and_balls_do_not_cover_each_other(
    width: int, tmp_path: Path, chromium: Chromium
) -> None:
    """Labels are on nothing but thin lines of the floor, signs not on each other, balls not on signs; all are
    inside the lines. Arrows may cross signs, the ball and each other."""
    page = chromium.page(width=width, height=900)
    page.open(page_of(tmp_path, CROWDED, configs_root() / "plays"))
    assert page.run("document.querySelectorAll('svg.court .label').length") > 30
    assert page.run(COVERED) == []
    page.close()


def courts(html: str) -> dict[str, str]:
    """Name of a step -> its drawing."""
    found = re.findall(r'(?s)<h3>\d+\. (.*?)</h3>(?:(?!<h3>).)*?(<svg class="court".*?</svg>)', html)
    return dict(found)


def test_a_pass_that_a_step_waits_for_is_drawn(tmp_path: Path) -> None:
    """The pass to its region, the pass out of a trap, and that in the midst of the step before."""
    html = page_of(tmp_path, CROWDED).read_text(encoding="utf-8")
    drawn = courts(html)
    assert list(drawn) == [one["name"] for one in CROWDED]
    waits = [name for name, court in drawn.items() if '<line class="thrown"' in court]
    assert waits == ["swing", "flood", "out of it"]
    (line,) = re.findall(r'<line class="thrown" x1="(\S+)" y1="(\S+)" x2="(\S+)" y2="(\S+)"', drawn["flood"])
    x, from_y, to_x, to_y = map(float, line)
    assert (x, to_x) == pytest.approx((694.0, 694.0), abs=30.0) and to_y < from_y - 150.0  # corner to wing
    assert "the ball passed on from the corner" in html and "Drawn: a pass out of a trap" in html
    for said in ("solid: runs", "dashed: the pass that", "wavy: dribbles", "bar: screens"):
        assert said in html


def thrown(court: str) -> tuple[list[str], dict[str, list[str]]]:
    """(where the pass that is drawn begins, number of a man -> the middle of his sign)."""
    signs = re.findall(r'<circle class="man" cx="(\S+)" cy="(\S+)" r="46"/><text [^>]*>(\d)<', court)
    (start,) = re.findall(r'<line class="thrown" x1="(\S+)" y1="(\S+)"', court)
    return list(start), {man: [x, y] for x, y, man in signs}


@pytest.mark.parametrize(
    ("move", "first", "then", "passer", "said"),
    [
        # who has the ball dribbles meanwhile; another is sent to his place; the first picture leads elsewhere
        (go("handler", "corner"), "wing", "top", "2", "corner"),
        (go("top", "wing", within_m=9.0), "wing", "corner", "2", "wing"),
        (go("corner", "short_corner"), ["top", "wing"], "wing", "1", "top"),
    ],
)
def test_a_pass_in_the_midst_begins_where_it_is_said(
    move: dict[str, Any], first: Any, then: str, passer: str, said: str, tmp_path: Path
) -> None:
    steps = [step("a", "hold", move, ball=first, next="b"),
             step("b", "then", go("rim", "low_post"), ball=then)]  # fmt: skip
    html = page_of(tmp_path, steps).read_text(encoding="utf-8")
    start, signs = thrown(courts(html)["b"])
    assert start == signs[passer] and list(signs.values()).count(start) == 1
    assert f"Drawn: as &#34;a&#34; leaves them, the ball passed on from the {said}." in html


def test_where_no_court_is_drawn_it_says_why(tmp_path: Path) -> None:
    steps = [step("a", "hold", go("top", "high_post"), ball="corner", next="b"),
             step("b", "then", go("top", "wing"), ball="backcourt")]  # fmt: skip
    html = page_of(tmp_path, steps).read_text(encoding="utf-8")
    assert "No court: no play is begun with the ball in the backcourt." in html


def test_a_step_after_which_nobody_is_there_says_so(tmp_path: Path) -> None:
    steps = [step("a", "hold", go("corner", "rim"), ball="wing", next="b"),
             step("b", "then", go("top", "wing"), ball=["short_corner", "corner"], next="c"),
             step("c", "then", go("top", "wing"), ball="top")]  # fmt: skip
    html = page_of(tmp_path, steps).read_text(encoding="utf-8")
    assert list(courts(html)) == ["a"]
    why = (
        "where &#34;a&#34; leaves them, nobody is in the short corner or in the corner on the ball&#39;s side"
    )
    assert re.findall("No court: (.*)\\.<", html) == [why, "there is none of b, which it follows"]
