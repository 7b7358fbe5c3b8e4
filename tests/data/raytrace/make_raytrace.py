#!/usr/bin/env python3
"""Ray-traced Hartmann test data: thick lenses traced with `optiland`, fitted in f64.

    python make_raytrace.py            write the CSV files and lenses.csv, then check them
    python make_raytrace.py --check    recompute, compare with the committed files, check

Conventions, provenance and the figures seen are in README.md beside this file.

Frames. The observer stands before the front of the lens and looks along the light: x to the
observer's right, y up, z along the light (front to back). That frame is left-handed; optiland's is
right-handed. Hence optiland (X, Y, Z) = (-x, y, z), and only `Optiland` below knows that frame: the
cross-check tracer `own_trace` works in the observer's frame, so that a wrong mirror image shows.
"""

import argparse
import csv
import math
import sys
import warnings
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path

# numba talks about its own compilation of optiland's sphere intersection; no result depends on it.
warnings.filterwarnings("ignore", message=r"\s*variable '_scalar_where")

import numpy as np
from optiland.materials import IdealMaterial
from optiland.optic import Optic
from optiland.rays import RealRays
from scipy.spatial.transform import Rotation

HERE = Path(__file__).resolve().parent
NEAR = (5.0, 20.0)  # gap and throw, mm
FAR = (12.5, 35.0)
RADIUS_MM = 3.0  # of the lattice of holes, where a lens does not say otherwise
WIDE_MM = 3.5
CELLS = 6  # holes from the centre to the rim, so a pitch of 0.5 mm
START_Z_MM = -40.0  # rays start here, before every front surface
EYE = np.eye(2)
ROUND_OFF = 1e-12  # any unit: below this a fitted figure is f64 noise and is written as 0


# --- Power matrices -----------------------------------------------------------------------------


def power_matrix(sphere, cylinder, axis):
    a = math.radians(2.0 * axis)
    m, j0, j45 = sphere + cylinder / 2, -cylinder / 2 * math.cos(a), -cylinder / 2 * math.sin(a)
    return np.array([[m + j0, j45], [j45, m - j0]])


def minus_form(f):
    """Sphere, cylinder <= 0, axis in (0, 180] of a symmetric power matrix."""
    m, j0, j45 = (f[0, 0] + f[1, 1]) / 2, (f[0, 0] - f[1, 1]) / 2, (f[0, 1] + f[1, 0]) / 2
    j = math.hypot(j0, j45)
    axis = math.degrees(math.atan2(j45, j0)) / 2
    if j < ROUND_OFF:
        return m, 0.0, 180.0
    return m + j, -2 * j, axis if axis > 0 else axis + 180.0


def bearing_vector(length, degrees):
    return length * np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])


# --- Lenses -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Surface:
    """A torus (sphere, cylinder, plane) in the observer's frame; radii are positive when the centre
    of curvature lies behind the surface. `along` is the section that contains the axis and is the
    radius of revolution; `across` is the arc that is turned about it. `tilt` turns the surface about
    its vertex so that its sag grows by tan(tilt) per mm towards `tilt_bearing`."""

    along: float
    across: float
    axis: float = 180.0
    tilt: float = 0.0
    tilt_bearing: float = 0.0

    def curvature(self):
        a, b = 1 / self.along, 1 / self.across
        return power_matrix(a, b - a, self.axis)

    def gradient(self):
        return bearing_vector(math.tan(math.radians(self.tilt)), self.tilt_bearing)

    def tilted(self, gradient):
        tilt = round(math.degrees(math.atan(np.hypot(*gradient))), 6)
        return replace(self, tilt=tilt, tilt_bearing=bearing_of(gradient))


@dataclass(frozen=True)
class Lens:
    name: str
    geometry: tuple
    index: float
    thickness: float
    front: Surface
    back: Surface
    centre: tuple  # decentration of both vertices, mm
    radius: float = RADIUS_MM  # of the lattice of holes

    def on_axis(self):
        return self.centre == (0.0, 0.0) and self.front.tilt == 0.0 and self.back.tilt == 0.0

    def scaled_offsets(self, factor):
        """The same lens with decentration and tilts made smaller by `factor`."""
        shrink = lambda s: replace(s, tilt=s.tilt * factor)
        cx, cy = self.centre
        return replace(self, front=shrink(self.front), back=shrink(self.back), centre=(cx * factor, cy * factor))

    def file(self):
        gap = "near" if self.geometry == NEAR else "far"
        return f"{self.name}_n{round(self.index * 100)}_{gap}.csv"


