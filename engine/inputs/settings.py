"""The settings of a scenario: the defence each plays and the calls it makes ([[setting]] in a scenario)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from pydantic import Field

from engine.errors import InputError, MissingInput, as_written
from engine.inputs import defaults
from engine.inputs.base import Frozen, Text
from engine.inputs.calls import CHANGEABLE, Call, call_from, misfit
from engine.inputs.files import Source, read_toml, resolve, shipped, shipped_source
from engine.inputs.places import Options, choose
from engine.inputs.plays import Play, plays_from, pooled
from engine.inputs.team import Team, check_numbers
from engine.inputs.zone import Zone, chosen, zone_from
from engine.state.record import MOST_CALLS


class Setting(Frozen):
    """One way to play: a name, a defence and its calls, each complete with the changes of the scenario.

    ``zone``: the base defence with its options chosen, None for the scenario's. ``zone_options``: option ->
    choice taken, for every option of the defence that is played. ``policy``: name of the coded policy, None
    for the file's rows. ``own_defence``: whether defence, options or policy differ from the scenario's.
    ``plays``: those of the attack in it, in any order; None for the scenario's.
    """

    name: Text
    calls: tuple[Call, ...]
    zone: Zone | None = None
    zone_options: dict[str, str] = Field(default_factory=dict)
    policy: Text | None = None
    own_defence: bool = False
    plays: tuple[Play, ...] | None = None

    @property
    def own_base(self) -> bool:
        """Whether defence or plays differ from the scenario's: it has a branch of its own without calls."""
        return self.own_defence or self.plays is not None


class BaseDefence(NamedTuple):
    """A base defence with its options chosen, and the coded policy that plays it (None: the file's rows)."""

    zone: Zone
    policy: str | None


# --- as it is written -----------------------------------------------------------------------------------


class CallUse(Frozen):
    """One [[setting.call]]: a call and what is changed of it."""

    call: Text = Field(description="name or path of a trap call")
    probability: Any = None
    triggers: Any = None
    held_s: Any = None
    disguise_s: Any = None
    only_against: Any = None
    budget: Any = None
    give_up_s: Any = None
    way_back: Any = None
    after_bump: Any = None
    from_baseline_m: Any = None
    options: dict[str, Any] = Field(default_factory=dict, description="option = choice")


class WrittenSetting(Frozen):
    """One [[setting]]."""

    name: Text = Field(description="name of the setting")
    zone: Text | None = Field(default=None, description="name or path of a defence")
    options: dict[str, Any] = Field(default_factory=dict, description="option = choice")
    policy: Text | None = Field(default=None, description="name of a coded policy")
    plays: tuple[Text, ...] | None = Field(default=None, description="names or paths of plays")
    call: tuple[CallUse, ...] = Field(default=(), description="calls, written as [[setting.call]]")


# --- calls ----------------------------------------------------------------------------------------------


def _moved(error: InputError, where: str, key: str) -> InputError:
    """The same error told about the scenario's own key."""
    return InputError(where, key, error.value, error.allowed)


def fitting_calls(zone: Zone) -> list[str]:
    """Names of the shipped calls that can be made in this defence; a file that does not load is left out."""
    names: list[str] = []
    for name in shipped("calls"):
        try:
            source = shipped_source("calls", name)
            if misfit(call_from(read_toml(source), str(source)), zone) is None:
                names.append(name)
        except InputError:
            continue
    return names


def check_fit(call: Call, zone: Zone, call_file: str, where: str, key: str, written: str) -> None:
    """Raises InputError where the call cannot be made in this defence.

    The call's file is at fault where it names this defence as one it is written for; else the scenario is,
    and the calls that would fit are listed.
    """
    found = misfit(call, zone)
    if found is None:
        return
    wrong, value, allowed = found
    if zone.name in call.defences:
        raise InputError(call_file, wrong, value, allowed)
    fitting = ", ".join(fitting_calls(zone)) or "none is shipped"
    if wrong == "defences":
        reason = f"it is for {', '.join(call.defences)}"
    else:
        reason = f"its {wrong} is {as_written(value)}, allowed there: {allowed}"
    raise InputError(
        where, key, written, f"a call for the defence {zone.name} ({reason}); calls that fit: {fitting}"
    )


