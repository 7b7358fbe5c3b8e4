#!/usr/bin/env python3
"""Ray-traced spots of progressive lenses, bifocals and a trifocal, traced with `optiland`.

    python make_multifocal.py            write the CSV files, then check them
    python make_multifocal.py --check    recompute, compare with the committed files, check

Conventions, provenance and the figures seen are in README.md beside this file.

Frames. `lens`: seen from the front, x to the observer's right, y up, origin between the alignment marks. `machine`: seen
along the light, from the sensor's axis. A lens with its front on the stop is turned round its vertical, so that the machine
sees x mirrored. z is along the light, the vertex on the stop at z = 0. optiland's right-handed frame is (-x, y, z).
"""

import argparse
import csv
import math
import sys
import warnings
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path

warnings.filterwarnings("ignore", message=r"\s*variable '_scalar_where")

import numpy as np
from numpy.polynomial import Chebyshev, Polynomial
from optiland.materials import IdealMaterial
from optiland.optic import Optic
from optiland.rays import RealRays
from scipy.optimize import minimize

HERE = Path(__file__).resolve().parent
GAP, THROW = 5.0, 20.0
START_Z_MM = -40.0
EYE = np.eye(2)
HOLE_DIAMETER_MM = 0.3
MARK_MM = 17.0
EDGE_NOISE_MM = 0.005
SEED = 34


def power_matrix(sphere, cylinder, axis):
    a = math.radians(2.0 * axis)
    m, j0, j45 = sphere + cylinder / 2, -cylinder / 2 * math.cos(a), -cylinder / 2 * math.sin(a)
    return np.array([[m + j0, j45], [j45, m - j0]])


# --- Surfaces: a sphere plus a polynomial ---------------------------------------------------------


@dataclass(frozen=True)
class Surface:
    """Sag along the light: a sphere round `centre` (its vertex lies there, at height `z`) plus c[i, j] x^i y^j."""

    radius: float
    c: np.ndarray = field(default_factory=lambda: np.zeros((3, 3)))
    centre: tuple = (0.0, 0.0)
    z: float = 0.0

    def sag(self, x, y):
        r2 = (x - self.centre[0]) ** 2 + (y - self.centre[1]) ** 2
        sphere = r2 / (self.radius * (1 + np.sqrt(1 - r2 / self.radius**2)))
        return self.z + sphere + np.polynomial.polynomial.polyval2d(x, y, self.c)

    def gradient(self, x, y):
        u, v = x - self.centre[0], y - self.centre[1]
        root = self.radius * np.sqrt(1 - (u**2 + v**2) / self.radius**2)
        dx, dy = np.polynomial.polynomial.polyder(self.c, axis=0), np.polynomial.polynomial.polyder(self.c, axis=1)
        at = np.polynomial.polynomial.polyval2d
        return np.stack([u / root + at(x, y, dx), v / root + at(x, y, dy)], axis=-1)

    def mean_curvature(self, x, y, h=1e-3):
        """Of differential geometry, by central differences of the gradient, 1/mm."""
        g = lambda dx, dy: self.gradient(x + dx, y + dy)
        zx, zy = g(0, 0)
        (zxx, zxy), (_, zyy) = (g(h, 0) - g(-h, 0)) / (2 * h), (g(0, h) - g(0, -h)) / (2 * h)
        return ((1 + zy**2) * zxx - 2 * zx * zy * zxy + (1 + zx**2) * zyy) / (2 * (1 + zx**2 + zy**2) ** 1.5)

    def turned_round(self):
        """As it looks when the lens is turned round its vertical: x and z change sign."""
        signs = (-1.0) ** np.arange(self.c.shape[0])[:, None]
        return Surface(-self.radius, -self.c * signs, (-self.centre[0], self.centre[1]), -self.z)

    def at(self, z):
        return Surface(self.radius, self.c, self.centre, self.z + z)


def quadratic(f, jump):
    """The polynomial that adds the power matrix f (dioptres) where the index grows by `jump`."""
    k = f / (1000.0 * jump)
    c = np.zeros((3, 3))
    c[2, 0], c[1, 1], c[0, 2] = k[0, 0] / 2, k[0, 1], k[1, 1] / 2
    return c


