"""The bench's pyramid of shims as a solid of revolution in CalculiX (general finite elements), timed.

Every shim is meshed with eight-node axisymmetric elements, held at the clamp, and touches its neighbours without friction.
Prints the edge lift in mm at the highest pressure and the time a pressure point takes, as JSON; {} where ccx is not
installed (Debian: calculix-ccx)."""

import json
import pathlib
import shutil
import subprocess
import sys
import tempfile
import time

from valving_cases import PYRAMID

PRESSURES = [1.0, 2.0, 3.0]
# Radial size of an element, graded towards the clamp, mm.
SIZES = [0.05, 0.1, 0.2, 0.4]
# Stiffness of a contact, MPa/mm: the larger, the less two shims sink into each other, the harder to solve.
PENALTY = 1e6


def radii(inner, outer, also):
    """Where elements end: fine at the clamp, and at the ends of the pressure."""
    places, at = [inner], inner
    for size in SIZES[:-1]:
        at += size
        places.append(at)
    stops = sorted({r for r in also if at < r < outer} | {outer})
    for stop in stops:
        count = max(1, round((stop - at) / SIZES[-1]))
        places += [at + (stop - at) * k / count for k in range(1, count + 1)]
        at = stop
    return places


def deck(case, pressures):
    """The input of the program."""
    clamp, load = case["clamp_radius"], case["load"]
    nodes, elements, surfaces, held, pressed = [], [], [], [], []
    edge, height = None, 0.0
    for shim in case["shims"]:
        at = radii(clamp, shim["od"] / 2, [load["r_in"], load["r_out"]])
        columns = []
        # Corners and the middles between them: three heights at a corner, two at a middle.
        for k, r in enumerate(at):
            rows = []
            for level in (0.0, 0.5, 1.0):
                nodes.append((r, height + level * shim["t"]))
                rows.append(len(nodes))
            columns.append(rows)
            if k == 0:
                held += rows
        if edge is None:
            edge = columns[-1][0]
        middles = []
        for left, right in zip(at, at[1:]):
            rows = []
            for level in (0.0, 1.0):
                nodes.append(((left + right) / 2, height + level * shim["t"]))
                rows.append(len(nodes))
            middles.append(rows)
        own = []
        for k, (a, b) in enumerate(zip(columns, columns[1:])):
            low, high = middles[k]
            elements.append((a[0], b[0], b[2], a[2], low, b[1], high, a[1]))
            own.append(len(elements))
            if not surfaces and load["r_in"] - 1e-9 <= at[k] and at[k + 1] <= load["r_out"] + 1e-9:
                pressed.append(len(elements))
        surfaces.append(own)
        height += shim["t"]
    lines = ["*NODE, NSET=ALL"]
    lines += [f"{k}, {r:.9g}, {z:.9g}, 0." for k, (r, z) in enumerate(nodes, 1)]
    lines += ["*ELEMENT, TYPE=CAX8, ELSET=SHIMS"]
    lines += [f"{k}, " + ", ".join(map(str, element)) for k, element in enumerate(elements, 1)]
    lines += ["*NSET, NSET=HELD"] + [f"{node}," for node in held]
    lines += ["*NSET, NSET=EDGE", f"{edge},"]
    lines += ["*ELSET, ELSET=PRESSED"] + [f"{element}," for element in pressed]
    lines += ["*MATERIAL, NAME=STEEL", "*ELASTIC", f"{case['E']:.9g}, {case['nu']:.9g}"]
    lines += ["*SOLID SECTION, ELSET=SHIMS, MATERIAL=STEEL", ""]
    for k, own in enumerate(surfaces):
        lines += [f"*SURFACE, NAME=TOP{k}, TYPE=ELEMENT"] + [f"{element}, S3" for element in own]
        lines += [f"*SURFACE, NAME=LOW{k}, TYPE=ELEMENT"] + [f"{element}, S1" for element in own]
    lines += ["*SURFACE INTERACTION, NAME=TOUCH", "*SURFACE BEHAVIOR, PRESSURE-OVERCLOSURE=LINEAR", f"{PENALTY:g}"]
    for k in range(len(surfaces) - 1):
        lines += ["*CONTACT PAIR, INTERACTION=TOUCH, TYPE=SURFACE TO SURFACE", f"LOW{k + 1}, TOP{k}"]
    lines += ["*BOUNDARY", "HELD, 1, 2"]
    for pressure in pressures:
        lines += ["*STEP, NLGEOM, INC=1000", "*STATIC", "1., 1.", "*DLOAD", f"PRESSED, P1, {pressure:.9g}"]
        lines += ["*NODE PRINT, NSET=EDGE", "U", "*END STEP"]
    return "\n".join(lines) + "\n"


def main():
    program = shutil.which("ccx")
    if program is None:
        json.dump({}, sys.stdout)
        return
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        (folder / "pyramid.inp").write_text(deck(PYRAMID, PRESSURES))
        started = time.perf_counter()
        ran = subprocess.run([program, "-i", "pyramid"], cwd=folder, capture_output=True, text=True, timeout=600)
        elapsed = time.perf_counter() - started
        lifts = [line.split() for line in (folder / "pyramid.dat").read_text().splitlines()]
        lifts = [float(words[2]) for words in lifts if len(words) == 4 and words[0].isdigit()]
        if len(lifts) != len(PRESSURES):
            sys.exit("CalculiX ended early:\n" + ran.stdout[-2000:])
    json.dump({"found": {"edge": lifts[-1]}, "ms": {"point": 1e3 * elapsed / len(PRESSURES)}}, sys.stdout)


main()
