"""The reference solutions of a stack and of a damper, timed: valving.py ROUNDS

The same cases as in the bench's row. Prints what came out and the least times, as JSON."""

import json
import sys
import time

import numpy as np
import reference_damper
import reference_stack

SHIMS = [(44, 0.2), (44, 0.2), (44, 0.2), (40, 0.15), (38, 0.15), (36, 0.15), (34, 0.15), (32, 0.15), (30, 0.15),
         (28, 0.15), (26, 0.2), (24, 0.25)]
PYRAMID = {"id": "pyramid", "bore": 16, "clamp_radius": 11.0, "E": 205e3, "nu": 0.29, "seat": None,
           "shims": [{"od": outer, "t": thickness} for outer, thickness in SHIMS], "load": {"r_in": 14.0, "r_out": 19.0}}
PRESSURES = 60
RINGS = 16
VELOCITIES = 100


def least(work, rounds):
    times = []
    for _ in range(rounds):
        started = time.perf_counter()
        found = work()
        times.append(1e3 * (time.perf_counter() - started))
    return found, min(times)


def main():
    rounds = int(sys.argv[1])
    pressures = [3.0 * (k + 1) / PRESSURES for k in range(PRESSURES)]
    stack, stack_ms = least(lambda: reference_stack.solve_fe(PYRAMID, pressures, n=RINGS), 1)
    damper = reference_damper.example_damper()
    velocities = np.linspace(-1.0, 1.0, VELOCITIES)
    forces, damper_ms = least(lambda: damper.curve(velocities), rounds)
    json.dump({"found": {"edge": stack["edge"][-1], "force": float(np.asarray(forces)[-1])},
               "ms": {"stack": stack_ms, "damper": damper_ms}}, sys.stdout)


main()