# The part of the addition that the progressive surface has on its centre line, as a function of y: a polynomial of
# degree 9 fitted to a smooth step. The polynomial IS the lens: how well it fits the step does not matter.
STEP_CENTRE_MM, STEP_SCALE_MM, HEIGHT_MM = -4.0, 5.0, 22.0


def step_polynomial():
    y = np.linspace(-HEIGHT_MM, HEIGHT_MM, 2001)
    step = 0.5 * (1 - np.tanh((y - STEP_CENTRE_MM) / STEP_SCALE_MM))
    fitted = Chebyshev.fit(y, step, 9, domain=[-HEIGHT_MM, HEIGHT_MM]).convert(kind=Polynomial)
    return Polynomial([float(f"{c:.12e}") for c in fitted.coef])


def progressive(addition, jump, inset):
    """An umbilic centre line x = inset (8 - y) / 22 whose curvature rises by the addition; beside it the surface has the
    astigmatism that such a line must have (Minkwitz): z = G(y) + (x - x0(y))^2 k(y) / 2 with G'' = k."""
    k = step_polynomial() * (addition / (1000.0 * jump))
    g = k.integ(2, k=[0, 0])
    x0 = Polynomial([inset * 8 / 22, -inset / 22])
    c = np.zeros((3, 14))
    for i, part in enumerate([g + k * x0 * x0 / 2, -k * x0, k / 2]):
        c[i, : len(part.coef)] = part.coef
    return c


def merged(a, b):
    c = np.zeros(np.maximum(a.shape, b.shape))
    c[: a.shape[0], : a.shape[1]] += a
    c[: b.shape[0], : b.shape[1]] += b
    return c


# --- Lenses ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Lens:
    """Two surfaces in the order in which the light meets them, the second's vertex at z = 0."""

    index: float
    first: Surface
    second: Surface

    def turned_round(self, thickness):
        return Lens(self.index, self.second.turned_round().at(-thickness), self.first.turned_round().at(-thickness))


def optiland_trace(lens):
    optic = Optic()
    add = optic.surfaces.add
    add(index=0, z=-math.inf)
    for at, (surface, index) in enumerate([(lens.first, lens.index), (lens.second, 1.0)], 1):
        signs = (-1.0) ** np.arange(surface.c.shape[0])[:, None]
        # The polynomial counts from the vertex of the sphere: only a plain sphere may be decentred.
        assert surface.centre == (0.0, 0.0) or not surface.c.any()
        where = dict(x=-surface.centre[0], y=surface.centre[1], z=surface.z)
        add(index=at, surface_type="polynomial", radius=surface.radius, coefficients=surface.c * signs, tol=1e-13,
            material=IdealMaterial(index), is_stop=at == 2, **where)
    add(index=3, z=GAP)
    add(index=4, z=GAP + THROW)

    def trace(entrance):
        one, zero = np.ones(len(entrance)), np.zeros(len(entrance))
        rays = RealRays(-entrance[:, 0], entrance[:, 1], START_Z_MM * one, zero, zero, one, one, 0.5461 * one)
        optic.surfaces.trace(rays)
        points = lambda i: np.stack([-np.asarray(optic.surfaces.x[i]), np.asarray(optic.surfaces.y[i])], axis=1)
        return points(3), points(4)

    return trace


def own_trace(lens, entrance):
    """Vector Snell: points on the front surface, and position and direction behind the lens."""
    p = np.column_stack([entrance, np.full(len(entrance), START_Z_MM)])
    d = np.tile([0.0, 0.0, 1.0], (len(entrance), 1))
    met = []
    for surface, n1, n2 in ((lens.first, 1.0, lens.index), (lens.second, lens.index, 1.0)):
        for _ in range(30):
            g = surface.gradient(p[:, 0], p[:, 1])
            f = surface.sag(p[:, 0], p[:, 1]) - p[:, 2]
            p = p + d * (f / (d[:, 2] - np.sum(g * d[:, :2], axis=1)))[:, None]
        normal = np.column_stack([-surface.gradient(p[:, 0], p[:, 1]), np.ones(len(p))])
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        cos_in = np.sum(normal * d, axis=1, keepdims=True)
        mu = n1 / n2
        d = mu * d + (np.sqrt(1 - mu**2 * (1 - cos_in**2)) - mu * cos_in) * normal
        met.append(p)
    return met[0], p, d


