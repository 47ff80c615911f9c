"""Visits that were decided by hand before the judge saw them, through the served API. Machines and readings are invented."""

import json
import pathlib

from client import check_refusal, refused

VISITS = json.loads((pathlib.Path(__file__).resolve().parent.parent / "data" / "visits.json").read_text())
INCH = 2


def refusal_names_the_fields(api, visit):
    refusal = refused(api.call, "SetupService/JudgeSetup", visit["request"])
    check_refusal(refusal, "INVALID_ARGUMENT", "INVALID_FIELDS")
    fields = [field for field, _ in refusal.faults()]
    assert fields == visit["refused"], fields


def judge_agrees(api, visit):
    reply = api.call("SetupService/JudgeSetup", visit["request"])
    texts = [verdict.text for verdict in reply.verdicts]
    asked = visit["verdicts"]
    assert len(texts) == len(asked), texts
    for text, wanted in zip(texts, asked):
        # The hand says what and how much; how sure it is stands behind.
        assert text.startswith(wanted) and text[len(wanted) :][:2] in ("; ", ": ", " ("), (text, wanted)
    # Whatever waits for nothing comes first, in the order of the work.
    assert reply.first_change == 0, reply.first_change
    for index, verdict in enumerate(reply.verdicts):
        assert list(verdict.waits_for) == visit.get("waits", {}).get(str(index), []), verdict.text
        assert verdict.hazard == (index in visit.get("hazards", [])), verdict.text
        assert verdict.waits_for_check == (index in visit.get("held", [])), verdict.text
        assert verdict.evidence and verdict.rule_table_version, verdict.text
    codes = {finding.code for finding in reply.findings}
    assert set(visit.get("findings", [])) <= codes, codes
    assert ("THUMB_AGAINST_PHYSICS" in codes) == ("THUMB_AGAINST_PHYSICS" in visit.get("findings", [])), reply.findings
    assert ("RATE_DIFFERS" in codes) == ("RATE_DIFFERS" in visit.get("findings", [])), reply.findings
    missing = {one.subject for one in reply.missing}
    assert set(visit.get("missing", [])) <= missing, missing
    assert not missing & set(visit.get("not_missing", [])), missing
    assumed = " ".join(one.text for one in reply.assumptions)
    assert visit.get("assumed", "") in assumed, assumed
    checks = " ".join(reply.verdicts[0].check_first)
    assert visit.get("checks", "") in checks, checks
    said = " ".join(evidence.text for verdict in reply.verdicts for evidence in verdict.evidence)
    assert visit.get("says", "") in said, said
    for springs in [verdict.springs for verdict in reply.verdicts if verdict.springs]:
        names = [" with ".join(spring.labels) for spring in springs]
        assert names[: len(visit["springs"])] == visit["springs"], names
        assert springs[0].fits and springs[0].HasField("preload") and springs[0].HasField("static_sag"), springs[0]
    if "rebound_factor" in visit:
        after = reply.verdicts[0].after_spring
        assert abs(after.rebound_factor - visit["rebound_factor"]) < 1e-3, after
        assert after.preload.unit == INCH and abs(after.preload.value - visit["preload_in"]) < 0.01, after


def journey(visit):
    def run(api):
        (refusal_names_the_fields if "refused" in visit else judge_agrees)(api, visit)

    run.__name__ = visit["name"]
    return run


JOURNEYS = [journey(visit) for visit in VISITS]
