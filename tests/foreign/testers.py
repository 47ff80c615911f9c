"""Testers with their calibrations: kept like every record, and applied to the runs that name them."""

import datetime

from client import force, fresh, must_refuse, refused, stiffness
from rack import pages
from recording import RATE, block, record

# The cell shows 2 % too much and 6 N with nothing on it.
GAIN, ZERO = 1.02, 6.0


def shown(load):
    return ZERO + GAIN * load


def calibration(gain=GAIN, zero=ZERO, high=1000.0, **more):
    loads = [high * k / 10 for k in range(11)]
    points = [{"applied": load, "shown": zero + gain * load + (0.05 if k % 2 else -0.05)} for k, load in enumerate(loads)]
    return dict(
        {
            "applied_unit": "UNIT_NEWTON",
            "shown_unit": "UNIT_NEWTON",
            "points": points,
            "calibrate_time": "2026-01-05T00:00:00Z",
            "certificate": "invented 17",
        },
        **more,
    )


def keep(api, tester_id, **tester):
    return api.change("CalibrationService/CreateTester", {"tester": tester, "tester_id": tester_id})


def pressed(api, tester):
    """A run on a tester whose cell errs; the spring's rate is RATE."""
    blocks = [block(number) for number in range(1, 9)]
    for one in blocks:
        one["columns"][1]["values"] = [shown(load) for load in one["columns"][1]["values"]]
    return record(api, blocks, tester=tester)


def reduce(api, run, **more):
    return api.call("SpringService/ReduceRun", dict({"run": run.name, "tare": {"load": force(ZERO)}}, **more))


def codes(reply):
    return [finding.code for finding in reply.findings]


def rate(reply):
    return reply.rate.value.value


def tester_is_a_record_like_every_other(api):
    once = fresh()
    content = {"tester": {"label": "press", "calibration": calibration(), "instrument": "cell 1"}, "tester_id": "kept"}
    made = api.change("CalibrationService/CreateTester", content, once)
    assert (made.name, made.revision) == ("testers/kept", 1) and made.etag and made.uid, made
    assert api.change("CalibrationService/CreateTester", content, once) == made
    assert api.call("CalibrationService/GetTester", {"name": made.name}) == made
    assert made.calibration.points[3].shown == content["tester"]["calibration"]["points"][3]["shown"], made
    must_refuse("ALREADY_EXISTS", "NAME_TAKEN", api.change, "CalibrationService/CreateTester", content)
    change = {"name": made.name, "label": "old press", "notes": "kept out"}
    after = api.change("CalibrationService/UpdateTester", {"tester": change, "update_mask": "label"})
    assert (after.label, after.notes, after.instrument, after.revision) == ("old press", "", "cell 1", 2), after
    stale = {"tester": {"name": made.name, "etag": made.etag, "label": "x"}}
    must_refuse("ABORTED", "STALE_ETAG", api.change, "CalibrationService/UpdateTester", stale)
    refusal = refused(api.change, "CalibrationService/UpdateTester", {"tester": change, "update_mask": "calibration.degree"})
    assert refusal.faults() == [("update_mask.paths[0]", "UNKNOWN_NAME")], refusal
    revisions = pages(api, "CalibrationService/ListTesterRevisions", "revisions", {"name": made.name, "page_size": 1})
    assert [one.revision for one in revisions] == [2, 1], revisions
    assert api.call("CalibrationService/GetTester", {"name": made.name + "@1"}).label == "press"
    api.change("CalibrationService/DeleteTester", {"name": made.name})
    listed = [one.name for one in pages(api, "CalibrationService/ListTesters", "testers", {})]
    assert made.name not in listed, listed
    back = api.change("CalibrationService/UndeleteTester", {"name": made.name})
    assert not back.HasField("delete_time") and back.calibration == made.calibration, back


