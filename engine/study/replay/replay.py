"""Plays one possession again with its full state per tick, as tables with words and shirt numbers.

The replay runs the batch's own compiled entry, so its record is the batch's record of that possession.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from engine import tables as pd
from engine.errors import InputError
from engine.estimate.intervals import Found
from engine.inputs.defaults import HOME, MOST_POSSESSIONS
from engine.kernel.batch import trace_possession
from engine.kernel.watch import Trace
from engine.state.arrays import N_PLAYERS, N_SIDE
from engine.state.record import MOST_CALLS, RECORD
from engine.state.words import (
    ACTIONS,
    AFTER,
    DRIBBLES,
    ENDS,
    ESCAPES,
    EVENTS,
    JOBS,
    LOSSES,
    MODES,
    MOMENTS,
    OUTCOMES,
    PASS_KINDS,
    REGIONS,
    TRAP_PHASES,
    VIOLATIONS,
    Break,
    Mode,
    Option,
    TrapPhase,
)
from engine.study.play import Opening, check_setting, open_scenario, run_size, world_of
from engine.world.pack import pack, player_of

#: Agents 0..4 attack (team positions 1 to 5), 5..9 defend (left guard, right guard, left forward,
#: right forward, centre).
AGENTS = tuple(f"{'offence' if i < N_SIDE else 'defence'}_{i % N_SIDE + 1}" for i in range(N_PLAYERS))
NEAR = {1: "right", -1: "left"}
#: Places in breaking a trap, in the order of the alignment's rows of breaks.
BREAKS = tuple(f"break {place}" for place in Break.words)
#: Events whose value is a code: the words it stands for, by value.
DETAILS: dict[str, dict[int, str]] = {
    "start": {near: f"near side {word}" for near, word in NEAR.items()},
    "pass": dict(enumerate(PASS_KINDS)),
    "loose": {0: "last touched by the offence", 1: "last touched by the defence"},
    "rebound": {1: "of a shot", 2: "of a free throw", 3: "of a blocked shot"},
    "free_throw": {0: "missed", 1: "made"},
    "foul": {0: "not on a shot", 1: "on a shot"},
    "throw_in": {0: "", 1: "after a foul"},
    "turnover": {0: "dead ball", 1: "live ball"},
    "trap_left": dict(enumerate(OUTCOMES)),
    "end": dict(enumerate(ENDS)),
    "violation": dict(enumerate(VIOLATIONS)),
}
#: Events whose value is a quantity; that of all others means nothing and is left out.
QUANTITIES = {
    "catch": "nearest defender, m",
    "shot": "nearest defender at the release, m",
    "made": "points",
    "trap_set": "since the call, s",
    "shell_stands": "since the ball left the trap, s",
    "bump": "since the catch, s",
    "drive": "value of the option, points",
    "retreat": "value of the option, points",
    "split": "value of the option, points",
    "time_out": "time-outs left",
}
#: Events that name a call where others name a second player.
OF_A_CALL = ("call", "trap_set", "trap_left", "shell_stands")

#: Columns of ``frames()``: state after each step, row 0 the start.
FRAME_COLUMNS = {
    "t_s": "seconds since the start of the possession",
    "clock_s": "seconds left on the shot clock, empty where the rule set has none",
    "mode": "what the ball is doing: " + ", ".join(MODES),
    "action": "what the handler does with it: " + ", ".join(ACTIONS),
    "dribble": "the handler's dribble: " + ", ".join(DRIBBLES),
    "handler": "agent who has the ball or had it last (offence_1 to _5, defence_1 to _5)",
    "handler_number": "his shirt number",
    "target": "agent a pass on its way is meant for, else empty",
    "target_number": "his shirt number",
    "ball_x_m": "ball, m across from the rim, positive to the defence's right",
    "ball_y_m": "ball, m from the rim away from the baseline",
    "ball_z_m": "ball, m above the floor",
    "region": "region of the slide row in force: that of the ball, or where a pass is going",
    "moment": "moment of that row: " + ", ".join(MOMENTS),
    "near": "near side of that row, left or right as the defence sees it",
    "trap_phase": "state of a trap call: " + ", ".join(TRAP_PHASES),
    "trap_call": "name of the call while its phase is not none, else empty",
}
#: Columns of ``frames()`` for each agent, after ``<agent>_``; ``frames(long=True)`` has them once.
AGENT_COLUMNS = {
    "x_m": "place, m across from the rim",
    "y_m": "place, m from the rim away from the baseline",
    "vx_mps": "velocity across, m/s",
    "vy_mps": "velocity away from the baseline, m/s",
    "target_x_m": "where he wanted to be in this step, m",
    "target_y_m": "where he wanted to be in this step, m",
    "job": "defence: his job in the row he acts on, box_out while a shot is up, loose_ball while nobody "
    "has it; offence: his place in breaking the trap while one is on; else empty",
}
#: Columns that only ``frames(long=True)`` has.
LONG_COLUMNS = {
    "agent": "offence_1 to _5 by position, defence_1 to _5: left guard, right guard, left forward, "
    "right forward, centre",
    "side": "offence or defence",
    "number": "shirt number",
    "has_ball": "whether he has the ball in his hands",
    "row_region": "defence: region of the row he acts on (he learns late that the ball has moved)",
    "row_moment": "defence: moment of that row",
    "row_near": "defence: near side of that row",
}
EVENT_TABLE_COLUMNS = {
    "t_s": "seconds since the start of the possession",
    "event": "what happened: " + ", ".join(EVENTS),
    "player": "agent who did it, empty where it is nobody's",
    "player_number": "his shirt number",
    "other": "the other one in it: receiver, passer, thief, shooter, man fouled, nearest defender",
    "other_number": "his shirt number",
    "call": "name of the trap call, for events of a trap",
    "detail": "a word where the event has kinds",
    "value": "; ".join(f"{event}: {meaning}" for event, meaning in QUANTITIES.items()),
    "x_m": "place, m across from the rim",
    "y_m": "place, m from the rim away from the baseline",
}
OPTION_TABLE_COLUMNS = {
    "t_s": "seconds since the start of the possession",
    "decision": "number of the decision in the possession, from 1",
    "player": "agent who decides",
    "player_number": "his shirt number",
    "option": "what he weighs: " + ", ".join(dict.fromkeys(Option.words)),
    "receiver": "agent the pass would go to, else empty",
    "receiver_number": "his shirt number",
    "value_points": "what he thinks it is worth, points, before the noise of his choice",
    "chosen": "whether he took it",
}


def _words(codes: np.ndarray, words: Sequence[str]) -> list[str]:
    """Words of integer codes; a code outside the table (usually -1, "none") becomes an empty text."""
    return [words[code] if 0 <= code < len(words) else "" for code in np.asarray(codes).astype(int).tolist()]


def _where(keep: NDArray[np.bool_], codes: np.ndarray) -> NDArray[np.int64]:
    """The codes where ``keep`` holds, -1 elsewhere."""
    return np.where(keep, np.asarray(codes).astype(np.int64), -1)


def _near(codes: np.ndarray) -> list[str]:
    return [NEAR[code] for code in np.asarray(codes).astype(int).tolist()]


@dataclass(frozen=True, eq=False)
class Replay:
    """One possession: ``trace`` as the kernel wrote it (engine.kernel.watch.Trace), the methods name it.

    ``numbers`` holds the shirt numbers of the ten agents, ``calls`` the names of the setting's calls.
    """

    setting: str
    index: int
    seed: int
    numbers: tuple[int, ...]
    calls: tuple[str, ...]
    has_clock: bool
    trace: Trace = field(repr=False)

    def frames(self, long: bool = False) -> pd.DataFrame:
        """State after each step, row 0 the start: one row per tick, or with ``long`` per tick and agent.

        Columns: FRAME_COLUMNS, then AGENT_COLUMNS for each agent, ``offence_1_x_m`` and so on; with
        ``long`` FRAME_COLUMNS, LONG_COLUMNS and AGENT_COLUMNS. Metres, seconds, m/s.
        """
        ticks = pd.DataFrame(self._ticks())
        if not long:
            own = {
                f"{agent}_{name}": values
                for i, agent in enumerate(AGENTS)
                for name, values in self._agent(i).items()
            }
            return pd.concat([ticks, pd.DataFrame(own)], axis=1)
        parts = []
        for i, agent in enumerate(AGENTS):
            who: Found = {"agent": agent, "side": agent.split("_")[0], "number": self.numbers[i]}
            parts.append(ticks.assign(**who, **self._acts_on(i), **self._agent(i)))
        table = pd.concat(parts).sort_index(kind="stable").reset_index(drop=True)
        return table[[*FRAME_COLUMNS, *LONG_COLUMNS, *AGENT_COLUMNS]]

    def events(self) -> pd.DataFrame:
        """What happened, in order of time; columns EVENT_TABLE_COLUMNS."""
        t_s, code, player, other, value, x, y = self.trace.events.T
        event = _words(code, EVENTS)
        of_a_call = np.array([name in OF_A_CALL for name in event], dtype=bool)
        second = _where(~of_a_call, other)
        counts = np.array([name in QUANTITIES for name in event], dtype=bool)
        columns = {
            "t_s": t_s,
            "event": event,
            "player": _words(player, AGENTS),
            "player_number": self._shirts(player),
            "other": _words(second, AGENTS),
            "other_number": self._shirts(second),
            "call": _words(_where(of_a_call, other), self.calls),
            "detail": [
                DETAILS.get(name, {}).get(int(code), "") for name, code in zip(event, value, strict=True)
            ],
            "value": np.where(counts, value, np.nan),
            "x_m": x,
            "y_m": y,
        }
        return pd.DataFrame(columns)

    def options(self) -> pd.DataFrame:
        """What the handler weighed at each decision and what he took; columns OPTION_TABLE_COLUMNS."""
        t_s, decision, player, option, value, chosen, *_ = self.trace.options.T
        receiver = np.where(option >= Option.PASS_1, option - Option.PASS_1, -1)
        columns = {
            "t_s": t_s,
            "decision": decision.astype(np.int64),
            "player": _words(player, AGENTS),
            "player_number": self._shirts(player),
            "option": [Option.words[code] for code in option.astype(int).tolist()],
            "receiver": _words(receiver, AGENTS),
            "receiver_number": self._shirts(receiver),
            "value_points": value,
            "chosen": chosen == 1.0,
        }
        return pd.DataFrame(columns)

    def record(self) -> pd.Series:
        """The possession's record by name; end, outcome, after, escape and lost_by as words, first_call as
        the call's name."""
        record = pd.Series(dict(zip(RECORD, self.trace.record.tolist(), strict=True)), dtype=object)
        called = record["first_call"] > 0
        record["end"] = ENDS[record["end"]]
        record["first_call"] = self.calls[record["first_call"] - 1] if called else ""
        record["outcome"] = OUTCOMES[record["outcome"]] if called else ""
        record["after"] = AFTER[record["after"]] if called else ""
        for name, words in (("escape", ESCAPES), ("lost_by", LOSSES)):
            record[name] = words[record[name] - 1] if record[name] else ""
        return record

    # --- parts ----------------------------------------------------------------------------------------

    def _shirts(self, agents: np.ndarray) -> pd.api.extensions.ExtensionArray:
        """Shirt numbers of agent codes, missing where there is no agent: pandas' Int64."""
        codes = np.asarray(agents).astype(int).tolist()
        return pd.array([self.numbers[code] if code >= 0 else None for code in codes], dtype="Int64")

    def _ticks(self) -> Found:
        s = self.trace.states
        meant = _where(np.isin(s["mode"], (Mode.PASS_WINDUP, Mode.PASS_FLIGHT)), s["target"])
        running = s["trap_phase"] != TrapPhase.NONE
        return {
            "t_s": s["t"],
            "clock_s": s["clock_s"] if self.has_clock else np.full(len(s), np.nan),
            "mode": _words(s["mode"], MODES),
            "action": _words(s["action"], ACTIONS),
            "dribble": _words(s["dribble"], DRIBBLES),
            "handler": _words(s["handler"], AGENTS),
            "handler_number": self._shirts(s["handler"]),
            "target": _words(meant, AGENTS),
            "target_number": self._shirts(meant),
            "ball_x_m": s["ball_x"],
            "ball_y_m": s["ball_y"],
            "ball_z_m": s["ball_z"],
            "region": _words(s["region"], REGIONS),
            "moment": _words(s["moment"], MOMENTS),
            "near": _near(s["near"]),
            "trap_phase": _words(s["trap_phase"], TRAP_PHASES),
            "trap_call": _words(_where(running, s["trap_call"]), self.calls),
        }

    def _agent(self, i: int) -> Found:
        a = self.trace.agents[:, i]
        return {
            "x_m": a["x"],
            "y_m": a["y"],
            "vx_mps": a["vx"],
            "vy_mps": a["vy"],
            "target_x_m": a["tx"],
            "target_y_m": a["ty"],
            "job": self._breaks(i) if i < N_SIDE else self._jobs(i),
        }

    def _breaks(self, i: int) -> list[str]:
        """An attacker's place in breaking the trap, while a trap is on its way or set."""
        trapped = np.isin(self.trace.states["trap_phase"], (TrapPhase.COMING, TrapPhase.SET))
        return _words(_where(trapped, self.trace.agents[:, i]["break_role"]), BREAKS)

    def _jobs(self, i: int) -> list[str]:
        """A defender's job: set at the head of a step, from the mode that the step before has left."""
        jobs = _words(self.trace.agents[:, i]["job"], JOBS)
        before = self.trace.states["mode"][:-1].tolist()
        words = {Mode.SHOT_FLIGHT: "box_out", Mode.LOOSE: "loose_ball"}
        return ["", *(words.get(mode, job) for mode, job in zip(before, jobs[1:], strict=True))]

    def _acts_on(self, i: int) -> Found:
        a, s = self.trace.agents[:, i], self.trace.states
        in_hand = np.isin(s["mode"], (Mode.HELD, Mode.PASS_WINDUP, Mode.SHOT_WINDUP)) & (s["handler"] == i)
        nobody = [""] * len(s)
        defends = i >= N_SIDE
        return {
            "has_ball": in_hand,
            "row_region": _words(a["region"], REGIONS) if defends else nobody,
            "row_moment": _words(a["moment"], MOMENTS) if defends else nobody,
            "row_near": _near(a["side"]) if defends else nobody,
        }


