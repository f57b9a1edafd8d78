"""Formulas of the reference resolver: a tokenizer, a recursive-descent parser and an evaluator.

A parsed formula is a tuple: its head names the operation, the rest are its operands. From loose to tight:
or, and, not, comparison (not chained), + -, * /, unary minus, ^ (to the right), postfix `in UNIT`."""
import math
import re

from quantities import DIFFERENCE, PLAIN, POINT, Problem, Quantity, number_in, power, quantity, times

_word = r"[a-z][a-z0-9_]*(?:\.[a-z][a-z0-9_]*)*"
_tokens = re.compile(rf"""\s*(?:
    (?P<number>\d+\.?\d*(?:[eE][+-]?\d+)?)(?:\ *(?P<unit>[A-Za-z%°][^\s(),]*))?
  | '(?P<string>[^']*)'
  | (?P<word>{_word})
  | (?P<sign><=|>=|==|!=|[-+*/^<>(),])
)""", re.X)
_not_units = {"and", "or", "not", "in"}     # a word that may follow a number and is not its unit
_compare = {"<", "<=", ">", ">=", "==", "!="}


def tokens(text):
    """The tokens of `text`, as (kind, value) pairs: literal, string, word, sign, unit (after `in`), end."""
    found, place = [], 0
    text = text.rstrip()
    while place < len(text):
        if found and found[-1] == ("word", "in"):
            match = re.compile(r"\s*([^\s(),]+)").match(text, place)
            if not match:
                raise Problem("syntax", text)
            found.append(("unit", match[1]))
            place = match.end()
            continue
        match = _tokens.match(text, place)
        if not match:
            raise Problem("syntax", text)
        place = match.end()
        if match["number"]:
            unit = match["unit"]
            if unit in _not_units:
                unit, place = None, match.start("unit")
            found.append(("literal", quantity(float(match["number"]), unit)))
        elif match["string"] is not None:
            found.append(("string", match["string"]))
        elif match["word"]:
            found.append(("word", match["word"]))
        else:
            found.append(("sign", match["sign"]))
    return found + [("end", "")]


class _Parser:
    def __init__(self, text):
        self.text, self.list, self.at = text, tokens(text), 0

    def peek(self, *values):
        kind, value = self.list[self.at]
        return kind in ("sign", "word") and value in values

    def take(self):
        self.at += 1
        return self.list[self.at - 1]

    def need(self, sign):
        if not self.peek(sign):
            raise Problem("syntax", f"{sign} missing in {self.text}")
        self.at += 1

    def left(self, below, *signs):
        """A chain of `signs` that groups to the left."""
        node = below()
        while self.peek(*signs):
            node = (self.take()[1], node, below())
        return node

    def formula(self):
        return self.left(lambda: self.left(self.negation, "and"), "or")

    def negation(self):
        if self.peek("not"):
            self.at += 1
            return ("not", self.negation())
        node = self.sum()
        if self.peek(*_compare):
            node = (self.take()[1], node, self.sum())
        return node

    def sum(self):
        return self.left(lambda: self.left(self.minus, "*", "/"), "+", "-")

    def minus(self):
        if self.peek("-"):
            self.at += 1
            return ("negative", self.minus())
        node = self.postfix()
        if self.peek("^"):
            self.at += 1
            node = ("^", node, self.minus())
        return node

    def postfix(self):
        node = self.atom()
        while self.peek("in"):
            self.at += 1
            node = ("in", node, self.take()[1])
        return node

    def atom(self):
        kind, value = self.take()
        if kind in ("literal", "string"):
            return ("value", value)
        if kind == "word":
            if self.peek("("):
                self.at += 1
                operands = [self.formula()]
                while self.peek(","):
                    self.at += 1
                    operands.append(self.formula())
                self.need(")")
                return ("call", value, *operands)
            if value in ("true", "false"):
                return ("value", value == "true")
            if value == "pi":
                return ("value", Quantity(math.pi))
            if value not in _not_units:
                return ("key", value)
        if (kind, value) == ("sign", "("):
            node = self.formula()
            self.need(")")
            return node
        raise Problem("syntax", f"{value!r} in {self.text}")


_parsed = {}


def parse(text):
    """The formula `text` as a tree of tuples."""
    if text not in _parsed:
        parser = _Parser(text)
        node = parser.formula()
        if parser.list[parser.at][0] != "end":
            raise Problem("syntax", f"something left over in {text}")
        _parsed[text] = node
    return _parsed[text]


def keys_of(node):
    """The keys that a formula names, `inherited` included, in the order they stand."""
    if node[0] == "key":
        return [node[1]]
    return [key for part in node[1:] if isinstance(part, tuple) and not isinstance(part, Quantity)
            for key in keys_of(part)]


