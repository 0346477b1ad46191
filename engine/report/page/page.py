"""The report and the bench page as self-contained HTML: no script, nothing asked of the network.

The content policy of the pages allows their own style by its hash and nothing else. Whatever comes from files
of the user goes through Jinja2's autoescape.
"""

from __future__ import annotations

from markupsafe import Markup

from engine.estimate.intervals import Found
from engine.inputs.base import spoken
from engine.report.page import answer as words
from engine.report.page import court_plot
from engine.report.page import plan as page_plan
from engine.report.page.appendix import appendix_view
from engine.report.page.bench import bench_view
from engine.report.page.court_plot import place_words, shares_of
from engine.report.replay.page import environment, own_part
from engine.report.screen.evening import shot_line
from engine.report.words import count
from engine.study.evening_report import EveningReport
from engine.world.court import build_court


def _policy(*sources: str) -> str:
    return f"default-src 'none'; style-src {' '.join(sources)}; base-uri 'none'; form-action 'none'"


def pictures(report: EveningReport) -> list[Found]:
    """The court pictures: each an SVG, what is seen in a sentence, and the same as a table."""
    court, shots = build_court(report.scenario.rules), report.shots
    open_m, called = shots["open_shot_m"], shots["called"]
    shares = {"home": court_plot.shares_of(shots["home"])}
    if called is not None:
        shares["called"] = court_plot.shares_of(called)
    most = max((share for found in shares.values() for share in found.values()), default=1.0)
    found = []
    for key, of in (("home", shots["home"]), ("called", called)):
        if of is None:
            continue
        said = _shots_words(report, key, of, shares[key])
        svg = court_plot.shots_svg(court, of, open_m, most, f"shots-{key}", said)
        found.append({"title": _shots_title(report, key), "svg": Markup(svg), "words": said, "of": "shots"})
    links = court_plot.late_places(report.scenario, page_plan.worst_links(report, court_plot.MOST_LATE))
    rows = page_plan.link_rows(links)
    late_words = _late_words(rows)
    late = {
        "title": "Late close-outs, staying home",
        "svg": Markup(court_plot.late_svg(court, links, "late", late_words)),
        "words": late_words,
        "of": "late",
    }
    return [*found, late]


def _shots_title(report: EveningReport, key: str) -> str:
    call = report.shots["call"]
    if call is None:
        return "Shots, staying home"
    return f"With the call: {spoken(call)}" if key == "called" else "Without the call, staying home"


def _shots_words(
    report: EveningReport, key: str, shots: list[Found], shares: dict[tuple[str, int], float]
) -> str:
    n, called = report.shots["possessions"], report.shots["call"] is not None
    if not shots:
        return f"No shot in {n} possessions."
    first = sorted(shares.items(), key=lambda item: -item[1])[:3]
    where = ", ".join(f"{place_words(place, called)} {100 * share:.0f}" for place, share in first)
    free = sum(shot["gap_m"] >= report.shots["open_shot_m"] for shot in shots)
    return (
        f"{len(shots)} shots in {count(n, 'possession')}. Of 100 shots most come from: {where}. "
        f"{free} of the {len(shots)} were open (nobody within {report.shots['open_shot_m']:.1f} m)."
    )


def _late_words(rows: list[Found]) -> str:
    if not rows:
        return "Nobody is late on any pass that is timed."
    said = "; ".join(
        f"{row['number']} {row['way']}, {row['who']} {row['late']}, {row['open']} open" for row in rows
    )
    return f"The passes that cost most: {said}."


def shots_table(report: EveningReport) -> list[Found]:
    """Shares by area, without and with the call, as the table beside the pictures."""
    shots, called = report.shots, report.shots["call"] is not None
    home = shares_of(shots["home"])
    other = {} if shots["called"] is None else shares_of(shots["called"])
    keys = sorted({*home, *other}, key=lambda key: -max(home.get(key, 0.0), other.get(key, 0.0)))
    return [
        {
            "place": place_words(key, called),
            "home": f"{100 * home.get(key, 0.0):.0f}",
            "called": f"{100 * other.get(key, 0.0):.0f}" if called else "",
        }
        for key in keys
    ]


def report_page(report: EveningReport, bench: bool = True) -> str:
    """The report (HTML).

    Parameters
    ----------
    report : what ``engine.study.evening_report.evening_report`` played
    bench : whether the bench page stands in it as its last page on paper
    """
    style, source = own_part("report.css")
    bench_style, bench_source = own_part("bench.css")
    care = report.evening.care
    links = page_plan.worst_links(report, 5)
    return str(
        environment()
        .get_template("report.html")
        .render(
            policy=_policy(source, bench_source),
            style=style,
            bench_style=bench_style,
            title=report.scenario.title,
            us=report.scenario.defence_team.name,
            them=report.scenario.offence_team.name,
            traps=care.trap_advice_allowed,
            care=care.lines(),
            headline=words.headline(report),
            cards=words.answer_cards(report),
            swing=words.swing_words(report),
            not_advised=words.not_advised(report),
            home=words.home_words(report),
            ledger=words.ledger_rows(report),
            sampling=words.SAMPLING,
            model=words.MODEL,
            pictures=pictures(report),
            shots=shots_table(report),
            call_of_shots=None if report.shots["call"] is None else spoken(report.shots["call"]),
            n_shots=report.shots["possessions"],
            plan=page_plan.plan_view(report),
            links=page_plan.link_rows(links),
            bump=report.timing["bump"]["words"],
            passes=report.timing["passes_traced"],
            after=[
                {"call": spoken(one["call"]), "words": page_plan.out_words(one)}
                for one in report.timing["after_trap"]
                if one["ball"] is not None
            ],
            drills=page_plan.drills(report),
            lineup=page_plan.lineup_view(report),
            assumptions=report.evening.assumptions,
            shooting=[shot_line(note.to_dict()) for note in report.evening.shooting],
            remarks=report.evening.remarks,
            cautions=words.cautions(report),
            appendix=appendix_view(report),
            bench=bench_view(report) if bench else None,
        )
    )


def bench_page(report: EveningReport) -> str:
    """The bench page (HTML) as a file of its own: one sheet of paper."""
    style, source = own_part("bench.css")
    template = environment().get_template("bench.html")
    return str(template.render(policy=_policy(source), bench_style=style, bench=bench_view(report)))
