"""Logarithm, exponential and arc tangent from additions, products and square roots.

Two math libraries may differ in the last digit of these functions.  Both interpreters must give the same events to the
last digit, so they compute them here.  Accuracy: a relative error of about 1e-12 in double precision.
Runs under both interpreters.
"""

from math import sqrt

LN_2 = 0.6931471805599453
HALF_PI = 1.5707963267948966
LARGEST = 80.0  # exp() of more does not fit into single precision
# Numbers under the powers of a series, the highest first.
ODD = (1.0 / 15, 1.0 / 13, 1.0 / 11, 1.0 / 9, 1.0 / 7, 1.0 / 5, 1.0 / 3, 1.0)
HALVINGS = 3  # of the argument of exp(), before its series
ATAN_HALVINGS = 2  # of the angle of atan(), before its series


def ln(x):
    """Return the natural logarithm of x > 0.0."""
    twos = 0
    while x > 1.5:
        x *= 0.5
        twos += 1
    while x < 0.75:
        x *= 2.0
        twos -= 1
    t = (x - 1.0) / (x + 1.0)  # ln x = 2 (t + t^3 / 3 + t^5 / 5 + ...), and |t| is at most 0.2
    square = t * t
    total = 0.0
    for each in ODD:
        total = total * square + each
    return 2.0 * t * total + twos * LN_2


def exp(x):
    """Return e to the power x; 0.0 below -80, and the value at 80 above it."""
    if x < -LARGEST:
        return 0.0
    if x > LARGEST:
        x = LARGEST
    twos = int(x / LN_2)
    x = (x - twos * LN_2) / (1 << HALVINGS)
    total = 1.0
    for n in (9, 8, 7, 6, 5, 4, 3, 2, 1):
        total = 1.0 + total * x / n
    for _ in range(HALVINGS):
        total *= total
    return total * (1 << twos) if twos >= 0 else total / (1 << -twos)


def atan(x):
    """Return the arc tangent of x >= 0.0, in radians."""
    if x > 1.0:
        return HALF_PI - atan(1.0 / x)
    for _ in range(ATAN_HALVINGS):
        x /= 1.0 + sqrt(1.0 + x * x)
    square = x * x
    total = 0.0
    for each in ODD:
        total = each - total * square
    return (1 << ATAN_HALVINGS) * x * total
