"""Care for young players: what the sheets say of age and league, and whether trap advice may be given."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from engine.inputs.sheets.data import CareNumbers, load_care

#: Said wherever advice is given.
WHO_DECIDES = (
    "Your league's rules come first; referees, the league and qualified people decide, not this program. "
    "Nothing here is medical advice."
)
PRIVACY = "Players are shirt numbers or initials; the sheets stay on this computer: nothing is sent anywhere."


@dataclass(frozen=True)
class Care:
    """Answers about age and league: True, False, or None where the coach does not know.

    ``age_group``: oldest age of the game in years, None where it is not known; ``adults``: grown-ups. The
    limits are ages in years and leads in points (configs/sheets/care.toml).
    """

    age_group: int | None
    adults: bool
    zone_allowed: bool | None
    trap_allowed: bool | None
    press_when_far_ahead: bool | None
    none_up_to_age: int
    withhold_up_to_age: int
    ask_up_to_age: int
    lead_stop: int
    where: str

    @property
    def young(self) -> bool:
        """Whether the players are, or may be, below the age where leagues commonly restrict zones."""
        if self.adults:
            return False
        return self.age_group is None or self.age_group <= self.withhold_up_to_age

    @property
    def children(self) -> bool:
        """Whether the players are so young that no trap advice is given at all."""
        return not self.adults and self.age_group is not None and self.age_group <= self.none_up_to_age

    @property
    def league_rules_confirmed(self) -> bool:
        """Whether the coach has answered both whether zones and whether traps are allowed."""
        return self.zone_allowed is not None and self.trap_allowed is not None

    @property
    def fill_first(self) -> str:
        """What must be filled in before there is an answer of any use; "" where it is."""
        if self.adults or self.age_group is not None or self.league_rules_confirmed:
            return ""
        return f"Fill in first: age_group in {self.where}"

    @property
    def trap_advice_allowed(self) -> bool:
        """False for children, where the league forbids traps, and for the young until the coach confirms that
        the league allows them."""
        if self.children:
            return False
        if self.trap_allowed is not None:
            return self.trap_allowed
        return not self.young

    @property
    def zone_played(self) -> bool:
        """Whether the zone is played: not where the league forbids it, nor unasked below that age."""
        return self.zone_allowed if self.zone_allowed is not None else not self.young

    def lines(self) -> tuple[str, ...]:
        """What a coach must read, in plain words, most important first."""
        said: list[str] = []
        if self.trap_allowed is False:
            said.append(
                f"No trap advice: {self.where} says that your league does not allow traps at this age."
            )
        elif self.children:
            said.append(
                f"No trap advice up to under {self.none_up_to_age}: youth guidelines advise against zones at "
                "this age. Teach them to guard their man."
            )
        elif not self.trap_advice_allowed:
            age = (
                "the age group is not given"
                if self.age_group is None
                else f"under {self.age_group}: many leagues restrict zones or traps up to under "
                f"{self.withhold_up_to_age}"
            )
            said.append(
                f"No trap advice yet ({age}). Ask your league; if it allows traps, write yes at trap_allowed "
                f"in {self.where}."
            )
        if not self.zone_played:
            reason = (
                "your league does not allow zones"
                if self.zone_allowed is False
                else "it is not confirmed that your league allows zones at this age"
            )
            said.append(f"Man-to-man is played here, because {reason}.")
        if self.trap_advice_allowed and not self.league_rules_confirmed:
            young = not self.adults and self.age_group is not None and self.age_group <= self.ask_up_to_age
            more = f" Some leagues restrict zones up to under {self.ask_up_to_age}." if young else ""
            said.append(
                "Look up whether your league allows zones and traps at this age, and answer zone_allowed and "
                f"trap_allowed in {self.where}.{more}"
            )
        if self.trap_advice_allowed and self.press_when_far_ahead is not True:
            said.append(f"Far ahead (from {self.lead_stop} points on): no traps, whatever the numbers say.")
        said.append(WHO_DECIDES)
        return tuple(said)

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON."""
        return {
            "age_group": self.age_group,
            "adults": self.adults,
            "zone_allowed": self.zone_allowed,
            "trap_allowed": self.trap_allowed,
            "press_when_far_ahead": self.press_when_far_ahead,
            "league_rules_confirmed": self.league_rules_confirmed,
            "trap_advice_allowed": self.trap_advice_allowed,
            "zone_played": self.zone_played,
            "lead_stop": self.lead_stop,
            "lines": list(self.lines()),
        }


def care_of(
    age_group: int | None,
    adults: bool,
    zone_allowed: bool | None,
    trap_allowed: bool | None,
    press_when_far_ahead: bool | None,
    where: str,
    numbers: CareNumbers | None = None,
) -> Care:
    """The answers with the shipped limits. Raises InputError for a broken configs/sheets/care.toml."""
    known = load_care() if numbers is None else numbers
    return Care(
        age_group,
        adults,
        zone_allowed,
        trap_allowed,
        press_when_far_ahead,
        int(known.none_up_to_age.value),
        int(known.withhold_up_to_age.value),
        int(known.ask_up_to_age.value),
        int(known.lead_stop.value),
        where,
    )
