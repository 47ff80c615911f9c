"""Looking ahead, and the sheet a customer takes along, through the served API. All machines and riders are invented."""

import subprocess
import uuid

from client import length, must_refuse
from setup import DEG, case, close, mass, rate, readings

G = 9.80665
FORECAST, SHEET = "SetupService/ForecastLimits", "SetupService/RenderJobSheet"
FRONT, REAR = 1, 2
REBOUND, COMPRESSION = 4, 1
RESPRING, REVALVE = 4, 5


def machine():
    legs = [{"spring_rate": rate(9), "preload": length(18)}] * 2
    shock = {"spring_rate": rate(95), "preload": length(12)}
    return {
        "label": "Borealis Tern 700, invented",
        "wheelbase": length(1420),
        "gravity_ahead": length(650),
        "gravity_height": length(600),
        "rake": {"value": 24, "unit": DEG},
        "mass": mass(185),
        "front_unsprung_mass": mass(16),
        "rear_unsprung_mass": mass(18),
        "front": {"travel": length(120), "legs": legs},
        "rear": {
            "travel": length(130),
            "motion_ratio": 0.5,
            "legs": [shock],
            "adjusters": [{"circuit": REBOUND, "unit": 1, "range_count": 24}],
        },
    }


def asked(**more):
    rebound = {"circuit": REBOUND, "position_from_closed": 7, "force_exponent_factor": 0.67}
    return {
        "values": machine(),
        "rider_mass_with_gear": mass(82),
        "riding": {"deceleration_ratio": 0.55, "lateral_ratio": 0.6, "grip_factor": 1.1},
        "front": {"travel_used": length(100)},
        "rear": {"travel_used": length(90), "circuits": [rebound]},
        "highest_pace_ratio": 2,
        **more,
    }


def money(units):
    return {"units": units}


PRICES = {
    "currency_code": "EUR",
    "rows": [
        {"label": "fork springs", "remedy": RESPRING, "end": FRONT, "price": money(150)},
        {"label": "revalve, either end", "remedy": REVALVE, "end": 3, "price": money(260)},
    ],
}


def scalings_of_a_published_case(api):
    given, wanted = case("SET-19")
    pace = given["p"]
    request = asked(pace_ratios=[pace])
    request["riding"] = {
        "deceleration_ratio": given["a_brake"] / G,
        "lateral_ratio": given["a_lateral"] / G,
        "grip_factor": given["grip"],
    }
    request["waviness_factor"] = given["waviness"]
    bump = {"circuit": COMPRESSION, "position_from_closed": 12, "range_count": 24, "bump_rules": True}
    request["rear"]["circuits"].append({**bump, "force_exponent_factor": given["damper_exponent"]})
    reply = api.call(FORECAST, request)
    (point,) = reply.points
    close(point.road_factor, wanted["rms_velocity_ratio"])
    close(point.bump_bound_factor, wanted["bump_input_velocity_ratio"])
    close(point.deceleration_ratio * G, wanted["decel"])
    close(point.lateral_ratio * G, wanted["a_lateral_at_pace"])
    close(point.load_factor, wanted["spring_load_factor"])
    compression = point.ends[1].circuits[1]
    close(compression.damping_factor / point.ends[1].rate_factor**0.5, wanted["damping_multiplier_bump"])


def limits_come_in_order_with_bands_and_costs(api):
    reply = api.call(FORECAST, asked(prices=PRICES, drawn=True))
    met = [limit for limit in reply.limits if limit.HasField("pace_ratio")]
    assert len(met) >= 3, reply
    assert [limit.pace_ratio for limit in met] == sorted(limit.pace_ratio for limit in met)
    for limit in met:
        assert limit.lower_pace_ratio <= limit.pace_ratio and limit.why, limit
        assert not limit.HasField("upper_pace_ratio") or limit.pace_ratio <= limit.upper_pace_ratio, limit
    totals = [step.total.units for step in reply.steps]
    assert totals == sorted(totals) and totals[-1] > 0, reply.steps
    assert len({(step.remedy, step.end) for step in reply.steps}) == len(reply.steps), reply.steps
    assert reply.staircase_svg.startswith("<svg") and "cost in EUR" in reply.staircase_svg
    assert reply.assumptions and reply == api.call(FORECAST, asked(prices=PRICES, drawn=True))


def everything_a_forecast_lacks_is_named_at_once(api):
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, FORECAST, {"pace_ratios": [9]})
    fields = {field for field, _ in refusal.faults()}
    assert {"source", "rider_mass_with_gear", "riding", "front", "pace_ratios[0]"} <= fields, fields
    request = asked()
    request["rear"]["circuits"][0]["position_from_closed"] = 25
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, FORECAST, request)
    assert refusal.faults() == [("rear.circuits[0].position_from_closed", "OUT_OF_RANGE")], refusal


def text_of(pdf):
    read = subprocess.run(["pdftotext", "-layout", "-", "-"], input=pdf, stdout=subprocess.PIPE, check=True)
    return " ".join(read.stdout.decode().split())


def sheet_of_a_visit_is_a_pdf_and_a_document(api):
    def make(rpc, field, values):
        return api.call(f"BookService/{rpc}", {field: values, "request_id": str(uuid.uuid4())})

    name = "Živa <b>Øster</b>-Łukić"
    rider = make("CreateRider", "rider", {"person_name": name, "mass_with_gear": mass(82)})
    kept = make("CreateMachine", "machine", {"values": machine(), "rider": rider.name})
    settings = [{"circuit": REBOUND, "position_from_closed": 7}]
    found = {"sag": readings(), "preload": length(12), "adjusters": settings, "complaint": "It kicks me out of the seat."}
    visit = {
        "as_found": {"rear": found},
        "as_left": {"rear": {"preload": length(9)}},
        "visit_time": "2026-11-25T16:05:00Z",
    }
    setup = make("CreateSetup", "setup", {"machine": kept.name, "rider": rider.name, "visit": visit})
    sheet = make("CreateJobSheet", "job_sheet", {"setup": setup.name, "notes": "Torqued by the maker's manual."})
    request = {"job_sheet": sheet.name, "forecast": asked(prices=PRICES)}
    reply = api.call(SHEET, request)
    assert reply.media_type == "application/pdf" and reply.content.startswith(b"%PDF-")
    assert reply.content == api.call(SHEET, request).content
    text = text_of(reply.content)
    for said in (name, "It kicks me out of the seat.", "Static sag", "10.00 ± 0.29 mm", "7 of 24 clicks", "Torqued by", "cost in EUR"):
        assert said in text, f"{said} is not in {text}"
    html = api.call(SHEET, {**request, "media_type": "text/html", "paper_size": 2}).content.decode()
    assert "&lt;b&gt;Øster" in html and "<b>Øster" not in html and "size: letter" in html and "src=" not in html
    used = [one.name.split("@")[0] for one in reply.used]
    assert set(used) >= {sheet.name, setup.name, kept.name}, used
    must_refuse("NOT_FOUND", "NOT_FOUND", api.call, SHEET, {"job_sheet": "jobSheets/nowhere"})
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, SHEET, {"media_type": "image/png", "values": {}})
    assert {field for field, _ in refusal.faults()} == {"media_type", "values.visit"}, refusal


JOURNEYS = [
    scalings_of_a_published_case,
    limits_come_in_order_with_bands_and_costs,
    everything_a_forecast_lacks_is_named_at_once,
    sheet_of_a_visit_is_a_pdf_and_a_document,
]