def bearing_of(v):
    return round(math.degrees(math.atan2(v[1], v[0])) % 360.0, 6)


def surface_of_power(power, jump):
    """The torus that refracts with `power` (dioptres) where the index grows by `jump`."""
    sphere, cylinder, axis = minus_form(power)
    if abs(cylinder) < 1e-9:
        cylinder, axis = 0.0, 180.0
    radius = lambda p: round(1000.0 * jump / p, 6) if abs(p) > 1e-9 else math.inf
    along, across = radius(sphere), radius(sphere + cylinder)
    if math.isinf(across):  # a cylinder's finite radius is the arc
        along, across, axis = across, along, (axis + 90.0) % 180.0 or 180.0
    return Surface(along, across, round(axis, 6))


def thick_power(f1, f2, thickness_m, index):
    """Back vertex power: f1 (I - t/n f1)^-1 + f2."""
    return f1 @ np.linalg.inv(EYE - thickness_m / index * f1) + f2


def design(name, geometry, index, thickness, rx, front=None, back=None, centre=(0.0, 0.0), prism=(0.0, 0.0), tilt="front", radius=RADIUS_MM):
    """A lens of back vertex power `rx` whose other surface has the given power (sphere, cylinder,
    axis); `prism` is (prism dioptres, base bearing) at the vertex, made by tilting one surface."""
    target, t = power_matrix(*rx), thickness / 1000.0
    if front is not None:
        f1 = power_matrix(*front)
        f2 = target - thick_power(f1, 0 * EYE, t, index)
    else:
        f2 = power_matrix(*back)
        q = target - f2
        f1 = q @ np.linalg.inv(EYE + t / index * q)
    first, second = surface_of_power(f1, index - 1), surface_of_power(f2, 1 - index)
    if prism[0]:
        slope = bearing_vector(prism[0] / 100.0, prism[1]) / (index - 1)
        if tilt == "front":
            first = first.tilted(-(EYE - t / index * f1) @ slope)
        else:
            second = second.tilted(slope)
    return Lens(name, geometry, index, thickness, first, second, centre, radius)


