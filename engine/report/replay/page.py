"""One possession as one self-contained page: a moving picture of the court, and the same in words.

The page asks the network for nothing: style and script stand in it, and its content policy allows those two
alone, by their hashes (source: W3C Content Security Policy Level 3, hash sources, from memory). Everything
that comes from files of the user goes through Jinja2's autoescape or its ``tojson``.
"""

from __future__ import annotations

import base64
import dataclasses
import hashlib
from collections.abc import Sequence
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from engine.inputs.base import spoken
from engine.inputs.calls import Call
from engine.inputs.defence import persons_of
from engine.inputs.scenario import Scenario
from engine.inputs.zone import Zone
from engine.report.replay.data import IN_HAND_CM, court_drawing, decisions, happenings, ticks
from engine.report.replay.sentences import CARE, common_words, lead_words, net_words, result_words, rule_words
from engine.state.arrays import N_PLAYERS, N_SIDE
from engine.study.replay.pick import Pick
from engine.study.replay.replay import Replay
from engine.study.replay.replay import replay as play_again
from engine.world.court import build_court
from engine.world.pack import player_of

TEMPLATES = Path(__file__).resolve().parents[1] / "templates"


def environment() -> Environment:
    """Jinja2 for this project's pages: autoescape always on, an unknown name is an error."""
    return Environment(
        loader=FileSystemLoader(TEMPLATES, encoding="utf-8"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def own_part(name: str) -> tuple[Markup, str]:
    """A shipped style or script as it goes into a page, and its source for the content policy.

    Only for files of this package: they are not escaped.
    """
    text = (TEMPLATES / name).read_text(encoding="utf-8")
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return Markup(text), f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def replay_page(scenario: Scenario, replay: Replay, pick: Pick, care: Sequence[str] = ()) -> str:
    """The page (HTML) of a possession.

    Parameters
    ----------
    scenario : what ``engine.load`` returned
    replay : the possession, as ``engine.study.replay.replay.replay`` played it again
    pick : how it was chosen (engine.study.replay.pick)
    care : further lines that a coach must read (``Evening.care.lines()`` of a folder of sheets)
    """
    zone, places, numbers = people_of(scenario, replay.setting)
    replay = dataclasses.replace(replay, numbers=numbers)
    titles = {call.name: call.title for call in calls_of(scenario, replay.setting)}
    record = replay.record()
    moving = ticks(replay, titles)
    events = happenings(replay, titles)
    style, style_source = own_part("replay.css")
    script, script_source = own_part("replay.js")
    moments = [one["frame"] for one in events if one["call"]]
    without = None
    if pick.call and pick.cost is not None:
        without = ticks(play_again(scenario, pick.index, pick.setting, pick.seed, max_calls=0), titles)
    data = {
        "ticks": moving,
        "decisions": decisions(replay),
        "events": [one["frame"] for one in events],
        "in_hand": IN_HAND_CM,
        "without": without,
        "without_end": "" if without is None else f"(over after {without['t'][-1]:.1f} s)",
    }
    people = [
        {
            "agent": i,
            "number": numbers[i],
            "attacks": i < N_SIDE,
            "place": "" if i < N_SIDE else places[i - N_SIDE],
            "x": moving["people"][0][2 * i],
            "y": moving["people"][0][2 * i + 1],
        }
        for i in range(N_PLAYERS)
    ]
    return str(
        environment()
        .get_template("replay.html")
        .render(
            policy=(
                f"default-src 'none'; style-src {style_source}; script-src {script_source}; "
                "base-uri 'none'; form-action 'none'"
            ),
            title=f"Possession {pick.index}: {scenario.title}",
            styles=(style,),
            script=script,
            scenario=scenario,
            zone=zone,
            pick=pick,
            replay=replay,
            court=court_drawing(build_court(scenario.rules)),
            people=people,
            events=events,
            first_call=moments[0] if moments else None,
            last=len(moving["t"]) - 1,
            length_s=moving["t"][-1],
            lead=lead_words(pick, int(record["points"])),
            result=result_words(pick, int(record["points"]), record["end"]),
            rule=rule_words(pick),
            common=common_words(pick),
            net=net_words(pick),
            care=(*CARE, *care),
            data=data,
        )
    )


def calls_of(scenario: Scenario, setting: str) -> tuple[Call, ...]:
    """The calls of a setting by name; none for staying home."""
    return next((tuple(one.calls) for one in scenario.settings if one.name == setting), ())


def people_of(scenario: Scenario, setting: str) -> tuple[Zone, tuple[str, ...], tuple[int, ...]]:
    """The defence that a setting plays, the words for its five places, and the shirt numbers of all ten."""
    own = next((one.zone for one in scenario.settings if one.name == setting), None)
    zone = own or scenario.zone
    numbers = tuple(player_of(scenario, agent, zone).number for agent in range(N_PLAYERS))
    return zone, tuple(spoken(person) for person in persons_of(zone)), numbers
