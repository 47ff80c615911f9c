"""The job sheet: what the judge says, drawings and plots, through the served API. Everything is invented."""

import html as entities
import re

import valving
from ahead import text_of
from client import length, must_refuse, stiffness
from setup import DEG, mass, rate, readings

JUDGE, SHEET = "SetupService/JudgeSetup", "SetupService/RenderJobSheet"
HOSTILE = '"><img src=x onerror=1> & <b>Łukić</b>'
REBOUND, COMPRESSION = 4, 1


def clicks(circuit):
    return {"circuit": circuit, "unit": 1, "range_count": 24}


def machine(shock, stack):
    leg = {"spring_rate": rate(9), "preload": length(18), "oil": {"grade": "10", "fill_time": "2025-06-01T08:00:00Z"}}
    rear = {"spring": shock, "preload": length(14), "least_preload": length(0), "most_preload": length(15), "rebound_stack": stack}
    rear["oil"] = {"grade": "2.5", "fill_time": "2025-06-01T08:00:00Z"}
    return {
        "label": HOSTILE,
        "wheelbase": length(1420),
        "rake": {"value": 24, "unit": DEG},
        "front": {"travel": length(120), "legs": [leg] * 2, "adjusters": [clicks(REBOUND), clicks(COMPRESSION)]},
        "rear": {"label": HOSTILE, "travel": length(130), "motion_ratio": 0.5, "legs": [rear], "adjusters": [clicks(REBOUND)]},
    }


def enter(api, sheet_id):
    """A visit whose rear spring is wound up and whose rebound is nearly closed, with its sheet."""
    coil = {"wire_diameter": length(10.5), "outside_diameter": length(68.5), "active_coil_count": 8.5, "total_coil_count": 10.5}
    shock = {"label": HOSTILE, "marked_rate": stiffness(62), "free_length": length(200), "solid_length": length(105), **coil}
    shock = api.change("RackService/CreateSpring", {"spring": shock, "spring_id": sheet_id})
    stack = {**valving.taper(), "label": HOSTILE}
    stack = api.change("DrawerService/CreateStack", {"stack": stack, "stack_id": sheet_id})
    rider = api.change("BookService/CreateRider", {"rider": {"person_name": HOSTILE, "mass_with_gear": mass(84)}})
    content = {"machine": {"values": machine(shock.name, stack.name), "rider": rider.name}, "machine_id": sheet_id}
    kept = api.change("BookService/CreateMachine", content)
    pair = lambda low, high: {"pressed": length(low), "lifted": length(high)}
    sag = readings(extended=pair(600, 600), alone=pair(599, 601), with_rider=pair(560, 562))
    front = {"adjusters": [{"circuit": REBOUND, "position_from_closed": 12}, {"circuit": COMPRESSION, "position_from_closed": 11}]}
    rear = {"sag": sag, "preload": length(14), "travel_used": length(120), "complaint": HOSTILE}
    rear["adjusters"] = [{"circuit": REBOUND, "position_from_closed": 5}]
    visit = {
        "as_found": {"front": front, "rear": rear},
        "as_left": {"front": front, "rear": {"preload": length(8), "adjusters": [{"circuit": REBOUND, "position_from_closed": 11}]}},
        "visit_time": "2026-05-02T09:00:00Z",
        "riding": "RIDING_HARD_ROAD",
        "work": [{"remedy": "REMEDY_RESPRING", "end": "MACHINE_END_REAR", "text": HOSTILE}],
    }
    setup = api.change("BookService/CreateSetup", {"setup": {"machine": kept.name, "rider": rider.name, "visit": visit}})
    return setup, api.change("BookService/CreateJobSheet", {"job_sheet": {"setup": setup.name}, "job_sheet_id": sheet_id})


def rendered(api, sheet, **more):
    return api.call(SHEET, {"job_sheet": sheet.name, "media_type": "text/html", **more}).content.decode()


def shown(html):
    """The words of a document."""
    return entities.unescape(re.sub(r"<[^>]*>", " ", html))


