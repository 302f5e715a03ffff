"""What a number must be before anything is worked out from it. Each check raises `ValueError`."""

from math import inf, pi


def positive(name: str, value: float) -> None:
    """Refuse what is not a positive finite number.

    Raises:
        ValueError: it is zero, negative or not finite.

    """
    if not 0.0 < value < inf:
        raise ValueError(f"{name} must be a positive finite number, not {value!r}")


def not_negative(name: str, value: float) -> None:
    """Refuse what is negative or not finite.

    Raises:
        ValueError: it is negative or not finite.

    """
    if not 0.0 <= value < inf:
        raise ValueError(f"{name} must be a finite number and not negative, not {value!r}")


def finite(name: str, value: float) -> None:
    """Refuse what is not finite.

    Raises:
        ValueError: it is infinite or no number.

    """
    if not -inf < value < inf:
        raise ValueError(f"{name} must be a finite number, not {value!r}")


def acute(name: str, value: float) -> None:
    """Refuse an angle in radians that is negative, a right angle or more.

    Raises:
        ValueError: it is outside that range.

    """
    if not 0.0 <= value < pi / 2.0:
        raise ValueError(f"{name} must be from 0 to below a right angle in radians, not {value!r}")


def one_of(name: str, value: int, choices: tuple[int, ...]) -> None:
    """Refuse a count for which the theory does not hold.

    Raises:
        ValueError: it is not among the choices.

    """
    if value not in choices:
        allowed = ", ".join(map(str, choices))
        raise ValueError(f"{name} must be one of {allowed} for this theory, not {value!r}")
