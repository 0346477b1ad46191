"""A small, valid set of input files for the tests of engine.inputs, and a writer of TOML.

The files are invented for these tests and have nothing to do with the ones under configs/.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from engine.inputs import load_alignment, load_call, load_play, load_scenario, load_team, load_zone

ROLES = ("near_guard", "far_guard", "near_forward", "far_forward", "centre")
REGIONS = (
    "backcourt",
    "top",
    "slot",
    "wing",
    "corner",
    "half_court_corner",
    "high_post",
    "elbow",
    "short_corner",
    "low_post",
    "lane",
    "rim",
)
SHOTS = "# invented\ndistance_m,make,contest_logit_per_m\n0,0.6,0.5\n6,0.33,0.4\n16,0.01,0.2\n"


def value_text(value: Any) -> str:
    """A value in TOML, tables inline."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return {"inf": "inf", "-inf": "-inf", "nan": "nan"}.get(str(value), repr(value))
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list | tuple):
        return "[" + ", ".join(value_text(v) for v in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{value_text(str(k))} = {value_text(v)}" for k, v in value.items()) + "}"
    if isinstance(value, datetime.date):
        return value.isoformat()
    return str(value)


def toml_text(data: dict[str, Any]) -> str:
    """A table as a TOML document, one key a line."""
    return "".join(f"{value_text(str(k))} = {value_text(v)}\n" for k, v in data.items())


def player(number: int, position: int) -> dict[str, Any]:
    return {
        "number": number,
        "name": f"Player {number}",
        "position": position,
        "height_m": 1.70 + 0.04 * position,
        "top_speed_mps": 6.0,
        "handle": 0.5,
        "passing": 0.5,
        "rebounding": 0.5,
        "discipline": 0.5,
        "free_throw": 0.6,
    }


def team() -> dict[str, Any]:
    players = [player(3 + i, i % 5 + 1) for i in range(6)]
    players[0] |= {"rim": [20, 40], "middle": [5, 20], "three": [10, 30]}
    players[1]["shot_table"] = "shots.csv"
    return {"name": "Team of the tests", "player": players}


def zone() -> dict[str, Any]:
    row: dict[str, Any] = {"ball": list(REGIONS)}
    for role in ROLES:
        row[role] = {"job": "place", "place": [1.0, 2.0]}
    row["near_guard"] |= {"toward_ball": 0.5, "side": "far", "shift": [0.5, -0.5]}
    row["option"] = [
        {"option": "guard", "choice": "deny", "role": "near_guard", "job": "deny", "place": [2.0, 3.0]}
    ]
    return {
        "name": "zone",
        "title": "Zone of the tests",
        "source": "invented",
        "roles": list(ROLES),
        "bump_role": "near_guard",
        "options": {"guard": {"use": "sink", "choices": ["sink", "deny"], "meaning": "what he does"}},
        "row": [row],
    }


def call(region: str = "corner") -> dict[str, Any]:
    return {
        "name": region,
        "title": f"Trap at the {region}",
        "source": "invented",
        "spot": region,
        "ball": [region],
        "doubles": ["near_guard", "near_forward"],
        "triggers": ["catch"],
        "held_s": 1.0,
        "probability": 0.5,
        "budget": 4,
        "disguise_s": 0.2,
        "way_back": "shell",
        "give_up_s": 3.0,
        "cover": {r: {"job": "deny", "place": [1, 2]} for r in ("far_guard", "far_forward", "centre")},
        "options": {"lob": {"use": "deep", "choices": ["deep", "close"], "meaning": "who takes the lob"}},
        "option": [{"option": "lob", "choice": "close", "role": "centre", "job": "lob", "place": [0.0, 1.0]}],
    }


def man_to_man() -> dict[str, Any]:
    """Five roles of other names, each with a place in the lineup and a man."""
    roles = ["near_wing", "far_wing", "point", "post", "baseline"]
    persons = {"left_wing": 2, "right_wing": 3, "point": 1, "post": 4, "baseline": 5}
    row: dict[str, Any] = {"ball": list(REGIONS)}
    for role in roles:
        row[role] = {"job": "own_man", "place": [1.0, 3.0], "toward_ball": 0.5}
    return {
        "name": "man_to_man",
        "title": "Men of the tests",
        "source": "invented",
        "roles": roles,
        "persons": persons,
        "guards": dict(persons),
        "row": [row],
    }


def match_up() -> dict[str, Any]:
    """The zone of the tests, taking men after the first pass; rows of its own for the wing once matched."""
    data = zone() | {"name": "match_up", "match_up": "first_pass"}
    matched: dict[str, Any] = {"ball": ["wing", "corner"], "moment": "matched"}
    for role in ROLES:
        matched[role] = {"job": "own_man", "place": [1.0, 2.0]}
    return data | {"row": [*data["row"], matched]}


def nearest_call(region: str = "corner") -> dict[str, Any]:
    """A call doubled by the man on the ball and the next nearest; who covers has names of his own."""
    trap = call(region) | {"name": f"nearest_{region}", "doubles": ["ball", "nearest"]}
    trap["cover"] = {name: {"job": "deny", "place": [1, 2]} for name in ("back", "middle", "rim")}
    trap["option"] = [trap["option"][0] | {"role": "rim"}]
    return trap


