#!/usr/bin/env python3
"""Ray-traced powers: thick lenses whose toric surfaces cross, and thin lenses tilted before the eye.

    python make_powers.py            write crossed.csv and tilted.csv, then check them
    python make_powers.py --check    recompute, compare with the committed files, check

Power is the derivative of the slope of the light that leaves, by its place, along the ray through the
lens's centre: rays of `optiland`, central differences at two steps, extrapolated to none. Frames,
surfaces and the cross-check are those of make_raytrace.py; columns and figures in README.md.
"""

import argparse
import math
import sys
from dataclasses import dataclass
from importlib.metadata import version

import numpy as np
from make_raytrace import (
    EYE,
    HERE,
    START_Z_MM,
    Surface,
    largest,
    meet_torus,
    minus_form,
    power_matrix,
    read_csv,
    surface_of_power,
    thick_power,
    write_csv,
)
from optiland.materials import IdealMaterial
from optiland.optic import Optic
from optiland.rays import RealRays
from scipy.spatial.transform import Rotation

GAP_MM, THROW_MM = 5.0, 20.0  # planes on which the rays that leave are seen, behind the lens's centre
STEP_MM = 0.2  # of the differences; its half and quarter as well
THIN_MM = 0.01  # centre thickness of a thin lens; twice that as well
MIRROR = np.diag([-1.0, 1.0, 1.0])  # from the observer's frame to optiland's, and back


@dataclass(frozen=True)
class Placed:
    """A surface, the place of its vertex, and the rotation from its own frame to the observer's."""

    surface: Surface
    vertex: np.ndarray
    turn: np.ndarray


def about_axis(degrees):
    """Turns the plane counter-clockwise as the observer sees it."""
    a = math.radians(degrees)
    return np.array([[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]])


def stations(front, back, thickness, middle, turn=np.eye(3)):
    """Both surfaces of a lens turned as a whole about its vertex (`middle` 0 is the back one, 1/2 halfway)."""
    place = lambda s, z: Placed(s, turn @ np.array([0.0, 0.0, z]), turn @ about_axis(s.axis))
    return place(front, (middle - 1) * thickness), place(back, middle * thickness)


class Tracer:
    """The lens in optiland, with two planes behind it."""

    def __init__(self, placed, index):
        self.optic = Optic()
        add = self.optic.surfaces.add
        add(index=0, z=-math.inf)
        add(index=1, material=IdealMaterial(index), **self.place(placed[0]))
        add(index=2, is_stop=True, **self.place(placed[1]))
        add(index=3, z=GAP_MM)
        add(index=4, z=GAP_MM + THROW_MM)

    @staticmethod
    def place(placed):
        x, y, z = MIRROR @ placed.vertex
        # Mirrored on both sides: a surface that is its own mirror image in its own frame.
        rx, ry, rz = Rotation.from_matrix(MIRROR @ placed.turn @ MIRROR).as_euler("xyz")
        where = dict(x=x, y=y, z=z, rx=rx, ry=ry, rz=rz)
        s = placed.surface
        if s.along == s.across:
            return dict(surface_type="standard", radius=s.along, **where)
        return dict(surface_type="toroidal", radius_x=s.along, radius_y=s.across, tol=1e-14, **where)

    def __call__(self, entrance):
        one, zero = np.ones(len(entrance)), np.zeros(len(entrance))
        rays = RealRays(-entrance[:, 0], entrance[:, 1], START_Z_MM * one, zero, zero, one, one, 0.5461 * one)
        surfaces = self.optic.surfaces
        surfaces.trace(rays)
        points = lambda i: np.stack([-np.asarray(surfaces.x[i]), np.asarray(surfaces.y[i])], axis=1)
        return points(3), points(4)


