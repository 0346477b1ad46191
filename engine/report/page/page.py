"""The report and the bench page as self-contained HTML (engine.report.page.shell)."""

from __future__ import annotations

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report import advice_view
from engine.report.formations_view import table_view
from engine.report.page import answer as words
from engine.report.page import plan as page_plan
from engine.report.page import shots as page_shots
from engine.report.page.appendix import appendix_view
from engine.report.page.bench import bench_view
from engine.report.page.court_card import home_card
from engine.report.page.shell import origin_words, rendered
from engine.report.screen.evening import assumed_words, shot_lines
from engine.report.screen.timing import bump_words
from engine.report.sheet_view import sheet_told, sheet_view
from engine.report.words import GLOSSARY, TRAP_WORDS_ONLY, count
from engine.report.zone_or_men_view import zone_or_men_dict
from engine.study.evening_result import EveningReport
from engine.study.lineup.advice import AREAS
from engine.world.court import build_court


def pictures(report: EveningReport) -> list[Found]:
    """Where shots come from, without and with the call: title, court and what is seen in a sentence."""
    court, shots = build_court(report.scenario.rules), report.shots
    played = {"home": shots["home"]} | ({} if shots["called"] is None else {"called": shots["called"]})
    shares = {key: page_shots.shares_of(of) for key, of in played.items()}
    most = max((share for found in shares.values() for share in found.values()), default=1.0)
    found = []
    for key, of in played.items():
        said = _shots_words(report, of, shares[key])
        drawn = page_shots.shots_card(court, of, shots["open_shot_m"], most, said)
        found.append({"title": _shots_title(report, key), "court": drawn, "words": said})
    return found


def _shots_title(report: EveningReport, key: str) -> str:
    call = report.shots["call"]
    if call is None:
        return "Shots, staying home"
    return f"With the call: {spoken(call)}" if key == "called" else "Same possessions, staying home"


def _shots_words(report: EveningReport, shots: list[Found], shares: dict[tuple[str, int], float]) -> str:
    n, called = report.shots["possessions"], report.shots["call"] is not None
    if not shots:
        return f"No shot in {n} possessions."
    place, share = max(shares.items(), key=lambda item: item[1])
    free = sum(shot["gap_m"] >= report.shots["open_shot_m"] for shot in shots)
    return (
        f"{len(shots)} shots in {count(n, 'possession')}, {free} open; most: "
        f"{page_shots.place_words(place, called)}, {100 * share:.0f}."
    )


def report_page(report: EveningReport, bench: bool = True) -> str:
    """The report (HTML).

    Parameters
    ----------
    report : what ``engine.study.evening_report.evening_report`` played
    bench : whether the bench page stands in it as its last page on paper
    """
    care, evening = report.evening.care, report.evening.to_dict()
    opponents = page_plan.opponents(report)
    areas = dict.fromkeys(AREAS.values())
    return rendered(
        "report.html",
        ("report.css", "bench.css"),
        origin=_origin(report),
        title=report.scenario.title,
        them=report.scenario.offence_team.name,
        traps=care.trap_advice_allowed,
        care=care.lines(),
        headline=advice_view.headline(report),
        told=sheet_told(report.sheet),
        zone_or_men=zone_or_men_dict(report.zone_or_men, report) if report.zone_or_men else None,
        figure=words.figure(report),
        cards=words.answer_cards(report),
        home_court=None if report.advised else home_card(report.scenario),
        clashes=words.clashes(report.evening.signals) if care.trap_advice_allowed else [],
        own=advice_view.own_verdicts(report),
        not_advised=advice_view.planned_only(report),  # why he was not judged has the ledger
        home=words.home_words(report),
        ledger=words.ledger_rows(report),
        formations=table_view(
            report.formations, [(row["setting"], row["call"]) for row in advice_view.advised_rows(report)]
        ),
        model=words.MODEL,
        pictures=pictures(report),
        off_by=page_shots.sampling_words(
            min(len(of) for of in (report.shots["home"], report.shots["called"]) if of is not None)
        ),
        call_of_shots=None if report.shots["call"] is None else spoken(report.shots["call"]),
        plan=page_plan.plan_view(report),
        # where it is late the drill above says of which pass and by how much
        bump="" if report.timing["bump"]["holds"] is False else bump_words(report.timing["bump"]),
        practice=page_plan.practice(report),
        lineup=page_plan.lineup_view(report),
        opponents=opponents,
        areas=[area for area in areas if any(area in one["areas"] for one in opponents)],
        average_shot=f"{report.lineup['average_shot']['mean']:.2f}",
        assumed=assumed_words(evening),
        assumptions=[*evening["assumptions"], *shot_lines(evening)],
        remarks=report.evening.remarks,
        sheet=sheet_view(report.sheet),
        cautions=words.cautions(report),
        glossary={
            word: meaning
            for word, meaning in GLOSSARY.items()
            if care.trap_advice_allowed or word not in TRAP_WORDS_ONLY
        },
        appendix=appendix_view(report),
        bench=bench_view(report) if bench else None,
    )


def _origin(report: EveningReport) -> str:
    """Where the figures come from, and what else can be asked."""
    more = []
    if report.evening.care.trap_advice_allowed:
        more += ["attack", *([] if report.adapted else ["report --adapted"])]
    if report.zone_or_men is None and report.evening.men is not None:
        more.append("report --zone-or-men")
    return origin_words(report.compare) + (f" Also: trapledger {', '.join(more)}." if more else "")


def bench_page(report: EveningReport) -> str:
    """The bench page (HTML) as a file of its own: one sheet of paper."""
    bench = bench_view(report)
    title = f"Bench: {bench['us']} – {bench['them']}"
    return rendered("bench.html", ("bench.css",), title=title, bench=bench)
