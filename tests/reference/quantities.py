"""Units, numbers with dimensions, and how a number is written. Part of the reference resolver; it shares no
code with the program. The factors are definitions (the inch and the pound are exact, NIST SP 811 appendix B.8)."""
import functools
import re
from decimal import ROUND_HALF_UP, Decimal
from typing import NamedTuple


class Problem(Exception):
    """The sources are wrong: `kind` is one word (unset, cycle, dimension, limit, range, ...)."""

    def __init__(self, kind, message=""):
        super().__init__(f"{kind}: {message}")
        self.kind = kind


# Dimensions are exponents of (length, mass, time, temperature difference, angle). A temperature on a scale
# with an offset is a point: it has no such exponents, and its number is in degC.
PLAIN = (0, 0, 0, 0, 0)
DIFFERENCE = (0, 0, 0, 1, 0)
POINT = "point"


class Quantity(NamedTuple):
    """A number in the base units mm, g, s, K and degree, or in degC for a point."""
    number: float
    dims: object = PLAIN


L, M, T, K, A = ((1, 0, 0, 0, 0), (0, 1, 0, 0, 0), (0, 0, 1, 0, 0), DIFFERENCE, (0, 0, 0, 0, 1))
NAMES = {
    "um": (0.001, L), "mm": (1.0, L), "cm": (10.0, L), "m": (1000.0, L), "inch": (25.4, L), "in": (25.4, L),
    "s": (1.0, T), "ms": (0.001, T), "min": (60.0, T), "h": (3600.0, T),
    "g": (1.0, M), "mg": (0.001, M), "kg": (1000.0, M), "lb": (453.59237, M),
    "K": (1.0, K), "degree": (1.0, A),
    "N": (1e6, (1, 1, -2, 0, 0)), "J": (1e9, (2, 1, -2, 0, 0)), "W": (1e9, (2, 1, -3, 0, 0)),
    "Pa": (1.0, (-1, 1, -2, 0, 0)), "Hz": (1.0, (0, 0, -1, 0, 0)),
    "%": (0.01, PLAIN), "1": (1.0, PLAIN),
}
POINTS = {"degC": (1.0, 0.0), "degF": (5 / 9, -160 / 9)}   # degC = number * scale + shift


def power(dims, exponent):
    """The dimensions of a quantity raised to `exponent`; only whole powers may come out."""
    found = tuple(d * exponent for d in dims)
    if any(abs(d - round(d)) > 1e-9 for d in found):
        raise Problem("dimension", f"power {exponent} of {dims}")
    return tuple(round(d) for d in found)


def times(a, b, sign=1):
    return tuple(x + sign * y for x, y in zip(a, b))


_units = {}


def unit(text):
    """(factor, dimensions) of a unit such as `mm^3/s`; not of degC and degF, which are points."""
    if text not in _units:
        factor, dims = 1.0, PLAIN
        for place, part in enumerate(text.split("/")):
            for word in re.split(r"[*.]", part):
                found = re.fullmatch(r"(%|1|[A-Za-z]+?)\^?(-?\d+)?", word)
                if not found or found[1] not in NAMES:
                    raise Problem("unit", text)
                exponent = int(found[2] or 1) * (-1 if place else 1)
                one, its = NAMES[found[1]]
                factor *= one ** exponent
                dims = times(dims, power(its, exponent))
        _units[text] = factor, dims
    return _units[text]


def quantity(number, text):
    """`number` in the unit `text` (None: a bare count)."""
    if text is None:
        return Quantity(number)
    if text in POINTS:
        scale, shift = POINTS[text]
        return Quantity(number * scale + shift, POINT)
    factor, dims = unit(text)
    return Quantity(number * factor, dims)


def dims_of(text):
    return PLAIN if text is None else POINT if text in POINTS else unit(text)[1]


def number_in(value, text):
    """The bare number of `value` in the unit `text`."""
    if not isinstance(value, Quantity) or value.dims != dims_of(text):
        raise Problem("dimension", f"{value} in {text}")
    if text is None:
        return value.number
    if text in POINTS:
        scale, shift = POINTS[text]
        return (value.number - shift) / scale
    return value.number / unit(text)[0]


_number = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)(?:\s*([^\s\d].*?))?\s*")


def parse_literal(text):
    """(number, unit or None) of a literal such as `0.4 mm` or `3`."""
    found = _number.fullmatch(str(text))
    if not found:
        raise Problem("literal", text)
    return float(found[1]), found[2]


def rounded(number):
    """`number` as a decimal of at most six places, half away from zero; binary noise (beyond 15 digits) is gone first."""
    found = Decimal(f"{number:.15g}").quantize(Decimal("0.000001"), ROUND_HALF_UP)
    return found + 0 if found else Decimal(0)


def written_number(number):
    """`number` as the language writes it: no exponent, no trailing zero, no -0."""
    text = f"{rounded(number):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


@functools.cache
def glob(pattern, name):
    """Whether `name` matches `pattern`, in which only `*` is special."""
    return re.fullmatch(".*".join(map(re.escape, pattern.split("*"))), name, re.S) is not None
