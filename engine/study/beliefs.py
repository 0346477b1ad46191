"""What a level's players believe: small fits to every choice of the ball's holder and what came of it.

The beliefs of a level (constants ``belief_*``, ``drive_*`` and what carrying on is worth) are fitted to the
tables of engine.study.decisions: benchmarks/fit_beliefs.py.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from engine import tables as pd
from engine.inputs.constants import load_constants
from engine.kernel.drives import MOST_EARLY_M, MOST_LATE_M
from engine.kernel.forecast import LEAST_P
from engine.kernel.worth import LAST_S, SCREEN_PLACE
from engine.state.words import Region, TrapPhase

#: Whether a shot left the rim's neighbourhood or not: a drive that ended this near got there, metres.
AT_RIM_M = 3.0


def carrying_on(left_s: NDArray[np.float64], points: float, tau_s: float) -> NDArray[np.float64]:
    """What carrying on is worth with so much on the clock: the kernel's law (worth.carrying_on)."""
    return points * (1.0 - np.exp(-(np.maximum(left_s, LAST_S) - LAST_S) / tau_s))


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
    so much on the clock (policy evaluation, least squares), what a miss brings, and what holds, shots and
    attacks bring where they are chosen. ``tried`` holds decisions in which any option was tried, one a
    possession (constant tried_look): what passes bring, and how drives end, is measured where they were not
    chosen for their promise, else the best-looking errors would be believed; retreats of both. Least
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
    stand = table[
        home & ~table["kind"].isin(("shot", "go on", "stop")) & table["left_s"].between(LAST_S, 60.0)
    ]
    if around is None and len(stand) >= least:
        from scipy.optimize import curve_fit  # slow to import, and only fits need it

        left, points = stand["left_s"].to_numpy(), stand["points"].to_numpy(float)
        best, _ = curve_fit(carrying_on, left, points, p0=[1.0, 3.0], bounds=([0.5, 1.5], [1.8, 10.0]))
        found |= {"hold_value_points": float(best[0]), "hold_tau_s": float(best[1])}
    at = {**now, **found}

    def more(rows: pd.DataFrame) -> pd.DataFrame:
        worth = carrying_on(rows["left_s"].to_numpy(), at["hold_value_points"], at["hold_tau_s"])
        return rows.assign(more=rows["points"] - worth)

    tried = more(tried)
    passes = tried[(tried["kind"] == "pass") & tried["lost"].notna()]
    if len(passes) >= least:
        found |= _fit_loss(passes, around)
        found |= _fit_passes(passes[passes["lost"] == 0.0], now, least, around or {})
        at |= found
    # holding has no noise of its own, is not chosen for a promise: it is worth what it brings when chosen
    holds = more(table[table["kind"] == "hold"])
    if len(holds) >= least:
        bring = holds["more"] - _places(holds) @ np.array([at[name] for name in PLACES])
        phases, waits = _phases(holds), (holds["place"] == SCREEN_PLACE).to_numpy()
        names = (*(f"belief_hold_{name}points" for name in PHASE_NAMES), "worth_screen_points")
        x = np.column_stack([phases, waits])
        values = _least_squares(x, bring.to_numpy(), PRIOR_POINTS, _center(names, around or {}))
        found |= _enough("hold", phases, values[:-1], least)
        if waits.sum() >= least:
            found[names[-1]] = float(values[-1])
    # the tried ones alone are too few for a slope; assumed: of two ways as clear the chosen one is no better
    retreats = more(pd.concat([rows[rows["kind"] == "retreat"] for rows in (table, tried)]))
    if len(retreats) >= least:
        x = np.column_stack([np.ones(len(retreats)), retreats["raw"].to_numpy()])
        base, way = _least_squares(x, retreats["more"].to_numpy())
        found |= {"belief_retreat_points": float(base), "belief_retreat_way_points": float(way)}
    quiet = tried["phase"] == TrapPhase.NONE
    caught = passes[passes["gap_m"].notna() & (passes["phase"] == TrapPhase.NONE)]
    own = table[home & (table["kind"] == "shot") & table["gap_m"].notna()]
    ends = tried[quiet & tried["kind"].isin(("drive", "go on")) & (tried["shot_m"] < AT_RIM_M)]
    for name, shots in (("gap", caught), ("own_gap", own), ("end_gap", ends)):
        if len(shots) >= least:
            base, share = _line(shots["forecast_m"].to_numpy(), shots["gap_m"].to_numpy())
            found |= {f"belief_{name}_m": base, f"belief_{name}_share": share}
    drives = tried[quiet & (tried["kind"] == "drive")]
    if len(drives) >= least:
        found |= _fit_drives(drives, table[home & table["kind"].isin(("drive", "go on"))], now)
    # shots and attacks are worth what they bring where they are chosen: of five ways the best-looking is
    # taken, and what is tried in the middle of a drive is another kind of drive
    for name, kind, phase in (
        ("shot", "shot", TrapPhase.NONE),
        ("drive", "drive", TrapPhase.NONE),
        ("go_on", "go on", TrapPhase.NONE),
        ("go_on_after", "go on", TrapPhase.AFTER),
    ):
        chosen, belief = table[(table["phase"] == phase) & (table["kind"] == kind)], f"belief_{name}_points"
        if len(chosen) >= least:
            found[belief] = now[belief] + _mean_wrong(chosen["points"], chosen["believed"])
    # so in a trap: who is trapped drives where it looks best, and is judged by that
    in_hand = (table["kind"] == "go on") & (table["phase"] != TrapPhase.AFTER)
    attacks = table[~home & ((table["kind"] == "drive") | in_hand)]
    if len(attacks) >= least:
        trapped = (attacks["phase"] != TrapPhase.AFTER).to_numpy()
        names = ("belief_drive_trapped_points", "belief_drive_after_points")
        held = np.where(trapped, now[names[0]], now[names[1]])
        wrong = (attacks["points"] - attacks["believed"]).to_numpy(float) + held
        values = _least_squares(np.column_stack([trapped, ~trapped]).astype(float), wrong)
        found |= {name: float(value) for name, value in zip(names, values, strict=True)}
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
    "belief_shot_points",
    "belief_end_points",
    "belief_drive_points",
    "belief_go_on_points",
    "belief_go_on_after_points",
    "worth_screen_points",
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