def own(placed, index):
    """The same by vector Snell in the observer's frame, for the cross-check only."""

    def trace(entrance):
        p = np.column_stack([entrance, np.full(len(entrance), START_Z_MM)])
        d = np.tile([0.0, 0.0, 1.0], (len(entrance), 1))
        for station, mu in zip(placed, (1 / index, index)):
            q, e = (p - station.vertex) @ station.turn, d @ station.turn
            q, normal = meet_torus(q, e, 1 / station.surface.along, 1 / station.surface.across)
            cos_in = np.sum(normal * e, axis=1, keepdims=True)
            e = mu * e + (np.sqrt(1 - mu**2 * (1 - cos_in**2)) - mu * cos_in) * normal
            p, d = q @ station.turn.T + station.vertex, e @ station.turn.T
        at = lambda z: p[:, :2] + d[:, :2] * ((z - p[:, 2]) / d[:, 2])[:, None]
        return at(GAP_MM), at(GAP_MM + THROW_MM)

    return trace


def differences(trace, step):
    """Power in the plane z = 0 by central differences of rays `step` either side of the axis."""
    offsets = step * np.vstack([EYE, -EYE])
    plate, detector = trace(offsets)
    slope = (detector - plate) / THROW_MM
    across = lambda values: np.column_stack([(values[k] - values[k + 2]) / (2 * step) for k in (0, 1)])
    v = -1000 * across(slope) @ np.linalg.inv(across(plate))
    return v @ np.linalg.inv(EYE + GAP_MM / 1000 * v)


def limit(trace):
    """Extrapolated to no step: the error of central differences is even in it. Two estimates; how far they
    are apart says how good the better one is."""
    coarse, middle, fine = (differences(trace, STEP_MM / k) for k in (1, 2, 4))
    first, second = (4 * middle - coarse) / 3, (4 * fine - middle) / 3
    return second, largest(second - first)


# --- Crossed thick lenses -----------------------------------------------------------------------


def crossed_lenses():
    """Front and back power (sphere, cylinder, axis), index, centre thickness in mm."""
    return {
        "parallel": ((8, 0, 180), (-3, -2, 35), 1.5, 5.0),
        "crossed_60": ((6, 2, 20), (-4, -1, 80), 1.5, 5.0),
        "crossed_45": ((10, -4, 180), (-5, -4, 45), 1.6, 8.0),
        "crossed_30": ((7, -3, 120), (-6, -3, 150), 1.74, 3.0),
        "crossed_90": ((5, -2, 10), (-7, -2, 100), 1.5, 4.0),
        "crossed_10": ((12, -5, 75), (-3, -5, 85), 1.6, 9.0),
        "strong_plus": ((16, -4, 30), (2, -3, 100), 1.6, 9.0),
        "strong_minus": ((1, -2, 160), (-18, -4, 25), 1.74, 1.5),
        "very_thick": ((9, -3, 66), (-4, -4, 111), 1.5, 20.0),
        "cylinders": ((0, 4, 25), (0, -4, 70), 1.5, 6.0),
        "flat_front": ((0, 0, 180), (-6, -4, 127), 1.74, 2.0),
        "hollow_front": ((-4, -2, 50), (9, -3, 5), 1.67, 6.0),
    }


def crossed_row(name, front, back, index, thickness):
    f1, f2 = power_matrix(*front), power_matrix(*back)
    first, second = surface_of_power(f1, index - 1), surface_of_power(f2, 1 - index)
    placed = stations(first, second, thickness, 0.0)
    traced, apart = limit(Tracer(placed, index))
    power1, power2 = 1000 * (index - 1) * first.curvature(), 1000 * (1 - index) * second.curvature()
    row = dict(name=name, index=index, centre_thickness_mm=thickness)
    row |= columns("front", power1) | columns("back", power2) | columns("traced", (traced + traced.T) / 2)
    row |= dict(traced_skew=(traced[1, 0] - traced[0, 1]) / 2, traced_error=apart)
    formula = thick_power(power1, power2, thickness / 1000, index)
    return row, dict(placed=placed, index=index, traced=traced, formula=formula)


# --- Tilted thin lenses -------------------------------------------------------------------------


