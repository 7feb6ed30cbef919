"""The signed papers of consents: kept under their SHA-256 in a folder of their own, given to the council alone."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path

from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from ..media.files import whole_file
from ..models import Consent
from . import decisions
from .gate import Gate

MOST_BYTES = 20 << 20
# First bytes of what is taken: PDF (ISO 32000-1, 7.5.2), PNG (ISO/IEC 15948, 5.2), JPEG (ITU-T T.81, B.1.1.3).
SIGNS = {b"%PDF-": "application/pdf", b"\x89PNG\r\n\x1a\n": "image/png", b"\xff\xd8\xff": "image/jpeg"}


def _folder() -> Path:
    return Path(settings.HOME) / "papers"


def kind_of(head: bytes) -> str:
    """The media type by the first bytes, or nothing."""
    return next((kind for sign, kind in SIGNS.items() if head.startswith(sign)), "")


def keep(name: str, blocks: Iterable[bytes]) -> tuple[str, str]:
    """Keep a paper; returns its name and SHA-256. Refuses what is no PDF or picture, and what is too large."""
    data = b"".join(_limited(blocks))
    if not kind_of(data[:16]):
        raise ValidationError(_("The paper must be a PDF or a picture (JPEG or PNG). Photograph or scan it once more."))
    sha256 = hashlib.sha256(data).hexdigest()
    path = _folder() / sha256
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    if not path.is_file():
        with whole_file(path) as handle:
            handle.write(data)
    return Path(name).name[:255], sha256


def _limited(blocks: Iterable[bytes]) -> Iterable[bytes]:
    size = 0
    for block in blocks:
        size += len(block)
        if size > MOST_BYTES:
            raise ValidationError(_("The paper's file is larger than 20 MB. Make a smaller scan."))
        yield block


def of(gate: Gate, ref: str, sha256: str) -> tuple[str, str, bytes] | None:
    """Name, media type and bytes of a paper of this recording's consents, for the council."""
    decisions.require(gate.account, "is_council")
    row = Consent.ungated.filter(recording__ref=ref, paper_sha256=sha256).first()
    if row is None or not sha256:
        return None
    try:
        data = (_folder() / row.paper_sha256).read_bytes()
    except OSError:
        return None
    return row.paper_name, kind_of(data[:16]), data
