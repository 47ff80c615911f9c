"""The reduction of a rate test in vectorised NumPy, by the same rules as the program: what a careful script would take.

    reduce.py FILE ROUNDS

FILE holds the readings as little-endian doubles: all deflections in metres, then all loads in newtons. Prints one line of
JSON: what was found, and the milliseconds of each step and of everything in the fastest round.
"""

import json
import sys
import time

import numpy as np

FRAME_LOADS = np.array([0.0, 200.0, 1000.0, 3000.0])
FRAME_GIVES = np.array([0.0, 4e-5, 1.6e-4, 4.2e-4])
MOST_POINTS = 2000
CURVE_POINTS = 512
Z = 1.959963984540054


def branches(s, dead):
    """Turning points with a dead band: a running extreme that is left by more than the band."""
    found, begin, seek = [], 0, 0
    rises = np.flatnonzero(s - np.minimum.accumulate(s) > dead)
    falls = np.flatnonzero(np.maximum.accumulate(s) - s > dead)
    press = bool(rises.size and (not falls.size or rises[0] <= falls[0]))
    while True:
        rest = s[seek:]
        off = np.maximum.accumulate(rest) - rest if press else rest - np.minimum.accumulate(rest)
        over = np.flatnonzero(off > dead)
        if not over.size:
            found.append((press, begin, s.size))
            return found
        part = rest[: over[0] + 1]
        turn = seek + int(part.argmax() if press else part.argmin())
        found.append((press, begin, turn + 1))
        begin, seek, press = turn + 1, seek + int(over[0]), not press


def leading(loads, above):
    over = loads > above
    three = np.flatnonzero(over[:-2] & over[1:-1] & over[2:])
    return int(three[0]) if three.size else loads.size


