"""The hidden text of the PDF, which search, copying and screen readers use (ISO 32000-1, 9.10 and 14.9).

WeasyPrint 70.0 keeps one text for each glyph of a font. In Indic scripts one glyph stands for different letters in
different words, and a vowel sign may be drawn before its consonant. Here every pair of a glyph and its text has a
character code of its own, and a word whose glyphs do not follow its letters one by one carries its letters besides.
By the word, because readers mark what they find by the span: a whole line in one span would be found as one word.
"""

from __future__ import annotations

import re
import struct
from collections import Counter
from collections.abc import Callable
from functools import cache, wraps
from itertools import compress, islice, pairwise
from typing import Any, NamedTuple

from consent.errors import PrintError, Problem
from consent.print import pinned

# What this module replaces or leans on, and the beginning of the sha256 of its source.
_KNOWN = {
    "weasyprint.draw.text:draw_first_line": "1bb8eae6d88e71b17096a034656f3be1",
    "weasyprint.pdf.fonts:build_fonts_dictionary": "fc551bef35d0d6c3d288f686fd21b5ea",
    "weasyprint.pdf.fonts:_build_vector_font_dictionary": "aa6eea312c6e3375689f3405d48c5059",
    "weasyprint.pdf.fonts:Font.get_unused_glyph_id": "81082597c7912297e4527ee64c0f6584",
    "weasyprint.pdf.stream:Stream.add_font": "e4226e111747721713ef1a513ba39542",
    "weasyprint.text.line_break:Layout.get_first_line": "bb65cbda0e27f1350376bc345c82093c",
    "pydyf:Stream.show_text": "3e008af86f62f42c382b8d75f85a9202",
}
_MOST_CODES = 0xFFFF
_STRING = re.compile(rb"<([0-9a-f]*)>")
_SHOWS_NOTHING = re.compile(rb"\[ *\] TJ\n?")
# Direction and break controls. The joiners U+200C and U+200D are spelling, and stay.
_UNSPOKEN = re.compile("[\x00-\x1f\x7f-\x9f\xad\u061c\u200b\u200e\u200f\u202a-\u202e\u2060-\u206f\ufeff]+")


class _Codes(NamedTuple):
    """The character codes of one font, written out in order, and their widths in thousandths of an em (9.7.4.3)."""

    written: dict[tuple[int, str], bytes]
    widths: dict[int, float]


def install() -> None:
    """Gives every later PDF of this process a right text layer. A second call changes nothing.

    Raises ``MachineError`` unless WeasyPrint is the one this was written for.
    """
    pinned.need(_KNOWN, "text layer")
    _replace()


@cache
def _replace() -> None:
    from weasyprint.draw import text
    from weasyprint.pdf import fonts

    text.draw_first_line = _with_text(text.draw_first_line)
    fonts._build_vector_font_dictionary = _with_codes(fonts._build_vector_font_dictionary)


def _lost(what: str) -> PrintError:
    return PrintError(Problem(what, "text layer", "search, copying and screen readers would get wrong words"))


def _with_text(draw: Callable[..., Any]) -> Callable[..., Any]:
    """``draw_first_line`` that paints the same glyphs, under our codes and with text and language marked (14.9.2)."""
    import pydyf

    @wraps(draw)
    def draw_with_text(stream: Any, textbox: Any, *rest: Any) -> Any:
        start, line, emojis = len(stream.stream), textbox.pango_layout, []
        if (drawn := line.__dict__.get("drawn")) is None:
            recorder = _Recorder(stream)
            emojis = draw(recorder, textbox, *rest)
            if len(stream.stream) == start:
                return emojis
            drawn = _Drawn(recorder.steps, _runs(stream, line))
            if all(run.face for run in drawn.runs) and not emojis and rest[1] == "none":
                line.drawn = drawn
        else:
            drawn.paint(stream, rest[-1])
        marked = _recoded(b"\n".join(stream.stream[start:]), *_coded(stream, drawn.runs))
        lang = textbox.style["lang"]
        stream.stream[start:] = [_span(b"Lang", pydyf.String(lang).data), marked, b"EMC"] if lang else [marked]
        return emojis

    return draw_with_text


_alive: dict[Any, Any] = {}
"""A layout by each font of Pango that lines are painted with again: the layout holds the font."""


class _Run(NamedTuple):
    """Glyphs of one font from left to right: numbers, letters, which are loose, width and text of each number.

    ``face``: the font of Pango; None where it may not be painted again without Pango, and then ``font`` is that of the
    document.
    """

    face: Any
    font: Any
    rightward: bool
    numbers: list[int]
    letters: list[str]
    loose: list[bool]
    known: dict[int, tuple[float, str]]

    def font_in(self, stream: Any) -> Any:
        """The font in the document of ``stream``, which learns of it what it would by painting."""
        if self.face is None:
            return self.font
        font = stream.add_font(self.face)[0]
        for number, (width, text) in self.known.items():
            font.widths.setdefault(number, width)
            font.to_unicode.setdefault(number, text)
        return font


