"""Makes the spots of the demo pair: invented lenses, invented noise, for the demo only.

    python make_demo.py            # write right.csv and left.csv
    python make_demo.py --check    # compare the files with what would be written

Nothing here was measured. A lens is its power and its prism on the sensor's axis; light is paraxial:
a lens of power F and prism p gives the slope s = s0 - V x at the plate, V = (I - gap F)^-1 F and
s0 = (I - gap F)^-1 p / 100; a spot lands at reference + throw * s, and the detector adds noise.
Axes as the observer in front of the lens sees them: x to the right, y up.
"""

import math
import pathlib
import random
import sys

GAP_MM, THROW_MM = 5.0, 20.0
PITCH_MM, RADIUS_MM = 0.5, 3.0
NOISE_MM = 1e-4
SEED = 20250101

# What the bench would find: sphere, cylinder, axis; prism with its base to the observer's right, and up.
LENSES = {
    # Ordered -2.25 -0.75 x 170, prism 1.00 base in. The lens is right but for hundredths.
    "right.csv": ((-2.29, -0.73, 171.2), (1.08, -0.04)),
    # Ordered -1.75 -1.25 x 15, prism 1.00 base in. The power is right, but the lens was cut 6 degrees off its axis.
    "left.csv": ((-1.72, -1.31, 21.1), (-0.93, 0.06)),
}


def matrix(sphere, cylinder, axis):
    double = math.radians(2 * axis)
    mean, half = sphere + cylinder / 2, -cylinder / 2
    return mean + half * math.cos(double), half * math.sin(double), mean - half * math.cos(double)


def solve(xx, xy, yy, x, y):
    det = xx * yy - xy * xy
    return (yy * x - xy * y) / det, (xx * y - xy * x) / det


def holes():
    reach = int(RADIUS_MM / PITCH_MM)
    for row in range(reach, -reach - 1, -1):
        for column in range(-reach, reach + 1):
            x, y = column * PITCH_MM, row * PITCH_MM
            if math.hypot(x, y) <= RADIUS_MM + 1e-9:
                yield x, y


def spots(power, prism, noise):
    xx, xy, yy = matrix(*power)
    gap, throw = GAP_MM / 1000, THROW_MM / 1000
    for x, y in holes():
        # At the vertex: slope = prism / 100 - F r; stepped by the gap to the hole that the light meets.
        a, b = x / 1000 - gap * prism[0] / 100, y / 1000 - gap * prism[1] / 100
        rx, ry = solve(1 - gap * xx, -gap * xy, 1 - gap * yy, a, b)
        sx = prism[0] / 100 - xx * rx - xy * ry
        sy = prism[1] / 100 - xy * rx - yy * ry
        yield x, y, x + 1000 * throw * sx + noise.gauss(0, NOISE_MM), y + 1000 * throw * sy + noise.gauss(0, NOISE_MM)


def text(power, prism, noise):
    lines = ["ref_x_mm,ref_y_mm,x_mm,y_mm"]
    lines += ["{:.1f},{:.1f},{:.5f},{:.5f}".format(*spot) for spot in spots(power, prism, noise)]
    return "\n".join(lines) + "\n"


def main():
    here = pathlib.Path(__file__).parent
    noise = random.Random(SEED)
    stale = 0
    for name, lens in LENSES.items():
        made = text(*lens, noise)
        if "--check" in sys.argv[1:]:
            stale += (here / name).read_text() != made
        else:
            (here / name).write_text(made)
    sys.exit("the demo's files are not what this script makes" if stale else 0)


if __name__ == "__main__":
    main()
