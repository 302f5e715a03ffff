"""Quantities as a builder writes them: `2.6 in`, `28 1/2"`, `340 spine`, `23 series`.

Units, their factors and their spellings; reading a quantity into the unit of a fact; the rounding
to nine significant digits that every number of the advisor gets; writing quantities out.

Factors are exact by definition: the inch is 25.4 mm and the pound 0.45359237 kg (international
yard and pound, 1959), the grain is 1/7000 lb, standard gravity is 9.80665 m/s2 (3rd CGPM, 1901).
The size of a "series" shaft in 64ths of an inch is a convention of the trade, from memory.

Readers of values call this for every number, so it imports nothing but what a fault needs.
"""

from __future__ import annotations

TYPE_CHECKING = False  # the literal name is enough for a type checker, and saves importing typing
if TYPE_CHECKING:
    from re import Pattern
    from typing import Any

_IN = 0.0254
_LB = 0.45359237
_GR = 64.79891e-6
_G0 = 9.80665
_LBF = 4.4482216152605  # _LB * _G0

UNITS: dict[str, tuple[str, float]] = {
    "mm": ("length", 0.001),
    "cm": ("length", 0.01),
    "m": ("length", 1.0),
    "in": ("length", _IN),
    "ft": ("length", 0.3048),
    "gr": ("mass", _GR),
    "g": ("mass", 0.001),
    "kg": ("mass", 1.0),
    "oz": ("mass", _LB / 16),
    "lb": ("mass", _LB),
    "gr/in": ("mass per length", _GR / _IN),
    "g/m": ("mass per length", 0.001),
    "fps": ("speed", 0.3048),
    "m/s": ("speed", 1.0),
    "mph": ("speed", 0.44704),
    "km/h": ("speed", 1 / 3.6),
    "lbf": ("force", _LBF),
    "N": ("force", 1.0),
    "deg": ("angle", 0.017453292519943295),
    "%": ("ratio", 0.01),
    "1": ("ratio", 1.0),
    "spine": ("spine", _IN),
    "ft-lbf": ("energy", 0.3048 * _LBF),
    "J": ("energy", 1.0),
    "slug-ft/s": ("momentum", _LBF),
    "kg-m/s": ("momentum", 1.0),
    "gr/lb": ("mass per draw weight", _GR / _LBF),
    "N-m2": ("bending stiffness", 1.0),
    "mm2": ("area", 1e-6),
    "s": ("time", 1.0),
    "ml": ("volume", 1e-6),
    "degC": ("temperature", 1.0),
    "rpm": ("rotation rate", 0.10471975511965977),
    "yd": ("length", 0.9144),
    "kg/m3": ("density", 1.0),
    "mm2/s": ("kinematic viscosity", 1e-6),
}
"""The units a fact can have: name -> (dimension, how many SI units one of it is).

SI units: m, kg, kg/m, m/s, N, rad, 1, m (of deflection), J, kg m/s, kg/N, N m2, m2, s, m3, K,
rad/s, kg/m3, m2/s. A temperature also has an offset, see `to_si`. A slug-foot per second is a
pound-force second.
"""

_WRITTEN_ONLY: dict[str, tuple[str, float]] = {
    "kgf": ("force", _G0),
    "min": ("time", 60.0),
    "h": ("time", 3600.0),
    "degF": ("temperature", 5 / 9),
}
_KNOWN = UNITS | _WRITTEN_ONLY
_OFFSETS = {"degC": 273.15, "degF": 459.67 * 5 / 9}