def evaluate(node, read, has):
    """The value of `node`; `read(key)` gives a key's value, `has(key)` tells whether it has one."""
    head = node[0]

    def operand(place):
        return evaluate(node[place], read, has)

    if head == "value":
        return node[1]
    if head == "key":
        return read(node[1])
    if head == "in":
        return Quantity(number_in(operand(1), node[2]))
    if head == "negative":
        value = _quantity(operand(1))
        if value.dims == POINT:
            raise Problem("dimension", "minus a temperature")
        return value._replace(number=-value.number)
    if head == "not":
        return not _truth(operand(1))
    if head in ("and", "or"):
        first = _truth(operand(1))
        return first if first == (head == "or") else _truth(operand(2))
    if head == "call":
        return _call(node, read, has)
    if head in _compare:
        return _comparison(head, operand(1), operand(2))
    return _arithmetic(head, _quantity(operand(1)), _quantity(operand(2)))


def _quantity(value):
    if not isinstance(value, Quantity):
        raise Problem("dimension", f"{value!r} is no number")
    return value


def _truth(value):
    if not isinstance(value, bool):
        raise Problem("dimension", f"{value!r} is neither true nor false")
    return value


def _alike(values):
    if len({type(v) for v in values}) != 1 or len({v.dims for v in values if isinstance(v, Quantity)}) > 1:
        raise Problem("dimension", f"{values} do not go together")


def _comparison(head, a, b):
    _alike([a, b])
    if isinstance(a, Quantity):
        a, b = a.number, b.number
        equal = math.isclose(a, b, rel_tol=1e-9)
    else:
        equal = a == b
        if head not in ("==", "!="):
            raise Problem("dimension", "only numbers have an order")
    return {"==": equal, "!=": not equal, "<": a < b and not equal, ">": a > b and not equal,
            "<=": a < b or equal, ">=": a > b or equal}[head]


def _arithmetic(head, a, b):
    if head in "+-":
        if POINT in (a.dims, b.dims):
            if head == "-" and a.dims == b.dims:
                return Quantity(a.number - b.number, DIFFERENCE)
            if b.dims == DIFFERENCE or (head == "+" and a.dims == DIFFERENCE):
                return Quantity(a.number + (b.number if head == "+" else -b.number), POINT)
            raise Problem("dimension", f"{a} {head} {b}")
        _alike([a, b])
        return Quantity(a.number + b.number if head == "+" else a.number - b.number, a.dims)
    if POINT in (a.dims, b.dims):
        raise Problem("dimension", f"a temperature {head} something")
    if head == "*":
        return Quantity(a.number * b.number, times(a.dims, b.dims))
    if head == "/":
        if b.number == 0:
            raise Problem("zero", "division by zero")
        return Quantity(a.number / b.number, times(a.dims, b.dims, -1))
    if b.dims != PLAIN:
        raise Problem("dimension", "an exponent is a bare number")
    return Quantity(_finite(lambda: a.number ** b.number), power(a.dims, b.number))


def _finite(compute):
    try:
        found = compute()
    except (ArithmeticError, ValueError) as wrong:
        raise Problem("number", str(wrong)) from wrong
    if isinstance(found, complex) or not math.isfinite(found):
        raise Problem("number", "not a finite number")
    return found


def whole_steps(ratio, how):
    """`ratio` made whole by `how` (near, down, up). Noise of the last binary digits is taken off first."""
    ratio = float(f"{ratio:.13g}")
    if how == "near":
        return math.copysign(math.floor(abs(ratio) + 0.5), ratio)
    return float(math.floor(ratio) if how == "down" else math.ceil(ratio))


_counts = {"if": (3, 3), "set": (1, 1), "min": (1, 99), "max": (1, 99), "abs": (1, 1), "round": (2, 2),
           "ceil": (1, 1), "floor": (1, 1), "sqrt": (1, 1), "clamp": (3, 3)}


def _call(node, read, has):
    name, operands = node[1], node[2:]
    low, high = _counts.get(name, (1, 0))
    if not low <= len(operands) <= high:
        raise Problem("syntax", f"{name} with {len(operands)} operands")
    if name == "set":
        return has(operands[0][1])
    if name == "if":
        return evaluate(operands[1 if _truth(evaluate(operands[0], read, has)) else 2], read, has)
    values = [_quantity(evaluate(each, read, has)) for each in operands]
    first = values[0]
    if name == "round":
        if values[1].dims != (DIFFERENCE if first.dims == POINT else first.dims):
            raise Problem("dimension", "a step of another dimension")
        if values[1].number == 0:
            raise Problem("zero", "a step of zero")
        return first._replace(number=whole_steps(first.number / values[1].number, "near") * values[1].number)
    if name in ("min", "max", "clamp"):
        _alike(values)
        numbers = [v.number for v in values]
        if name == "clamp":
            if numbers[1] > numbers[2]:
                raise Problem("number", "the bounds of clamp cross")
            return first._replace(number=min(max(numbers[0], numbers[1]), numbers[2]))
        return first._replace(number=min(numbers) if name == "min" else max(numbers))
    if first.dims == POINT:
        raise Problem("dimension", f"{name} of a temperature")
    if name == "abs":
        return first._replace(number=abs(first.number))
    if name == "sqrt":
        return Quantity(_finite(lambda: math.sqrt(first.number)), power(first.dims, 0.5))
    if first.dims != PLAIN:
        raise Problem("dimension", f"{name} of what is no bare number")
    return Quantity(whole_steps(first.number, "down" if name == "floor" else "up"))