def tilted_lenses():
    """Power of the lens, power of its spherical front, index, pantoscopic tilt, face-form angle, eye."""
    return {
        "sphere_pantoscopic": ((4, 0, 180), 6.0, 1.5, 10.0, 0.0, "right"),
        "sphere_wrap": ((4, 0, 180), 6.0, 1.5, 0.0, 25.0, "right"),
        "sphere_both": ((-6, 0, 180), 3.0, 1.6, 12.0, 20.0, "right"),
        "flat_front": ((-6, 0, 180), 0.0, 1.6, 12.0, 20.0, "right"),
        "steep_front": ((-6, 0, 180), 12.0, 1.6, 12.0, 20.0, "right"),
        "cylinder_oblique": ((2, -3, 35), 6.0, 1.5, 10.0, 15.0, "right"),
        "cylinder_oblique_left": ((2, -3, 145), 6.0, 1.5, 10.0, 15.0, "left"),
        "left": ((-5, -1.5, 120), 4.0, 1.586, 8.0, 18.0, "left"),
        "right": ((-5, -1.5, 120), 4.0, 1.586, 8.0, 18.0, "right"),
        "backward": ((3, -2, 70), 7.0, 1.67, -10.0, -12.0, "right"),
        "both_30": ((5, -4, 50), 8.0, 1.5, 30.0, 30.0, "right"),
        "both_30_left": ((5, -4, 50), 8.0, 1.5, 30.0, 30.0, "left"),
        "strong_plus_30": ((14, -3, 160), 10.0, 1.6, 5.0, 30.0, "right"),
        "strong_minus_30": ((-14, -3, 20), 1.0, 1.74, 30.0, 5.0, "right"),
        "plano_cylinder": ((0, -4, 100), 5.0, 1.5, 15.0, 20.0, "left"),
        "small": ((1, -0.5, 5), 5.0, 1.5, 5.0, 3.0, "right"),
    }


def rotation_worn(pantoscopic, face_form, eye):
    """From the lens to the eye: about the horizontal first, then about the vertical. Lengths x right, y up and z towards
    the observer make a right-handed frame; the lower rim (y < 0) and the temporal one (x < 0 on the right eye) go to z < 0."""
    aside = -face_form if eye == "right" else face_form
    turn = Rotation.from_euler("xy", [pantoscopic, aside], degrees=True).as_matrix()
    along_light = np.diag([1.0, 1.0, -1.0])
    return along_light @ turn @ along_light


def thin(front, back, index, turn, trace_of):
    """Extrapolated to a lens without thickness, which changes the power in proportion to itself."""
    found = [limit(trace_of(stations(front, back, k * THIN_MM, 0.5, turn), index)) for k in (1, 2)]
    (one, apart), (two, _) = found
    return 2 * one - two, one, 3 * apart


def tilted_row(name, rx, base, index, pantoscopic, face_form, eye):
    f1 = base * EYE
    first, second = surface_of_power(f1, index - 1), surface_of_power(power_matrix(*rx) - f1, 1 - index)
    power = 1000 * (index - 1) * first.curvature() + 1000 * (1 - index) * second.curvature()
    turn = rotation_worn(pantoscopic, face_form, eye)
    traced, at_thin, apart = thin(first, second, index, turn, Tracer)
    row = dict(name=name, index=index, front_power=base, pantoscopic_deg=pantoscopic, face_form_deg=face_form, eye=eye)
    row |= columns("lens", power) | columns("traced", (traced + traced.T) / 2)
    row |= dict(traced_skew=(traced[1, 0] - traced[0, 1]) / 2, traced_error=apart)
    row |= columns("hundredth_mm", (at_thin + at_thin.T) / 2)
    return row, dict(front=first, back=second, index=index, turn=turn, traced=traced, power=power)


# --- Files and checks ---------------------------------------------------------------------------


