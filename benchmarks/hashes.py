"""Fingerprints of results: what a change that may not move a number must leave as it was.

    python benchmarks/hashes.py -o before.json          play and write the fingerprints
    python benchmarks/hashes.py --against before.json   play again, say what differs (then status 1)
    python benchmarks/hashes.py --scale 0.01            tiny, only to see that it works

Records of possessions (20,000 each) of staying home, every shipped call, other defences and a coded policy,
and the JSON of the studies at small sizes, all through the command line, so that any version of the program
can be asked. The JSON's versions, times and paths are left out. They hold for one processor type, libm and
set of versions (DEVELOPERS.md).
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path
from typing import Any

import pandas as pd

ROOT = Path(__file__).resolve().parents[1]
POSSESSIONS = 20_000
#: A call whose file begins so belongs to this defence; all others are the 2-3's.
DEFENCES = {
    "man_to_man": "man_to_man",
    "one_three_one": "one_three_one",
    "one_two_two": "one_two_two",
    "three_two": "three_two",
}
HEAD = """title = "Fingerprints"
rules = "international"
level = "school"
possessions = 20000
seed = 1
offence = { team = "juniper_hill", alignment = "high_post_short_corner" }
defence = { team = "millbrook_row", zone = "two_three", options = { bring_up = "extend" } }
game = { team_fouls = 2, traps_seen = 0, time_outs_left = 2, possession_arrow = "even" }
"""
#: Studies at small sizes: name, arguments (SCENARIO is friday_night, EVENING the example evening).
STUDIES = {
    "compare": ("compare", "SCENARIO", "-n", "3000"),
    "six defences": ("compare", "SIX", "-n", "2000"),
    "plan": ("plan", "SCENARIO", "--games", "40"),
    "stress": ("stress", "SCENARIO", "--worlds", "16", "-n", "400"),
    "timing": ("timing", "SCENARIO"),
    "lineup": ("lineup", "EVENING", "-n", "6000"),
    "evening": ("compare", "EVENING", "-n", "1000"),
}
LEFT_OUT = ("version", "versions", "seconds", "elapsed_s", "path", "file")


def scenario() -> tuple[str, dict[str, str]]:
    """The scenario of the worlds that are recorded, and the setting of each by its name."""
    settings = {"home": "home"}
    lines = [HEAD]
    for file in sorted((ROOT / "configs" / "calls").glob("*.toml")):
        name = file.stem
        zone = next((zone for zone in DEFENCES if name.startswith(zone)), None)
        base = "" if zone is None else f'zone = "{zone}"\n'
        lines.append(f'[[setting]]\nname = "{name}"\n{base}[[setting.call]]\ncall = "{name}"\n')
        settings[name] = name
    for name in ("man_to_man", "one_three_one", "two_three_match_up"):
        lines.append(f'[[setting]]\nname = "{name} bare"\nzone = "{name}"\n')
        settings[f"{name} bare"] = f"{name} bare"
    calls = "".join(
        f'[[setting.call]]\ncall = "one_three_one_{spot}"\n' for spot in ("corner", "wing", "half_court")
    )
    lines.append(f'[[setting]]\nname = "1-3-1 traps everywhere"\nzone = "one_three_one"\n{calls}')
    calls = "".join(f'[[setting.call]]\ncall = "{spot}"\n' for spot in ("wing", "corner"))
    lines.append(f'[[setting]]\nname = "coded"\npolicy = "sideline"\n{calls}')
    settings |= {"1-3-1 traps everywhere": "1-3-1 traps everywhere", "coded policy": "coded"}
    return "\n".join(lines), settings


def without(value: Any) -> Any:
    """The JSON without what may differ between two runs of the same numbers."""
    if isinstance(value, dict):
        return {key: without(item) for key, item in value.items() if key not in LEFT_OUT}
    return [without(item) for item in value] if isinstance(value, list) else value


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()[:16]


def policy_site(folder: Path) -> Path:
    """The tests' policy package, installed beside nothing else."""
    sys.path.insert(0, str(ROOT / "tests"))
    from policies import PACKAGE, install

    install(PACKAGE, folder)
    return folder


def run(arguments: list[str], site: Path) -> bytes:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join((str(site), str(ROOT)))}
    done = subprocess.run(
        [sys.executable, "-m", "engine.cli", *arguments],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.PIPE,
        check=True,
    )
    return done.stdout


def fingerprints(scale: float, only: list[str]) -> dict[str, str]:
    """Name of a world or a study -> 16 hexadecimal digits."""
    found = {}
    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder)
        (here / "site").mkdir()
        site = policy_site(here / "site")
        with open(ROOT / "tests" / "policy_package" / "pyproject.toml", "rb") as file:
            policy = next(iter(tomllib.load(file)["project"]["entry-points"]["trapledger.policies"]))
        text, settings = scenario()
        source = here / "fingerprints.toml"
        source.write_text(text.replace('policy = "sideline"', f'policy = "{policy}"'), encoding="utf-8")
        n = str(max(1, int(POSSESSIONS * scale)))
        for name, setting in settings.items():
            if only and name not in only:
                continue
            target = here / "records.parquet"
            size = ["--setting", setting, "-n", n, "--quiet"]
            run(["play", str(source), *size, "--json", str(here / "x.json"), "--records", str(target)], site)
            table = pd.read_parquet(target)
            found[name] = digest(table.to_csv(index=False).encode())
            print(f"{name:28} {found[name]}", flush=True)
        places = {
            "SCENARIO": str(ROOT / "configs/scenarios/friday_night.toml"),
            "SIX": str(ROOT / "configs/scenarios/six_defences.toml"),
            "EVENING": str(ROOT / "configs/sheets/example_evening"),
        }
        for name, arguments in STUDIES.items():
            if only and name not in only:
                continue
            told = run([places.get(a, a) for a in arguments] + ["--json", "-", "--quiet"], site)
            found[name] = digest(json.dumps(without(json.loads(told)), sort_keys=True).encode())
            print(f"{name:28} {found[name]}", flush=True)
    return found


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("-o", "--output", type=Path)
    parser.add_argument("--against", type=Path)
    parser.add_argument("--scale", type=float, default=1.0)
    parser.add_argument("--only", nargs="*", default=[])
    asked = parser.parse_args()
    found = fingerprints(asked.scale, asked.only)
    if asked.output:
        asked.output.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    if asked.against is None:
        return 0
    before = json.loads(asked.against.read_text(encoding="utf-8"))
    wrong = [name for name in found if name not in before or before[name] != found[name]]
    print(
        f"{len(found) - len(wrong)} of {len(found)} as before"
        + (f"; different: {', '.join(wrong)}" if wrong else "")
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
