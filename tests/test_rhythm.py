"""How a man stands for his own shot, and who can be at a drive's end before him: on played possessions.

Sizes are held against the logit law of the description alone; how often things are so is a result of the
model.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from slides import built
from test_looks import DRIVES, decisions, is_three

from engine.kernel.shooting import make_probability
from engine.run.watch import watch_numbers
from engine.state.words import Action, Event, Mode, Option

N = 400
SEED = 8
#: A shot is worth its points times the chance to make it, nothing else.
PLAIN = {"shot_foul_p": 0.0, "block_p": 0.0, "rebound_value_points": 0.0}
#: No defender bears on a shot.
NO_DEFENDER = {"contest_cap_m": 0.0, "smothered_logit_per_m": 0.0, "second_contest_logit": 0.0}


def log_odds(p: Any) -> Any:
    return np.log(p / (1.0 - p))


def played(n: int = N, clock_s: float = 14.0, **constants: float) -> tuple[Any, list[Any]]:
    """(world, traces) from the front court with so much on the shot clock."""
    rules = {"clock.shot_s": clock_s}
    world = built(start="frontcourt", setting=[], rules_changes=rules, constants=constants).home
    blocks = watch_numbers(world, SEED, np.arange(n), what=("s", "agents"))
    return world, [t for block in blocks for t in block.traces()]


def weighed_alike(one: Any, other: Any) -> Iterator[tuple[int, Any, Any]]:
    """(step, options in one, in the other) of two plays of a possession as long as all stand alike."""
    for (step, mine), (at, theirs) in zip(decisions(one), decisions(other), strict=False):
        if step != at or any((one.agents[step][c] != other.agents[step][c]).any() for c in ("x", "y", "vx")):
            return
        yield step, mine, theirs


def test_what_he_feels_is_in_what_he_believes_of_his_own_shot_alone() -> None:
    """Beside the same possessions without rhythm: a shot's chance differs by it in log odds, exactly; going
    on with a drive is worth more with good rhythm, never less; passes, new drives and holding are worth the
    same; and it is another one on the drive than before it, the same in all of a look's decisions."""
    n = 8 * N  # the two plays of a possession part soon
    world, with_it = played(n, **PLAIN, shot_rhythm_logit=0.5)
    k, rules = world[0].k, world[0].rules
    shots, going_on, changes = {False: 0, True: 0}, 0, 0
    for t, without in zip(with_it, played(n, **PLAIN, shot_rhythm_logit=0.0)[1], strict=True):
        of_look: dict[tuple[int, bool], float] = {}
        for step, mine, theirs in weighed_alike(t, without):
            rhythm = float(t.states["rhythm"][step])
            assert without.states["rhythm"][step] == 0.0
            driving = bool(t.states["action"][step - 1] == Action.DRIVE)
            assert of_look.setdefault((int(t.states["n_looks"][step]), driving), rhythm) == rhythm
            assert (mine[:, 3] == theirs[:, 3]).all()
            for option, value, other in zip(mine[:, 3], mine[:, 4], theirs[:, 4], strict=True):
                if option == Option.SHOOT:
                    he = t.agents[step, int(mine[0, 2])]
                    stop = np.hypot(he["vx"], he["vy"]) / (2.0 * k.brake_mps2)
                    at = he["x"] + he["vx"] * stop, he["y"] + he["vy"] * stop
                    points = 3.0 if is_three(rules, *at) else 2.0
                    more = log_odds(value / points) - log_odds(other / points)
                    assert more == pytest.approx(rhythm, abs=1e-9)
                    shots[driving] += 1
                elif option in DRIVES and driving:
                    assert (value - other) * rhythm >= 0.0
                    going_on += value != other
                else:
                    assert value == other
        changes += len(of_look) - len({look for look, _ in of_look})
        assert len(set(of_look.values())) == len(of_look)
    assert min(shots.values()) > 50 and going_on > 20 and changes > 20, (shots, going_on, changes)


@pytest.fixture(scope="module")
def shots() -> Any:
    """Of every shot of 800 possessions of 10 s: log odds of its make without rhythm, rhythm, made, clock when
    he went up. Nobody is fouled or blocked, defenders do not bear on it; shots differ by 1 in log odds."""
    world, traces = played(800, 10.0, **PLAIN, **NO_DEFENDER, shot_rhythm_logit=1.0)
    found = []
    for t in traces:
        s = t.states
        for shot in t.events[t.events[:, 1] == Event.SHOT]:
            step = int(np.searchsorted(s["t"], shot[0] - 1e-6))
            before = s[step - 1]
            assert before["mode"] == Mode.SHOT_WINDUP and s["rhythm"][step] == before["rhythm"]
            away = float(np.hypot(shot[5], shot[6]))
            far = 9.0
            unset = bool(before["unset"])
            p = make_probability(world[0], int(shot[2]), away, far, far, 12.0, unset, 0.0)
            up_s = float(before["clock_s"] + before["t"] - before["windup_t"])
            found.append((log_odds(p), before["rhythm"], s["shot_result"][step] == 1, up_s))
    return np.array(found, float).T


