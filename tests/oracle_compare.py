"""Comparing a possession of the kernel's trace with the naive twin's, step by step, field by field."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from naive import AGENT_SHOWN, SHOWN, Naive, Played
from naive_decision import HOLD, PASSES
from naive_inputs import kind_of

from engine.kernel.batch import play_block
from engine.kernel.watch import STATES, Trace
from engine.run.watch import watch_numbers
from engine.state.arrays import AGENT, STATE
from engine.state.record import MOST_CALLS, N_RECORD, RECORD
from engine.state.words import COVERAGES, EVENTS, Action, Mode, TrapPhase

#: Places, velocities, times: how far apart the two may be.
CLOSE = 1e-9
#: Of a trace: what names the draws, counters of the trace itself, and what the kernel keeps at hand so as not
#: to work it out again (the shooter's threshold, the nearest defender of the step).
NAMES, COUNTERS = ("seed", "possession", "branch", "max_calls"), ("n_events", "n_options", "watched")
LEFT_OUT = (*NAMES, *COUNTERS, "shooter_logit", "gap", "gap_who")
#: Compared, in the trace's order: every variable of the possession but those, and every one of an agent.
STATE_NAMES = [name for name in STATE.names or () if name not in LEFT_OUT]
AGENT_NAMES = list(AGENT.names or ())
_STATES = [SHOWN.index(name) for name in STATE_NAMES]
_AGENTS = [AGENT_SHOWN.index(name) for name in AGENT_NAMES]

#: Options that are worth more or less by place.
TO_A_PLACE = (HOLD, *range(PASSES, PASSES + 5))

#: What no event and no column shows.
FLOOR = (
    "a drive is kicked out",
    "a cover man breaks on the throw",
    "a trapper runs to where the ball goes",
    "a defender opens up from his slide",
    "a trap is set in a wind-up",
    "a retreat goes on in a set trap",
)

#: Every rule of screens on the ball, of what defenders do about them and handlers make of them. One is left
#: out, a screener who touches the screened man and is behind him: bodies part, only rounding shows it.
OF_A_SCREEN = (
    "on the man who guards him",
    "on the nearest man",
    "on the left",
    "on the right",
    "set",
    *(f"{how}: not live" for how in ("coming", "set", "used")),
    "coming: driven",
    "set: refused",
    *(f"past it, drive {m}" for m in (0, 4)),
    "covered as where it was set",
    *(f"used: {coverage}" for coverage in COVERAGES if coverage != "switch"),  # that one ends with the switch
    "used: no drive",
    "used: has him again",
    "near him, but behind",
    "men changed",
    *(
        f"{how}: {why}"
        for how in ("put away", "used, so kept")
        for why in ("the play is stopped", "a step begins")
    ),
    *(f"screener of before: {how}" for how in ("nobody yet", "taken", "has the ball", "free")),
    "a drive off it is no occasion",
    "his way is free",
    "over it",
    "under it",
    "drops",
    "drops half way",
    "shows, set",
    "shows, used",
    "has shown",
    "stays: under",
    "stays: switch",
    "a chance for a call",
    "waits for it",
    "screened, in time",
    "screened, too late",
    "screened, before any",
    "screened, the nearest still",
    "his lateness changes the chance",
    "goes on, no trap",
    "goes on, coming",
    "goes on, after",
)

#: What a handler feels of his own shot, whether he reckons with a block, what a shot, a new drive and its end
#: bring beside (not nothing), gaps that are not expected as they are (others than that at his own shot are at
#: least 0.3; that one has no limit, and must have been less), and limits of a drive's end.
OF_A_SHOT = (
    "rhythm on a drive",
    "rhythm off a drive",
    "reckons with a block",
    "too far for a block",
    *(f"begins, {seen}" for seen in ("no trap", "coming", "after")),
    "an own shot brings more",
    "the end of a drive brings more",
    *(f"{of}gap expected, {how} 0.3" for of in ("", "own_", "end_") for how in ("above", "not above")),
    "chance of a drive, gap limited to -4",
    "chance of a drive, gap limited to 2",
)

#: Who dribbles near a line, who goes up, or would, with little time left, and the clock over a shot.
OF_LINES_AND_CLOCK = (
    "dribbles near a line, slowly",
    *(
        f"dribbles along the {line}: {how}"
        for line in ("sideline", "baseline")
        for how in ("steps on it", "stays in")
    ),
    *(f"little time to go up: {how}" for how in ("as usual, it is short", "by the least", "hurried")),
    *(f"hurried, due {when} the step" for when in ("before", "after")),
    "goes up in vain",
    "lets go too late",
    *(f"lets go in time, the clock {how} 0" for how in ("at", "below")),
    "lets go in time, at the last moment",
    "time to catch, none to shoot",
    *(f"{what}, taken by the attack: the clock begins anew" for what in ("missed", "free throw")),
    "blocked, taken by the attack: the clock goes on",
    *(f"{what}, taken by the attack: no clock" for what in ("missed", "blocked")),
    *(f"blocked, {where}: the clock runs out" for where in ("in flight", "loose")),
)

#: How the ball is lost as something begins, or is not: whatever of a trap the driver has seen, and at every
#: occasion of a play.
OF_A_LOSS = (
    *(f"a drive begins, {seen}: {a} travel" for seen in ("no trap", "coming", "after") for a in ("a", "no")),
    *(f"a play begins, {at}: {a} foul" for at in ("pass", "hold", "drive", "escape") for a in ("a", "no")),
)

#: A pass out of a trap: what its passer makes of the two who come, what the others do while it flies.
OF_A_WAY_OUT = (
    "one more on the passer then",
    "a trap stands then",
    "no trap stands then",
    "goes back: a trapper",
    "goes back: the delayed trapper",
    "goes back: a cover man",
    "seen, but his cover is held: a cover man",
    "men taken in flight",
    "men not taken in flight",
    "a pass out seen in disguise",
    "a trapper not drawn by a pass out",
    "two change places, the ball out",
    "the nearest has broken",
    "the nearest has not seen it",
    "the nearest holds his cover",
    "a ball on its way out, not gone for",
    "no break: over his hands",
    "no gamble: over his hands",
)

#: Whom the ball's holder has found, whom the arms of a trap's men hide from him, when he drives or passes no
#: more, how a pass is taken, and whose seconds in the lane stand (a reason counts where it is the only one).
OF_A_VIEW = (
    "not found yet",
    "found before, farther away now",
    "the passer is known",
    *(f"behind {n}, {seen}" for n in (1, 2) for seen in ("seen", "not yet")),
    "a trap stands, no arms in the way",
    "arms behind the holder",
    *(f"not looked, {seen}: no drive" for seen in ("no trap", "coming", "after")),
    "a driver does not brake where he turns",
    "a driver turns back at his goal",
    "no pass, the lane count is too near",
    "passes without a lane count",
    *(f"the lane count stands: {why}" for why in ("a shot goes up", "he drives", "he makes to leave")),
    "who leaves, but need not yet, is counted",
    "the receiver stands",
    "the receiver comes",
)

#: A driver goes by the side of the first body in his way; which one that is, which side, where it takes him.
OF_A_BODY = (
    *(f"by the {side} side of a body, the {one}" for side in ("left", "right") for one in ("one", "other")),
    "by the side of a body, he goes to neither",
    "by the farther side of a body, as he goes",
    "by no side of a body: both are taken",
    *(f"a side of a body is not free: {it}" for it in ("the sideline", "the baseline", "another body")),
    "a faster body is not heeded",
    "a screen is set: by no side of a body",
    *(f"by the side of a body, {on}" for on in ("and on", "and back", "and on, and on from the goal")),
    *(f"a body farther {than}" for than in ("than he looks", "than his way goes", "than another")),
    "a body nearer than another",
)

#: The gap that a man keeps, where it decides, and who steps up in front of a drive: when it has been seen.
OF_A_GAP = (
    *(f"the gap he keeps from a shooter is {which}" for which in ("his own", "the least")),
    "the gap he keeps from no shooter is his own",
    *(f"off the ball, the gap he keeps is {which}" for which in ("his own", "the most")),
    *(f"has {come}, whatever gap he keeps" for come in ("come", "not come")),
    "no gap is drawn on a drive",
    *(f"nobody in front{since}" for since in ("", " since before the catch")),
    *(f"open no more: {why}" for why in ("the ball is far", "the ball is there", "somebody is in front")),
    "nobody in front, and help has not seen the drive yet",
    *(f"nobody in front, and {it}" for it in ("no help", "help is still to adopt")),
    "no drive, help steps up at once",
    "help that has seen a drive steps up",
)

#: Retreats that are as good as another: of those the one straight back, or nearest to it.
OF_A_RETREAT = (
    "a retreat as good as one before",
    "a retreat better by the last bit alone",
)

#: What can happen to a step of a play, besides that it is begun and its moves are made or not.
OF_A_PLAY = (
    "nobody there",
    "a man keeps his move",
    "another begun",
    "goes on, another not begun",
    "goes on with a trap coming",
    "ball not there for the next",
    "broken off",
    *(f"{start}: not begun" for start in ("pass", "hold", "drive", "escape", "next")),
    "dead ball",
    "dead dribble",
    "handler already under way",
    "he gets the ball",
    "limited to the front court",
    "over",
)


@dataclass
class Compared:
    """What has been compared, and the first difference of every possession that has one."""

    possessions: int = 0
    steps: int = 0
    events: int = 0
    options: int = 0
    largest: float = 0.0
    mismatches: list[str] = field(default_factory=list)
    seen: dict[str, set[Any]] = field(default_factory=lambda: defaultdict(set))
    #: How often (name of a step of a play, what happened to it).
    plays: Counter[tuple[str, str]] = field(default_factory=Counter)
    #: How often a rule of screens, rhythm, chances, losses, ways out of a trap, the view, bodies was met.
    met: Counter[str] = field(default_factory=Counter)

    def words(self) -> str:
        head = (
            f"compared: {self.possessions} possessions, {self.steps} steps, {self.events} events, "
            f"{self.options} options; largest difference that counts as none {self.largest:.1e}; "
            f"{len(self.mismatches)} mismatches"
        )
        return "\n".join([head, *self.mismatches[:20]])

    def _see(self, played: Played) -> None:
        """Notes what happened, so that a test can tell whether everything did."""
        record = played.record
        self.seen["event"] |= {event[1] for event in played.events}
        self.seen["violation"] |= {int(event[4]) for event in played.events if event[1] == "violation"}
        self.seen["trigger"] |= set(played.triggers)
        self.seen["fault"].add(record["policy_faults"] > 0)
        self.seen["lost_by"].add(record["lost_by"])
        self.seen["asked"] |= played.asked
        self.met.update(played.met)
        # (handler holds, else passes; number of the region): the last of an option's numbers is its place.
        self.seen["worth"] |= {(o[3] == HOLD, int(o[-1])) for o in played.options if o[3] in TO_A_PLACE}
        for name in ("end", "outcome", "after", "escape"):
            if name == "end" or record["first_call"] > 0:
                self.seen[name].add(record[name])

    def add(self, name: str, number: int, trace: Trace, played: Played) -> None:
        self.possessions += 1
        self.steps += len(played.states)
        self.events += len(played.events)
        self.options += len(played.options)
        states, agents = np.array(played.states, float), np.array(played.agents, float)
        self._see(played)
        self.seen["floor"] |= _on_the_floor(states, agents)
        found = (
            self._steps(trace, states, agents) or self._events(trace, played) or self._record(trace, played)
        )
        found = found or self._options(trace, played)
        if found is not None:
            self.mismatches.append(f"{name}, possession {number}, {found}")

    def _first(self, mine: Any, theirs: Any) -> tuple[int, ...] | None:
        """Where two tables (rows, columns) first differ, row by row, over the rows that both have."""
        n = min(len(mine), len(theirs))
        if n == 0:
            return None
        mine, theirs = mine[:n], theirs[:n]
        # Whole numbers too: they are the same or one apart at least. What is not a number differs.
        gaps = np.abs(mine - theirs)
        same = gaps <= CLOSE
        self.largest = max(self.largest, float(np.max(gaps, initial=0.0, where=same)))
        return None if same.all() else tuple(int(i) for i in np.argwhere(~same)[0])

    def _steps(self, trace: Trace, states: Any, agents: Any) -> str | None:
        mine, theirs = states[:, _STATES], numbers_of(trace.states, STATE_NAMES)
        at = self._first(mine, theirs)
        people, others = agents[..., _AGENTS], numbers_of(trace.agents, AGENT_NAMES)
        agent = self._first(people, others)
        if at is not None and (agent is None or at[0] <= agent[0]):
            step, j = at
            return f"step {step}: {STATE_NAMES[j]} naive {mine[at]!r}, kernel {theirs[at]!r}"
        if agent is not None:
            step, i, j = agent
            told = f"naive {people[agent]!r}, kernel {others[agent]!r}"
            return f"step {step}: agent {i} {AGENT_NAMES[j]} {told}"
        if len(mine) != len(theirs):
            return f"steps: naive {len(mine)}, kernel {len(theirs)}"
        return None

    def _rows(self, what: str, mine: Any, theirs: Any) -> str | None:
        """Rows of numbers: events, options."""
        mine = np.array(mine, float).reshape(len(mine), theirs.shape[1])
        at = self._first(mine, theirs)
        if at is not None:
            return f"{what} {at[0]}: naive {tuple(mine[at[0]])}, kernel {tuple(theirs[at[0]])}"
        if len(mine) != len(theirs):
            return f"{what}s: naive {len(mine)}, kernel {len(theirs)}"
        return None

    def _events(self, trace: Trace, played: Played) -> str | None:
        mine = [(t, EVENTS.index(name), *rest) for t, name, *rest in played.events]
        return self._rows("event", mine, trace.events)

    def _options(self, trace: Trace, played: Played) -> str | None:
        return self._rows("option", played.options, trace.options)

    def _record(self, trace: Trace, played: Played) -> str | None:
        for column, theirs in zip(RECORD, trace.record, strict=True):
            if played.record[column] != theirs:
                return f"record: {column} naive {played.record[column]}, kernel {theirs}"
        return None


def numbers_of(table: Any, names: Sequence[str]) -> Any:
    """Columns of a table of structs as float64, one more axis for the columns."""
    return np.stack([table[name] for name in names], axis=-1, dtype=float, casting="unsafe")


def _on_the_floor(states: Any, agents: Any) -> set[str]:
    """What the steps show of FLOOR."""

    def both(name: str) -> tuple[Any, Any]:
        """Before and after each step."""
        column = states[:, SHOWN.index(name)]
        return column[:-1], column[1:]

    def of_anybody(name: str) -> Any:
        return agents[1:, :, AGENT_SHOWN.index(name)].max(axis=1)

    was_mode, mode = both("mode")
    was_action, action = both("action")
    was_phase, phase = both("trap_phase")
    begun = both("begun")[1]
    wound_up = (mode == Mode.PASS_WINDUP) | (mode == Mode.SHOT_WINDUP)
    shown = (
        (was_action == Action.DRIVE) & (was_mode == Mode.HELD) & (mode == Mode.PASS_WINDUP),
        of_anybody("break_t") > begun,
        of_anybody("primed") > 0,
        of_anybody("turn_t") > begun,
        wound_up & (phase == TrapPhase.SET) & (was_phase == TrapPhase.COMING),
        (action == Action.RETREAT) & (phase == TrapPhase.SET),
    )
    return {name for name, steps in zip(FLOOR, shown, strict=True) if steps.any()}


def compare(
    into: Compared,
    name: str,
    naive: Naive,
    world: Any,
    numbers: Sequence[int],
    seed: int,
    max_calls: int = MOST_CALLS,
) -> None:
    """Plays some possessions with both and adds what was found."""
    traces = (
        trace for block in watch_numbers(world, seed, numbers, STATES, max_calls) for trace in block.traces()
    )
    for number, trace in zip(numbers, traces, strict=True):
        follow = numbers_of(trace.agents, ("x", "y", "vx", "vy")).tolist()
        played = naive.play(seed, number, max_calls, follow)
        into.add(name, number, trace, played)
        into.seen["against"].add((naive.world.scenario.measured_against, kind_of(naive.world.zone)))
        into.plays.update((naive.world.steps[n].name, what) for n, what in played.plays_seen)


def telling(world: Any, seed: int, of: int, n: int) -> list[int]:
    """The ``n`` of the first ``of`` possessions whose records show most: one after the other the one with
    most that none before had (a value of a column; a step, a time or a place of any size counts once)."""
    records = np.zeros((of, N_RECORD), np.int32)
    play_block(world, seed, 0, records)
    values = np.clip(records, -2, 12)
    shows = np.concatenate([values == value for value in range(-2, 13)], axis=1)
    new, found = np.ones(shows.shape[1], bool), []
    while len(found) < n:
        found.append(int(np.argmax(shows[:, new].sum(axis=1))))
        new &= ~shows[found[-1]]
    return sorted(set(found))
