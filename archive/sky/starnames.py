"""Finding a star by what people write: a Hipparcos number, a proper name, or a designation such as α UMi.

Names and designations are those of ``star_names.csv``; Greek letters may be written out, and the case
and the marks on letters do not matter.
"""

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from .catalogue import load_catalogue
from .errors import SkyError

_GREEK = {
    "alpha": "α", "beta": "β", "gamma": "γ", "delta": "δ", "epsilon": "ε", "zeta": "ζ", "eta": "η", "theta": "θ",
    "iota": "ι", "kappa": "κ", "lambda": "λ", "mu": "μ", "nu": "ν", "xi": "ξ", "omicron": "ο", "pi": "π", "rho": "ρ",
    "sigma": "σ", "tau": "τ", "upsilon": "υ", "phi": "φ", "chi": "χ", "psi": "ψ", "omega": "ω"}
_HIP = re.compile(r"(?:HIP\s*)?(\d{1,9})", re.IGNORECASE)
_RUN_OF_NUMBERS = re.compile(r"(?:(?:HIP\s*)?\d+[\s,;]*)+", re.IGNORECASE)
_BETWEEN = re.compile(r"\s*(?:[,;>→]|\s[-–—]+\s|[–—])\s*")


@dataclass(frozen=True)
class FoundStar:
    """A star of the list with its label, designation (may be empty) and magnitude."""

    hip: int
    label: str
    designation: str
    v_mag: float


def _key(text: str) -> str:
    """A name without case, marks and spaces, and with Greek letters written out as letters."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    kept = "".join(one for one in plain if not unicodedata.combining(one))
    return "".join(_GREEK.get(part, part) for part in re.findall(r"[^\W\d_]+|\d+", kept))


@lru_cache(maxsize=1)
def _by_key() -> dict[str, tuple[int, ...]]:
    found: dict[str, set[int]] = {}
    for hip, names in load_catalogue().names.items():
        for text in (names.name, names.designation, *names.others):
            if text:
                found.setdefault(_key(text), set()).add(hip)
    return {key: tuple(sorted(hips)) for key, hips in found.items()}


def facts(hip: int) -> FoundStar:
    """What is known of a star; SkyError where it is not in the list."""
    stars = load_catalogue()
    at = int(stars.indices([hip])[0])
    names = stars.names.get(hip)
    return FoundStar(hip, stars.label(hip), names.designation if names else "", float(stars.v_mag[at]))


def called(text: str) -> tuple[int, ...]:
    """The Hipparcos numbers of every listed star that goes by this name, designation or number; none is no error."""
    number = _HIP.fullmatch(text.strip())
    if number:
        hip = int(number[1])
        return (hip,) if hip in load_catalogue().hip else ()
    return _by_key().get(_key(text), ())


def find_star(text: str) -> int:
    """The Hipparcos number of the one star meant; SkyError for none, for several, and for a number not listed."""
    number = _HIP.fullmatch(text.strip())
    if number:
        return facts(int(number[1])).hip
    hips = _by_key().get(_key(text), ())
    if len(hips) == 1:
        return hips[0]
    if hips:
        choices = ", ".join(f"HIP {hip}" for hip in hips)
        raise SkyError(f"Several stars are called {text.strip()!r}. Write one of: {choices}.")
    near = ", ".join(star.label for star in like(text, 3))
    raise SkyError(f"No star is called {text.strip()[:60]!r}." + (f" Did you mean {near}?" if near else
                   " Write its Hipparcos number, its name, or a designation such as α UMi."))


def like(text: str, count: int = 12) -> list[FoundStar]:
    """Stars whose name or designation holds what is written, brightest first."""
    wanted = _key(text)
    if not wanted:
        return []
    hips = {hip for key, found in _by_key().items() if wanted in key for hip in found}
    return sorted((facts(hip) for hip in hips), key=lambda star: (star.v_mag, star.hip))[:count]


def read_run(text: str) -> list[int]:
    """The stars of one line of text, in order: numbers with spaces, or names with commas or dashes between them."""
    if _RUN_OF_NUMBERS.fullmatch(text.strip()):
        return [find_star(number) for number in re.findall(r"\d+", text)]
    return [find_star(part) for part in _BETWEEN.split(text.strip()) if part.strip()]
