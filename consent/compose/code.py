"""The drops as a QR code, for a telephone that gets no file: their text, which any camera shows whole."""

from __future__ import annotations

from functools import lru_cache

from consent.compose.message import drops_message
from consent.compose.phone import phone_limits
from consent.compose.voice import Voice
from consent.review.assessment import Assessment


def drops_code(assessment: Assessment, voice: Voice) -> str | None:
    """Return the text of the message as a QR code, an SVG of one path with class "code".

    ``None`` if it would be too fine to scan from paper. Print it 56 mm wide or more, margin of 4 modules included: the
    finest code, version 30, then has modules of 0.39 mm.
    """
    return code_svg(drops_message(assessment, voice).text)


@lru_cache(maxsize=256)
def code_svg(text: str) -> str | None:
    """Return ``text`` as a QR code, or ``None`` where it needs more modules than paper and camera keep apart."""
    import segno

    limits = phone_limits()
    try:
        code = segno.make_qr(text, error="l", encoding="utf-8")
    except segno.DataOverflowError:
        return None
    if int(code.version) > limits.largest_version.value:
        return None
    return code.svg_inline(border=limits.quiet_modules.value, svgclass="code", lineclass=None, omitsize=True)