class _Drawn(NamedTuple):
    """A line as it was painted once, so that Pango need not set it again: calls on the stream, and glyphs."""

    steps: list[tuple[str, tuple[Any, ...]]]
    runs: list[_Run]

    def paint(self, stream: Any, matrix: Any) -> None:
        stream.set_text_matrix(*matrix.values)
        for name, arguments in self.steps:
            getattr(stream, name)(*arguments)


class _Recorder:
    """Stands before a stream and notes what is painted."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream
        self.steps: list[tuple[str, tuple[Any, ...]]] = []

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._stream, name)
        if name not in ("set_font_size", "show_text", "set_text_rise"):
            return found

        def noted(*arguments: Any) -> None:
            self.steps.append((name, arguments))
            found(*arguments)

        return noted


def _recoded(operators: bytes, numbers: list[int], codes: list[bytes]) -> bytes:
    """The operators with ``codes`` instead of glyph numbers in their strings (9.4.3, TJ)."""
    strings = _STRING.findall(operators)
    if b"".join(strings) != struct.pack(f">{len(numbers)}H", *numbers).hex().encode():
        raise _lost("other glyphs were painted than the line has")
    remaining = iter(codes)
    recoded = tuple(b"".join(islice(remaining, len(string) // 4)) for string in strings)
    return _SHOWS_NOTHING.sub(b"", (_STRING.sub(b"<%b>", operators) % recoded).replace(b"<>", b" "))


def _span(key: bytes, string: bytes) -> bytes:
    """The operator that begins a span with a property of it, a text string (7.9.2.2)."""
    return b"/Span <</%s %s>> BDC" % (key, string)


def _utf16(text: str) -> bytes:
    return text.encode("utf-16-be").hex().encode()


def _runs(stream: Any, layout: Any) -> list[_Run]:
    """The glyphs that the first line of a layout paints, from left to right."""
    from weasyprint.text.ffi import ffi

    found: list[_Run] = []
    line, _ = layout.get_first_line()
    text = layout.text.encode()
    node = line.runs[0]
    while node != ffi.NULL:
        run, node = node.data, node.next
        item, face = run.item, run.item.analysis.font
        font = stream.add_font(face)[0]
        step = -1 if item.analysis.level % 2 else 1
        numbers, starts, loose = _painted(font, run.glyphs)
        letters = _letters(starts[::step], text[item.offset : item.offset + item.length])[::step]
        known = {number: (font.widths[number], font.to_unicode.get(number, "")) for number in numbers}
        again = "glyf" in font.tables and not font.missing
        if again:
            _alive.setdefault(face, layout.layout)
        found.append(_Run(face if again else None, None if again else font, step > 0, numbers, letters, loose, known))
    return found


def _coded(stream: Any, runs: list[_Run]) -> tuple[list[int], list[bytes]]:
    """The glyph numbers of a line, and the codes to put instead."""
    all_numbers: list[int] = []
    all_codes: list[bytes] = []
    for run in runs:
        codes = _codes(run.font_in(stream), stream._fonts, run.numbers, run.letters)
        if run.rightward:  # readers turn words written from the right themselves, and would turn an ActualText too
            _mark_words(codes, run.letters, run.loose)
        all_numbers += run.numbers
        all_codes += codes
    return all_numbers, all_codes


def _painted(font: Any, glyphs: Any) -> tuple[list[int], list[int], list[bool]]:
    """Of each painted glyph its number, where its letters start, and whether it is moved or shares its letters."""
    from weasyprint.text.ffi import ffi, pango

    size = ffi.sizeof("PangoGlyphInfo") // ffi.sizeof("int")  # number, width, offset across, offset down, flags
    infos = ffi.unpack(ffi.cast("int *", glyphs.glyphs), size * glyphs.num_glyphs)
    starts = ffi.unpack(glyphs.log_clusters, glyphs.num_glyphs)
    columns = [infos[::size], starts, infos[2::size], infos[3::size]]
    if pango.PANGO_GLYPH_EMPTY in columns[0]:
        kept = [number != pango.PANGO_GLYPH_EMPTY for number in columns[0]]
        columns = [list(compress(column, kept)) for column in columns]
    numbers, starts, across, down = columns
    if max(numbers, default=0) >= (missing := pango.PANGO_GLYPH_UNKNOWN_FLAG):
        numbers = [font.get_unused_glyph_id(number - missing) if number >= missing else number for number in numbers]
    sharing = Counter(starts)
    loose = [x != 0 or y != 0 or sharing[start] > 1 for start, x, y in zip(starts, across, down, strict=True)]
    return numbers, starts, loose


def _letters(starts: list[int], text: bytes) -> list[str]:
    """The letters of each glyph. Of glyphs that share letters each has one, and the last one the rest."""
    counts = Counter(starts)
    edges = [0, *list(counts)[1:], len(text)]
    letters: list[str] = []
    for count, (begin, end) in zip(counts.values(), pairwise(edges), strict=False):
        shared = text[begin:end].decode()
        letters += [shared[index : index + 1] for index in range(count - 1)]
        letters.append(shared[count - 1 :])
    return [_UNSPOKEN.sub("", share) for share in letters] if _UNSPOKEN.search(text.decode()) else letters


def _mark_words(codes: list[bytes], letters: list[str], loose: list[bool]) -> None:
    """Puts an ActualText (14.9.4) around each word with a loose glyph. It may stand between BT and ET (14.6.1)."""
    gaps = [-1, *(place for place, letter in enumerate(letters) if letter.isspace()), len(letters)]
    for before, after in pairwise(gaps):
        if any(loose[before + 1 : after]):
            word = _span(b"ActualText", b"<FEFF%s>" % _utf16("".join(letters[before + 1 : after])))
            codes[before + 1] = b">] TJ\n%s\n[<%s" % (word, codes[before + 1])
            codes[after - 1] += b">] TJ\nEMC\n[<"


def _codes(font: Any, fonts: dict[Any, Any], numbers: list[int], letters: list[str]) -> list[bytes]:
    """Our codes of glyphs with their letters. Only TrueType outlines may have codes that are no numbers (9.7.4.2)."""
    if font.bitmap:
        raise _lost(f"{font.family} has pictures for letters")
    if "glyf" not in font.tables:
        return [b"%04x" % number for number in numbers]
    if not hasattr(font, "text_codes"):  # fonts that are written under one name share their codes
        twins = (twin.text_codes for twin in fonts.values() if twin.hash == font.hash and hasattr(twin, "text_codes"))
        font.text_codes = next(twins, None) or _Codes({}, {})
    written = font.text_codes.written
    return [written.get(pair) or _new_code(font, pair) for pair in zip(numbers, letters, strict=True)]


def _new_code(font: Any, pair: tuple[int, str]) -> bytes:
    codes: _Codes = font.text_codes
    code = len(codes.written) + 1
    if code > _MOST_CODES:
        raise _lost(f"{font.family} has too many pairs of glyph and letters")
    codes.widths[code] = font.widths[pair[0]]
    return codes.written.setdefault(pair, b"%04x" % code)


def _with_codes(build: Callable[..., None]) -> Callable[..., None]:
    """``_build_vector_font_dictionary`` that tells what our codes mean: their widths, glyphs and texts."""
    import pydyf

    @wraps(build)
    def build_with_codes(dictionary: Any, pdf: Any, font: Any, widths: Any, compress: bool, *rest: Any) -> None:
        codes: _Codes = getattr(font, "text_codes", _Codes({}, {}))
        if not codes.written:
            build(dictionary, pdf, font, widths, compress, *rest)
            return
        if widths is not font.widths:
            raise _lost("a font is embedded whole, for a form or by option, and its codes are those of the font")
        own = font.widths, font.missing
        font.widths, font.missing = codes.widths, {}  # with no missing letters the encoding is Identity-H (9.7.5.2)
        build(dictionary, pdf, font, codes.widths, compress, *rest)
        font.widths, font.missing = own
        glyph_map = pydyf.Stream([_glyph_map(codes, font.glyph_count)], compress=compress)
        pdf.add_object(glyph_map)
        _at(pdf, dictionary["DescendantFonts"][0])["CIDToGIDMap"] = glyph_map.reference
        lines = _at(pdf, dictionary["ToUnicode"]).stream
        lines[lines.index(b"endcodespacerange") + 1 : lines.index(b"endcmap")] = _texts(codes)

    return build_with_codes


def _at(pdf: Any, reference: bytes) -> Any:
    """The object a reference points to (7.3.10)."""
    return pdf.objects[int(reference.split()[0])]


def _glyph_map(codes: _Codes, count: int) -> bytes:
    """CIDToGIDMap: the glyph of each code from 0 in two bytes; glyph 0 for a missing letter (9.7.4.2, table 117)."""
    return b"".join((glyph if glyph < count else 0).to_bytes(2) for glyph, _ in [(0, ""), *codes.written])


def _texts(codes: _Codes) -> list[bytes]:
    """The lines of a ToUnicode CMap, at most a hundred in a block (9.10.3)."""
    lines = [b"<%s> <%s>" % (code, _utf16(text)) for (_, text), code in codes.written.items()]
    blocks = [lines[start : start + 100] for start in range(0, len(lines), 100)]
    return [line for block in blocks for line in (b"%d beginbfchar" % len(block), *block, b"endbfchar")]
