"""Who comes for whom who doubles: by number, one of the bench who can play the place he leaves."""

from __future__ import annotations

from collections.abc import Collection

from engine.estimate.intervals import Found
from engine.inputs.roles import holder
from engine.inputs.team import ZONE_PLACES, Player
from engine.report.advice_view import advised_game
from engine.report.page.court_card import call_card, shirts_of
from engine.report.page.plan import SIDES, handlers_of
from engine.report.words import numbers_words
from engine.study.evening_result import EveningReport
from engine.study.lineup.places import APART, SIZE_M


def doublers(report: EveningReport, setting: int, call: int) -> set[int]:
    """Shirts that double in a call, on either side; those of dynamic doubles are not known before."""
    of = report.scenario.settings[setting]
    shirts = shirts_of(report.scenario, of.zone or report.scenario.zone)
    people = {holder(role, side) for role in of.calls[call].doubles for side in SIDES}
    return {shirts[person] for person in people if person in shirts}


def _kind(place: str) -> str:
    return place.rpartition("_")[2]


def _usual(report: EveningReport) -> dict[str, list[Player]]:
    """Kind of place (guard, forward, centre) -> who of the five plays it in the 2-3."""
    team = report.scenario.defence_team
    found: dict[str, list[Player]] = {}
    for place in ZONE_PLACES:
        found.setdefault(_kind(place), []).append(team.by_number(getattr(team.zone_places, place)))
    return found


def _height(players: list[Player]) -> float:
    return sum(player.height_m for player in players) / len(players)


def kind_of(report: EveningReport, man: Player) -> str:
    """Kind of place of one of the bench: what the sheet says of him, else that whose men are about his
    size."""
    said = {
        _kind(place) for note in report.evening.own if note.number == man.number for place in note.can_play
    }
    if len(said) == 1:
        return said.pop()
    usual = _usual(report)
    return min(usual, key=lambda kind: abs(_height(usual[kind]) - man.height_m))


def stand_in(report: EveningReport, number: int, taken: Collection[int] = ()) -> int | None:
    """Shirt of who doubles in his stead: of the bench, who plays his kind of place; else another kind of
    place, where he is about as tall (as ``lineup`` places men: never a guard for the centre). Of several one
    not prone to fouls before one who is, then the nearest in height. None where nobody fits but those who
    are ``taken``."""
    team, usual = report.scenario.defence_team, _usual(report)
    gone = {player.number for player in team.on_court} | set(taken)
    prone = {note.number for note in report.evening.own if note.prone_to_fouls}
    man = team.by_number(number)
    his = next((kind for kind, players in usual.items() if man in players), kind_of(report, man))

    def fits(one: Player) -> bool:
        kind, near = kind_of(report, one), abs(one.height_m - man.height_m) <= SIZE_M
        return kind == his or (near and {kind, his} != APART)

    bench = [one for one in team.players if one.number not in gone and fits(one)]
    if not bench:
        return None
    return min(
        bench,
        key=lambda one: (
            one.number in prone,
            kind_of(report, one) != his,
            abs(one.height_m - man.height_m),
            one.number,
        ),
    ).number


def called(report: EveningReport, number: int) -> str:
    """A shirt, with the size he was taken for where the sheet says neither his height nor his place in the
    order, and whether he is prone to fouls himself."""
    height = report.scenario.defence_team.by_number(number).height_m
    note = next((note for note in report.evening.own if note.number == number), None)
    said = [] if note is None or note.size_known else [f"no cm: {100 * height:.0f}"]
    if note is not None and note.prone_to_fouls:
        said.append("fouls, too")
    return f"{number} ({', '.join(said)})" if said else str(number)


def replaced(report: EveningReport, setting: int, call: int) -> dict[int, int]:
    """Who would double in a call but must not, as the plan says (``never_double``) -> who is there for him.
    For whom nobody is left on the bench, he doubles himself: see ``stand_in_words``."""
    found: dict[int, int] = {}
    for number in sorted(doublers(report, setting, call) & set(advised_game(report)["never_double"])):
        other = stand_in(report, number, found.values())
        if other is not None:
            found[number] = other
    return found


def shirts_in(report: EveningReport, setting: int, call: int) -> dict[str, int]:
    """Place -> shirt on the floor when a call is made."""
    instead, of = replaced(report, setting, call), report.scenario.settings[setting]
    shirts = shirts_of(report.scenario, of.zone or report.scenario.zone)
    return {place: instead.get(number, number) for place, number in shirts.items()}


def court_of(report: EveningReport, setting: int, call: int) -> Found | None:
    """The drawing of a call: who stands in for whom, and on whom it mostly comes, as the words beside it."""
    one = report.scenario.settings[setting].calls[call]
    comes = handlers_of(report, one)[0][:1]
    return call_card(report.scenario, setting, one, report.timing, shirts_in(report, setting, call), comes)


def comes_for(report: EveningReport, setting: int, call: int) -> dict[int | None, list[int]]:
    """Who comes -> for whom of those who double in a call, once they have too many fouls; None: nobody."""
    instead = replaced(report, setting, call)
    found: dict[int | None, list[int]] = {}
    for number in sorted(doublers(report, setting, call) - set(instead)):
        found.setdefault(stand_in(report, number, instead.values()), []).append(number)
    return found


def never_words(report: EveningReport) -> list[int]:
    """Shirts of whom the sheet says that they never double: the plan's, but for those who must, because
    nobody is left to stand in for them in a call that is advised."""
    alone: set[int] = set()
    for s, c in report.advised:
        alone |= doublers(report, s, c) - set(replaced(report, s, c))
    return [number for number in advised_game(report)["never_double"] if number not in alone]


def stand_ins_short(report: EveningReport, setting: int, call: int) -> list[str]:
    """Who comes for whom, in a few words, for the bench."""
    return [
        *(f"{called(report, other)} for {n}" for n, other in replaced(report, setting, call).items()),
        *(
            f"{'nobody' if n is None else called(report, n)} for {'/'.join(map(str, mine))}"
            for n, mine in comes_for(report, setting, call).items()
        ),
    ]


def stand_in_words(report: EveningReport, setting: int, call: int) -> str:
    """Who must not double, when others give way, and to whom; "" where nobody is known to double."""
    instead, never = replaced(report, setting, call), set(advised_game(report)["never_double"])
    said = [
        f"No. {n} must not double (fouls): {called(report, other)} for him" for n, other in instead.items()
    ]
    alone = sorted((doublers(report, setting, call) & never) - set(instead))
    if alone:
        said.append(f"No. {numbers_words(alone)} should not double (fouls), but nobody is left to stand in")
    known = comes_for(report, setting, call)
    later = [
        f"{called(report, other)} for {numbers_words(mine)}" + (", one at a time" if len(mine) > 1 else "")
        for other, mine in known.items()
        if other is not None
    ]
    lost = [number for number in known.get(None, ()) if number not in alone]
    if lost:
        whom = "him" if len(lost) == 1 else "them"
        later.append(f"nobody to stand in for {numbers_words(lost)}, so no more of this call with {whom}")
    if later:
        said.append(f"with {report.plan['no_double_from']} fouls: {'; '.join(later)}")
    return "; ".join(said)
