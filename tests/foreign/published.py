"""The check cases of springs, from their published or computed sources, through the served API."""

import json
import math
import pathlib

from client import length, stiffness

DATA = pathlib.Path(__file__).resolve().parent.parent / "data" / "springs"


def load_cases():
    """Every case of the data files by its id."""
    found = {}
    for path in sorted(DATA.glob("*.json")):
        content = json.loads(path.read_text())
        listed = content.get("cases", content) if isinstance(content, dict) else content
        found.update({one["id"]: one for one in listed})
    return found


def given(case, name):
    return case["inputs"][name]["value"]


def samples(case, deflections="s", loads="F"):
    return {
        "deflection_unit": "UNIT_MILLIMETER",
        "deflections": given(case, deflections),
        "load_unit": "UNIT_NEWTON",
        "loads": given(case, loads),
    }


def reduce(api, content):
    return api.call("SpringService/ReduceRun", content)


AS_READ = {"tare": {"none": True}, "window": {"all_samples": True}}


def between(case, low, high):
    share = {"from_ratio": low, "to_ratio": high, "total_travel": length(given(case, "s_total"))}
    return {"samples": samples(case), "tare": {"none": True}, "window": {"share": share}}


def rate_window(api, case):
    window = reduce(api, between(case, *given(case, "window")))
    wider = reduce(api, between(case, 0.2, 0.8))
    full = reduce(api, dict(AS_READ, samples=samples(case)))
    return {
        "rate_two_point": window.two_point_rate,
        "rate_ols_window": window.fit.slope,
        "u_rate_window": window.fit.slope_standard_uncertainty,
        "rate_ols_20_80": wider.fit.slope,
        "rate_ols_full_travel": full.fit.slope,
    }


def rate_with_interval(api, case):
    level = {"coverage_probability": given(case, "level")}
    reply = reduce(api, dict(AS_READ, samples=samples(case), uncertainty=level))
    return {
        "rate": reply.rate.value,
        "intercept": reply.fit.intercept,
        "u_rate": reply.fit.slope_standard_uncertainty,
        "t": reply.rate.coverage_factor,
        "U95": reply.rate.expanded_uncertainty,
        "free_length_deflection_at_zero_load": reply.fit.zero_load_deflection,
    }


def frame_of(case):
    rate, uncertainty = given(case, "k_frame"), given(case, "u_k_frame")
    return {"stiffness": {"rate": stiffness(rate), "standard_uncertainty": stiffness(uncertainty)}}


def frame(api, case):
    measured = {"rate": stiffness(given(case, "k_meas")), "standard_uncertainty": stiffness(given(case, "u_k_meas"))}
    reply = reduce(api, {"measured_rate": measured, "frame": frame_of(case)})
    return {
        "k_true": reply.rate.value,
        "u_k_true": reply.rate.standard_uncertainty,
        "bias_if_ignored": reply.frame_bias_ratio,
    }


def budget(api, case):
    limits = {
        "load_scale_limit_ratio": given(case, "force_scale_limit"),
        "deflection_scale_limit_ratio": given(case, "displacement_scale_limit"),
    }
    measured = {"rate": stiffness(given(case, "k_fit")), "standard_uncertainty": stiffness(given(case, "type_A"))}
    reply = reduce(api, {"measured_rate": measured, "frame": frame_of(case), "uncertainty": limits})
    total = reply.rate.standard_uncertainty.value
    largest = max(line.standard_uncertainty.value for line in reply.rate.budget)
    return {
        "k": reply.rate.value,
        "u_k": reply.rate.standard_uncertainty,
        "U_k2": 2 * total,
        # Nine tenths of it: no other line can be meant.
        "share_force_scale": (largest / total) ** 2,
    }


def hysteresis(api, case):
    both = {
        "deflection_unit": 1,
        "deflections": given(case, "s_up") + given(case, "s_down"),
        "load_unit": 1,
        "loads": given(case, "F_up") + given(case, "F_down"),
    }
    reply = reduce(api, dict(AS_READ, samples=both, strokes={"reversal_discard": length(0)})).friction
    return {
        "rate": reply.rate,
        "friction": reply.force.value,
        "mean_intercept": reply.mean_intercept,
        "rate_up_only": reply.press_rate,
        "rate_down_only": reply.return_rate,
        "rate_pooled_naive": reply.pooled_rate,
    }