def no_load(s, f):
    """Level, noise and end of the approach of the first press."""
    low, high = s.min(), s.max()
    lead = np.median(f[:5])
    far = int(np.argmax(s >= low + 0.7 * (high - low)))
    spread = np.median(f[far : far + 5]) - lead
    end = leading(f, lead + 0.02 * spread)
    near = f[: max(end // 2, 4)]
    level = np.median(near)
    noise = 1.4826 * np.median(np.abs(near - level))
    flat = min(leading(f, level + max(4.0 * noise, 5e-4 * spread)), end)
    kept = flat - 3 * flat // 10 if flat > 20 else flat
    return f[:kept].mean(), f[:kept].std(ddof=1), s[flat - 1]


def take_off_frame(s, f, tare):
    load = f - tare
    after = np.clip(np.searchsorted(FRAME_LOADS, load), 1, FRAME_LOADS.size - 1)
    slope = np.diff(FRAME_GIVES) / np.diff(FRAME_LOADS)
    return s - (FRAME_GIVES[after - 1] + (load - FRAME_LOADS[after - 1]) * slope[after - 1])


def clipped_level(s, f):
    largest, smallest = f.max(), f.min()
    level = largest - 1e-9 * (largest - smallest)
    end = s[f >= level]
    if end.size < 4 or end.max() - end.min() < 0.03 * (s.max() - s.min()):
        return None
    others = f[f < level]
    return level if end.size > 3 * others.size // max(np.unique(others).size, 1) else None


def fit(groups):
    """One slope, one intercept a group; the groups are (press, s, f)."""
    n = sum(s.size for _, s, _ in groups)
    centred = [(press, s - s.mean(), f - f.mean()) for press, s, f in groups]
    spread = sum(ds @ ds for _, ds, _ in centred)
    slope = sum(ds @ df for _, ds, df in centred) / spread
    residuals = [df - slope * ds for _, ds, df in centred]
    square = sum(r @ r for r in residuals)
    lagged = sum(r[1:] @ r[:-1] for r in residuals)
    dof = n - len(groups) - 1
    scatter = np.sqrt(square / dof)
    r = lagged / square
    effective = max(n * (1 - r) / (1 + r), len(groups) + 2) if r > 1.96 / np.sqrt(n) else n
    sides = []
    for course in (True, False):
        of = [(s, f) for press, s, f in groups if press == course]
        if of:
            count = sum(s.size for s, _ in of)
            sides.append((sum(s.sum() for s, _ in of) / count, sum(f.sum() for _, f in of) / count))
    center, level = np.mean(sides, axis=0)
    gap = (sides[0][1] - sides[1][1]) - slope * (sides[0][0] - sides[1][0]) if len(sides) == 2 else None
    return {
        "slope": slope, "u": scatter * np.sqrt(n / effective) / np.sqrt(spread), "center": center, "level": level,
        "scatter": scatter, "friction": None if gap is None else gap / 2,
    }


def lines_of(n, x, y, xx, xy, yy):
    spread = xx - x * x / n
    slope = (xy - x * y / n) / spread
    rss = np.maximum(yy - y * y / n - slope * (xy - x * y / n), 0)
    return slope, (y - slope * x) / n, rss


def two_lines(s, f):
    """The best pair of lines that meet, by running sums; where their crossing lies outside its interval the break is held
    at the interval's start."""
    total = s.size
    if total < 6:
        return None
    s0, f0 = s.mean(), f.mean()
    x, y = s - s0, f - f0
    scale, height = np.abs(x).max(), np.abs(y).max()
    x, y = x / scale, y / height
    sums = np.cumsum([np.ones(total), x, y, x * x, x * y, y * y], axis=1)
    left = sums[:, 2 : total - 3]
    right = sums[:, -1:] - left
    with np.errstate(all="ignore"):
        sa, ia, ra = lines_of(*left)
        sb, ib, rb = lines_of(*right)
        tau = (ia - ib) / (sb - sa)
        start, stop = x[2 : total - 3], x[3 : total - 2]
        free = (tau >= start) & (tau <= stop)
        rss = np.where(free, ra + rb, held_at(left, right, start))
    best = int(np.nanargmin(rss))
    place = tau[best] if free[best] else start[best]
    straight = lines_of(*sums[:, -1])[2]
    return s0 + scale * place, sa[best] * height / scale, sb[best] * height / scale, rss[best], straight


def held_at(left, right, tau):
    def about(n, x, y, xx, xy, yy):
        return n, x - n * tau, y, xx - 2 * tau * x + n * tau * tau, xy - tau * y, yy

    ln, lx, ly, lxx, lxy, lyy = about(*left)
    rn, rx, ry, rxx, rxy, ryy = about(*right)
    level = (ly + ry - lx * lxy / lxx - rx * rxy / rxx) / (ln + rn - lx * lx / lxx - rx * rx / rxx)
    p, q = (lxy - level * lx) / lxx, (rxy - level * rx) / rxx
    return np.maximum(lyy + ryy - level * (ly + ry) - p * lxy - q * rxy, 0)


def knees(s, f, begin):
    """Coil bind, then a change of the rate below it."""
    top = s[-1]
    above = np.searchsorted(s, begin + 0.3 * (top - begin))
    bind = two_lines(s[above:], f[above:])
    if bind and not (bind[1] > 0 and bind[2] > 5 * bind[1]):
        bind = None
    top = bind[0] if bind else top
    a, b = np.searchsorted(s, [begin + 0.2 * (top - begin), begin + 0.95 * (top - begin)])
    return bind, two_lines(s[a:b], f[a:b])


def thinned(s, f, tare):
    at = np.arange(CURVE_POINTS) * s.size // CURVE_POINTS
    count = np.diff(np.append(at, s.size))
    return np.add.reduceat(s, at) / count, np.add.reduceat(f, at) / count - tare


def groups_in(parts, low, high):
    reach = 1e-9 * (high - low)
    groups = []
    for press, s, f in parts:
        inside = (s >= low - reach) & (s <= high + reach)
        groups.append((press, s[inside], f[inside]))
    kept = [groups[0]]
    for before, (press, s, f) in zip(groups, groups[1:]):
        third = s.size // 3
        own, other = fit([(press, s[third:], f[third:])]), fit([before])
        side = -1.0 if press else 1.0
        line = lambda found, at: found["level"] + found["slope"] * (at - found["center"])
        gap = side * (line(other, own["center"]) - own["level"])
        drop = 0
        if gap > 0:
            near = side * (f - line(own, s)) <= max(0.1 * gap, 3 * own["scatter"])
            drop = int(np.argmax(near)) if near.any() else s.size
        kept.append((press, s[drop:], f[drop:]))
    return kept


def ties(values):
    k = np.unique(values, return_counts=True)[1].astype(float)
    return (k * (k - 1) * (2 * k + 5)).sum()


def robust(s, f):
    """Theil and Sen on 2,000 runs of equal count, with the interval of Kendall's S."""
    order = np.lexsort((f, s))
    s, f = s[order], f[order]
    if s.size > MOST_POINTS:
        at = np.arange(MOST_POINTS) * s.size // MOST_POINTS
        count = np.diff(np.append(at, s.size))
        s, f = np.add.reduceat(s, at) / count, np.add.reduceat(f, at) / count
    n = s.size
    i, j = np.triu_indices(n, 1)
    ds = s[j] - s[i]
    apart = ds > 0
    slopes = (f[j] - f[i])[apart] / ds[apart]
    variance = (n * (n - 1) * (2 * n + 5) - ties(s) - ties(f)) / 18
    half = Z * np.sqrt(variance)
    pairs = slopes.size
    upper = min(int(np.rint((pairs + half) / 2)), pairs - 1)
    lower = max(int(np.rint((pairs - half) / 2)) - 1, 0)
    ranks = [lower, (pairs - 1) // 2, pairs // 2, upper]
    slopes.partition(ranks)
    return (slopes[ranks[1]] + slopes[ranks[2]]) / 2, slopes[lower], slopes[upper]


def work(s, f, tare, begin):
    inside = s >= begin
    return np.trapezoid(f[inside] - tare, s[inside])


def reduce(s, f, lap):
    assert np.isfinite(s).all() and np.isfinite(f).all()
    lap("check")
    travel = s.max() - s.min()
    parts = [(press, a, b) for press, a, b in branches(s, 0.2 * travel) if abs(s[b - 1] - s[a]) >= 0.4 * travel]
    lap("strokes")
    _, a, b = parts[0]
    tare, _, approach = no_load(s[a:b], f[a:b])
    lap("tare")
    s = take_off_frame(s, f, tare)
    lap("frame")
    clip = clipped_level(s, f)
    lap("clipping")
    parts = [(press, s[a:b], f[a:b]) for press, a, b in parts]
    if clip is not None:
        parts = [(press, s[f < clip], f[f < clip]) for press, s, f in parts]
    order = np.argsort(parts[0][1])
    sorted_s, sorted_f = parts[0][1][order], parts[0][2][order]
    bind, _ = knees(sorted_s, sorted_f, approach)
    lap("knees")
    thinned(sorted_s, sorted_f, tare)
    order = np.argsort(parts[1][1])
    thinned(parts[1][1][order], parts[1][2][order], tare)
    lap("curve")
    contact, largest = approach, s.max()
    for _ in range(6):
        base = (bind[0] if bind else largest) - contact
        groups = groups_in(parts, contact + 0.3 * base, contact + 0.7 * base)
        line = fit(groups)
        found = line["center"] + (tare - line["level"]) / line["slope"]
        moved, contact = abs(found - contact), found
        if moved <= 1e-9 * travel:
            break
    lap("line")
    median, low, high = robust(*groups[0][1:])
    lap("robust")
    stored = work(*parts[0][1:], tare, contact)
    lost = stored + work(*parts[1][1:], tare, contact)
    lap("energy")
    return {
        "rate": line["slope"], "robust": median, "lower": low, "upper": high, "contact": contact, "tare": tare,
        "friction": line["friction"], "stored": stored, "lost": lost,
    }


def main():
    readings = np.fromfile(sys.argv[1], dtype="<f8")
    s, f = readings[: readings.size // 2], readings[readings.size // 2 :]
    rounds = []
    for _ in range(int(sys.argv[2])):
        laps, last = {}, time.perf_counter()
        begun = last

        def lap(name):
            nonlocal last
            now = time.perf_counter()
            laps[name], last = 1e3 * (now - last), now

        found = reduce(s, f, lap)
        laps["total"] = 1e3 * (time.perf_counter() - begun)
        rounds.append(laps)
    print(json.dumps({
        "found": {name: float(value) for name, value in found.items()},
        "ms": min(rounds, key=lambda laps: laps["total"]),
    }))


main()
