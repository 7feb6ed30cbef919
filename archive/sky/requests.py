"""Reading what a request to the sky command asks for; what is wrong is said by SkyError with the argument's name."""

from typing import Any

import numpy as np

from .altaz import Place
from .bodies import BODIES, check_body
from .catalogue import load_catalogue
from .errors import SkyError
from .times import format_time

Request = dict[str, Any]
Answer = dict[str, Any]


def read_number(request: Request, key: str, default: float | None = None) -> float:
    value = request.get(key, default)
    if value is None:
        raise SkyError(f"{key} is missing. Give it as a number.")
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise SkyError(f"{key} is {value!r}, which is not a number.") from None
    if isinstance(value, bool) or not np.isfinite(number):
        raise SkyError(f"{key} is {value!r}, which is not a number.")
    return number


def read_whole(request: Request, key: str, default: int | None = None) -> int:
    number = read_number(request, key, default)
    if number != int(number) or abs(number) > 1e9:
        raise SkyError(f"{key} is {request[key]!r}; it must be a whole number of ordinary size.")
    return int(number)


def read_text(request: Request, key: str) -> str:
    value = request.get(key)
    if not isinstance(value, str) or not value:
        raise SkyError(f"{key} is missing. Give it as text.")
    return value


def read_place(request: Request) -> Place:
    return Place(read_number(request, "lat"), read_number(request, "lon"))


def read_target(request: Request) -> tuple[int | None, str]:
    """A star's number or a body's name; exactly one must be given."""
    hip, body = request.get("hip"), request.get("body")
    if (hip is None) == (body is None):
        raise SkyError(f"Give either hip (a Hipparcos number) or body ({', '.join(BODIES)}).")
    if hip is not None:
        number = read_whole(request, "hip")
        load_catalogue().indices([number])
        return number, ""
    check_body(body)
    return None, str(body)


def rounded(value: float | None, digits: int = 6) -> float | None:
    return None if value is None else round(float(value), digits) + 0.0


def when(jd: float | None) -> str | None:
    return None if jd is None else format_time(jd)