def own_stations(lens, entrance):
    _, p, d = own_trace(lens, entrance)
    at = lambda z: p[:, :2] + d[:, :2] * ((z - p[:, 2]) / d[:, 2])[:, None]
    return at(GAP), at(GAP + THROW)


def own_exit(lens, entrance):
    """Place in the vertex plane z = 0 (twice: as plate and as detector want it)."""
    _, p, d = own_trace(lens, entrance)
    at = p[:, :2] - d[:, :2] * (p[:, 2] / d[:, 2])[:, None]
    return at, d[:, :2] / d[:, 2:]


def through(trace, goals, miss=1e-10):
    """Newton on the entrance points until `trace(entrance)[0]` is at its goal; the entrance points and the rest."""
    entrance, step = goals.copy(), 1e-4
    for _ in range(30):
        first, second = trace(entrance)
        off = first - goals
        if np.max(np.abs(off)) < miss:
            return entrance, second
        columns = [(trace(entrance + e)[0] - trace(entrance - e)[0]) / (2 * step) for e in step * EYE]
        entrance = entrance - np.linalg.solve(np.stack(columns, axis=2), off[:, :, None])[:, :, 0]
    raise RuntimeError(f"no ray: missed by {np.max(np.abs(off)):.2e} mm")


def local_power(lens, place, h=0.01):
    """Power and prism of the bundle that leaves at `place` of the vertex plane: -d slope / d place, own tracer."""
    ends = np.array([place, *(place + s * h * e for e in EYE for s in (1, -1))])
    slope = through(lambda e: own_exit(lens, e), ends, 1e-12)[1]
    f = -1000 * np.column_stack([(slope[1] - slope[2]) / (2 * h), (slope[3] - slope[4]) / (2 * h)])
    return (f + f.T) / 2, 100 * slope[0]


# --- Cases ----------------------------------------------------------------------------------------


@dataclass
class Case:
    name: str
    index: float
    thickness: float
    front: Surface
    back: Surface
    offset: tuple
    rotation: float
    turned: bool = False  # front on the stop
    radius: float = 18.0  # of the plate
    pitch: float = 1.0

    def file(self):
        return f"{self.name}.csv"

    def lens(self):
        """As the light meets it, in a frame that is the machine's but for rotation and offset."""
        straight = Lens(self.index, self.front.at(-self.thickness), self.back)
        return straight.turned_round(self.thickness) if self.turned else straight

    def turn(self):
        a = math.radians(self.rotation)
        return np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])

    def mirror(self):
        return np.array([-1.0, 1.0]) if self.turned else np.ones(2)

    def to_machine(self, lens_points):
        return (np.atleast_2d(lens_points) * self.mirror()) @ self.turn().T + self.offset

    def holes(self):
        cells = int(self.radius / self.pitch)
        rows = reversed(range(-cells, cells + 1))
        points = [(i, j) for j in rows for i in range(-cells, cells + 1) if i * i + j * j <= (self.radius / self.pitch) ** 2]
        return np.array(points, dtype=float) * self.pitch

    def spots(self):
        holes = self.holes()
        unturned = (holes - self.offset) @ self.turn()
        spots = through(optiland_trace(self.lens()), unturned)[1]
        return holes, spots @ self.turn().T + self.offset

    def power_at(self, place):
        """Power matrix and prism at a place of the lens, in the lens's frame."""
        f, p = local_power(self.lens(), np.array(place) * self.mirror())
        m = np.diag(self.mirror())
        return m @ f @ m, m @ p

    def tracers(self):
        return [self.lens()]


LAYOUT = dict(distance=(0.0, 8.0), near=(2.5, -14.0), prism=(0.0, 0.0), fitting=(0.0, 4.0))
INDEX = 1.6