# Spellings beside the names themselves, in small letters; spaces round `/` and `-` are gone, and a
# space inside is a hyphen.
_SPELLINGS = {
    spelling: unit
    for unit, spellings in (
        ("mm", "millimetre millimetres millimeter millimeters"),
        ("cm", "centimetre centimetres centimeter centimeters"),
        ("m", "metre metres meter meters"),
        ("in", "inch inches \" ''"),
        ("ft", "foot feet '"),
        ("yd", "yds yard yards"),
        ("gr", "grain grains grs"),
        ("g", "gram grams gramme grammes"),
        ("kg", "kgs kilogram kilograms kilo kilos"),
        ("oz", "ounce ounces"),
        ("lb", "lbs pound pounds #"),
        ("gr/in", "gpi gr/inch grain/inch grains/inch grains/in"),
        ("g/m", "g/metre g/meter gram/metre grams/metre grams/meter"),
        ("fps", "ft/s ft/sec feet/second foot/second"),
        ("m/s", "mps m/sec metres/second meters/second"),
        ("mph", "mi/h miles/hour mile/hour"),
        ("km/h", "kph kmh km/hour kilometres/hour kilometers/hour"),
        ("lbf", "pound-force pounds-force"),
        ("kgf", "kp kilogram-force kilograms-force"),
        ("N", "n newton newtons"),
        ("deg", "degree degrees ° º"),
        ("%", "percent per-cent pct"),
        ("spine", "spines"),
        ("ft-lbf", "ft-lb ft-lbs ftlb ftlbs foot-pound foot-pounds foot-lb foot-lbs ft-pounds"),
        ("J", "j joule joules"),
        ("slug-ft/s", "slug-fps slug-ft/sec slug-feet/second slugft/s lbf-s"),
        ("kg-m/s", "kgm/s n-s"),
        ("gr/lb", "gpp gr/lbs gr/pound grain/pound grains/pound grains/lb gr/lbf"),
        ("N-m2", "n-m2 nm2 n-m^2 nm^2"),
        ("mm2", "mm^2 sq-mm square-mm square-millimetres square-millimeters"),
        ("s", "sec secs second seconds"),
        ("min", "mins minute minutes"),
        ("h", "hr hrs hour hours"),
        ("ml", "millilitre millilitres milliliter milliliters cc cm3"),
        ("degC", "degc c °c deg-c degree-c degrees-c celsius degrees-celsius"),
        ("rpm", "r/min rev/min turns/min turns/minute"),
        ("degF", "degf f °f deg-f degree-f degrees-f fahrenheit degrees-fahrenheit"),
    )
    for spelling in spellings.split()
}
# A draw weight is written in pounds and meant as a force.
_AS_FORCE = {"lb": "lbf", "kg": "kgf"}
_DISPLAYED = {"lbf": "lb", "kgf": "kg", "1": "", "": "", "ratio": ""}
# What else a builder may have measured in: told where a unit is missing, tried where a value is
# out of range.
_SLIPS = {
    "length": ("in", "mm", "cm"),
    "mass": ("gr", "g", "oz"),
    "mass per length": ("gr/in", "g/m"),
    "speed": ("fps", "m/s", "mph", "km/h"),
    "force": ("lbf", "kgf"),
    "ratio": ("%", "1"),
    "energy": ("ft-lbf", "J"),
    "momentum": ("slug-ft/s", "kg-m/s"),
    "time": ("s", "min", "h"),
    "temperature": ("degC", "degF"),
}
_WORDS = (  # noqa: SIM905 - easier read than a list
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen"
    " sixteen seventeen eighteen nineteen twenty"
).split()
_LETTERS = {
    **dict.fromkeys(map(ord, "\u00a0\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008"), " "),
    **dict.fromkeys(map(ord, "\u2009\u200a\u202f\u205f\u3000\t"), " "),
    **dict.fromkeys(map(ord, "\u2212\u2010\u2011"), "-"),
    **dict.fromkeys(map(ord, "\u2033\u201c\u201d"), '"'),
    **dict.fromkeys(map(ord, "\u2032\u2018\u2019"), "'"),
    ord("\u2044"): "/",
    ord("\u00b7"): "-",
    ord("\u00b2"): "2",
    **{
        ord(letter): f" {fraction}"
        for letter, fraction in zip(
            "\u00bd\u00bc\u00be\u215b\u215c\u215d\u215e",
            ("1/2", "1/4", "3/4", "1/8", "3/8", "5/8", "7/8"),
            strict=True,
        )
    },
}
_OR_NONE = "write a number, or leave the line out if it is not known"
_LONGEST = 60
_THOUSANDTHS = 100
_PATTERNS: list[Pattern[str]] = []