def check_index(index: int) -> None:
    """Check the number of a possession.

    Raises
    ------
    InputError
        when it is not a whole number in range.
    """
    whole = isinstance(index, (int, np.integer)) and not isinstance(index, bool)
    if not whole or not 0 <= index < MOST_POSSESSIONS:
        raise InputError("--index", "", index, f"a whole number from 0 to {MOST_POSSESSIONS - 1}")


def replay(
    scenario: Opening,
    index: int,
    setting: str | None = None,
    seed: int | None = None,
    max_calls: int | None = None,
) -> Replay:
    """Play possession ``index`` of a scenario again and keep its full state per tick.

    Parameters
    ----------
    scenario : path of a scenario file, or what ``engine.load`` returned
    index : number of the possession, from 0
    setting : name of a setting, None or "home" for staying home
    seed : None takes the scenario's own
    max_calls : calls allowed in the possession, later ones are suppressed; None: as the batch

    Raises
    ------
    InputError
        bad input, an unknown setting, a negative index or seed.
    """
    scenario = open_scenario(scenario)
    size = run_size(scenario, 1, seed, 1)
    check_index(index)
    chosen = check_setting(scenario, setting)
    allowed = MOST_CALLS if max_calls is None else max_calls
    world = world_of(pack(scenario), chosen)
    zone = scenario.settings[chosen].zone if chosen >= 0 else None
    return Replay(
        setting=setting or HOME,
        index=int(index),
        seed=size.seed,
        numbers=tuple(player_of(scenario, agent, zone).number for agent in range(N_PLAYERS)),
        calls=tuple(call.name for call in scenario.settings[chosen].calls) if chosen >= 0 else (),
        has_clock=scenario.rules.clock.shot_s > 0,
        trace=trace_possession(world, size.seed, int(index), allowed),
    )
