"""The 2-3 without a call, read from traces: who stands where with which job, and when he learns of it.

Every place and job below: common practice of the trade, no source (the table "the base 2-3, no call" of the
model). The tests read traces of possessions, never the zone's file: its tables are mirrored, latched, adopted
late and turned into targets by the engine, and all of that must come out right for a row to be seen here.
Places are in metres with the ball on the right (x > 0); the left side is read mirrored.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from slides import PATIENT, ROLES, built, measured, patient_rows, read_rows

from engine.inputs.files import configs_root

JOBS_OF_ROW = {
    ("top", "settled"): ("on_ball_if_shooter", "deny", "drop", "drop", "middle"),
    ("slot", "settled"): ("on_ball", "deny", "drop", "fill", "middle"),
    ("wing", "before_bump"): ("coming", "deny", "on_ball", "fill", "block"),
    ("wing", "after_bump"): ("on_ball", "deny", "drop", "fill", "middle"),
    ("corner", "before_bump"): ("deny", "deny", "on_ball", "rim", "block"),
    ("corner", "settled"): ("sink", "deny", "on_ball", "rim", "block"),
    ("high_post", "settled"): ("dig", "dig", "pinch", "pinch", "on_ball"),
    ("short_corner", "settled"): ("sink", "read_skip", "on_ball", "rim", "block"),
    ("low_post", "settled"): ("dig", "read_skip", "dig", "rim", "on_ball"),
    ("top", "reversal"): ("gap", "coming", "drop", "drop", "middle"),
    ("wing", "reversal"): ("coming", "deny", "on_ball", "fill", "block"),
}


#: Row -> (role, measure, lowest, highest): bounds on the mean over the row's moments, metres (``measured``).
#: Who takes the ball is at most as far as counts as having come: the gap that he keeps there by the ball's
#: distance from the rim (tracking, test_runs: 1.7 m in the corner, 1.85 on the wing) and ``bump_m``, .35.
PLACES: dict[tuple[str, str], list[tuple[str, str, float, float]]] = {
    ("top", "settled"): [  # on the ball; high post; forwards up and wide; middle of the lane
        ("near_guard", "ball", 0.8, 2.2),
        ("far_guard", "y", 4.3, 7.2),
        ("far_guard", "x", -1.6, 1.0),
        ("near_forward", "x", 3.4, 5.2),
        ("near_forward", "y", 2.0, 3.8),
        ("far_forward", "x", -5.2, -3.4),
        ("far_forward", "y", 2.0, 3.8),
        ("centre", "x", -0.6, 0.6),
        ("centre", "y", 1.9, 3.6),
    ],
    ("slot", "settled"): [  # on the ball; high post; nearer the wing; at the lane; middle
        ("near_guard", "ball", 1.2, 2.3),
        ("far_guard", "post", 0.0, 2.1),
        ("near_forward", "x", 3.8, 5.6),
        ("far_forward", "x", -3.3, -0.8),
        ("centre", "x", -0.6, 0.8),
    ],
    ("wing", "before_bump"): [  # forward on the ball, guard on his way, high post, back side, ball-side block
        ("near_forward", "ball", 0.7, 1.9),
        ("near_guard", "ball", 1.4, 4.2),
        ("far_guard", "post", 0.0, 2.2),
        ("far_forward", "x", -3.2, 0.0),
        ("centre", "x", 0.8, 2.9),
        ("centre", "y", 0.5, 2.6),
    ],
    ("wing", "after_bump"): [  # guard on the ball; elbow; forward drops; rim side; a step up
        ("near_guard", "ball", 0.7, 1.8),
        ("near_forward", "y", 0.2, 2.2),
        ("near_forward", "x", 3.0, 5.2),
        ("near_forward", "ball", 2.0, 4.5),
        ("far_guard", "y", 3.3, 5.3),
        ("far_guard", "x", 0.4, 3.0),
        ("far_forward", "x", -2.2, 0.0),
        ("far_forward", "rim", 0.5, 2.6),
        ("centre", "y", 1.7, 3.2),
        ("centre", "x", 0.3, 2.2),
    ],
    ("corner", "before_bump"): [  # takes the wing; forward to the ball; rim; fills the block
        ("near_guard", "x", 4.2, 6.6),
        ("near_guard", "y", 2.8, 4.6),
        ("near_forward", "ball", 0.7, 3.4),
        ("far_forward", "rim", 0.0, 1.5),
        ("centre", "x", 1.8, 3.2),
        ("centre", "y", -0.2, 1.8),
    ],
    ("corner", "settled"): [  # sinks, high post, on the ball, across the lane to the rim, low post
        ("near_forward", "ball", 0.7, 2.1),
        ("near_guard", "x", 2.4, 4.6),
        ("near_guard", "y", 2.6, 4.2),
        ("far_guard", "y", 3.2, 5.2),
        ("far_forward", "rim", 0.0, 1.6),
        ("centre", "x", 1.6, 3.3),
        ("centre", "y", 0.2, 2.0),
    ],
    ("high_post", "settled"): [  # guards together, forwards pinch the low posts, centre up on the ball
        ("near_guard", "x", 0.8, 3.2),
        ("far_guard", "x", -3.2, -0.2),
        ("near_forward", "x", 2.6, 4.4),
        ("near_forward", "y", 1.0, 2.8),
        ("far_forward", "x", -4.4, -2.4),
        ("centre", "ball", 0.7, 1.7),
    ],
    ("short_corner", "settled"): [  # sinks, holds the middle, on the ball, rim, between ball and block
        ("near_forward", "ball", 0.6, 1.7),
        ("near_guard", "y", 1.8, 3.9),
        ("near_guard", "x", 2.4, 4.8),
        ("far_guard", "y", 3.0, 4.6),
        ("far_forward", "rim", 0.0, 2.0),
        ("centre", "x", 1.4, 3.4),
    ],
    ("low_post", "settled"): [  # digs, holds the middle, digs, rim, on the ball
        ("centre", "ball", 0.4, 1.7),
        ("near_forward", "ball", 0.5, 1.8),
        ("near_guard", "ball", 0.8, 2.6),
        ("far_guard", "y", 2.6, 4.4),
        ("far_forward", "rim", 0.0, 2.2),
    ],
    ("top", "reversal"): [  # back to the gap, takes the ball, forwards recover, middle
        ("far_guard", "ball", 0.9, 3.6),
        ("near_guard", "y", 4.0, 6.2),
        ("near_forward", "y", 1.6, 3.6),
        ("far_forward", "x", -5.0, -2.0),
        ("centre", "x", -0.8, 1.2),
    ],
    ("wing", "reversal"): [  # guard coming over, forward has run at the catch, block on that side
        ("near_forward", "ball", 0.7, 2.2),
        ("near_guard", "ball", 1.4, 4.4),
        ("centre", "x", 0.6, 2.9),
    ],
}
#: Row -> who is nearest to the ball, and in what share of the moments at least; then who may be instead of
#: him: either guard at the top (in front of a high post close to the arc the far guard stands beside the near
#: one), the far guard at the elbow with the ball at the inner edge of the wing (x under 4 m), the guard who
#: comes for the bump, the centre who stands between ball and block. The man on the ball
#: keeps 1.1 to 1.9 m (evidence 10), so that these are now and then as near as he.
NEAREST = {
    ("top", "settled"): ("guard", 0.95, ()),
    ("slot", "settled"): ("near_guard", 0.7, ("far_guard", "near_forward")),
    ("wing", "before_bump"): ("near_forward", 0.7, ("near_guard",)),
    ("wing", "after_bump"): ("near_guard", 0.85, ("near_forward", "far_guard")),
    ("wing", "reversal"): ("near_forward", 0.7, ("near_guard",)),
    ("corner", "settled"): ("near_forward", 0.9, ("centre",)),
    ("short_corner", "settled"): ("near_forward", 0.5, ("centre",)),
}
LEAST_MOMENTS, LEAST_POSSESSIONS = 10, 3


@pytest.mark.parametrize("side", [1, -1], ids=["right", "left"])
@pytest.mark.parametrize("key", JOBS_OF_ROW, ids="-".join)
def test_row_places_and_jobs(key: tuple[str, str], side: int) -> None:
    """Common practice, no source: the jobs of the row, and each man within his part of the floor."""
    moments = [m for m in patient_rows().get(key, []) if m.side == side]
    assert len(moments) >= LEAST_MOMENTS and len({m.possession for m in moments}) >= LEAST_POSSESSIONS
    wanted = dict(zip(ROLES, JOBS_OF_ROW[key], strict=True))
    wrong = [(m.possession, m.job) for m in moments if m.job != wanted]
    assert not wrong, wrong[:3]
    for role, measure, low, high in PLACES[key]:
        mean = np.mean([measured(m, role, measure) for m in moments])
        assert low <= mean <= high, f"{role} {measure}: {mean:.2f} m, not {low} to {high}"
    if key in NEAREST:
        who, least, others = NEAREST[key]
        share = np.mean([m.nearest().endswith(who) for m in moments])
        assert share >= least, f"{who} nearest in {share:.2f} of {len(moments)}"
        share = np.mean([m.nearest().endswith((who, *others)) for m in moments])
        assert share >= 0.95, f"{who} or {others} nearest in {share:.2f} of {len(moments)}"


@pytest.mark.parametrize("key", [("high_post", "settled"), ("top", "settled")], ids="-".join)
def test_mirrored_rows(key: tuple[str, str]) -> None:
    """The zone is the same on both sides: mean places differ by little."""
    moments = patient_rows()[key]
    for role in ROLES:
        right, left = (np.mean([m.at[role] for m in moments if m.side == side], 0) for side in (1, -1))
        assert np.hypot(*(right - left)) < 0.6, role


def test_a_broken_row_is_seen(tmp_path: Path) -> None:
    """A copy of the zone whose far forward stays home with the ball in the corner fails the row's check."""
    text = (configs_root() / "zones" / "two_three.toml").read_text(encoding="utf-8")
    good = 'far_forward = { job = "rim", place = "rim", side = "far" }'
    assert text.count(good) >= 2
    path = tmp_path / "broken.toml"
    bad = good.replace('place = "rim"', 'place = "wing"')
    path.write_text(text.replace(good, bad), encoding="utf-8")
    world = built(defence={"zone": str(path), "options": {}}, constants=PATIENT, start="frontcourt").home
    moments = read_rows(world, 60)["corner", "settled"]
    low, high = next(item[2:] for item in PLACES["corner", "settled"] if item[:2] == ("far_forward", "rim"))
    assert not low <= np.mean([measured(m, "far_forward", "rim") for m in moments]) <= high


