"""What players believe beside what happens: every choice of the ball's holder with what came of it.

One row per decision: the option chosen, the points believed and what the belief rests on, and the points the
possession brought in the end; for passes whether they were lost and how near a defender was when a shot
could have left; for drives how they ended. The beliefs of a level (constants ``belief_*``, ``drive_*`` and
what carrying on is worth) are small fits to this table: benchmarks/fit_beliefs.py. Its reliability, believed
against realised per option and phase, is pattern 14.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import curve_fit, minimize

from engine.inputs.constants import load_constants
from engine.kernel.drives import MOST_EARLY_M, MOST_LATE_M
from engine.kernel.forecast import LEAST_P
from engine.kernel.watch import Trace
from engine.kernel.worth import SCREEN_PLACE
from engine.run.blocks import Progress
from engine.run.watch import watch_numbers
from engine.state.arrays import N_SIDE, OPTION_COLUMNS
from engine.state.record import COLUMN
from engine.state.words import Action, Event, Mode, Option, Region, TrapPhase

#: Whether a shot left the rim's neighbourhood or not: a drive that ended this near got there, metres.
AT_RIM_M = 3.0
CHOSEN = OPTION_COLUMNS.index("chosen")
#: Looks in which every option is tried (constant tried_look), a run each.
LOOKS = (1, 2, 3, 4, 5, 6, 8)
#: Options by what they are.
KINDS = ("shot", "hold", "stop", "drive", "go on", "retreat", "split", "pass")
#: Phases of a trap in the words of the reliability table.
PHASES = ("home", "trap coming", "trap set", "after")


def _kind(option: int, driving: bool) -> str:
    if option == Option.SHOOT:
        return "shot"
    if option == Option.HOLD:
        return "stop" if driving else "hold"
    if option == Option.RETREAT:
        return "retreat"
    if option == Option.SPLIT:
        return "split"
    if option >= Option.PASS_1:
        return "pass"
    return "go on" if driving else "drive"


def _rows(
    trace: Trace, wait_s: float, patience_s: float, only_look: int | None
) -> Iterator[tuple[object, ...]]:
    """The decisions of one possession; ``patience_s`` takes the place of a shot clock that is not there.

    ``only_look``: the first decision of that look alone.
    """
    states, agents, events = trace.states, trace.agents, trace.events
    times = states["t"]
    points = int(trace.record[COLUMN["points"]])
    held = (states["mode"] == Mode.HELD) | (states["mode"] == Mode.SHOT_WINDUP)
    look = 0
    for row in trace.options[trace.options[:, CHOSEN] > 0.0]:
        step = int(np.searchsorted(times, row[0] - 1e-6))
        new, look = int(states["n_looks"][step]) != look, int(states["n_looks"][step])
        if only_look is not None and not (new and look == only_look):
            continue
        before = states[max(step - 1, 0)]
        at = states[step]
        if at["trap_phase"] == TrapPhase.COMING and at["now"] < at["trap_read_t"]:
            continue  # of a trap that he has not read he believes nothing
        option = int(row[3])
        later = events[np.searchsorted(events[:, 0], row[0] - 1e-6) :]
        kind = _kind(option, before["action"] == Action.DRIVE)
        lost, gap, shot_m, passed_out, made = math.nan, math.nan, math.nan, False, math.nan
        if kind == "pass":
            who = option - Option.PASS_1
            lost = 1.0
            for other in later:
                if other[1] == Event.CATCH or (other[1] == Event.RECOVERED and other[2] < N_SIDE):
                    lost = 0.0
                    break
                if other[1] in (Event.TURNOVER, Event.END):
                    break
            if lost == 0.0 and other[1] == Event.CATCH:
                caught = int(np.searchsorted(times, other[0] - 1e-6))
                last = caught
                while last + 1 < len(times) and held[last + 1] and times[last] < other[0] + wait_s - 1e-6:
                    if states["handler"][last + 1] != who:
                        break
                    last += 1
                gap = _nearest(agents[last], who)
        elif kind in ("shot", "drive", "go on"):
            for other in later:
                if other[1] == Event.SHOT:
                    gap, shot_m = other[4], math.hypot(other[5], other[6])
                    break
                if other[1] in (Event.PASS, Event.PICK_UP, Event.TURNOVER, Event.FOUL, Event.END):
                    passed_out = bool(other[1] == Event.PASS)
                    break
        left = max(patience_s - times[step], 4.0) if patience_s > 0.0 else float(states["clock_s"][step])
        if kind == "shot":
            ends = [other[1] for other in later if other[1] in (Event.MADE, Event.MISSED, Event.FOUL)]
            made = {Event.MADE: 1.0, Event.MISSED: 0.0}.get(ends[0], math.nan) if ends else math.nan
        stale = float(times[step] - before["stale_t"])
        belief = (row[4], *row[6:])
        yield (
            kind,
            int(at["trap_phase"]),
            left,
            stale,
            *belief,
            lost,
            gap,
            shot_m,
            made,
            passed_out,
            points,
        )


def _nearest(agents: np.ndarray, who: int) -> float:
    """Distance of the defender nearest to attacker ``who``, metres."""
    x, y = agents["x"], agents["y"]
    return float(np.hypot(x[N_SIDE:] - x[who], y[N_SIDE:] - y[who]).min())


def choices(
    world: np.ndarray,
    seed: int,
    numbers: NDArray[np.int64],
    threads: int | None = None,
    only_look: int | None = None,
    progress: Progress | None = None,
) -> pd.DataFrame:
    """Decisions of the possessions ``numbers``, a row each, in order; the first of look ``only_look`` alone.

    Those with a trap on its way that he has not read are left out: of it he believes nothing.

    Columns: ``possession``; ``kind`` (KINDS); ``phase`` (TrapPhase); ``left_s`` on the shot clock;
    ``stale_s`` that the ball has stuck;
    ``believed`` points; ``raw`` (risk of a pass's lane, clear way of a retreat),
    ``forecast_m`` (least gap possible at the shot it leads to), ``promise`` and ``ahead`` of a pass,
    ``place`` of a pass or a hold (state.arrays.WEIGHED); ``lost`` (passes: 1 or 0), ``gap_m`` (nearest
    defender at the shot, or when a receiver's shot could leave), ``shot_m`` (its distance), ``made``
    (shots: 1 or 0, nothing if fouled), ``passed_out`` (drives); ``points`` of the possession.
    """
    k = world["k"][0]
    rules = world["rules"][0]
    wait_s = float(k["catch_pause_s"] + k["shot_release_s"])
    patience_s = 0.0 if rules["shot_clock_s"] > 0.0 else float(rules["patience_s"])
    rows: list[tuple[object, ...]] = []
    for block in watch_numbers(world, seed, numbers, ("s", "agents"), threads=threads, progress=progress):
        for i in range(len(block.numbers)):
            number = int(block.numbers[i])
            rows.extend((number, *row) for row in _rows(block.trace(i), wait_s, patience_s, only_look))
    names = [
        "possession", "kind", "phase", "left_s", "stale_s", "believed", "raw", "forecast_m",
        "promise", "ahead", "place", "lost", "gap_m", "shot_m", "made", "passed_out", "points",
    ]  # fmt: skip
    whole = {"possession": np.int64, "phase": np.int64, "passed_out": bool, "points": np.int64}
    kinds = {name: whole.get(name, np.float64) for name in names if name != "kind"}
    return pd.DataFrame(rows, columns=names).astype(kinds)


def reliability(table: pd.DataFrame) -> pd.DataFrame:
    """Believed against realised points per phase and kind: n, both means, standard error, slope and its own.

    The slope is that of least squares of realised on believed points; errors take decisions of one possession
    as one observation (clustered).
    """
    rows = []
    for (_, kind), part in table.groupby(["phase", "kind"]):
        x, y = part["believed"].to_numpy(), part["points"].to_numpy(float)
        slope, error = math.nan, math.nan
        if len(part) > 2 and x.std() > 0.0:
            d = x - x.mean()
            slope = float((d * y).sum() / (d * d).sum())
            scores = pd.Series(d * (y - y.mean() - slope * d)).groupby(part["possession"].to_numpy()).sum()
            error = float(math.sqrt((scores**2).sum()) / (d * d).sum())
        per = pd.Series(y - x).groupby(part["possession"].to_numpy()).sum()
        rows.append(
            {
                "phase": PHASES[int(part["phase"].iloc[0])],
                "kind": kind,
                "n": len(part),
                "believed": float(x.mean()),
                "realised": float(y.mean()),
                "standard_error": float(math.sqrt((per**2).sum()) / len(part)),
                "slope": slope,
                "slope_error": error,
            }
        )
    return pd.DataFrame(rows)


def carrying_on(left_s: NDArray[np.float64], points: float, tau_s: float) -> NDArray[np.float64]:
    """What carrying on is worth with so much on the clock: the kernel's law (worth.carrying_on)."""
    return points * (1.0 - np.exp(-(np.maximum(left_s, 0.8) - 0.8) / tau_s))


def _line(x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[float, float]:
    slope = float(np.cov(x, y)[0, 1] / x.var(ddof=1)) if x.std() > 0.0 else 0.0
    return float(y.mean() - slope * x.mean()), slope


#: Prior of a small regression: coefficients are drawn to nothing, as by so many observations.
PRIOR_POINTS, LUCK_POINTS = 0.3, 1.1


def fit(
    table: pd.DataFrame,
    tried: pd.DataFrame,
    now: Mapping[str, float],
    least: int = 100,
    around: Mapping[str, float] | None = None,
) -> dict[str, float]:
    """The beliefs that these tables ask for: constant -> value; what has too few rows is left out.

    ``table`` holds the decisions of possessions as they are played: what an attack that goes on brings with
    so much on the clock (policy evaluation, least squares), and what a miss brings. ``tried`` holds decisions
    in which any option was tried, one a possession (constant tried_look): what an option brings is
    measured where it was not chosen for its promise, else the best-looking errors would be believed. Least
    squares with a normal prior around nothing for points, logistic regression for lost passes (one slope,
    an offset per phase, drawn together by one log odd) and for drives that got to the rim.

    ``around``: beliefs of before, which the points are drawn to instead of nothing; what an attack brings by
    the clock then stays as it is ``now``.
    """
    found: dict[str, float] = {}
    home = table["phase"] == TrapPhase.NONE
    missed = table[home & (table["made"] == 0.0)]
    if len(missed) >= least:
        found["rebound_value_points"] = float(missed["points"].mean())
    stand = table[home & ~table["kind"].isin(("shot", "go on", "stop")) & table["left_s"].between(0.8, 60.0)]
    if around is None and len(stand) >= least:
        left, points = stand["left_s"].to_numpy(), stand["points"].to_numpy(float)
        best, _ = curve_fit(carrying_on, left, points, p0=[1.0, 3.0], bounds=([0.5, 1.5], [1.8, 10.0]))
        found |= {"hold_value_points": float(best[0]), "hold_tau_s": float(best[1])}
    at = {**now, **found}
    worth = carrying_on(tried["left_s"].to_numpy(), at["hold_value_points"], at["hold_tau_s"])
    tried = tried.assign(more=tried["points"] - worth)
    passes = tried[(tried["kind"] == "pass") & tried["lost"].notna()]
    if len(passes) >= least:
        found |= _fit_loss(passes, around)
        found |= _fit_passes(passes[passes["lost"] == 0.0], now, least, around or {})
        at |= found
    # holding has no noise of its own, is not chosen for a promise: it is worth what it brings when chosen
    holds = table[table["kind"] == "hold"]
    if len(holds) >= least:
        left = holds["left_s"].to_numpy()
        sticks = holds["points"] - carrying_on(left, at["hold_value_points"], at["hold_tau_s"])
        sticks += now["hold_stale_points_per_s"] * holds["stale_s"]
        sticks -= _places(holds) @ np.array([at[name] for name in PLACES])
        phases, waits = _phases(holds), (holds["place"] == SCREEN_PLACE).to_numpy()
        names = (*(f"belief_hold_{name}points" for name in PHASE_NAMES), "worth_screen_points")
        x = np.column_stack([phases, waits])
        values = _least_squares(x, sticks.to_numpy(), PRIOR_POINTS, _center(names, around or {}))
        found |= _enough("hold", phases, values[:-1], least)
        if waits.sum() >= least:
            found[names[-1]] = float(values[-1])
    retreats = tried[tried["kind"] == "retreat"]
    if len(retreats) >= least:
        x = np.column_stack([np.ones(len(retreats)), retreats["raw"].to_numpy()])
        base, way = _least_squares(x, retreats["more"].to_numpy())
        found |= {"belief_retreat_points": float(base), "belief_retreat_way_points": float(way)}
    caught = passes[passes["gap_m"].notna() & (passes["phase"] == TrapPhase.NONE)]
    if len(caught) >= least:
        base, share = _line(caught["forecast_m"].to_numpy(), caught["gap_m"].to_numpy())
        found |= {"belief_gap_m": base, "belief_gap_share": share}
    quiet = tried["phase"] == TrapPhase.NONE
    drives = tried[quiet & (tried["kind"] == "drive")]
    if len(drives) >= least:
        found |= _fit_drives(drives, table[home & table["kind"].isin(("drive", "go on"))])
        found["belief_drive_points"] = now["belief_drive_points"] + _mean_wrong(drives)
    # so is a drive in hand: what is tried in the middle of one is another kind of drive
    for name, phase in (("", TrapPhase.NONE), ("after_", TrapPhase.AFTER)):
        going = table[(table["phase"] == phase) & (table["kind"] == "go on")]
        if len(going) >= least:
            found[f"belief_go_on_{name}points"] = now[f"belief_go_on_{name}points"] + _mean_wrong(going)
    # nor are attacks in a trap: who is trapped drives where it looks best, and is judged by that
    in_hand = (table["kind"] == "go on") & (table["phase"] != TrapPhase.AFTER)
    attacks = table[~home & ((table["kind"] == "drive") | in_hand)]
    if len(attacks) >= least:
        trapped = (attacks["phase"] != TrapPhase.AFTER).to_numpy()
        names = ("belief_drive_trapped_points", "belief_drive_after_points")
        held = np.where(trapped, now[names[0]], now[names[1]])
        wrong = (attacks["points"] - attacks["believed"]).to_numpy(float) + held
        values = _least_squares(np.column_stack([trapped, ~trapped]).astype(float), wrong)
        found |= {name: float(value) for name, value in zip(names, values, strict=True)}
    ends = tried[quiet & tried["kind"].isin(("drive", "go on")) & (tried["shot_m"] < AT_RIM_M)]
    if len(ends) >= least:
        base, share = _line(ends["forecast_m"].to_numpy(), ends["gap_m"].to_numpy())
        found |= {"belief_end_gap_m": base, "belief_end_gap_share": share}
    return found


#: Names of the four phases that beliefs in points tell apart: no trap, a trap on its way, set, after it.
PHASE_NAMES = ("", "coming_", "set_", "after_")


#: A round moves a belief this share of the way: what is measured depends on what is believed. What is
#: measured as it is played brings less, the more it is believed to bring (holding: slope about -1.4), so that
#: longer steps go round and round.
SHARE, SHARE_PLAYED = 0.6, 0.35


#: Beliefs that are measured on what was chosen as it is played, not on what was tried.
AS_PLAYED = (
    *(f"belief_drive_{phase}_points" for phase in ("trapped", "after")),
    *("belief_go_on_points", "belief_go_on_after_points", "worth_screen_points"),
    *(f"belief_hold_{phase}points" for phase in PHASE_NAMES),
)


def moved(now: Mapping[str, float], measured: Mapping[str, float], step: float = 1.0) -> dict[str, float]:
    """Beliefs after a round, inside their ranges: those ``measured``, from what is believed ``now``.

    ``step``: share of a usual step, less where the rounds are to come to rest.
    """
    known = load_constants()
    found = {}
    for name, value in measured.items():
        share = step * (SHARE_PLAYED if name in AS_PLAYED else SHARE)
        ends = known[name].low, known[name].high
        found[name] = round(float(np.clip(now[name] + share * (value - now[name]), *ends)), 4)
    return found


def _phases(rows: pd.DataFrame) -> NDArray[np.float64]:
    """1 in the column of each row's phase, [n, 4]."""
    return np.eye(len(PHASE_NAMES))[rows["phase"].to_numpy(int)]


#: Constant -> regions: where the ball is worth more or less than anywhere (kernel: worth.worth_at).
PLACES = {
    "worth_top_points": (Region.TOP, Region.SLOT),
    "worth_wing_points": (Region.WING,),
    "worth_corner_points": (Region.CORNER,),
    "worth_short_corner_points": (Region.SHORT_CORNER,),
    "worth_middle_points": (Region.HIGH_POST, Region.ELBOW),
    "worth_low_points": (Region.LOW_POST, Region.LANE, Region.RIM),
    "worth_back_points": (Region.BACKCOURT, Region.HALF_COURT_CORNER),
}
#: Prior of those: differences between places are small beside what an attack brings.
PRIOR_PLACE_POINTS = 0.1


def _places(rows: pd.DataFrame) -> NDArray[np.float64]:
    """1 in the column of each row's place, [n, 7]."""
    region = rows["place"].to_numpy(int)
    return np.column_stack([np.isin(region, regions) for regions in PLACES.values()]).astype(float)


def _least_squares(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    prior: float | NDArray[np.float64] = PRIOR_POINTS,
    center: float | NDArray[np.float64] = 0.0,
) -> NDArray[np.float64]:
    """Coefficients with a normal ``prior`` (standard deviations) around ``center``, a possession's luck being
    LUCK_POINTS."""
    center = np.broadcast_to(center, x.shape[1])
    ridge = np.diag(np.broadcast_to((LUCK_POINTS / np.asarray(prior)) ** 2, x.shape[1]))
    return center + np.asarray(np.linalg.solve(x.T @ x + ridge, x.T @ (y - x @ center)))


def _center(names: Sequence[str], around: Mapping[str, float]) -> NDArray[np.float64]:
    return np.array([around.get(name, 0.0) for name in names])


def _mean_wrong(rows: pd.DataFrame) -> float:
    """Points that decisions brought more than was believed, drawn to nothing."""
    return float(
        _least_squares(np.ones((len(rows), 1)), (rows["points"] - rows["believed"]).to_numpy(float))[0]
    )


def _enough(
    what: str, phases: NDArray[np.float64], values: NDArray[np.float64], least: int
) -> dict[str, float]:
    """A belief's values by phase; of a phase with too few rows, nothing."""
    rows = phases.sum(axis=0)
    found = zip(PHASE_NAMES, values, rows, strict=True)
    return {f"belief_{what}_{name}points": float(value) for name, value, n in found if n >= least}


def _fit_passes(
    arrived: pd.DataFrame, now: Mapping[str, float], least: int, around: Mapping[str, float]
) -> dict[str, float]:
    ahead = arrived["ahead"].to_numpy() / max(now["numbers_value_points"], 0.05)
    phases = _phases(arrived)
    x = np.column_stack([phases, arrived["promise"], ahead, _places(arrived)])
    names = ("belief_pass_share", "numbers_value_points", *PLACES)
    prior = np.full(x.shape[1], PRIOR_POINTS)
    prior[-len(PLACES) :] = PRIOR_PLACE_POINTS
    every = (*(f"belief_pass_{name}points" for name in PHASE_NAMES), *names)
    values = _least_squares(x, arrived["more"].to_numpy(), prior, _center(every, around))
    found = _enough("pass", phases, values[: len(PHASE_NAMES)], least)
    found |= {name: float(v) for name, v in zip(names, values[len(PHASE_NAMES) :], strict=True)}
    found["numbers_value_points"] = max(found["numbers_value_points"], 0.05)
    return found


def _fit_loss(passes: pd.DataFrame, around: Mapping[str, float] | None) -> dict[str, float]:
    risk = passes["raw"].clip(LEAST_P, 1.0 - LEAST_P).to_numpy()
    z, lost, phase = np.log(risk / (1.0 - risk)), passes["lost"].to_numpy(), passes["phase"].to_numpy(int)
    names = tuple(f"belief_loss_{name}" for name in ("slope", "home", "coming", "set", "after"))
    begin = np.array([1.0, 0.0, 0.0, 0.0, 0.0]) if around is None else _center(names, around)
    # a slope known before stays: offsets mean nothing without it
    slope_error = 0.5 if around is None else 0.01

    def loss(at: NDArray[np.float64]) -> float:
        line = at[0] * z + at[1 + phase]
        spread = at[1:] - (at[1:].mean() if around is None else begin[1:])
        return float(
            (np.logaddexp(0.0, line) - lost * line).sum()
            + 0.5 * ((at[0] - begin[0]) / slope_error) ** 2
            + 0.5 * spread @ spread
        )

    return dict(zip(names, minimize(loss, begin).x.tolist(), strict=True))


def _fit_drives(drives: pd.DataFrame, played: pd.DataFrame) -> dict[str, float]:
    out, more = drives["passed_out"].to_numpy(bool), drives["more"].to_numpy()
    shot = drives["shot_m"].notna().to_numpy()
    # who got to his shot does not hang on why he drove: all drives, so that it is known better
    own = pd.concat([drives, played])
    there, in_hand = own["shot_m"].notna().to_numpy(), (own["kind"] == "go on").to_numpy(float)
    end = own["forecast_m"].clip(-MOST_EARLY_M, MOST_LATE_M)
    x = np.column_stack([np.ones(len(own)), end, in_hand])

    def miss(at: NDArray[np.float64]) -> float:
        line = x @ at
        return float((np.logaddexp(0.0, line) - there * line).sum() + 0.5 * at @ at)

    names = ("base", "per_m", "in_hand")
    best = minimize(miss, np.zeros(len(names))).x
    stopped = ~out & ~shot
    return {f"belief_reach_{name}": float(value) for name, value in zip(names, best, strict=True)} | {
        "belief_stopped_points": float(more[stopped].mean()) if stopped.any() else 0.0,
        "belief_kick_points": float(more[~shot].mean()) if (~shot).any() else 0.0,
    }