def lenses():
    rows = [
        # Centred, spherical back vertex power.
        design("minus_12_00", NEAR, 1.74, 1.5, (-12, 0, 180), front=(1, 0, 180)),
        design("plus_12_00", FAR, 1.60, 8.0, (12, 0, 180), front=(12, 0, 180)),
        design("plus_00_12_weak", NEAR, 1.50, 2.0, (0.12, 0, 180), front=(5, 0, 180)),
        # Centred, toric back.
        design("plus_08_00_cyl_2_00_axis_035", NEAR, 1.60, 6.5, (8, -2, 35), front=(9, 0, 180)),
        design("plus_08_00_cyl_2_00_axis_035", FAR, 1.60, 6.5, (8, -2, 35), front=(9, 0, 180)),
        design("minus_06_25_cyl_4_00_axis_127", FAR, 1.74, 1.5, (-6.25, -4, 127), front=(2, 0, 180)),
        design("minus_02_25_cyl_1_50_axis_035", NEAR, 1.50, 2.0, (-2.25, -1.5, 35), front=(4, 0, 180)),
        design("plus_01_00_cyl_2_00_axis_090", FAR, 1.50, 2.5, (1, -2, 90), front=(5, 0, 180)),
        design("minus_05_00_cyl_1_00_axis_180", NEAR, 1.60, 1.8, (-5, -1, 180), front=(3, 0, 180)),
        # Centred, toric front.
        design("plus_02_00_cyl_0_75_axis_162", FAR, 1.50, 3.0, (2, -0.75, 162), back=(-4, 0, 180)),
        design("plus_05_50_cyl_3_25_axis_068", NEAR, 1.60, 5.0, (5.5, -3.25, 68), back=(-3, 0, 180)),
        # Two toric surfaces whose axes cross obliquely.
        design("minus_01_50_cyl_3_75_axis_139_bitoric", NEAR, 1.60, 3.0, (-1.5, -3.75, 139), front=(7, -2, 70)),
        # Plano cylinders: flat front, then flat back.
        design("plano_cyl_2_50_axis_020", NEAR, 1.50, 2.0, (0, -2.5, 20), front=(0, 0, 180)),
        design("plus_04_00_cyl_4_00_axis_110_plano_back", FAR, 1.60, 4.0, (4, -4, 110), back=(0, 0, 180)),
        # Decentred.
        design("plus_06_00_decentred", NEAR, 1.60, 5.0, (6, 0, 180), front=(8, 0, 180), centre=(3.0, -2.0)),
        design("minus_08_00_cyl_3_00_axis_055_decentred", FAR, 1.74, 1.5, (-8, -3, 55), front=(1.5, 0, 180), centre=(-4.0, 3.0)),
        design("minus_08_00_cyl_3_00_axis_055_decentred", NEAR, 1.74, 1.5, (-8, -3, 55), front=(1.5, 0, 180), centre=(-4.0, 3.0)),
        design("plus_10_00_cyl_1_00_axis_100_decentred", NEAR, 1.60, 8.0, (10, -1, 100), front=(11, 0, 180), centre=(1.5, 1.0)),
        design("minus_03_50_cyl_0_50_axis_175_decentred", FAR, 1.50, 2.0, (-3.5, -0.5, 175), front=(4, 0, 180), centre=(-3.5, -2.5)),
        # Prismatic: a wedge without power, tilted front, tilted toric back, and prism with decentration.
        design("plano_prism_3_00_base_065", NEAR, 1.50, 4.0, (0, 0, 180), front=(0, 0, 180), prism=(3.0, 65.0)),
        design("minus_04_00_cyl_1_25_axis_012_prism_2_50_base_130", FAR, 1.60, 2.5, (-4, -1.25, 12), front=(3, 0, 180), prism=(2.5, 130.0)),
        design("plus_03_00_cyl_2_25_axis_150_prism_4_00_base_215", NEAR, 1.74, 5.0, (3, -2.25, 150), front=(6, 0, 180), prism=(4.0, 215.0), tilt="back"),
        design("minus_10_00_prism_1_50_base_340", FAR, 1.74, 2.0, (-10, 0, 180), front=(1, 0, 180), prism=(1.5, 340.0)),
        design("plus_04_75_cyl_2_75_axis_080_prism_2_00_base_285_decentred", FAR, 1.60, 5.5, (4.75, -2.75, 80), front=(7, 0, 180), centre=(-2.0, 1.5), prism=(2.0, 285.0)),
        # As strong as lenses get, through holes within 7 mm.
        design("plus_10_00_wide", NEAR, 1.60, 7.0, (10, 0, 180), front=(9, 0, 180), radius=WIDE_MM),
        design("minus_10_00_wide", NEAR, 1.74, 1.5, (-10, 0, 180), front=(1, 0, 180), radius=WIDE_MM),
        design("plus_15_00_wide", NEAR, 1.60, 9.0, (15, 0, 180), front=(13.5, 0, 180), radius=WIDE_MM),
        design("minus_15_00_wide", NEAR, 1.74, 1.5, (-15, 0, 180), front=(1, 0, 180), radius=WIDE_MM),
        design("plus_20_00_wide", NEAR, 1.60, 9.0, (20, 0, 180), front=(18, 0, 180), radius=WIDE_MM),
        design("minus_20_00_wide", NEAR, 1.74, 1.5, (-20, 0, 180), front=(1, 0, 180), radius=WIDE_MM),
        design("plus_25_00_wide", NEAR, 1.60, 9.0, (25, 0, 180), front=(22.5, 0, 180), radius=WIDE_MM),
        design("minus_25_00_wide", NEAR, 1.74, 1.5, (-25, 0, 180), front=(1, 0, 180), radius=WIDE_MM),
        design("plus_16_00_cyl_4_00_axis_030_wide", NEAR, 1.60, 8.0, (16, -4, 30), front=(14, 0, 180), radius=WIDE_MM),
        design("minus_18_00_cyl_4_00_axis_030_wide", NEAR, 1.74, 1.5, (-18, -4, 30), front=(1, 0, 180), radius=WIDE_MM),
    ]
    return rows