def calibration_that_cannot_be_read_back_is_refused(api):
    def faults(**more):
        tester = {"calibration": calibration(**more)}
        return refused(api.change, "CalibrationService/CreateTester", {"tester": tester}).faults()

    falling = [{"applied": load, "shown": load * (100 - load)} for load in range(0, 100, 10)]
    assert faults(points=falling, degree=2) == [("tester.calibration.points", "CONFLICT")]
    assert faults(points=falling[:2], degree=3) == [("tester.calibration.points", "WRONG_LENGTH")]
    assert faults(points=[{"applied": 5, "shown": 5}] * 4) == [("tester.calibration.points", "CONFLICT")]
    assert faults(due_time="2025-01-01T00:00:00Z") == [("tester.calibration.due_time", "CONFLICT")]
    assert faults(calibrate_time=None) == [("tester.calibration.calibrate_time", "VALUE_MISSING")]


def run_is_read_back_through_its_testers_calibration(api):
    keep(api, "errs", calibration=calibration(reference_standard_uncertainty_ratio=0.001))
    run = pressed(api, "testers/errs")
    reply = reduce(api, run)
    assert abs(rate(reply) / RATE - 1) < 5e-4, rate(reply)
    assert [used.name.split("@")[0] for used in reply.used] == [run.name, "testers/errs"], reply.used
    sources = [row.source for row in reply.rate.budget]
    assert any("curve of the load calibration" in source for source in sources), sources
    reference, = [row for row in reply.rate.budget if "reference of the load calibration" in row.source]
    assert abs(reference.standard_uncertainty.value / (0.001 * RATE) - 1) < 0.01, reference
    assert "CALIBRATION_OVERDUE" not in codes(reply) and "BEYOND_CALIBRATION" not in codes(reply), codes(reply)
    assert any("2026-01-05" in one.text and "invented 17" in one.text for one in reply.assumptions), reply.assumptions
    # As shown, where that is asked for; and the samples are still what was shown.
    raw = reduce(api, run, uncalibrated=True)
    assert abs(rate(raw) / (GAIN * RATE) - 1) < 1e-6, rate(raw)
    blocks = [said.block for said in api.read("RunService/ReadRunSamples", {"name": run.name}) if said.HasField("block")]
    assert blocks[0].columns[1].values[0] == ZERO, blocks[0].columns[1].values[0]
    # Samples that are sent name their tester themselves.
    deflections = [k * 0.02 for k in range(400)]
    samples = {
        "deflection_unit": "UNIT_MILLIMETER",
        "deflections": deflections,
        "load_unit": "UNIT_NEWTON",
        "loads": [shown(RATE * s) for s in deflections],
    }
    sent = api.call(
        "SpringService/ReduceRun", {"samples": samples, "tester": "testers/errs", "tare": {"load": force(ZERO)}}
    )
    assert abs(rate(sent) / RATE - 1) < 5e-4, rate(sent)
    must_refuse(
        "NOT_FOUND", "NOT_FOUND", api.call, "SpringService/ReduceRun", {"samples": samples, "tester": "testers/nobody"}
    )


def calibration_in_force_is_the_one_that_counts(api):
    keep(api, "again", calibration=calibration())
    run = pressed(api, "testers/again")
    tomorrow = (datetime.datetime.now(datetime.timezone.utc) + datetime.timedelta(days=1)).isoformat()
    anew = {"name": "testers/again", "calibration": calibration(gain=1.0, zero=0.0, calibrate_time=tomorrow)}
    api.change("CalibrationService/UpdateTester", {"tester": anew})
    reply = reduce(api, run)
    assert reply.used[-1].name == "testers/again@1" and abs(rate(reply) / RATE - 1) < 5e-4, reply.used
    # A slip in the calibration itself is put right under its own day, and then holds for the runs before, too.
    slip = {"name": "testers/again", "calibration": calibration(gain=1.05)}
    api.change("CalibrationService/UpdateTester", {"tester": slip})
    reply = reduce(api, run)
    assert reply.used[-1].name == "testers/again@3" and abs(rate(reply) * 1.05 / (GAIN * RATE) - 1) < 5e-4, reply.used
    # One that is pinned is taken as it is, and that it came later is said.
    reply = reduce(api, run, tester="testers/again@2")
    assert reply.used[-1].name == "testers/again@2" and "CALIBRATION_LATER" in codes(reply), codes(reply)