def _mean_wrong(brought: pd.Series, believed: pd.Series) -> float:
    """Points that decisions brought more than was believed, drawn to nothing."""
    wrong = (brought - believed).to_numpy(float)
    return float(_least_squares(np.ones((len(wrong), 1)), wrong)[0])


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

    from scipy.optimize import minimize

    return dict(zip(names, minimize(loss, begin).x.tolist(), strict=True))


def _fit_drives(drives: pd.DataFrame, played: pd.DataFrame, now: Mapping[str, float]) -> dict[str, float]:
    out, more = drives["passed_out"].to_numpy(bool), drives["more"].to_numpy()
    shot = drives["shot_m"].notna().to_numpy()
    # all drives, to know it better: who got to his shot does not hang on why he drove; what it was believed
    # to bring does, and is made up for where drives are measured as chosen
    own = pd.concat([drives, played])
    there, in_hand = own["shot_m"].notna().to_numpy(), (own["kind"] == "go on").to_numpy(float)
    end = own["forecast_m"].clip(-MOST_EARLY_M, MOST_LATE_M)
    x = np.column_stack([np.ones(len(own)), end, in_hand])
    ends = own[there & (in_hand == 0.0)]
    worth = carrying_on(ends["left_s"].to_numpy(), now["hold_value_points"], now["hold_tau_s"])
    short = (1.0 - ends["promise"]) * (worth + now["belief_kick_points"])
    believed = (ends["believed"] - now["belief_drive_points"] - short) / ends["promise"]
    less = _mean_wrong(ends["points"], believed)

    def miss(at: NDArray[np.float64]) -> float:
        line = x @ at
        return float((np.logaddexp(0.0, line) - there * line).sum() + 0.5 * at @ at)

    from scipy.optimize import minimize

    names = ("base", "per_m", "in_hand")
    best = minimize(miss, np.zeros(len(names))).x
    stopped = ~out & ~shot
    return {f"belief_reach_{name}": float(value) for name, value in zip(names, best, strict=True)} | {
        "belief_end_points": now["belief_end_points"] + less,
        "belief_stopped_points": float(more[stopped].mean()) if stopped.any() else 0.0,
        "belief_kick_points": float(more[~shot].mean()) if (~shot).any() else 0.0,
    }