# --- options of the zone's file -------------------------------------------------------------------------


def mean_of(key: tuple[str, str], role: str, measure: str, **options: str) -> float:
    return float(np.mean([measured(m, role, measure) for m in patient_rows(**options)[key]]))


def jobs_of(key: tuple[str, str], role: str, **options: str) -> set[str]:
    return {m.job[role] for m in patient_rows(**options)[key]}


def test_option_corner_near_guard() -> None:
    """Common practice, no source: sinks to the middle, or denies the pass back to the wing."""
    key = ("corner", "settled")
    assert jobs_of(key, "near_guard", corner_near_guard="deny") == {"deny"}
    sunk, deny = mean_of(key, "near_guard", "x"), mean_of(key, "near_guard", "x", corner_near_guard="deny")
    assert deny > sunk + 0.8


def test_option_wing_far_guard() -> None:
    """Common practice, no source: at the elbow, or a step up to the top."""
    key = ("wing", "after_bump")
    assert jobs_of(key, "far_guard", wing_far_guard="top") == {"gap"}
    elbow, top = mean_of(key, "far_guard", "y"), mean_of(key, "far_guard", "y", wing_far_guard="top")
    assert top > elbow + 0.5


def test_option_forwards_start() -> None:
    """Common practice, no source: forwards start high, in the middle or low."""
    key = ("top", "settled")
    low = mean_of(key, "near_forward", "y", forwards_start="low")
    middle = mean_of(key, "near_forward", "y")
    high = mean_of(key, "near_forward", "y", forwards_start="high")
    assert low + 0.4 < middle < high - 0.4
    assert mean_of(key, "far_forward", "y", forwards_start="low") + 0.4 < mean_of(key, "far_forward", "y")


