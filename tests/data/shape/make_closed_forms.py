"""Lengths and areas of circles, ellipses and superellipses |x/a|^p + |y/b|^p = 1, to 15 digits.

    python make_closed_forms.py          writes closed_forms.csv
    python make_closed_forms.py --check  says whether the file is what it writes

Needs mpmath. An ellipse's length is 4 a E(1 - b^2/a^2) and its area pi a b; of a superellipse the area is
4 a b G(1 + 1/p)^2 / G(1 + 2/p) and the length an integral over the polar angle.
"""

import sys
from pathlib import Path

from mpmath import cos, ellipe, gamma, mp, mpf, pi, quad, sin, sqrt

mp.dps = 30
SHAPES = [("25", "25", "2"), ("32", "32", "2"), ("27", "19", "2"), ("30", "15", "2"), ("26", "20", "2.5"), ("25", "21", "3"), ("28", "17", "3"), ("24", "20", "4")]


def radius(a, b, p, t):
    return (abs(cos(t) / a) ** p + abs(sin(t) / b) ** p) ** (-1 / p)


def length(a, b, p):
    if p == 2:
        long, short = max(a, b), min(a, b)
        return 4 * long * ellipe(1 - (short / long) ** 2)

    def speed(t):
        c, s = cos(t), sin(t)
        g = (c / a) ** p + (s / b) ** p
        slope = p * ((s / b) ** (p - 1) * c / b - (c / a) ** (p - 1) * s / a)
        r = g ** (-1 / p)
        return sqrt(r**2 + (r * slope / (p * g)) ** 2)

    return 4 * quad(speed, [0, pi / 8, pi / 4, 3 * pi / 8, pi / 2])


def area(a, b, p):
    return 4 * a * b * gamma(1 + 1 / p) ** 2 / gamma(1 + 2 / p)


def text():
    lines = ["a_mm,b_mm,power,length_mm,area_mm2"]
    for shape in SHAPES:
        a, b, p = map(mpf, shape)
        lines.append(",".join([*shape, mp.nstr(length(a, b, p), 15), mp.nstr(area(a, b, p), 15)]))
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    file = Path(__file__).with_name("closed_forms.csv")
    if "--check" in sys.argv:
        sys.exit(file.read_text() != text())
    file.write_text(text())
