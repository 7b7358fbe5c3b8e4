"""Prints the integer coefficients of src/math.rs and the error each polynomial has in exact arithmetic.

Minimax fits by the Remez exchange (Remez 1934) in 40-digit arithmetic; needs mpmath only.
  python3 make_kernels.py
tests/math.rs recomputes the error of the shipped integers against f64, so a wrong digit here or there fails.
"""
from mpmath import mp, mpf, pi, cos, sin, atan, sqrt, matrix, lu_solve, cos as mcos

mp.dps = 40


def remez(weight, basis, target, lo, hi, rounds=12):
    """Coefficients a with max |weight(x) * (sum a_i basis_i(x) - target(x))| least on [lo, hi]."""
    count = len(basis) + 1
    nodes = [lo + (hi - lo) * (1 - mcos(pi * (k + mpf(1) / 2) / count)) / 2 for k in range(count)]
    grid = [lo + (hi - lo) * mpf(k) / 4000 for k in range(1, 4001)]
    for _ in range(rounds):
        a = matrix(count, count)
        b = matrix(count, 1)
        for i, x in enumerate(nodes):
            for j, f in enumerate(basis):
                a[i, j] = f(x)
            a[i, count - 1] = (-1) ** i / weight(x)
            b[i] = target(x)
        solution = lu_solve(a, b)
        coefficients = list(solution)[:-1]
        error = [weight(x) * (sum(c * f(x) for c, f in zip(coefficients, basis)) - target(x)) for x in grid]
        extrema, best = [], 0
        for k in range(len(grid)):
            if k and error[k] * error[k - 1] < 0:
                extrema.append(grid[best])
                best = k
            if abs(error[k]) > abs(error[best]):
                best = k
        extrema.append(grid[best])
        if len(extrema) != count:
            break
        nodes = extrema
    return coefficients, max(abs(e) for e in error)


def show(name, coefficients, scales, worst):
    print(f"{name}: worst {mp.nstr(worst, 3)}")
    for index, (c, q) in enumerate(zip(coefficients, scales)):
        print(f"    [{index}] Q{q} {int(mp.nint(abs(c) * mpf(2) ** q)):>12}   {mp.nstr(c, 12)}")


# u in [0, 1] is the fraction of an octant. All four polynomials multiply by u or u^2 outermost, so they are exact at 0.
# src/math.rs uses s3 as 77046 / 2^31 and c4 as 60668 / 2^34 on u2 cut to Q15; the mean cut, 2^-16, times these comes off s2
# (38 units) and c3 (7). c1 is then moved by a few units until sine and cosine agree on the diagonal.
quarter = pi / 4
one = lambda x: mpf(1)
tiny = mpf(10) ** -9
show("sine    u (s0 - u2 (s1 - u2 (s2 - u2 s3)))", *(lambda r: (r[0], [32, 34, 36, 31], r[1]))(
    remez(one, [lambda u, k=k: u ** (2 * k + 1) for k in range(4)], lambda u: sin(quarter * u), tiny, mpf(1))))
show("cosine  1 - u2 (c1 - u2 (c2 - u2 (c3 - u2 c4)))", *(lambda r: (r[0], [33, 35, 37, 34], r[1]))(
    remez(one, [lambda u, k=k: u ** (2 * k) for k in range(1, 5)], lambda u: cos(quarter * u) - 1, tiny, mpf(1))))
# q = tangent of the rest angle after the sector's rotation, at most 1/7.
# Their outermost coefficients are used to 15 or 16 bits (32543 / 2^20, 15990 / 2^18), which changes nothing that counts.
show("arctangent in turns  q (a0 - q2 (a1 - q2 a2))", *(lambda r: (r[0], [34, 34, 20], r[1] * 2 * pi))(
    remez(one, [lambda q, k=k: q ** (2 * k + 1) for k in range(3)], lambda q: atan(q) / (2 * pi), tiny, mpf(1) / 7)))
show("root  1 + q2 (r1 - q2 (r2 - q2 r3))", *(lambda r: (r[0], [32, 32, 18], r[1]))(
    remez(one, [lambda q, k=k: q ** (2 * k) for k in range(1, 4)], lambda q: sqrt(1 + q * q) - 1, tiny, mpf(1) / 7)))
for degrees in (15, 30, 45):
    a = pi * degrees / 180
    print(f"sector {degrees}: cos Q32 {int(mp.nint(cos(a) * 2**32))}  sin Q32 {int(mp.nint(sin(a) * 2**32))}  turn {int(mp.nint(mpf(degrees) / 360 * 2**32))}")