# --- Paraxial optics (matrix thick-lens formula) ------------------------------------------------


def paraxial(lens):
    """Back vertex power and the prism where the axis z meets the back vertex plane. A surface bends
    by (n' - n)(K (h - c) + g): linear in the height h, shifted by decentration c and gradient g."""
    n, t, c = lens.index, lens.thickness / 1000.0, np.array(lens.centre) / 1000.0
    f1, f2 = 1000 * (n - 1) * lens.front.curvature(), 1000 * (1 - n) * lens.back.curvature()
    bend1 = f1 @ c - (n - 1) * lens.front.gradient()  # of the ray that meets the axis at each surface
    bend2 = f2 @ c - (1 - n) * lens.back.gradient()
    inside = np.linalg.solve(EYE - t / n * f1, bend1)  # reduced slope of the ray that exits on the axis
    return thick_power(f1, f2, t, n), 100 * (inside + bend2)


# --- The traced ray -----------------------------------------------------------------------------


def tilt_rotation(gradient):
    """The smallest rotation that turns the z axis onto the surface normal (-g, 1)."""
    normal = np.append(-gradient, 1.0)
    normal /= np.linalg.norm(normal)
    k = np.outer(normal, [0, 0, 1]) - np.outer([0, 0, 1], normal)
    return np.eye(3) + k + k @ k / (1 + normal[2])


class Optiland:
    """The lens, the plate and the detector as an optiland system."""

    def __init__(self, lens):
        gap, throw = lens.geometry
        self.optic = Optic()
        add = self.optic.surfaces.add
        add(index=0, z=-math.inf)
        add(index=1, material=IdealMaterial(lens.index), **self.place(lens, lens.front, -lens.thickness))
        add(index=2, is_stop=True, **self.place(lens, lens.back, 0.0))
        add(index=3, z=gap)
        add(index=4, z=gap + throw)

    @staticmethod
    def place(lens, surface, z):
        mirror = np.array([-1.0, 1.0])
        turn = Rotation.from_euler("z", 180.0 - surface.axis, degrees=True).as_matrix()
        rx, ry, rz = Rotation.from_matrix(tilt_rotation(mirror * surface.gradient()) @ turn).as_euler("xyz")
        where = dict(x=-lens.centre[0], y=lens.centre[1], z=z, rx=rx, ry=ry, rz=rz)
        if surface.along == surface.across:
            return dict(surface_type="standard", radius=surface.along, **where)
        # Newton's tolerance for the point on the torus is 1e-6 mm by default: too coarse here.
        return dict(surface_type="toroidal", radius_x=surface.along, radius_y=surface.across, tol=1e-13, **where)

    def trace(self, entrance):
        """Points on plate and detector of rays that enter parallel to the axis at `entrance` (N, 2)."""
        one, zero = np.ones(len(entrance)), np.zeros(len(entrance))
        rays = RealRays(-entrance[:, 0], entrance[:, 1], START_Z_MM * one, zero, zero, one, one, 0.5461 * one)
        surfaces = self.optic.surfaces
        surfaces.trace(rays)
        points = lambda i: np.stack([-np.asarray(surfaces.x[i]), np.asarray(surfaces.y[i])], axis=1)
        return points(3), points(4)


def own_trace(lens, entrance):
    """The same by vector Snell in the observer's frame, for the cross-check only."""
    p = np.column_stack([entrance, np.full(len(entrance), START_Z_MM)])
    d = np.tile([0.0, 0.0, 1.0], (len(entrance), 1))
    stations = ((lens.front, -lens.thickness, 1.0, lens.index), (lens.back, 0.0, lens.index, 1.0))
    for surface, z, n1, n2 in stations:
        a = math.radians(surface.axis)
        turn = np.array([[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]])
        frame = tilt_rotation(surface.gradient()) @ turn  # columns: local u, v, w
        vertex = np.array([*lens.centre, z])
        q, e = (p - vertex) @ frame, d @ frame
        q, normal = meet_torus(q, e, 1 / surface.along, 1 / surface.across)
        cos_in = np.sum(normal * e, axis=1, keepdims=True)
        mu = n1 / n2
        e = mu * e + (np.sqrt(1 - mu**2 * (1 - cos_in**2)) - mu * cos_in) * normal
        p, d = q @ frame.T + vertex, e @ frame.T
    gap, throw = lens.geometry
    at = lambda z: p[:, :2] + d[:, :2] * ((z - p[:, 2]) / d[:, 2])[:, None]
    return at(gap), at(gap + throw)