class QuantityError(Exception):
    """A value that is no quantity of the kind due: what is wrong, and the remedy."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what, remedy)
        self.what = what
        self.help = remedy

    def __str__(self) -> str:
        return f"{self.what}: {self.help}" if self.help else self.what


def spellings(unit: str) -> list[str]:
    """Return every way in which a unit that fits a fact in `unit` is spelled, sorted."""
    dimension_of = _KNOWN[unit][0]
    names = [name for name, (kind, _) in _KNOWN.items() if kind == dimension_of]
    found = {*names, *(spelled for spelled, name in _SPELLINGS.items() if name in names)}
    if dimension_of == "force":
        found |= set(_AS_FORCE)
        found |= {spelled for spelled, name in _SPELLINGS.items() if name in _AS_FORCE}
    if dimension_of == "length":
        found.add("series")
    return sorted(found)


def round9(x: float) -> float:
    """Round to nine significant digits, as every number of the advisor is; zero has no sign."""
    return float(f"{x:.9g}") + 0.0


def dimension(unit: str) -> str:
    """Return the dimension of a unit: "length", "mass", ...; a plain number is a "ratio"."""
    return _KNOWN[_unit(unit)][0]


def to_si(x: float, unit: str) -> float:
    """Convert from `unit` to SI (kelvin for a temperature). Not rounded."""
    unit = _unit(unit)
    return x * _KNOWN[unit][1] + _OFFSETS.get(unit, 0.0)


def from_si(x: float, unit: str) -> float:
    """Convert from SI to `unit`. Not rounded."""
    unit = _unit(unit)
    return (x - _OFFSETS.get(unit, 0.0)) / _KNOWN[unit][1]


def convert(x: float, unit: str, into: str) -> float:
    """Convert between two units of one dimension, rounded to nine digits."""
    return round9(x if unit == into else from_si(to_si(x, unit), into))


_PLAIN_DIGITS = 12
"""Digits of a number short enough to be finite without looking."""


def parse_quantity(value: Any, unit: str, *, bare: bool, name: str) -> float:
    """Read what was written for the fact `name`, in `unit`, rounded to nine digits.

    A number without a unit is taken in `unit` if `bare`, and always if `unit` is "1". In a force,
    pounds and kilograms are those of force. A spine of 100 or more is in thousandths of an inch; it
    may also be given as the length it is. `23 series` is a length, 23/64 in. `unit` must be one of
    UNITS; none ("") is "1".

    Raises:
        QuantityError: for anything else.

    """
    unit = _unit(unit)
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        kinds = {bool: "a yes or no", list: "a list", tuple: "a list", dict: "a mapping"}
        kind = kinds.get(type(value))
        what = f"{kind} is no quantity" if kind else f"nothing is written for {name}"
        raise QuantityError(what, f"write {name} as {_example(unit)}")
    written: str | None = None
    if isinstance(value, str):
        plain = _in_its_own_unit(value, unit)
        if plain is not None:
            return plain
        number, written = _split(value, unit, name)
    else:
        try:
            number = _finite(float(value), "", name)
        except OverflowError:
            raise _too_large("a number of this length", name) from None
    if written is None:
        if not bare and unit != "1":
            raise _no_unit(value, unit)
        written = unit
    return _in_unit(number, written, unit, value, name)


def _in_its_own_unit(text: str, unit: str) -> float | None:
    """Read `2.6 in` where inches are due, as rule bases mostly have it, without taking it apart."""
    digits, _, written = text.partition(" ")
    if written != unit or unit in ("spine", "1") or len(digits) > _PLAIN_DIGITS:
        return None
    if not digits.isascii() or not digits.replace(".", "", 1).isdecimal() or digits[0] == ".":
        return None
    return round9(float(digits))


def check_range(
    value: float, lo: float | None, hi: float | None, unit: str, name: str, written: str
) -> None:
    """Check `value` in `unit` against its bounds, which are part of the range; None is no bound.

    Raises:
        QuantityError: with `written`, the user's own words, and a guess at the slip.

    """
    if (lo is None or value >= lo) and (hi is None or value <= hi):
        return
    unit = _unit(unit)
    what = f"{_shown(written)} is outside {name} ({_range(lo, hi, unit)})"
    raise QuantityError(what, _slip(lo, hi, unit, written) or f"write {_range_due(lo, hi, unit)}")


def format_number(x: float) -> str:
    """Write a number at nine digits, as short as it can be read back: `2.6`, `442`, `1e-05`."""
    text = repr(round9(x))
    return text.removesuffix(".0")


def format_quantity(x: float, unit: str, digits: int = 3) -> str:
    """Write a quantity to be read: `2.6 in`, `442 gr`, `70 lb`, `13 %`.

    Rounds to `digits` significant digits, but never rounds whole units away: 1543 gr stays.
    """
    unit = _unit(unit)
    whole = abs(x) >= 10.0**digits
    rounded = float(round(x)) if whole and abs(x) < float("inf") else float(f"{x:.{digits}g}")
    shown = _DISPLAYED.get(unit, unit)
    return f"{format_number(rounded)} {shown}".rstrip()


def _unit(unit: str) -> str:
    """Return the unit of a fact; a count or a ratio may be declared with none."""
    return "1" if unit in ("", "ratio") else unit


def _plain(value: float) -> str:
    """Write a bare number as in a file, at full length."""
    return repr(value).removesuffix(".0")


def _tidy(text: str) -> str:
    """Write the signs of typesetters, thin spaces and the like as plain ones."""
    if not text.isascii() or "\t" in text:
        text = text.translate(_LETTERS)
    return text.strip()


def _shown(written: Any) -> str:
    """Put what was written in backticks."""
    from advisor.errors import quoted

    return quoted(_tidy(str(written)))


def _a(kind: str) -> str:
    if kind == "ratio":
        return "a plain number"
    return f"an {kind}" if kind[0] in "ae" else f"a {kind}"


def _names(kind: str) -> str:
    """List the units of a dimension as they are written."""
    names = [_DISPLAYED.get(unit, unit) for unit, (its, _) in _KNOWN.items() if its == kind]
    names = [name for name in names if name]
    return " or ".join((", ".join(names[:-1]), names[-1]) if names[1:] else names)


def _example(unit: str) -> str:
    """Say how a quantity is written, by an example."""
    if unit == "spine":
        return "0.34 spine or 340 spine"
    shown = _DISPLAYED.get(unit, unit)
    return f"digits and a unit, such as 2 {shown}" if shown else "digits, without a unit"


def _no_unit(value: Any, unit: str) -> QuantityError:
    from advisor.errors import quoted

    kind = _KNOWN[unit][0]
    digits = _tidy(value) if isinstance(value, str) else _plain(value)
    others = [_DISPLAYED.get(other, other) for other in _SLIPS.get(kind, ()) if other != unit]
    others = [other for other in others if other]
    also = f" (or {others[0]})" if others else ""
    shown = _DISPLAYED.get(unit, unit)
    return QuantityError(f"{quoted(digits)} has no unit", f"write the unit: {digits} {shown}{also}")


def _finite(number: float, shown: str, name: str) -> float:
    """Pass a number on; `shown` is the text it was read from, if any."""
    if number - number == 0:
        return number
    if shown:
        raise _too_large(_shown(shown), name)
    raise _not_finite("NaN" if number != number else "infinity", name)  # noqa: PLR0124


def _too_large(shown: str, name: str) -> QuantityError:
    return QuantityError(f"{shown} is too large for {name}", _OR_NONE)


def _not_finite(shown: str, name: str) -> QuantityError:
    return QuantityError(f"{shown} is no value for {name}", _OR_NONE)


def _pattern() -> Pattern[str]:
    """Return the pattern of a number: mixed, fraction or decimal; then what is left, the unit."""
    if not _PATTERNS:
        from re import ASCII
        from re import compile as compile_pattern

        _PATTERNS.append(
            compile_pattern(
                r"([-+]?)(?:(?:(\d+)(?: *- *| +))?(\d+) ?/ ?(\d+)"
                r"|(\d+\.?\d*(?:[eE][-+]?\d+)?|\.\d+(?:[eE][-+]?\d+)?))(?![\d/]) *(.*)",
                ASCII,
            )
        )
    return _PATTERNS[0]


def _split(text: str, unit: str, name: str) -> tuple[float, str | None]:
    """Read the number and the unit in a text; None if it has no unit."""
    tidy = _tidy(text)
    if tidy.lower().startswith("series "):
        tidy = f"{tidy[7:]} series"
    match = _pattern().fullmatch(tidy) if len(tidy) <= _LONGEST else None
    if match is None or match[6].startswith(("-", ",", ".", "+", "/")):
        raise _no_quantity(tidy, unit, name)
    sign, whole, over, under, decimal, rest = match.groups()
    if sign == "+":
        raise QuantityError(
            f"{_shown(tidy)} has a plus sign", f"leave it out: {tidy.removeprefix('+')}"
        )
    if decimal:
        number = _finite(float(decimal), decimal, name)
    elif int(under) == 0 or (whole and int(over) >= int(under)):
        raise _no_quantity(tidy, unit, name)
    else:
        number = int(whole or 0) + int(over) / int(under)
    number = -number if sign else number
    if not rest:
        return number, None
    return number, _spelled(rest, number, tidy, unit)


def _spelled(rest: str, number: float, tidy: str, unit: str) -> str:
    """Return the name of the unit that `rest` spells; "series" counts as one."""
    if rest in _KNOWN and rest != "1":
        return rest
    if rest.lower() == "series":
        return "series"
    spelling = rest.removesuffix(".").replace("*", "-").replace(" per ", "/")
    spelling = " ".join(spelling.split()).replace(" /", "/").replace("/ ", "/")
    spelling = spelling.replace(" -", "-").replace("- ", "-").replace(" ", "-")
    for known in (spelling, spelling.lower()):
        if known in _KNOWN and known != "1":
            return known
        if known in _SPELLINGS:
            return _SPELLINGS[known]
    from advisor.errors import did_you_mean, quoted

    kind = _KNOWN[unit][0]
    parts = rest.replace('"', " ").replace("'", " ").split()
    if any(part[0].isdigit() or part[0] in "-+." for part in parts):
        raise _span(tidy) or QuantityError(
            f"{quoted(tidy)} is more than one number and one unit", f"write {_example(unit)}"
        )
    near = did_you_mean(spelling, [*_KNOWN, *_SPELLINGS])
    near = _SPELLINGS.get(near, near) if near else None
    if near and _KNOWN[near][0] == kind:
        remedy = f"did you mean {format_number(number)} {_DISPLAYED.get(near, near)}?"
    elif unit == "1":
        remedy = f"write {_example(unit)}"
    else:
        remedy = f"write it in {_names(kind)}"
    raise QuantityError(f"{quoted(rest)} in {quoted(tidy)} is no unit known here", remedy)


def _no_quantity(tidy: str, unit: str, name: str) -> QuantityError:
    """Say what is wrong with a text that does not begin with one number."""
    from re import fullmatch

    from advisor.errors import quoted

    shown = quoted(tidy)
    if len(tidy) > _LONGEST:
        return QuantityError(f"{shown} is no quantity", f"write {_example(unit)}")
    comma = fullmatch(r"([-+]?\d+),(\d+)(\D*)", tidy)
    if comma:
        whole, part, rest = comma.groups()
        if len(part) == len("000"):
            remedy = f"did you mean {whole}{part}{rest} or {whole}.{part}{rest}?"
            return QuantityError(f"{shown} has a comma", remedy)
        return QuantityError(f"{shown} has a decimal comma", f"did you mean {whole}.{part}{rest}?")
    span = _span(tidy)
    if span:
        return span
    first, _, rest = tidy.partition(" ")
    lowered = first.lower().strip("-+.")
    if lowered in ("nan", "inf", "infinity"):
        return _not_finite("NaN" if lowered == "nan" else "infinity", name)
    if lowered in _WORDS:
        meant = rest if rest in _KNOWN else _SPELLINGS.get(rest.lower(), unit)
        digits = f"{_WORDS.index(lowered)} {_DISPLAYED.get(meant, meant)}"
        return QuantityError(f"{shown} is no quantity", f"write digits and a unit: {digits}")
    return QuantityError(
        f"{shown} is no quantity" if tidy else f"nothing is written for {name}",
        f"write {_example(unit)}",
    )


def _span(tidy: str) -> QuantityError | None:
    """Say that a text is two values with a dash between them, if it is."""
    from re import fullmatch

    from advisor.errors import quoted

    number, between = r"(\d+\.?\d*)", " *(?:-|\u2013|\\.\\.+|to) *"
    match = fullmatch(f"{number}[^\\d.]*?{between}{number}( *)(\\D*)", tidy)
    if match is None:
        return None
    low, high, gap, rest = match.groups()
    return QuantityError(
        f"{quoted(tidy)} is a span, not one value", f"write {low}{gap}{rest} or {high}{gap}{rest}"
    )


def _in_unit(number: float, written: str, unit: str, value: Any, name: str) -> float:
    """Convert into the unit of the fact, or say what kind of thing was written instead."""
    kind = _KNOWN[unit][0]
    if written == "series":
        if kind != "length":
            raise _wrong_kind(value, "shaft size", unit, name)
        number, written = number / 64, "in"
    if kind == "force":
        written = _AS_FORCE.get(written, written)
    its = _KNOWN[written][0]
    if kind == "spine" and its == "length":
        number, written = number * _KNOWN[written][1] / _IN, "spine"
    elif kind == "spine" and its == kind and number >= _THOUSANDTHS:
        number /= 1000
    elif its != kind:
        raise _wrong_kind(value, its, unit, name)
    found = convert(number, written, unit)
    if found - found != 0:
        raise _too_large(_shown(value), name)
    return found


def _wrong_kind(value: Any, its: str, unit: str, name: str) -> QuantityError:
    kind = _KNOWN[unit][0]
    remedy = f"write it in {_names(kind)}"
    if kind == "spine":
        remedy = f"write {_example(unit)}"
    elif unit == "1":
        remedy = "write it in digits, without a unit"
    return QuantityError(f"{_shown(value)} is {_a(its)}; {name} is {_a(kind)}", remedy)


def _range(lo: float | None, hi: float | None, unit: str) -> str:
    shown = f" {_DISPLAYED.get(unit, unit)}".rstrip()
    if lo is not None and hi is not None:
        return f"{format_number(lo)} to {format_number(hi)}{shown}"
    if lo is not None:
        return f"at least {format_number(lo)}{shown}"
    return f"at most {format_number(hi if hi is not None else 0.0)}{shown}"


def _range_due(lo: float | None, hi: float | None, unit: str) -> str:
    both = lo is not None and hi is not None
    return f"a value from {_range(lo, hi, unit)}" if both else f"a value of {_range(lo, hi, unit)}"


def _slip(lo: float | None, hi: float | None, unit: str, written: str) -> str:
    """Guess the unit, or the place of the decimal point, that would bring a value into range."""
    try:
        number, its = _split(written, unit, "")
    except QuantityError:
        return ""
    kind = _KNOWN[unit][0]
    its = its or unit
    if kind == "force":
        its = _AS_FORCE.get(its, its)
    if its not in _KNOWN or kind not in (_KNOWN[its][0], "spine"):
        return ""

    def fits(x: float) -> bool:
        return (lo is None or x >= lo) and (hi is None or x <= hi)

    digits = format_number(number)
    for other in _SLIPS.get(kind, ()):
        if other != its and fits(convert(number, other, unit)):
            told = f"{digits} {_DISPLAYED.get(other, other)}".rstrip()
            if other == unit:
                return f"{told} would fit: write the unit you measured in"
            inside = format_quantity(convert(number, other, unit), unit)
            if kind == "ratio":
                return f"did you mean {inside}?"
            return f"{told} is {inside}: write the unit you measured in"
    if (
        kind not in ("temperature", "ratio", "angle")
        and number > 0
        and lo is not None
        and hi is not None
    ):
        for power in (10, 100, 1000):
            if fits(convert(number / power, its, unit)):
                shown = _DISPLAYED.get(its, its)
                return f"did you mean {format_number(number / power)} {shown}".rstrip() + "?"
    return ""
