"""The analyst's part of the report: tail risk, variance reduction, four factors, deciding inputs, origins."""

from __future__ import annotations

from dataclasses import asdict

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.advice_view import advised_game
from engine.report.screen.stress import not_asked_words, share_told
from engine.report.seldom_view import why_seldom
from engine.report.words import FACTOR_WORDS, FEW_CALLS, percent, times
from engine.study.evening_result import EveningReport


def number(value: float | None, decimals: int = 2, sign: bool = False) -> str:
    """A number, or - where there is none."""
    if value is None:
        return "-"
    text = f"{value:+.{decimals}f}" if sign else f"{value:.{decimals}f}"
    return text.replace("-", "\N{MINUS SIGN}")


def interval(found: Found, decimals: int = 3, factor: float = 1.0, sign: bool = True) -> str:
    """``+0.123 (+0.1 to +0.2)``, or without signs."""
    if found["mean"] is None:
        return "-"
    ends = [found[key] for key in ("low", "high")]
    text = number(factor * found["mean"], decimals, sign)
    if None in ends:
        return text
    low, high = sorted(factor * end for end in ends)
    return f"{text} ({number(low, decimals, sign)} to {number(high, decimals, sign)})"


def appendix_view(report: EveningReport) -> Found:
    """Rows of the appendix."""
    risk: list[Found] = []
    factors: list[Found] = []
    for setting in report.compare["settings"]:
        for call in setting["calls"]:
            over = call["over_n"]
            if over["p_worse"] is None:
                continue
            name = f"{spoken(call['call'])} ({setting['name']})"
            if call["called"] < FEW_CALLS:
                why = why_seldom(report.seldom, setting["name"], call["call"])
                said = f"came up {times(call['called'])}: not judged{why}"
                risk.append({"call": name, "few": said})
                continue
            risk.append(
                {
                    "call": name,
                    "few": None,
                    "n": over["n"],
                    "worst": number(over["worst_5_percent"], 1, True),
                    "worst_home": number(over["worst_5_percent_home"], 1, True),
                    "p_worse": percent(over["p_worse"]),
                    "p_costs": percent(call["p_costs_points"]),
                    "reduction": number(call["variance_reduction"], 1),
                    "t": interval(call["break_even"]["turnover_rate"], sign=False),
                    "t_star": interval(call["break_even"]["t_star"]),
                }
            )
        factors.append(
            {
                "name": setting["name"],
                "change": interval(setting["change"], 1, 100.0),
                "cells": [number(100.0 * setting["factors"][key]["mean"], 1, True) for key in FACTOR_WORDS],
            }
        )
    stress = report.stress
    studies = [report.compare, report.plan, *([stress] if stress else []), report.timing, report.lineup]
    versions: dict[str, str] = {}
    for study in studies:
        versions |= study["versions"]
    return {
        "risk": risk,
        "factor_names": list(FACTOR_WORDS.values()),
        "factors": factors,
        "rates": {
            "shooting": percent(report.compare["baseline"]["rates"]["effective_field_goal"]["mean"]),
            "turnovers": percent(report.compare["baseline"]["rates"]["turnover"]["mean"]),
            "rebounds": percent(report.compare["baseline"]["rates"]["offensive_rebound"]["mean"]),
            "free throws per 100 shots": number(
                _hundred(report.compare["baseline"]["rates"]["free_throws_per_field_goal"]["mean"]), 0
            ),
        },
        "worlds": None if stress is None else stress["worlds"],
        "not_asked": "" if stress is None else not_asked_words(stress["worlds"]),
        "world_possessions": None if stress is None else stress["possessions"],
        "inputs": [] if stress is None else _inputs(stress),
        "swing_sd": number(advised_game(report)["swing"]["sd"], 1) if report.advised else "",
        "lineup_guarantee": report.lineup["guarantee"],
        "lineup_possessions": f"{report.lineup['possessions_played']:,}",
        "effort": {spoken(key): f"{value:,}" for key, value in asdict(report.effort).items()},
        "checks": report.compare["baseline"]["checks"],
        "apart": sum(setting["uncalled_differences"] for setting in report.compare["settings"]),
        "hash": report.compare["config_hash"],
        "hash_worlds": None if stress is None else stress["config_hash"],
        "seed": report.seed,
        "version": report.compare["version"],
        "scenario": report.compare["scenario"],
        "versions": versions,
    }


def _hundred(value: float | None) -> float | None:
    return None if value is None else 100.0 * value


def _inputs(stress: Found) -> list[Found]:
    """Inputs that stand out from noise, of every call weighed."""
    labels = {one["name"]: one for one in stress["inputs"]}
    rows = []
    for setting in stress["settings"]:
        for call in setting["calls"]:
            named = [labels[one["name"]]["label"] for one in call["inputs"] if one["named"]][:4]
            if call["floor"] is None:
                said = "too few variants to name deciding inputs (trapledger stress draws more)"
            else:
                said = ", ".join(named) or "none stands out from noise"
            value = call["value"]
            rows.append(
                {
                    "call": f"{spoken(call['call'])} ({setting['name']})",
                    "share": interval(call["share"], 2, sign=False)
                    if share_told(call, stress["worlds"]["least_kept"])
                    else f"takes {stress['worlds']['least_kept']} kept variants",
                    "raw": f"{call['raw']['pays']} of {call['worlds']}",
                    "value": interval(value, 2),
                    "said": said,
                }
            )
    return rows
