"""The first screen: what a coach reads. Built only from the JSON result, so the two cannot disagree."""

from __future__ import annotations

from typing import Any

from engine.report.words import (
    FEW_CALLS,
    WIDTH,
    amount,
    around,
    count,
    detail,
    labelled,
    of_hundred,
    paragraph,
    percent,
    plain,
    saved,
    scaled,
    shorten,
    table,
    useful_decimals,
)

Found = dict[str, Any]

OUTCOME_WORDS = {
    "steal": ("steal", "steals"),
    "other_turnover": ("other turnover", "other turnovers"),
    "foul": ("foul", "fouls"),
    "escape_pass": ("escape by a pass", "escapes by a pass"),
    "retreat": ("retreat", "retreats"),
    "split": ("split by the dribble", "splits by the dribble"),
    "other": ("other (held ball, time-out, shot)", "other (held ball, time-out, shot)"),
}
AFTER_WORDS = {
    "rim_shot": ("shot at the rim", "shots at the rim"),
    "open_three": ("open three", "open threes"),
    "other_shot": ("other shot", "other shots"),
    "reset": ("fresh start", "fresh starts"),
    "turnover": ("turnover", "turnovers"),
}
END_WORDS = {
    "made_shot": "made shot",
    "defensive_rebound": "defensive rebound",
    "turnover": "turnover",
    "free_throws": "free throws",
    "shot_clock": "shot clock",
}
BOX_WORDS = {
    "points": "points",
    "fga": "shots",
    "fgm": "shots made",
    "three_attempts": "threes",
    "three_made": "threes made",
    "rim_attempts": "shots at the rim",
    "fta": "free throws",
    "ftm": "free throws made",
    "oreb": "offensive rebounds",
    "dreb": "defensive rebounds",
    "turnovers": "turnovers",
    "steals": "steals by the defence",
    "fouls": "fouls by the defence",
}
NET_NOTE = (
    "Saved and lost points also count what a turnover brings at the other end, so they can differ a "
    "little from the points conceded."
)
UNCERTAINTY = (
    "Ranges show sampling error only; the model's own error is larger (several hundredths to tenths of a "
    "point per call)."
)
CARE = (
    "League rules on zones and traps come first. Trap with feet and high hands, no reaching; never run "
    "under a shooter."
)


def compare_text(result: Found, with_detail: bool = False) -> str:
    """The text of ``compare`` from its JSON result; ``with_detail`` appends everything."""
    lines = _head(result)
    lines += ["", "Points conceded per 100 possessions"]
    lines += _overview(result)
    if not result["settings"]:
        lines += ["", paragraph("The scenario has no settings, so there is no call to weigh.")]
    for setting in result["settings"]:
        lines += _setting(setting, result["possessions"])
    lines += ["", paragraph(NET_NOTE), paragraph(UNCERTAINTY), paragraph(CARE)]
    return _finish(result, lines, with_detail)


def play_text(result: Found, with_detail: bool = False) -> str:
    """The text of ``play`` from its JSON result; ``with_detail`` appends everything."""
    n, rates = result["possessions"], result["rates"]
    lines = _head(result)
    points = scaled(result["points_per_possession"], 100)
    per_game = result["possessions_per_game"]
    pace = f"{result['seconds_per_possession']['mean']:.1f} seconds a possession"
    if per_game is not None:
        pace += f", about {per_game:.0f} possessions a side in a game"
    lines += [
        "",
        labelled("Setting", "staying home in the zone" if result["setting"] == "home" else result["setting"]),
        labelled(
            "Conceded",
            f"{around(points, useful_decimals(points))} points per 100 possessions",
        ),
        labelled("Pace", pace),
    ]
    for call in result["calls"]:
        lines.append(
            labelled("Call", f"{call['call'].replace('_', ' ')}: {_often(call['per_100_possessions'])}")
        )
    lines += ["", "Box score of the offence"]
    rows = [("", "total", "per 100")]
    rows += [
        (BOX_WORDS[name], f"{result['box'][name]:,}", f"{100 * result['box'][name] / n:.1f}")
        for name in BOX_WORDS
    ]
    lines += table(rows)
    lines += ["", "How possessions ended"]
    lines += table([(END_WORDS[name], percent(k / n)) for name, k in result["ends"].items()])
    lines += ["", "Shots by distance"]
    shots = [
        (mix["band"], percent(mix["share"]["mean"]), percent(mix["made"]["mean"]))
        for mix in result["shot_mix"]
    ]
    lines += table([("", "of all shots", "made"), *shots])
    lines += ["", "The four factors of the offence"]
    lines += table(
        [
            (
                "effective shooting (a three counts one and a half)",
                percent(rates["effective_field_goal"]["mean"]),
            ),
            ("possessions lost to a turnover or the clock", percent(rates["turnover"]["mean"])),
            ("own misses rebounded", percent(rates["offensive_rebound"]["mean"])),
            ("free throws per 100 shots", _hundredfold(rates["free_throws_per_field_goal"]["mean"])),
        ]
    )
    lines += ["", paragraph(UNCERTAINTY)]
    return _finish(result, lines, with_detail)