def play() -> dict[str, Any]:
    """A play with every kind of step and move."""
    near = {"spot": "wing", "side": "far", "shift": [0.5, -0.5]}
    far_wing = {"who": "nearest", "near": near, "within_m": 3.0, "to": "top", "pace": 0.5, "after_s": 0.2}
    cut = {"name": "cut", "when": "pass", "ball": "wing", "lasts_s": 1}
    return {
        "name": "play",
        "title": "Play of the tests",
        "source": "invented",
        "against": ["zone", "men"],
        "step": [
            {
                "name": "begin",
                "when": "hold",
                "ball": ["top", "slot"],
                "held_s": 0.4,
                "lasts_s": 1.5,
                "often": 0.5,
                "next": "go on",
                "move": [
                    {"who": "handler", "to": [1.0, 6.0]},
                    far_wing,
                    {"who": "nearest", "near": "corner", "to": [0.5, 1.0], "only_if": "denied"},
                ],
            },
            {"name": "go on", "when": "then", "lasts_s": 1, "move": [{"who": "passer", "to": "wing"}]},
            cut | {"move": [{"who": "passer", "to": "rim"}]},
        ],
    }


def alignment() -> dict[str, Any]:
    places = {
        "point": [0.0, 7.5],
        "near_wing": {"at": [6.0, 4.0], "shift": [0.1, 0.0]},
        "far_wing": [6.0, 4.0],
        "post": [0.0, 4.5],
        "baseline": {"at": [5.0, 0.0], "side": "far"},
    }
    spots = {name: [1.0, 5.0] for name in ("behind", "middle", "line", "far")}
    return {
        "name": "alignment",
        "title": "Alignment of the tests",
        "source": "invented",
        "roles": list(places),
        "persons": {"point": 1, "left_wing": 2, "right_wing": 3, "post": 4, "baseline": 5},
        "row": [{"ball": list(REGIONS), **places}],
        "break": [{"call": "default", **spots}, {"call": ["corner", "wing"], **spots}],
    }


def scenario() -> dict[str, Any]:
    return {
        "title": "Scenario of the tests",
        "rules": "high_school",
        "shot_table": "shots.csv",
        "start": "frontcourt",
        "possessions": 100,
        "seed": 7,
        "over_n": 10,
        "offence": {"team": "team.toml", "alignment": "alignment.toml", "plays": ["play.toml"]},
        "defence": {"team": "team.toml", "zone": "zone.toml", "options": {"guard": "deny"}},
        "game": {"team_fouls": 3, "traps_seen": 0, "time_outs_left": 2, "possession_arrow": "even"},
        "rules_changes": {"clock.shot_s": 35},
        "constants": {},
        "setting": [
            {"name": "corner", "call": [{"call": "corner.toml"}]},
            {
                "name": "both",
                "call": [
                    {"call": "corner.toml", "probability": 0.25, "options": {"lob": "close"}},
                    {"call": "wing.toml", "only_against": [3, 4], "triggers": "held", "held_s": 2},
                ],
            },
        ],
    }


def defences() -> dict[str, Any]:
    """A scenario whose settings play other defences than its own."""
    data = scenario()
    data["offence"] = {"team": "team.toml", "alignment": "alignment.toml"}
    data["defence"] |= {"matchups": {"3": 4, "4": 3}}
    data["setting"] = [
        {"name": "corner", "call": [{"call": "corner.toml"}]},
        {"name": "other option", "options": {"guard": "sink"}},
        {"name": "coded", "policy": "own_policy"},
        {"name": "men", "zone": "man_to_man.toml"},
        {"name": "men, doubling", "zone": "man_to_man.toml", "call": [{"call": "nearest.toml"}]},
        {"name": "matched", "zone": "match_up.toml", "options": {"guard": "deny"}, "policy": "own_policy"},
    ]
    return data


def write(folder: Path, name: str, data: dict[str, Any]) -> Path:
    path = folder / name
    path.write_text(toml_text(data), encoding="utf-8")
    return path


def write_all(folder: Path) -> Path:
    """Write the whole set; the path of the scenario."""
    (folder / "shots.csv").write_text(SHOTS, encoding="utf-8")
    write(folder, "team.toml", team())
    write(folder, "zone.toml", zone())
    write(folder, "man_to_man.toml", man_to_man())
    write(folder, "match_up.toml", match_up())
    write(folder, "nearest.toml", nearest_call())
    write(folder, "alignment.toml", alignment())
    write(folder, "play.toml", play())
    write(folder, "corner.toml", call("corner"))
    write(folder, "wing.toml", call("wing"))
    return write(folder, "scenario.toml", scenario())


#: Kind of file -> (a valid table, its loader); the file is named <kind>.toml.
LOADERS: dict[str, tuple[Callable[[], dict[str, Any]], Callable[[Path], Any]]] = {
    "team": (team, load_team),
    "zone": (zone, load_zone),
    "man_to_man": (man_to_man, load_zone),
    "match_up": (match_up, load_zone),
    "alignment": (alignment, load_alignment),
    "play": (play, load_play),
    "corner": (call, load_call),
    "nearest": (nearest_call, load_call),
    "scenario": (scenario, load_scenario),
    "defences": (defences, load_scenario),
}
