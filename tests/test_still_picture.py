"""The still picture of the holes check against the kernel: each defender's place is asked of it for the right
entry, man and floor, built here by hand a second time.

The kernel's own ``entry_target`` is run as plain Python (NUMBA_DISABLE_JIT) in a process of its own, on every
entry of every shipped defence, with the attackers where the picture has them.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
COMPARE = """
import json
from types import SimpleNamespace as Bag

from engine.world.court import build_court
from engine.inputs import load_alignment, load_constants, load_rules, load_zone
from engine.inputs.roles import holder, holders
from engine.kernel import defence as kernel
from engine.state.jobs import JOB_TABLE
from engine.state.arrays import N_SIDE
from engine.state.words import REGIONS, Mode
from engine.still.picture import Setup, picture_of, row_of
from engine.world.pack import place_of

K = {name: c.value for name, c in load_constants().items()}
found = {}
for name in ("two_three", "man_to_man", "three_two", "one_three_one", "one_two_two", "two_three_match_up"):
    zone = load_zone(name)
    worst = 0.0
    n = 0
    for rules in ("international", "professional"):
        court = build_court(load_rules(rules))
        speeds = dict.fromkeys(holders(zone.roles), 6.5)
        for alignment in ("high_post_short_corner", "two_guard_baseline", "overload"):
            attack = load_alignment(alignment)
            setup = Setup(zone, {}, court, attack, K, speeds, (0.5,) * 5, dict(zone.guards))
            for region in REGIONS:
                picture = picture_of(setup, region, "right")
                agents = [
                    Bag(x=picture.attackers[p][0], y=picture.attackers[p][1], vx=0.0, vy=0.0)
                    for p in range(1, 6)
                ]
                agents += [Bag(focus=0, gap_share=1.0, tx=0.0, ty=0.0) for _ in range(N_SIDE)]
                state = Bag(mode=Mode.HELD, handler=picture.handler - 1, action=-1, begun=0.0, drive_t=0.0)
                rule = Bag(arc_m=court.arc_m)
                w = Bag(k=Bag(**K), rules=rule)
                for i, (role, entry) in enumerate(row_of(setup, region, ("settled", "after_bump")).items()):
                    job = JOB_TABLE[entry.job]
                    x, y = place_of(court, entry.place)
                    e = Bag(x_m=x, y_m=y, kind=job.kind)
                    for field in ("toward_ball", "toward_man", "man_within_m"):
                        value = getattr(entry, field)
                        setattr(e, field, getattr(job, field) if value is None else value)
                    men = [zone.guards.get(holder(role, "right"), 0) - 1] * N_SIDE
                    c = Bag(s=state, agents=agents, guards=men)
                    kernel.entry_target(w, c, N_SIDE + i, e, 1, *picture.ball, True)
                    a = agents[N_SIDE + i]
                    px, py = picture.defenders[role]
                    worst = max(worst, abs(a.tx - px), abs(a.ty - py))
                    n += 1
    found[name] = [worst, n]
print(json.dumps(found))
"""


@pytest.fixture(scope="module")
def compared() -> dict[str, list[float]]:
    """Defence -> (greatest difference in metres, targets compared)."""
    switches = {"NUMBA_DISABLE_JIT": "1", "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", COMPARE],
        cwd=ROOT,
        env={**os.environ, **switches},
        capture_output=True,
        text=True,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    answer: dict[str, list[float]] = json.loads(done.stdout)
    return answer


@pytest.mark.parametrize(
    "name", ["two_three", "man_to_man", "three_two", "one_three_one", "one_two_two", "two_three_match_up"]
)
def test_defenders_stand_where_the_kernel_sends_them(compared: dict[str, list[float]], name: str) -> None:
    worst, n = compared[name]
    assert n == 2 * 3 * 12 * 5
    assert worst < 1e-9