def meet_torus(q, e, c, k):
    """Newton along the ray on w - b - c (u^2 + w^2 - b^2) / 2 = 0, b(v) the arc of curvature k."""
    q = q - e * (q[:, 2] / e[:, 2])[:, None]
    for _ in range(20):
        u, v, w = q.T
        root = np.sqrt(1 - (k * v) ** 2)
        b = k * v**2 / (1 + root)
        f = w - b - c * (u**2 + w**2 - b**2) / 2
        grad = np.stack([-c * u, -(k * v / root) * (1 - c * b), 1 - c * w], axis=1)
        q = q - e * (f / np.sum(grad * e, axis=1))[:, None]
    return q, grad / np.linalg.norm(grad, axis=1, keepdims=True)


def through_holes(trace, holes, goal=1e-10):
    """Newton on the entrance points until each ray goes through its hole; returns entrance points
    and detector points. `trace` maps entrance points to (plate, detector)."""
    entrance, step = holes.copy(), 1e-4
    for _ in range(30):
        plate, detector = trace(entrance)
        miss = plate - holes
        if np.max(np.abs(miss)) < goal:
            return entrance, detector
        columns = [(trace(entrance + e)[0] - trace(entrance - e)[0]) / (2 * step) for e in step * EYE]
        jacobian = np.stack(columns, axis=2)
        entrance = entrance - np.linalg.solve(jacobian, miss[:, :, None])[:, :, 0]
    raise RuntimeError(f"no ray through a hole: missed by {np.max(np.abs(miss)):.2e} mm")


def lattice(radius):
    """113 holes row by row from the top, each row from the left."""
    cells = range(-CELLS, CELLS + 1)
    points = [(i, j) for j in reversed(cells) for i in cells if i * i + j * j <= CELLS * CELLS]
    return np.array(points, dtype=float) * (radius / CELLS)


# --- The f64 fit --------------------------------------------------------------------------------


def fit(holes, spots, geometry):
    """Least squares of displacement = throw (s0 - V h). Five parameters, V symmetric; the
    antisymmetric part comes from a second fit with six."""
    gap, throw = geometry
    x, y, one, zero = holes[:, 0] / 1000, holes[:, 1] / 1000, np.ones(len(holes)), np.zeros(len(holes))
    slopes = ((spots - holes) / throw).T.reshape(-1)  # all x, then all y
    pair = lambda a, b: np.concatenate([a, b])
    shift = [pair(one, zero), pair(zero, one)]
    five = np.column_stack([*shift, pair(-x, zero), pair(-y, -x), pair(zero, -y)])
    six = np.column_stack([*shift, pair(-x, zero), pair(-y, zero), pair(zero, -x), pair(zero, -y)])
    sx, sy, vxx, vxy, vyy = np.linalg.lstsq(five, slopes, rcond=None)[0]
    free = np.linalg.lstsq(six, slopes, rcond=None)[0]
    left = slopes - five @ np.array([sx, sy, vxx, vxy, vyy])
    v = np.array([[vxx, vxy], [vxy, vyy]])
    power, prism = step_back(v, np.array([sx, sy]), gap)
    return dict(
        power=power,
        prism=prism,
        residual_um=1000 * throw * math.sqrt(left @ left / (len(left) - 5)),
        rotation=(free[3] - free[4]) / 2,
    )


def step_back(v, s0, gap):
    """From slopes at the plate to back vertex power and prism at the axis."""
    back = np.linalg.inv(EYE + gap / 1000 * v)
    return v @ back, 100 * back @ s0