def progressive_case(name, addition, rx, offset, rotation, turned=False, inset=2.5, base=6.0):
    front = Surface(1000 * (INDEX - 1) / base, progressive(addition, INDEX - 1, inset))
    thickness = 2.5
    through_front = base / (1 - thickness / 1000 / INDEX * base)
    back_power = power_matrix(*rx) - through_front * EYE  # wanted of the back, a sphere of half of it and the rest
    sphere = float(np.trace(back_power)) / 2
    back = Surface(1000 * (1 - INDEX) / sphere, quadratic(back_power - sphere * EYE, 1 - INDEX))
    return Case(name, INDEX, thickness, front, back, offset, rotation, turned)


def progressive_cases():
    return [
        progressive_case("progressive_add_1_00_plano", 1.0, (0.0, 0.0, 180), (0.0, 0.0), 0.0),
        progressive_case("progressive_add_2_00_plus_1_50_cyl_1_25_axis_030", 2.0, (1.5, -1.25, 30), (0.8, -0.6), 4.0),
        progressive_case("progressive_add_3_50_minus_2_00_cyl_2_00_axis_160", 3.5, (-2.0, -2.0, 160), (-1.1, 0.7), -3.0),
        progressive_case("progressive_add_2_00_plus_1_50_cyl_1_25_axis_030_front", 2.0, (1.5, -1.25, 30), (0.4, 0.9), 6.0, True),
        progressive_case("progressive_add_2_00_plus_1_50_cyl_1_25_axis_030_half_turn", 2.0, (1.5, -1.25, 30), (0.5, -0.3), -176.0),
    ]


@dataclass
class Region:
    """A part of a segment on the front: within a circle, and between two heights."""

    addition: float
    circle: tuple  # x, y, radius
    top: float = math.inf
    bottom: float = -math.inf

    def contains(self, p):
        x, y, r = self.circle
        return (np.hypot(p[:, 0] - x, p[:, 1] - y) <= r) & (p[:, 1] <= self.top) & (p[:, 1] > self.bottom)


@dataclass
class SegmentCase(Case):
    regions: tuple = ()
    centre: tuple = (0.0, 0.0)  # where the segment adds no prism
    top: float = 0.0

    def segment_lens(self, region):
        """The lens whose whole front is the segment's sphere: it touches the main front at `centre`, normals alike."""
        x, y = self.centre
        g = self.front.gradient(np.array(x), np.array(y))
        normal = np.append(-g, 1.0) / math.sqrt(1 + g @ g)
        base = 1000 * (self.index - 1) / self.front.radius
        radius = 1000 * (self.index - 1) / (base + region.addition)
        middle = np.array([x, y, float(self.front.sag(np.array(x), np.array(y)))]) + radius * normal
        front = Surface(radius, centre=(float(middle[0]), float(middle[1])), z=float(middle[2] - radius))
        return Lens(self.index, front.at(-self.thickness), self.back)

    def tracers(self):
        return [self.lens()] + [self.segment_lens(r) for r in self.regions]

    def spots(self):
        """Light of each hole by all parts, in the shares of the hole that each part lights. Of holes that two parts
        light by a quarter or more each, every second spot is lost, the others lie between."""
        holes = self.holes()
        unturned = (holes - self.offset) @ self.turn()
        lenses = self.tracers()
        owner = lambda front: np.where((inside := [r.contains(front) for r in self.regions])[0], 1,
                                       np.where(inside[-1], len(self.regions), 0))
        slices = np.linspace(-0.5, 0.5, 31) * HOLE_DIAMETER_MM
        weights = np.sqrt(1 - np.linspace(-0.98, 0.98, 31) ** 2)
        share = np.zeros((len(lenses), len(holes)))
        for part, lens in enumerate(lenses):
            for dy, weight in zip(slices, weights / weights.sum()):
                entrance = through(lambda e: own_stations(lens, e), unturned + self.turn().T @ np.array([0, dy]))[0]
                share[part] += weight * (owner(own_trace(lens, entrance)[0]) == part)
        spots = np.array([through(optiland_trace(lens), unturned)[1] for lens in lenses])
        total = share.sum(axis=0)
        mixed = np.sort(share, axis=0)[-2] >= 0.25
        lit = (total > 0.3) & ~(mixed & (np.arange(len(holes)) % 2 == 0))
        at = (np.einsum("ph,phc->hc", share, spots) / np.maximum(total, 1e-9)[:, None])[lit]
        return holes[lit], at @ self.turn().T + self.offset

    def part_power(self, part, place):
        return local_power(self.tracers()[part], np.array(place))


