"""What is drawn on the report's courts: ways once a trap is beaten, and numbers clear of the dots."""

from __future__ import annotations

import math

from engine.report.page.court_card import ASIDE_CM, call_card, clear_arrow, on_screen, rotations
from engine.report.page.shots import SHOT_REGIONS, WHOLE, label_at
from engine.still.holes import scenario_setup
from engine.study.evening_result import EveningReport
from engine.world.court import build_court

pytest_plugins = ("evening_pages",)


def test_what_is_drawn_once_the_trap_is_beaten(two_calls: EveningReport) -> None:
    """Everybody goes somewhere: one to the ball, one to the rim, three home; who has far to go has an arrow
    that is to be seen. The bands, as printed, add up to 100, however few went one way."""
    for s, c in two_calls.advised:
        call = two_calls.scenario.settings[s].calls[c]
        entry = next(one for one in two_calls.timing["after_trap"] if one["call"] == call.name)
        ways = [
            way | {"share": share}
            for way, share in zip(entry["ways_out"], (0.335, 0.335, 0.305, 0.025), strict=True)
        ]
        timing = two_calls.timing | {"after_trap": [entry | {"ways_out": ways}]}
        card = call_card(two_calls.scenario, s, call, timing)
        assert card is not None and len(card["passes"]) == 4
        assert sum(int(one["share"].rstrip("%")) for one in card["passes"]) == 100
        setup = scenario_setup(two_calls.scenario, two_calls.scenario.zone, two_calls.scenario.zone_options)
        places = rotations(setup, entry, [{"share": 1.0, "place": (6.0, 5.0)}])
        assert len(places) == 5 and places[entry["rim"]] == on_screen(setup.court.spot("rim"))
        assert places[entry["ball"]] == on_screen((6.0, 5.0))
        assert len(card["rotations"]) >= 3  # the ball's and the rim's man alone would be two


def test_who_has_far_to_go_has_an_arrow_beside_the_way_he_came() -> None:
    """There and straight back: two lines; under a sign to its end: none; a step: none."""
    back = clear_arrow((0.0, 0.0), (600.0, 0.0), [], (600.0, 0.0))
    assert back is not None and abs(back["line"][1]) == ASIDE_CM
    free = clear_arrow((0.0, 0.0), (600.0, 0.0), [(0.0, 600.0)], (0.0, 0.0))
    assert free is not None and free["line"][1] == 0
    assert clear_arrow((0.0, 0.0), (600.0, 0.0), [(560.0, 0.0)], (0.0, 0.0)) is None
    assert clear_arrow((0.0, 0.0), (60.0, 0.0), [], (0.0, 0.0)) is None


def test_a_number_of_a_shot_map_stands_in_its_area_clear_of_the_dots(two_calls: EveningReport) -> None:
    court = build_court(two_calls.scenario.rules)
    for region in SHOT_REGIONS:
        x, y = label_at(court, region, 1, [])
        for _ in range(3):  # a shot where the number would stand: it gives way
            dots = [(x, y)]
            x, y = label_at(court, region, 1, dots)
            assert court.region_at(x, y) == region and (region in WHOLE or x > 0.0)
            assert math.dist((x, y), dots[0]) >= 0.4