def test_makes_rise_with_rhythm_as_the_logit_says(shots: Any) -> None:
    """Logistic regression of the make on rhythm beside what the shot is without: slope 1, over 500 shots, 4
    standard errors, these small enough to tell it from none and from half; and a third of the shots by
    rhythm each is made as often as expected."""
    z, rhythm, made, _ = shots
    slope = 1.0
    for _ in range(20):
        p = 1.0 / (1.0 + np.exp(-(z + slope * rhythm)))
        information = np.sum(rhythm**2 * p * (1.0 - p))
        slope += np.sum(rhythm * (made - p)) / information
    error = 1.0 / np.sqrt(information)
    assert len(z) > 500 and error < 0.12
    assert abs(slope - 1.0) < 4.0 * error, (slope, error, len(z))
    p = 1.0 / (1.0 + np.exp(-(z + rhythm)))
    for part in np.array_split(np.argsort(rhythm), 3):
        error = np.sqrt(np.sum(p[part] * (1.0 - p[part])))
        assert abs(made[part].sum() - p[part].sum()) < 4.0 * error, (made[part].mean(), p[part].mean())


def test_early_shots_are_of_those_who_stand_well(shots: Any) -> None:
    """Who has time can wait until he stands well: shots begun with 5 s or more left have a higher mean rhythm
    than those begun with less than 2 s, and one above 0 (the mean of all looks), by 4 standard errors each.
    So the makes that anybody counts are of chosen shots."""
    _, rhythm, _, up_s = shots
    early, late = rhythm[up_s >= 5.0], rhythm[up_s < 2.0]
    assert min(len(early), len(late)) > 60, (len(early), len(late))
    errors = [part.std() / np.sqrt(len(part)) for part in (early, late)]
    assert early.mean() > 4.0 * errors[0], (early.mean(), errors)
    assert early.mean() - late.mean() > 4.0 * np.hypot(*errors), (early.mean(), late.mean(), errors)


def test_drives_to_where_a_defender_can_be_first_are_chosen_less() -> None:
    """The chance of a drive is the logit law of how far short of its end the first man can be, limited to 4 m
    past it and 2 m short. Of new drives weighed together those are chosen less to whose end he can be in time
    than the others, by 4 standard errors; and the chosen one has more room there than the mean of the rest,
    likewise."""
    base, per_m, in_hand = 0.5, 2.0, 0.4
    reach = {"belief_reach_base": base, "belief_reach_per_m": per_m, "belief_reach_in_hand": in_hand}
    world, traces = played(2400, **reach)
    k, players = world[0].k, world[0].players
    early, free, ahead = [], [], []
    limited, going_on = set(), 0
    for t in traces:
        for step, options in decisions(t):
            drives = options[np.isin(options[:, 3], DRIVES)]
            if len(drives) == 0:
                continue
            driving = bool(t.states["action"][step - 1] == Action.DRIVE)
            gap, chosen = drives[:, 7], drives[:, 5] == 1.0
            limited |= {-1.0 if g < -4.0 else float(g > 2.0) for g in gap}
            handle = k.drive_handle_m * (players[int(options[0, 2])].handle - 0.5)
            z = base + per_m * (np.clip(gap, -4.0, 2.0) + handle) + in_hand * driving
            assert drives[:, 8] == pytest.approx(1.0 / (1.0 + np.exp(-z)), abs=1e-9)
            assert (drives[:, 6] == 0.0).all()
            going_on += driving
            if driving:
                continue
            if (gap <= 0.0).any() and (gap > 0.0).any():
                early.extend(chosen[gap <= 0.0])
                free.extend(chosen[gap > 0.0])
            if chosen.any():
                ahead.append(float(gap[chosen][0] - gap[~chosen].mean()))
    assert limited == {-1.0, 0.0, 1.0} and going_on > 50, (limited, going_on)
    n, share = np.array([len(early), len(free)]), np.array([np.mean(early), np.mean(free)])
    assert n.min() > 200 and len(ahead) > 100, (n, len(ahead))
    assert share[1] - share[0] > 4.0 * np.sqrt(np.sum(share * (1.0 - share) / n)), (share, n)
    assert np.mean(ahead) > 4.0 * np.std(ahead) / np.sqrt(len(ahead)), (np.mean(ahead), len(ahead))