def test_option_top_guard() -> None:
    """Common practice, no source: on the ball whoever has it, or both guards close the gap."""
    key = ("top", "settled")
    assert jobs_of(key, "near_guard", top_guard="ball") == {"on_ball"}
    assert jobs_of(key, "near_guard", top_guard="gap") == {"gap"}
    assert jobs_of(key, "far_guard", top_guard="gap") == {"gap"}
    ball = mean_of(key, "near_guard", "ball", top_guard="ball")
    assert mean_of(key, "near_guard", "ball", top_guard="gap") > ball + 0.4


def test_option_bring_up() -> None:
    """Common practice, no source: guards wait beyond the arc, come out to meet it, or steer to a side."""
    key = ("backcourt", "settled")
    wait = mean_of(key, "near_guard", "y", bring_up="wait")
    assert mean_of(key, "near_guard", "y", bring_up="extend") > wait + 0.5
    steer, plain = (mean_of(key, "near_guard", "x", bring_up=choice) for choice in ("steer", "wait"))
    assert steer < plain - 1.0


def test_only_a_shooter_is_guarded_at_the_top() -> None:
    """Common practice, no source: near guard on the ball if the handler can shoot, else back in the gap."""
    gaps = {}
    for shooter in (0.05, 0.95):
        world = built(
            defence={"options": {}}, constants={**PATIENT, "shooter_make": shooter}, start="frontcourt"
        ).home
        gaps[shooter] = np.mean(
            [measured(m, "near_guard", "ball") for m in read_rows(world, 80)["top", "settled"]]
        )
    assert gaps[0.95] > gaps[0.05] + 0.3