def segment_case(name, regions, centre, top, rx, offset, rotation, base=5.0, index=1.5):
    thickness = 2.5
    back_power = power_matrix(*rx) - base / (1 - thickness / 1000 / index * base) * EYE
    sphere = float(np.trace(back_power)) / 2
    back = Surface(1000 * (1 - index) / sphere, quadratic(back_power - sphere * EYE, 1 - index))
    return SegmentCase(name, index, thickness, Surface(1000 * (index - 1) / base), back, offset, rotation,
                       radius=13.0, regions=regions, centre=centre, top=top)


def flat_top(name, addition, rx, offset, rotation, top):
    circle = (2.0, top - 5.0, 14.0)
    return segment_case(name, (Region(addition, circle, top=top),), circle[:2], top, rx, offset, rotation)


def segment_cases():
    trifocal = (2.0, -8.0, 14.0)
    round_segment = (1.5, -12.0, 11.0)
    return [
        flat_top("bifocal_d28_add_1_00_plus_2_00", 1.0, (2.0, 0.0, 180), (0.0, 0.0), -2.0, -3.0),
        flat_top("bifocal_d28_add_2_00_minus_3_00_cyl_1_00_axis_020", 2.0, (-3.0, -1.0, 20), (0.6, 0.4), 4.0, -3.0),
        # The top line runs along a row of holes.
        flat_top("bifocal_d28_add_3_50_plano", 3.5, (0.0, 0.0, 180), (0.0, 0.0), 0.0, -1.96),
        segment_case("bifocal_round_22_add_2_50_plus_1_00", (Region(2.5, round_segment),), round_segment[:2], -1.0,
                     (1.0, -0.5, 90), (0.3, 0.2), 0.0),
        segment_case("trifocal_7x28_add_2_50_minus_1_00", (Region(1.25, trifocal, -1.0, -8.0), Region(2.5, trifocal, -8.0)),
                     (2.0, -6.0), -1.0, (-1.0, 0.0, 180), (-0.4, 0.5), 3.0),
    ]


# --- Files ----------------------------------------------------------------------------------------


