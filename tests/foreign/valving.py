"""Shim stacks, dampers and oil through the served API. The stacks are invented."""

import json
import pathlib

from client import length, must_refuse

MM, MPA, M_PER_S = 1, 1, 1
DATA = pathlib.Path(__file__).resolve().parent.parent / "data" / "stacks" / "fea_cases.json"


def pressure(megapascals):
    return {"value": megapascals, "unit": MPA}


def stack_of(case):
    """A stack of a finite-element case."""
    geometry, load = case["geometry"], case["load"]
    diameter = lambda radius: length(2 * radius)
    face = {
        "port_inner_diameter": diameter(load["r_in"]),
        "port_outer_diameter": diameter(load["r_out"]),
        "coverage_ratio": load.get("coverage", 1.0),
    }
    if load.get("r_zero"):
        face["land_outer_diameter"] = diameter(load["r_zero"])
    stack = {
        "layers": [
            {"outer_diameter": length(shim["od_mm"]), "thickness": length(shim["t_mm"])}
            for shim in geometry["shims_face_first"]
        ],
        "faces": [face],
        "clamp": {"diameter": diameter(geometry["clamp_radius_mm"])},
        "modulus": pressure(case["material"]["E_MPa"]),
        "poisson_ratio": case["material"]["nu"],
    }
    if geometry["seat"]:
        seat = geometry["seat"]
        stack["seat"] = {
            "inner_diameter": diameter(seat["r_in"]),
            "outer_diameter": diameter(seat["r_out"]),
            "height": length(seat["height"]),
        }
    return stack


def finite_element_cases_are_met(api):
    for case in json.loads(DATA.read_text())["cases"]:
        allowed = max(1.0, 1.5 * case["estimated_error_percent"]) / 100
        pressures = [pressure(result["pressure_MPa"]) for result in case["results"]]
        reply = api.call("ValvingService/SolveStack", {"values": stack_of(case), "pressures": pressures})
        for point, result in zip(reply.points, case["results"]):
            got, wanted = point.edge_lift.value, result["edge_lift_mm"]
            assert abs(got / wanted - 1) <= allowed, f"{case['id']}: {got} instead of {wanted}"


def taper():
    return {
        "layers": [
            {"outer_diameter": length(30), "thickness": length(0.15), "count": 2},
            {"outer_diameter": length(26), "thickness": length(0.15)},
            {"outer_diameter": length(22), "thickness": length(0.15)},
        ],
        "faces": [{"port_inner_diameter": length(18), "port_outer_diameter": length(26)}],
        "clamp": {"diameter": length(14)},
    }


def inch_and_metric_stacks_lift_alike(api):
    metric = api.call("ValvingService/SolveStack", {"values": taper(), "max_pressure": pressure(0.5), "point_count": 3})
    asked = {"values": taper(), "max_pressure": pressure(0.5), "point_count": 3, "reply_units": 2}
    inch = api.call("ValvingService/SolveStack", asked)
    for one, other in zip(metric.points, inch.points):
        assert abs(other.edge_lift.value * 25.4 - one.edge_lift.value) < 1e-9, (one, other)
    assert metric.text == "30x0.15*2, 26x0.15, 22x0.15 mm", metric.text


def fault_of_a_stack_names_its_field(api):
    stack = taper()
    stack["layers"][1]["thickness"] = length(0)
    refusal = must_refuse(
        "INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "ValvingService/SolveStack",
        {"values": stack, "max_pressure": pressure(0.5)},
    )
    assert refusal.faults() == [("values.layers[1].thickness.value", "OUT_OF_RANGE")], refusal


def thicker_shim_is_stiffer(api):
    thicker = taper()
    thicker["layers"][1]["thickness"] = length(0.2)
    sides = {"first": {"stack_values": taper()}, "second": {"stack_values": thicker}}
    reply = api.call("ValvingService/CompareStacks", sides)
    assert len(reply.stack_differences) == 3, reply
    for at in reply.stack_differences:
        assert at.opening_difference.value < 0 and at.stiffness_ratio > 1, at


def oil():
    point = lambda nu, at: {"viscosity": {"value": nu, "unit": 1}, "temperature": {"value": at, "unit": 1}}
    return {"first": point(404, 40), "second": point(28, 100)}


def oil_follows_d341(api):
    asked = {"oil": oil(), "temperatures": [{"value": 60, "unit": 1}]}
    reply = api.call("ValvingService/EvaluateOil", asked)
    # A published worked example of ASTM D341.
    assert abs(reply.states[0].viscosity.value / 132.126 - 1) < 2e-5, reply.states


def damper():
    holes = {"diameter": length(4.5), "length": length(10), "count": 4}
    stack = {**taper(), "seat": {"inner_diameter": length(26), "outer_diameter": length(27), "height": length(0.03)}}
    circuit = {
        "valve": {"ports": holes, "values": stack},
        "bleed": {"fixed": {"area": {"value": 1.4, "unit": 1}}},
    }
    return {
        "bore": length(46),
        "shaft_diameter": length(14),
        "compression": circuit,
        "rebound": circuit,
        "gas": {"charge_gauge_pressure": pressure(3), "volume": {"value": 100, "unit": 1}},
        "oil": oil(),
    }


def paths_of_a_damper_add_up(api):
    asked = {"values": damper(), "max_shaft_velocity": {"value": 1, "unit": M_PER_S}, "point_count": 5}
    reply = api.call("ValvingService/EvaluateDamper", asked)
    area = 3.141592653589793 / 4 * (46**2 - 14**2)  # mm2; with m/s this is mL/s
    forces = []
    for point in reply.points:
        flow = point.piston.valve.value + point.piston.bleed.value + point.piston.leak.value
        assert abs(flow - area * abs(point.shaft_velocity.value)) < 1e-6 * area, point
        assert point.hydraulic_force.value * point.shaft_velocity.value >= 0, point
        forces.append(point.hydraulic_force.value)
    assert forces == sorted(forces), forces
    assert any(mark.kind == 1 for mark in reply.marks), reply.marks


JOURNEYS = [
    finite_element_cases_are_met,
    inch_and_metric_stacks_lift_alike,
    fault_of_a_stack_names_its_field,
    thicker_shim_is_stiffer,
    oil_follows_d341,
    paths_of_a_damper_add_up,
]