def contact(api, case):
    window = {"deflections": {"from": length(given(case, "fit_from")), "to": length(max(given(case, "s")))}}
    tare = {"leading_sample_count": given(case, "n_tare")}
    reply = reduce(api, {"samples": samples(case), "tare": tare, "window": window})
    return {"tare": reply.contact.tare, "rate": reply.rate.value, "s_contact": reply.contact.deflection.value}


def coil_bind(api, case):
    knees = reduce(api, {"samples": samples(case), "tare": {"none": True}}).knees
    return {
        "breaks": [knee.deflection.value for knee in knees],
        "rates": [knees[0].rate_before, *(knee.rate_after for knee in knees)],
    }


def robust(api, case):
    reply = reduce(api, dict(AS_READ, samples=samples(case)))
    return {
        "slope": reply.robust_rate.value,
        "intercept": reply.robust_rate.intercept,
        "lo": reply.robust_rate.lower,
        "hi": reply.robust_rate.upper,
        "siegel_slope": reply.robust_rate.repeated_median,
        "ols_slope": reply.fit.slope,
    }


def tolerance_grade(api, case):
    geometry = {
        "active_coil_count": given(case, "n_active"),
        "index_ratio": given(case, "C"),
        "free_length": length(given(case, "L0")),
    }
    marking = {"rate": stiffness(80), "free_length": length(given(case, "L0"))}
    grade = {"system": "SYSTEM_JIS_B_2704", "grade": given(case, "grade")}
    content = {"measured_rate": {"rate": stiffness(80)}, "geometry": geometry, "marking": marking, "grade": grade}
    verdict = reduce(api, content).marking_verdict
    return {
        "rate_tol": verdict.rate_tolerance_ratio,
        "load_tol": verdict.load_tolerance_ratio,
        "free_length_tol": verdict.free_length_tolerance,
    }


ASKED = {
    "R-15": rate_window,
    "R-16": rate_with_interval,
    "R-17": frame,
    "R-19": budget,
    "R-20": hysteresis,
    "R-21": contact,
    "R-22": coil_bind,
    "R-23": robust,
    "T-01": tolerance_grade,
    "T-02": tolerance_grade,
    "T-03": tolerance_grade,
    "T-04": tolerance_grade,
}
UNITS = {"mm": ("Length", 1), "N": ("Force", 1), "N/mm": ("Stiffness", 1)}


def figure(answer, unit):
    """The number of an answer; a quantity must be in the unit of the case."""
    if hasattr(answer, "DESCRIPTOR"):
        assert (answer.DESCRIPTOR.name, answer.unit) == UNITS[unit], f"{answer} is not in {unit}"
        return answer.value
    return answer


def differences(api, name, case):
    answers = ASKED[name](api, case)
    assert set(answers) == set(case["expected"]), f"asked for {sorted(answers)}, expected {sorted(case['expected'])}"
    for key, wanted in case["expected"].items():
        answer = answers[key]
        got = answer if isinstance(answer, list) else [answer]
        want = wanted["value"] if isinstance(wanted["value"], list) else [wanted["value"]]
        got = [figure(one, wanted["unit"]) for one in got]
        close = [math.isclose(a, b, rel_tol=wanted["rel_tol"]) for a, b in zip(got, want)]
        if len(got) != len(want) or not all(close):
            yield f"{name} {key}: {got}, expected {want} {wanted['unit']} to {wanted['rel_tol']} ({case['source'][:60]})"


def published_cases_hold_through_the_served_api(api):
    cases, wrong = load_cases(), []
    for name in ASKED:
        assert name in cases, f"{name} is not among the cases of tests/data/springs"
        wrong.extend(differences(api, name, cases[name]))
    print(f"  {len(ASKED)} cases")
    assert not wrong, "\n" + "\n".join(wrong)


JOURNEYS = [published_cases_hold_through_the_served_api]