def write_csv(path, header, rows):
    with path.open("w", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def read_csv(path):
    with path.open(newline="") as source:
        return list(csv.DictReader(source))


def fixed(value, digits=7):
    text = f"{value + 0.0:.{digits}f}"
    return text[1:] if float(text) == 0 and text[0] == "-" else text


def spot_file(case):
    holes, spots = case.spots()
    return ["ref_x_mm", "ref_y_mm", "x_mm", "y_mm"], [[fixed(v) for v in row] for row in np.column_stack([holes, spots])]


def pose_columns(case):
    return dict(file=case.file(), offset_x_mm=case.offset[0], offset_y_mm=case.offset[1], rotation_deg=case.rotation,
                vertex="front" if case.turned else "back")


def matrix_columns(name, f):
    return {f"{name}_xx": f[0, 0], f"{name}_xy": f[0, 1], f"{name}_yy": f[1, 1]}


def progressive_row(case):
    row = pose_columns(case)
    for name, place in LAYOUT.items():
        row |= {f"{name}_x_mm": place[0], f"{name}_y_mm": place[1]}
    (distance, _), (near, _) = case.power_at(LAYOUT["distance"]), case.power_at(LAYOUT["near"])
    prism = case.power_at(LAYOUT["prism"])[1]
    row |= matrix_columns("distance", distance) | matrix_columns("near", near)
    row |= dict(prism_x=prism[0], prism_y=prism[1])
    # From the curvature of the progressive surface alone, as if light met it squarely.
    h = lambda place: 1000 * (case.index - 1) * case.front.mean_curvature(*map(np.array, map(float, place)))
    row |= dict(surface_addition=h(LAYOUT["near"]) - h(LAYOUT["distance"]))
    best = minimize(lambda p: -np.trace(case.power_at(p)[0]) / 2, LAYOUT["near"], method="Nelder-Mead",
                    options=dict(xatol=1e-3, fatol=1e-7))
    row |= dict(highest_x_mm=best.x[0], highest_y_mm=best.x[1], highest_mean=-best.fun)
    row |= corridor_end(case, distance, near)
    row |= corridor_width(case, distance)
    for i, mark in enumerate([(-MARK_MM, 0.0), (MARK_MM, 0.0)]):
        at = case.to_machine(mark)[0]
        row |= {f"mark_{i}_x_mm": at[0], f"mark_{i}_y_mm": at[1]}
    return row


def on_line(t):
    a, b = np.array(LAYOUT["fitting"]), np.array(LAYOUT["near"])
    return a + t * (b - a)


def bisect(f, low, high):
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (low, middle) if f(middle) else (middle, high)
    return (low + high) / 2


def corridor_end(case, distance, near):
    """From the fitting point along the line to the near point: where 85 % of the addition is reached."""
    goal = np.trace(distance) / 2 + 0.85 * np.trace(near - distance) / 2
    place = on_line(bisect(lambda t: np.trace(case.power_at(on_line(t))[0]) / 2 >= goal, 0.0, 1.0))
    return dict(corridor_end_x_mm=place[0], corridor_end_y_mm=place[1], corridor_mm=LAYOUT["fitting"][1] - place[1])


WIDTH_AT, WIDTH_LIMIT = (1.0, -4.0), 0.75


def corridor_width(case, distance):
    """Beside a place: where the cylinder of the power less the distance power reaches a limit."""
    def unwanted(x):
        f = case.power_at((WIDTH_AT[0] + x, WIDTH_AT[1]))[0] - distance
        return 2 * math.hypot((f[0, 0] - f[1, 1]) / 2, f[0, 1])
    side = lambda sign: bisect(lambda x: unwanted(sign * x) >= WIDTH_LIMIT, 0.0, 12.0)
    return dict(width_left_mm=side(-1), width_right_mm=side(1))


def profile_rows(case):
    a, b = np.array(LAYOUT["distance"]), np.array(LAYOUT["near"])
    rows = []
    for t in np.linspace(0, 1, 12):
        place = a + t * (b - a)
        rows.append([case.file(), *map(fixed, place), *(f"{v:.9f}" for v in case.power_at(place)[0].ravel()[[0, 1, 3]])])
    return rows


def segment_row(case):
    row = pose_columns(case)
    top_mid = (case.regions[0].circle[0], case.top)
    seeds = dict(distance=(0.0, 7.0), near=(2.0, -9.0 if len(case.regions) == 1 else -10.5), intermediate=(2.0, -4.5))
    parts = dict(distance=0, near=len(case.regions), intermediate=1 if len(case.regions) == 2 else None)
    row |= dict(top_x_mm=top_mid[0], top_y_mm=top_mid[1], circle_y_mm=case.regions[0].circle[1],
                circle_radius_mm=case.regions[0].circle[2], bottom_y_mm=case.regions[0].bottom)
    for name, place in seeds.items():
        row |= {f"{name}_x_mm": place[0], f"{name}_y_mm": place[1]}
        if parts[name] is None:
            row |= {f"{name}_xx": "", f"{name}_xy": "", f"{name}_yy": ""}
        else:
            row |= matrix_columns(name, case.part_power(parts[name], place)[0])
    return row


def edge_rows(case, random):
    """Edge points of the top line as a camera gives them, every 0.5 mm, with noise across."""
    x, y, r = case.regions[0].circle
    half = math.sqrt(r * r - (case.top - y) ** 2)
    if half == 0:  # a round segment: its upper half
        a = np.linspace(math.radians(20), math.radians(160), 60)
        points = np.column_stack([x + r * np.cos(a), y + r * np.sin(a)])
    else:
        n = round(2 * half / 0.5)
        points = np.column_stack([np.linspace(x - half, x + half, n + 1), np.full(n + 1, case.top)])
    at = case.to_machine(points) + random.normal(0, EDGE_NOISE_MM, points.shape)
    return [[case.file(), *map(fixed, p)] for p in at]


def table(rows):
    text = lambda v: v if isinstance(v, str) else f"{v if abs(v) >= 1e-12 else 0:.10g}"
    return list(rows[0].keys()), [[text(v) for v in row.values()] for row in rows]


def everything():
    """Every committed file: name to (header, rows)."""
    files = {case.file(): spot_file(case) for case in progressive_cases() + segment_cases()}
    files["progressive_lenses.csv"] = table([progressive_row(c) for c in progressive_cases()])
    files["segment_lenses.csv"] = table([segment_row(c) for c in segment_cases()])
    files["profiles.csv"] = (["file", "x_mm", "y_mm", "xx", "xy", "yy"], [r for c in progressive_cases() for r in profile_rows(c)])
    random = np.random.default_rng(SEED)
    files["edges.csv"] = (["file", "x_mm", "y_mm"], [r for c in segment_cases() for r in edge_rows(c, random)])
    return files


# --- Checks ---------------------------------------------------------------------------------------


class Checks:
    def __init__(self):
        self.failed, self.worst = 0, {}

    def within(self, what, where, value, limit):
        self.worst[what] = max(self.worst.get(what, (0.0, limit)), (value, limit))
        if not value <= limit:
            self.failed += 1
            print(f"FAILED {what}: {value:.3e} > {limit:.1e} ({where})")


def check_committed(files, checks):
    on_disk = {p.name for p in HERE.glob("*.csv")}
    if on_disk != set(files):
        checks.failed += 1
        print("FAILED: other files:", on_disk ^ set(files))
    for name, (header, rows) in files.items():
        committed = read_csv(HERE / name)
        for mine, theirs in zip(rows, committed, strict=True):
            for key, a, b in zip(header, mine, (theirs[k] for k in header), strict=True):
                if a != b:
                    # The search for the highest power ends where the power is flat.
                    limit = 1e-2 if key.startswith("highest_") and key.endswith("_mm") else 2e-7
                    checks.within("committed figures against fresh ones, any unit", f"{name} {key}", abs(float(a) - float(b)), limit)


def check_tracers(case, checks):
    for lens in case.tracers():
        some = case.holes()[::37] * 0.8
        difference = np.array(own_stations(lens, some)) - np.array(optiland_trace(lens)(some))
        checks.within("optiland against own vector Snell, mm", case.name, np.max(np.abs(difference)), 1e-9)


def check_step(case, checks):
    """Halving the step of the finite differences."""
    place = np.array(LAYOUT["near"]) * case.mirror()
    f, g = local_power(case.lens(), place, 0.01)[0], local_power(case.lens(), place, 0.005)[0]
    checks.within("power by finite differences, step halved, D", case.name, np.max(np.abs(f - g)), 1e-5)


def check_sphere(checks):
    """A lens of two spheres against the thick-lens formula, on its axis."""
    lens = Lens(1.5, Surface(100.0, z=-2.5), Surface(125.0))
    f1, f2 = 5.0, -4.0
    formula = f1 / (1 - 0.0025 / 1.5 * f1) + f2
    f, _ = local_power(lens, np.zeros(2))
    checks.within("two spheres against the thick-lens formula, D", "", np.max(np.abs(f - formula * EYE)), 1e-5)


def main():
    parser = argparse.ArgumentParser(description="Make or check the ray-traced multifocal data.")
    parser.add_argument("--check", action="store_true", help="compare with the committed files instead of writing")
    check_only = parser.parse_args().check
    files, checks = everything(), Checks()
    print(f"optiland {version('optiland')}, {len(files)} files")
    if not check_only:
        for name, (header, rows) in files.items():
            write_csv(HERE / name, header, rows)
    check_committed(files, checks)
    check_sphere(checks)
    for case in progressive_cases() + segment_cases():
        check_tracers(case, checks)
    for case in progressive_cases():
        check_step(case, checks)
        row = progressive_row(case)
        mean = lambda name: (row[f"{name}_xx"] + row[f"{name}_yy"]) / 2
        print(f"{case.name:62s} addition {mean('near') - mean('distance'):.4f}, of the surface {row['surface_addition']:.4f}, "
              f"corridor {row['corridor_mm']:.2f}")
    print("\nworst of each check (limit)")
    for what, (value, limit) in checks.worst.items():
        print(f"  {what:60s} {value:9.2e} ({limit:.0e})")
    print("FAILED" if checks.failed else "ok")
    return 1 if checks.failed else 0


if __name__ == "__main__":
    sys.exit(main())