def what_is_due_is_said(api):
    keep(api, "due", calibration=calibration(calibrate_time="2024-02-29T00:00:00Z", due_time="2025-02-28T00:00:00Z"))
    reply = reduce(api, pressed(api, "testers/due"))
    overdue, = [finding for finding in reply.findings if finding.code == "CALIBRATION_OVERDUE"]
    assert "2025-02-28" in overdue.message and "2024-02-29" in overdue.message and overdue.severity == 2, overdue
    due = pages(api, "CalibrationService/ListTesters", "testers", {"due_before": "2025-03-01T00:00:00Z"})
    assert [one.name for one in due] == ["testers/due"], due


def loads_beyond_the_calibration_are_said(api):
    keep(api, "short", calibration=calibration(high=400.0))
    reply = reduce(api, pressed(api, "testers/short"))
    assert "BEYOND_CALIBRATION" in codes(reply) and abs(rate(reply) / RATE - 1) < 2e-3, (codes(reply), rate(reply))


def frame_and_cell_of_the_tester_hold_where_nobody_says_otherwise(api):
    frame = {"stiffness": {"rate": stiffness(2000)}}
    keep(api, "gives", frame=frame, load_cell={"class": "CLASS_1"}, load_resolution=force(0.1))
    run = pressed(api, "testers/gives")
    with_frame = reduce(api, run)
    alone = 1 / (1 / (GAIN * RATE) - 1 / 2000)
    assert abs(rate(with_frame) / alone - 1) < 1e-6, rate(with_frame)
    assert any("no calibration is kept" in one.text for one in with_frame.assumptions), with_frame.assumptions
    assert any(row.source.startswith("load scale") for row in with_frame.rate.budget), with_frame.rate.budget
    own = reduce(api, run, frame={"stiffness": {"rate": stiffness(3000)}})
    assert abs(rate(own) * (1 / (GAIN * RATE) - 1 / 3000) - 1) < 1e-6, rate(own)


def tester_in_words_stays_what_it_was(api):
    for words in ("press in the corner", "testers/never-kept"):
        reply = reduce(api, pressed(api, words))
        assert abs(rate(reply) / (GAIN * RATE) - 1) < 1e-6, rate(reply)
        assert any(one.subject == "tester" and words in one.text for one in reply.assumptions), reply.assumptions


def kept_points_are_fitted_by_name(api):
    keep(api, "fitted", calibration=calibration())
    reply = api.call("SpringService/FitCalibration", {"tester": "testers/fitted", "readings": [shown(500)]})
    assert abs(reply.coefficients[1].value - GAIN) < 1e-4 and abs(reply.readings[0].applied - 500) < 0.1, reply
    assert [used.name for used in reply.used] == ["testers/fitted@1"], reply.used
    refusal = refused(api.call, "SpringService/FitCalibration", {"tester": "testers/fitted", "degree": 2})
    assert refusal.faults() == [("degree", "CONFLICT")], refusal


JOURNEYS = [
    tester_is_a_record_like_every_other,
    calibration_that_cannot_be_read_back_is_refused,
    run_is_read_back_through_its_testers_calibration,
    calibration_in_force_is_the_one_that_counts,
    what_is_due_is_said,
    loads_beyond_the_calibration_are_said,
    frame_and_cell_of_the_tester_hold_where_nobody_says_otherwise,
    tester_in_words_stays_what_it_was,
    kept_points_are_fitted_by_name,
]