def _call(use: CallUse, zone: Zone, source: Source, offence: Team, key: str) -> Call:
    """A call with the changes of one setting. Raises InputError naming the scenario's key."""
    where = str(source)
    call_source = resolve(use.call, "calls", source, f"{key}.call")
    data = read_toml(call_source)
    call = call_from(data, str(call_source))
    changes = {name: getattr(use, name) for name in CHANGEABLE if name in use.model_fields_set}
    if changes:
        try:
            call = call_from({**data, **changes}, where)
        except InputError as error:
            raise _moved(error, where, f"{key}.{error.key}") from None
    check_fit(call, zone, str(call_source), where, f"{key}.call", use.call)
    options: Options = choose(call.options, use.options, where, f"{key}.options")
    told = (where, f"{key}.only_against") if "only_against" in changes else (str(call_source), "only_against")
    check_numbers(call.only_against, offence, *told)
    return call.model_copy(update={"options": options})


def _calls(written: WrittenSetting, zone: Zone, source: Source, offence: Team, key: str) -> tuple[Call, ...]:
    where = str(source)
    if len(written.call) > MOST_CALLS:
        found = f"{len(written.call)} calls"
        raise InputError(where, f"{key}.call", found, f"at most {MOST_CALLS} calls in a setting")
    covered: dict[str, int] = {}
    calls: list[Call] = []
    for j, use in enumerate(written.call):
        here = f"{key}.call[{j + 1}]"
        call = _call(use, zone, source, offence, here)
        for region in call.ball:
            if region in covered:
                allowed = f"one call per region (call[{covered[region]}] has {region})"
                raise InputError(where, f"{here}.call", use.call, allowed)
            covered[region] = j + 1
        calls.append(call)
    return tuple(calls)


# --- defences -------------------------------------------------------------------------------------------


def defence_from(
    name: str, options: dict[str, Any], policy: str | None, source: Source, key: str
) -> BaseDefence:
    """The defence of a file with the wanted choices taken; ``key`` is the table that names it.

    Raises InputError.
    """
    zone_source = resolve(name, "zones", source, f"{key}.zone")
    zone = zone_from(read_toml(zone_source), str(zone_source))
    chosen_options = choose(zone.options, options, str(source), f"{key}.options")
    return BaseDefence(zone.model_copy(update={"options": chosen_options}), policy)


def _own(written: WrittenSetting, home: BaseDefence, source: Source, key: str) -> BaseDefence:
    """What a setting plays. A defence it names comes without the scenario's options and coded policy."""
    if written.zone is not None:
        return defence_from(written.zone, written.options, written.policy, source, key)
    options = choose(home.zone.options, written.options, str(source), f"{key}.options")
    return BaseDefence(home.zone.model_copy(update={"options": options}), written.policy or home.policy)


def _own_plays(
    written: WrittenSetting, plays: Sequence[Play], source: Source, key: str
) -> tuple[Play, ...] | None:
    """The plays a setting names; None where they are the scenario's."""
    if written.plays is None:
        return None
    own = plays_from(written.plays, source, f"{key}.plays")
    return None if len(own) == len(plays) and all(play in plays for play in own) else own


def settings_from(
    file: tuple[WrittenSetting, ...],
    home: BaseDefence,
    plays: Sequence[Play],
    source: Source,
    offence: Team,
) -> tuple[Setting, ...]:
    """The settings of a scenario; ``home`` and ``plays`` are the scenario's own. Raises InputError."""
    where = str(source)
    settings: list[Setting] = []
    for i, written in enumerate(file):
        key = f"setting[{i + 1}]"
        if written.name.strip().casefold() == defaults.HOME:
            allowed = f"another name ({defaults.HOME} is the defence without calls)"
            raise InputError(where, f"{key}.name", written.name, allowed)
        for j, earlier in enumerate(settings):
            if earlier.name.casefold() == written.name.casefold():
                raise InputError(
                    where, f"{key}.name", written.name, f"a name of its own (setting[{j + 1}] has it)"
                )
        changes = (written.call, written.zone, written.options, written.policy)
        if not any(changes) and written.plays is None:
            raise MissingInput(where, f"{key}.call", "at least one of call, zone, options, policy and plays")
        own = _own(written, home, source, key)
        settings.append(
            Setting(
                name=written.name,
                calls=_calls(written, own.zone, source, offence, key),
                zone=None if written.zone is None else own.zone,
                zone_options=chosen(own.zone.options),
                policy=own.policy,
                own_defence=own != home,
                plays=_own_plays(written, plays, source, key),
            )
        )
        pooled([plays, *(one.plays or () for one in settings)], source, f"{key}.plays")
    return tuple(settings)