# --- parts --------------------------------------------------------------------------------------------


def _head(result: Found) -> list[str]:
    who = f"{result['offence']} with the ball, {result['defence']} in the zone"
    return [
        plain(result["title"]),
        paragraph(f"{who}. {count(result['possessions'], 'possession')}, seed {result['seed']}."),
    ]


def _finish(result: Found, lines: list[str], with_detail: bool) -> str:
    blocks = [result, result.get("baseline", {}), *result.get("settings", ())]
    cut = sum(block.get("checks", {}).get("overflow", 0) for block in blocks)
    faults = sum(block.get("checks", {}).get("policy_faults", 0) for block in blocks)
    if cut or faults:
        lines += [
            "",
            paragraph(
                f"CAUTION: {count(cut, 'possession was', 'possessions were')} cut at the longest time the "
                f"engine plays, {count(faults, 'place', 'places')} off the court asked for."
            ),
        ]
    if with_detail:
        lines += ["", "Detail", "-" * WIDTH, *detail(result)]
    return "\n".join(lines) + "\n"


def _overview(result: Found) -> list[str]:
    blocks = [result["baseline"], *result["settings"]]
    points = [scaled(block["points_per_possession"], 100) for block in blocks]
    decimals = max(useful_decimals(found) for found in points)
    rows = [("  staying home", around(points[0], decimals), "")]
    for setting, found in zip(result["settings"], points[1:], strict=True):
        change = saved(scaled(setting["change"], -100), 1, "", short=True)
        rows.append((f"  {shorten(setting['name'], 30)}", around(found, decimals), change))
    widths = [max(len(row[i]) for row in rows) for i in range(2)]
    return [f"{name:<{widths[0]}}  {found:<{widths[1]}}  {change}".rstrip() for name, found, change in rows]


def _setting(setting: Found, possessions: int) -> list[str]:
    lines = ["", plain(setting["name"]), "-" * min(len(plain(setting["name"])), WIDTH)]
    lines.append(
        labelled("Against home", saved(scaled(setting["change"], -100), 1, "points per 100 possessions"))
    )
    if not setting["calls"]:
        lines.append(labelled("Calls", "none in this setting"))
    for call in setting["calls"]:
        lines += _call(call, possessions, apart=len(setting["calls"]) > 1)
    return lines


def _often(per_100: float) -> str:
    if per_100 >= 9.5:
        return f"{per_100:.0f} times in 100 possessions"
    if per_100 >= 0.95:
        return f"{per_100:.1f} times in 100 possessions"
    return f"{amount(per_100, 1)} times in 100 possessions"


def _list(shares: dict[str, float | None], words: dict[str, tuple[str, str]]) -> str:
    names = [name for name in words if shares[name] is not None]
    numbers = of_hundred([shares[name] or 0.0 for name in names])
    return ", ".join(
        f"{n} {words[name][0] if n == 1 else words[name][1]}"
        for name, n in zip(names, numbers, strict=True)
        if n
    )


def _call(call: Found, possessions: int, apart: bool) -> list[str]:
    lines = [""] if apart else []
    lines.append(labelled("Call", call["call"].replace("_", " ")))
    called = call["called"]
    if called == 0:
        return [*lines, labelled("How often", f"never in {count(possessions, 'possession')}")]
    lines.append(labelled("How often", _often(call["called_per_100_possessions"])))
    if called < FEW_CALLS:
        few = f"only {count(called, 'call')}: too few to say more; play more possessions (-n)"
        return [*lines, labelled("Worth", few)]
    lines.append(labelled("Worth", saved(call["value"], 2, "points a call")))
    lines.append(labelled("Turnovers", call["break_even"]["words"]))
    lines.append(labelled("Of 100 calls", _list(call["outcomes"], OUTCOME_WORDS)))
    if call["after_escape"]["rim_shot"] is not None:
        lines.append(labelled("Of 100 escapes", _list(call["after_escape"], AFTER_WORDS)))
    under, home = call["conceded"]["called"], call["conceded"]["home"]
    for label, what, key in (
        ("Risk", "two points or more", "p_two_or_more"),
        ("", "a shot at the rim", "p_rim_shot"),
    ):
        lines.append(
            labelled(label, f"{what}: {percent(under[key])} with the call, {percent(home[key])} staying home")
        )
    over = call["over_n"]
    if over["p_worse"] is not None:
        text = (
            f"{percent(over['p_worse'])} chance to concede more than staying home; in the worst 1 of 20 such "
            f"runs {_more(over['worst_5_percent'])} than usual (staying home: {_more(over['worst_5_percent_home'])})"
        )
        lines.append(labelled(f"Over {count(over['n'], 'call')}", text))
    return lines


def _more(points: float) -> str:
    return f"{abs(points):.0f} points {'more' if points >= 0 else 'fewer'}"


def _hundredfold(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.0f}"