def parabasal(lens):
    """The limit of the fit for a vanishing lattice, from the own tracer: slope and its derivative
    along the ray through the centre of the plate."""
    gap, throw = lens.geometry
    trace, step = (lambda e: own_trace(lens, e)), 0.01
    centre, spot = through_holes(trace, np.zeros((1, 2)), 1e-12)
    ends = [(trace(centre + e), trace(centre - e)) for e in step * EYE]
    dh = np.column_stack([(a[0] - b[0])[0] / (2 * step) for a, b in ends])
    dd = np.column_stack([(a[1] - b[1])[0] / (2 * step) for a, b in ends])
    v = -1000 * (dd - dh) / throw @ np.linalg.inv(dh)
    # Slopes are tangents: along an oblique ray their derivative is not quite symmetric. The limit of a
    # fit with symmetric V is the symmetric part.
    return step_back((v + v.T) / 2, spot[0] / throw, gap)


# --- Files --------------------------------------------------------------------------------------


def spot_rows(holes, spots):
    text = lambda v: f"{v + 0.0:.7f}".replace("-0.0000000", "0.0000000")
    return [[text(v) for v in row] for row in np.column_stack([holes, spots])]


def on_file(holes):
    """As the files give them: to 0.1 nm."""
    return np.round(holes, 7)