def columns(prefix, f):
    return {f"{prefix}_xx": f[0, 0], f"{prefix}_xy": f[0, 1], f"{prefix}_yy": f[1, 1]}


def text(value):
    return value if isinstance(value, str) else f"{value if abs(value) >= 1e-12 else 0:.12g}"


def table(lenses, row_of):
    rows, found = [], {}
    for name, lens in lenses.items():
        row, found[name] = row_of(name, *lens)
        rows.append({key: text(value) for key, value in row.items()})
    return rows, found


class Checks:
    def __init__(self):
        self.failed, self.worst = False, {}

    def within(self, what, name, value, limit):
        self.worst[what] = max(self.worst.get(what, (0.0, limit)), (value, limit))
        if not value <= limit:
            self.failed = True
            print(f"FAILED {what}: {value:.3e} > {limit:.1e} ({name})")


def check_file(file, rows, checks):
    committed = {row["name"]: row for row in read_csv(HERE / file)}
    if list(committed) != [row["name"] for row in rows]:
        checks.failed = True
        print(f"FAILED: the lenses of {file} differ")
        return
    for row in rows:
        for key, value in row.items():
            old = committed[row["name"]][key]
            apart = 0.0 if old == value else abs(float(old) - float(value))
            checks.within(f"{file} against a fresh trace, any unit", row["name"], apart, 1e-8)


def check_crossed(found, checks):
    for name, lens in found.items():
        some = np.array([[0.5, 0.2], [-1.0, 0.7], [0.0, -2.0], [1.5, 1.5]])
        ours, theirs = own(lens["placed"], lens["index"])(some), Tracer(lens["placed"], lens["index"])(some)
        checks.within("crossed: optiland against own vector Snell, mm", name, largest(np.array(ours) - np.array(theirs)), 1e-10)
        checks.within("crossed: traced against F1 (I - t/n F1)^-1 + F2, D", name, largest(lens["traced"] - lens["formula"]), 1e-6)


def check_tilted(found, checks):
    for name, lens in found.items():
        parts = (lens["front"], lens["back"], lens["index"], lens["turn"])
        ours, _, _ = thin(*parts, own)
        checks.within("tilted: optiland against own vector Snell, D", name, largest(ours - lens["traced"]), 1e-6)
        # Along the light, a tilted lens weakens or strengthens; untilted it has its own power.
        straight, _, _ = thin(*parts[:3], np.eye(3), own)
        checks.within("thin lens not tilted against the sum of its surfaces, D", name, largest(straight - lens["power"]), 1e-6)


def main():
    parser = argparse.ArgumentParser(description="Make or check the ray-traced powers.")
    parser.add_argument("--check", action="store_true", help="compare with the committed files instead of writing")
    check_only = parser.parse_args().check
    checks = Checks()
    print(f"optiland {version('optiland')}")
    crossed, crossed_found = table(crossed_lenses(), crossed_row)
    tilted, tilted_found = table(tilted_lenses(), tilted_row)
    for file, rows in (("crossed.csv", crossed), ("tilted.csv", tilted)):
        if not check_only:
            write_csv(HERE / file, rows[0].keys(), [row.values() for row in rows])
        check_file(file, rows, checks)
        for row in rows:
            checks.within(f"{file}: estimated error, D", row["name"], float(row["traced_error"]), 1e-6)
            checks.within(f"{file}: skew, D", row["name"], abs(float(row["traced_skew"])), 1e-6)
    check_crossed(crossed_found, checks)
    check_tilted(tilted_found, checks)
    print("worst of each check (limit)")
    for what, (value, limit_) in checks.worst.items():
        print(f"  {what:75s} {value:9.2e} ({limit_:.0e})")
    for name, lens in tilted_found.items():
        print(f"{name:24s}" + "".join(f"{v:9.4f}" for v in (*minus_form(lens["power"]), *minus_form(lens["traced"]))))
    print("FAILED" if checks.failed else "ok")
    return 1 if checks.failed else 0


if __name__ == "__main__":
    sys.exit(main())