def sheet_says_what_the_judge_says(api):
    setup, sheet = enter(api, "sheet-judged")
    judged = api.call(JUDGE, {"setup": {"name": setup.name, "moment": "MOMENT_AS_FOUND"}})
    # "respring rear spring, stiffer, 2 steps; high": what, where, on what.
    wanted = [one.text.split(";")[0].split(",")[0] for one in judged.verdicts]
    assert len(wanted) >= 3 and any(one.hazard for one in judged.verdicts), judged
    html = rendered(api, sheet)
    listed = re.search(r'<ol class="verdicts">(.*?)</ol>', html, re.S).group(1)
    heads = [shown(one).strip() for one in re.findall(r'<p class="words">(.*?)</p>', listed, re.S)]
    assert len(heads) == len(wanted), (heads, wanted)
    for head, want, verdict in zip(heads, wanted, judged.verdicts):
        assert want in head.lower(), (head, want)
        assert head.startswith("Hazard: ") == verdict.hazard, head
        for words in [one.text for one in verdict.evidence] + list(verdict.check_first):
            assert words in shown(listed), words
    assert f"rule table {judged.rule_table_version}" in html
    for caution in {words for one in judged.verdicts if not one.hazard for words in one.cautions}:
        assert caution in shown(html) or "untested" in caution, caution
    # The other end is not known, and what would show it is said.
    assert "front sag, which would settle spring and preload" in shown(html), shown(html)[-2500:]
    text = text_of(api.call(SHEET, {"job_sheet": sheet.name}).content)
    for want in wanted:
        assert want[1:] in text, (want, text)
    assert "1. Hazard: " in text and "Work done" in text, text


def rules_of_the_day_stay_on_a_sheet(api):
    _, sheet = enter(api, "sheet-rules")
    before = rendered(api, sheet)
    own = {"id": "adjuster-near-limit", "end": "MACHINE_END_REAR", "ratio": 0.1}
    api.change("BookService/UpdateRuleTable", {"rule_table": {"overrides": [own]}, "update_mask": "overrides"})
    try:
        assert rendered(api, sheet) == before
        # A sheet of today is judged by the rules of today.
        _, later = enter(api, "sheet-rules-later")
        after = shown(rendered(api, later))
        assert "valving, stronger" in shown(before) and "valving, stronger" not in after, after
    finally:
        api.change("BookService/UpdateRuleTable", {"rule_table": {}, "update_mask": "overrides"})


def springs_stacks_and_plots_are_drawn_and_names_do_nothing(api):
    _, sheet = enter(api, "sheet-drawn")
    html = rendered(api, sheet)
    ids = set(re.findall(r'<title id="([^"]+)"', html))
    # The fork's spring is no record, so that it is not drawn; no test and no damper either.
    assert ids == {"rear-spring-title", "rear-rebound-stack-title", "sag-title", "shares-title"}, ids
    assert html.count("<svg") == 4 and "script" not in html and "http://" not in html.replace("http://www.w3.org/2000/svg", "")
    assert "<img" not in html and "<b>Ł" not in html and HOSTILE in shown(html).replace("\n", " ")
    for said in ("front spring, not drawn: ", "curves of the springs: ", "force against velocity: "):
        assert said in shown(html), said
    text = text_of(api.call(SHEET, {"job_sheet": sheet.name}).content)
    for said in ("200 mm free", "solid 105 mm", "Half section to scale", "closed half open", "5→11 of 24", "Stored at full travel: about 165 J"):
        assert said in text, f"{said} is not in {text}"
    inch = shown(rendered(api, sheet, reply_units="UNIT_SYSTEM_INCH"))
    assert "7.87 in free" in inch and "14 mm (0.551 in)" in inch, inch


def what_is_known_besides_is_judged_too(api):
    _, sheet = enter(api, "sheet-besides")
    request = {"judgement": {"rear": {"bind_margin": length(-4)}}}
    assert "binds 4.00 mm before the end" in shown(rendered(api, sheet, **request))
    bad = {"judgement": {"setup": {"name": "setups/none"}, "deceleration_ratio": 9}}
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, SHEET, {"job_sheet": sheet.name, **bad})
    wanted = {("judgement.source", "CONFLICT"), ("judgement.deceleration_ratio", "OUT_OF_RANGE")}
    assert set(refusal.faults()) == wanted, refusal


JOURNEYS = [
    sheet_says_what_the_judge_says,
    rules_of_the_day_stay_on_a_sheet,
    springs_stacks_and_plots_are_drawn_and_names_do_nothing,
    what_is_known_besides_is_judged_too,
]