def write_csv(path, header, rows):
    with path.open("w", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def read_csv(path):
    with path.open(newline="") as source:
        return list(csv.DictReader(source))


def read_spots(path):
    rows = read_csv(path)
    column = lambda *names: np.array([[float(r[n]) for n in names] for r in rows])
    return column("ref_x_mm", "ref_y_mm"), column("x_mm", "y_mm")


def surface_columns(side, s):
    return {
        f"{side}_radius_along_axis_mm": s.along,
        f"{side}_radius_across_axis_mm": s.across,
        f"{side}_axis_deg": s.axis,
        f"{side}_tilt_deg": s.tilt,
        f"{side}_tilt_bearing_deg": s.tilt_bearing,
    }


def manifest_row(lens):
    power, prism = paraxial(lens)
    found = fit(*read_spots(HERE / lens.file()), lens.geometry)
    f, p = found["power"], found["prism"]
    weak = min(abs(e) for e in np.linalg.eigvalsh(f)) < 0.02
    centre = ("", "") if weak else 10 * np.linalg.solve(f, p)
    row = dict(file=lens.file(), gap_mm=lens.geometry[0], throw_mm=lens.geometry[1], index=lens.index)
    row |= dict(centre_thickness_mm=lens.thickness)
    row |= surface_columns("front", lens.front) | surface_columns("back", lens.back)
    row |= dict(decentration_x_mm=lens.centre[0], decentration_y_mm=lens.centre[1])
    row |= dict(zip(("paraxial_sphere", "paraxial_cylinder", "paraxial_axis"), minus_form(power)))
    row |= dict(paraxial_xx=power[0, 0], paraxial_xy=power[0, 1], paraxial_yy=power[1, 1])
    row |= dict(paraxial_prism_x=prism[0], paraxial_prism_y=prism[1])
    row |= dict(fit_xx=f[0, 0], fit_xy=f[0, 1], fit_yy=f[1, 1])
    row |= dict(zip(("fit_sphere", "fit_cylinder", "fit_axis"), minus_form(f)))
    row |= dict(fit_prism_x=p[0], fit_prism_y=p[1], fit_centre_x_mm=centre[0], fit_centre_y_mm=centre[1])
    row |= dict(fit_residual_um=found["residual_um"], fit_rotation=found["rotation"])
    central, _ = parabasal(lens)
    row |= dict(central_xx=central[0, 0], central_xy=central[0, 1], central_yy=central[1, 1])
    text = lambda v: v if isinstance(v, str) else f"{v if abs(v) >= ROUND_OFF else 0:.12g}"
    return {k: text(v) for k, v in row.items()}


def write_all(all_lenses):
    for lens in all_lenses:
        holes = on_file(lattice(lens.radius))
        spots = through_holes(Optiland(lens).trace, holes)[1]
        write_csv(HERE / lens.file(), ["ref_x_mm", "ref_y_mm", "x_mm", "y_mm"], spot_rows(holes, spots))
    rows = [manifest_row(lens) for lens in all_lenses]
    write_csv(HERE / "lenses.csv", rows[0].keys(), [row.values() for row in rows])


# --- Checks -------------------------------------------------------------------------------------


class Checks:
    def __init__(self):
        self.failed = 0
        self.worst = {}

    def within(self, what, lens, value, limit):
        self.worst[what] = max(self.worst.get(what, (0.0, limit)), (value, limit))
        if not value <= limit:
            self.failed += 1
            print(f"FAILED {what}: {value:.3e} > {limit:.1e} ({lens.file()})")


def largest(a):
    return float(np.max(np.abs(a)))


def check_files(all_lenses, checks):
    """The committed files against a fresh trace and a fresh fit."""
    listed = {row["file"]: row for row in read_csv(HERE / "lenses.csv")}
    on_disk = {p.name for p in HERE.glob("*.csv")} - {"lenses.csv", "crossed.csv", "tilted.csv"}
    names = {lens.file() for lens in all_lenses}
    if not names == set(listed) == on_disk or len(names) != len(all_lenses):
        checks.failed += 1
        print("FAILED: files, manifest and lens list differ")
    for lens in all_lenses:
        holes, spots = read_spots(HERE / lens.file())
        checks.within("committed holes, mm", lens, largest(holes - on_file(lattice(lens.radius))), 0.0)
        fresh = through_holes(Optiland(lens).trace, holes)[1]
        checks.within("committed spots against a fresh trace, mm", lens, largest(spots - fresh), 1e-6)
        for key, value in manifest_row(lens).items():
            check_cell(lens, key, listed[lens.file()][key], value, checks)


def check_cell(lens, key, committed, fresh, checks):
    if key == "file" or "" in (committed, fresh):
        difference = 0.0 if committed == fresh else math.inf
    elif committed == fresh:  # also the infinite radii
        difference = 0.0
    else:
        difference = abs(float(committed) - float(fresh))
    checks.within("manifest against a fresh fit, any unit", lens, difference, 1e-9)


def check_tracers(lens, checks):
    """A handful of rays, and the ray through the centre, by both tracers."""
    some = lattice(lens.radius)[::16]
    ours, theirs = own_trace(lens, some), Optiland(lens).trace(some)
    checks.within("optiland against own vector Snell, mm", lens, largest(np.array(ours) - np.array(theirs)), 1e-10)


def check_prentice(lens, checks):
    if lens.front.tilt == lens.back.tilt == 0.0:
        power, prism = paraxial(lens)
        by_rule = power @ np.array(lens.centre) / 10
        checks.within("paraxial prism against Prentice's rule, prism dioptres", lens, largest(prism - by_rule), 1e-12)


def check_thick_edge(lens, checks):
    """A wedge without power: the glass is thicker towards the base that the fit reports."""
    power, prism = paraxial(lens)
    if largest(power) < ROUND_OFF:
        growth = lens.back.gradient() - lens.front.gradient()
        found = fit(*read_spots(HERE / lens.file()), lens.geometry)["prism"]
        turn = abs((bearing_of(growth) - bearing_of(found) + 180) % 360 - 180)
        checks.within("wedge: bearing of the thick edge against the fitted base, degrees", lens, turn, 1e-3)


def check_limit(lens, checks):
    """Fits on shrinking lattices; prints their distance from the thick-lens formula as one row of the
    table and holds their limit against the derivative along the central ray."""
    exact_power, exact_prism = parabasal(lens)
    power, prism = paraxial(lens)
    tracer, cells, misses = Optiland(lens), [], []
    for radius in (3.0, 1.0, 0.4, 0.2, 0.02):
        holes = lattice(radius)
        found = fit(holes, through_holes(tracer.trace, holes, 1e-12)[1], lens.geometry)
        cells += [largest(found["power"] - power), largest(found["prism"] - prism)]
        misses.append(largest(found["power"] - exact_power))
    print(f"{lens.file():70s}" + "".join(f"{v:9.1e}" for v in cells))
    checks.within("0.02 mm fit against the derivative along the central ray, D", lens, misses[-1], 1e-5)
    checks.within("0.02 mm fit against the central ray, prism dioptres", lens, largest(found["prism"] - exact_prism), 1e-5)
    if misses[2] > 1e-6:  # the rest of the distance is aberration, which goes with the radius squared
        checks.within("order of the 0.4 and 0.2 mm fits in the radius, less 2", lens, abs(math.log2(misses[2] / misses[3]) - 2), 0.01)
    if lens.on_axis():
        check_written(lens, found, checks)


def check_written(lens, found, checks):
    """A lens on the axis: the written prescription itself, at 0.02 mm."""
    (s, c, a), (ps, pc, pa) = minus_form(found["power"]), minus_form(paraxial(lens)[0])
    checks.within("0.02 mm fit against thick-lens formula, sphere, D", lens, abs(s - ps), 1e-5)
    checks.within("0.02 mm fit against thick-lens formula, cylinder, D", lens, abs(c - pc), 1e-5)
    if abs(pc) > 0.1:
        turn = abs((a - pa + 90) % 180 - 90)
        checks.within("0.02 mm fit against thick-lens formula, axis, degrees", lens, turn, 1e-4)
    checks.within("0.02 mm fit, prism of a centred lens, prism dioptres", lens, largest(found["prism"]), 1e-8)


def check_offsets(lens, checks):
    """Off the axis the power differs from the thick-lens formula by an amount even in the offset, the
    prism by an odd one: halving the offset must divide them by 4 and by 8."""
    def gaps(factor):
        small = lens.scaled_offsets(factor)
        (f, p), (pf, pp) = parabasal(small), paraxial(small)
        return largest(f - pf), largest(p - pp)

    (f1, p1), (f2, p2) = gaps(0.25), gaps(0.125)
    if f1 > 1e-7:
        checks.within("order of the power deviation in the offset, less 2", lens, abs(math.log2(f1 / f2) - 2), 0.05)
    checks.within("order of the prism deviation in the offset, less 3", lens, abs(math.log2(p1 / p2) - 3), 0.05)


def print_aperture_effect(all_lenses):
    print("\nfit on the committed files (3 mm) less paraxial: sphere, cylinder, axis, prism x, prism y, residual um, rotation")
    for lens in all_lenses:
        r = {k: float(v) for k, v in manifest_row(lens).items() if k.startswith(("fit_", "paraxial_")) and v}
        axis = (r["fit_axis"] - r["paraxial_axis"] + 90) % 180 - 90 if abs(r["paraxial_cylinder"]) > 0.1 else math.nan
        d = [r[f"fit_{k}"] - r[f"paraxial_{k}"] for k in ("sphere", "cylinder")] + [axis]
        d += [r[f"fit_{k}"] - r[f"paraxial_{k}"] for k in ("prism_x", "prism_y")]
        d += [r["fit_residual_um"], r["fit_rotation"]]
        print(f"{lens.file():70s}" + "".join(f"{v:10.5f}" for v in d))


def main():
    parser = argparse.ArgumentParser(description="Make or check the ray-traced Hartmann data.")
    parser.add_argument("--check", action="store_true", help="compare with the committed files instead of writing")
    check_only = parser.parse_args().check
    all_lenses, checks = lenses(), Checks()
    print(f"optiland {version('optiland')}, {len(all_lenses)} files")
    if not check_only:
        write_all(all_lenses)
    check_files(all_lenses, checks)
    print("\nfit less thick-lens formula, largest component: power (D) and prism (prism dioptres) at 3, 1, 0.4, 0.2, 0.02 mm")
    for lens in all_lenses:
        check_tracers(lens, checks)
        check_prentice(lens, checks)
        check_thick_edge(lens, checks)
        check_limit(lens, checks)
        if not lens.on_axis():
            check_offsets(lens, checks)
    print_aperture_effect(all_lenses)
    print("\nworst of each check (limit)")
    for what, (value, limit) in checks.worst.items():
        print(f"  {what:75s} {value:9.2e} ({limit:.0e})")
    print("FAILED" if checks.failed else "ok")
    return 1 if checks.failed else 0


if __name__ == "__main__":
    sys.exit(main())
