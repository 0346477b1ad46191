"""What a trap's worth hangs on: each call's worth with every constant of traps at both ends of its range.

    python benchmarks/sensitivity.py                 every call of the demo, 300,000 possessions
    python benchmarks/sensitivity.py -n 20000 --call top

The constants are those under "# --- traps" of configs/model/constants.toml, one at a time, on common luck:
the difference to the usual worth has a small error of its own. A constant that staying home feels, too, is
played whole, at home and with the call; the others only where the call is made. Marked * where an end moves
the worth by more than half of itself, (*) where that is within two errors of not being so.
"""

from __future__ import annotations

import argparse

import numpy as np

from engine.inputs import load_constants
from engine.inputs.defaults import HOME
from engine.inputs.files import configs_root
from engine.state.arrays import CONSTANTS
from engine.study.patterns.common import Mean, called, mean, quotient_change, saved
from engine.study.patterns.playing import CALLS, N_BASE, Edit, Run, constants, edited, edited_plan

SECTION = "# --- traps"
#: Possessions at home in which a constant must change nothing to be one of the trap alone.
N_FELT = 20_000


def of_traps() -> list[str]:
    """Names of the constants of the traps' section, in its order."""
    text = (configs_root() / "model" / "constants.toml").read_text(encoding="utf-8")
    part = text[text.index(SECTION) + len(SECTION) :].split("\n# --- ")[0]
    return [name for name in CONSTANTS if f"\n[{name}]" in part]


def moved(usual: Mean, by: Mean) -> str:
    """Whether a change is more than half of the usual worth."""
    over = abs(by.mean) - 0.5 * abs(usual.mean)
    if over <= 0.0:
        return ""
    return "*" if over > 2.0 * by.se else "(*)"


def change(run: Run, call: str, edit: Edit) -> Mean:
    """What an edit does to the worth of a call."""
    home, there = run.base(HOME), run.base(call)
    few = run.n(N_FELT)
    if (run.play(edited(run.demo().home, edit), few) == home[:few]).all():
        chosen = called(there)
        then = saved(home[chosen], run.again(call, edit, N_BASE))
        return mean(np.asarray(then - saved(home, there)[chosen], float))
    both = run.branches(edited_plan(run.plan(calls=(call,)), edit), len(home))
    return quotient_change(
        saved(both[HOME], both[call]), called(both[call]), saved(home, there), called(there)
    )


def table(run: Run, call: str) -> None:
    """Prints the worth of one call at both ends of every constant."""
    known, names = load_constants(), of_traps()
    there = run.base(call)
    worth = mean(saved(run.base(HOME), there)[called(there)])
    print(f"\n{call}: {called(there).sum():,} calls, saved per call {worth.mean:+.3f} +-{worth.se:.3f}")
    print(f"{'constant':<26}{'low':>7}{'usual':>7}{'high':>7}{'worth at low':>28}{'at high':>28}")
    marked = 0
    for name in names:
        one, cells = known[name], []
        for end in (one.low, one.high):
            by = change(run, call, constants(**{name: end}))
            mark = moved(worth, by)
            marked += mark == "*"
            cells.append(f"{worth.mean + by.mean:+.3f} ({by.mean:+.3f} +-{by.se:.3f}){mark:<3}")
        ends = f"{one.low:>7g}{one.value:>7g}{one.high:>7g}"
        print(f"{name:<26}{ends}" + "".join(f"{cell:>28}" for cell in cells), flush=True)
    print(f"{call}: {marked} of {2 * len(names)} ends move its worth by more than half of itself")


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("-n", "--possessions", type=int, default=N_BASE, help=f"at most {N_BASE:,}")
    parser.add_argument("--call", action="append", choices=CALLS, help="default: every call")
    parser.add_argument("--threads", type=int)
    options = parser.parse_args()
    if not 1 <= options.possessions <= N_BASE:
        parser.error(f"-n must lie in 1..{N_BASE}")
    run = Run(options.possessions / N_BASE, options.threads, lambda: None)
    for call in options.call or CALLS:
        table(run, call)


if __name__ == "__main__":
    main()
