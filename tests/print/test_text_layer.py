"""The hidden text of the PDF says what the paper says, and the paper looks as it did without it."""

from __future__ import annotations

import io
import logging
import re
import subprocess
import sys
import unicodedata
from collections import Counter
from difflib import SequenceMatcher
from functools import cache
from itertools import product
from pathlib import Path

import pikepdf
import pypdf
import pytest

from consent.errors import MachineError, PrintError
from consent.print import text_layer

SAMPLES = {
    "en": "Shake the bottle well. Put 1 drop of prednisolone 1% in the right eye 6 times a day for 14 days, then 4 "
    "times a day until 28/03/2025. Wait 5 minutes between two drops; office staff find 0.05 ml difficult to measure.",
    "bn": "শিশি ঝাঁকিয়ে নিয়ে ডান চোখে দিনে ৬ বার ১ ফোঁটা ওষুধ দিন। দুটি ভিন্ন ওষুধের মধ্যে অন্তত 5 মিনিট অপেক্ষা করুন। "
    "১৪ দিন পর্যন্ত চোখ রগড়াবেন না, চোখে জল লাগাবেন না। অস্ত্রোপচারের পরে দৃষ্টি ঝাপসা হলে বা ব্যথা হলে তৎক্ষণাৎ "
    "হাসপাতালে ফোন করুন: 98300 12345। কর্নিয়া, র‍্যাশ, পৌঁছে, স্ত্রী, শ্রদ্ধা।",
    "hi": "शीशी को अच्छी तरह हिलाएँ। दाहिनी आँख में दिन में 6 बार १ बूँद दवा डालें। दो अलग दवाओं के बीच कम से कम 5 मिनट "
    "रुकें। ऑपरेशन के बाद 14 दिन तक आँख न मलें और उसमें पानी न जाने दें। दृष्टि धुँधली हो, दर्द हो या रोशनी चुभे तो तुरंत "
    "अस्पताल को 98300 12345 पर फ़ोन करें। शक्ति, विद्यार्थी, क्षत्रिय, ज्ञान, आर्द्र, ट्रॉमा।",
    "ta": "குப்பியை நன்றாகக் குலுக்கவும். வலது கண்ணில் நாளுக்கு 6 முறை 1 சொட்டு மருந்து இடவும். இரண்டு மருந்துகளுக்கு இடையே 5 "
    "நிமிடங்கள் காத்திருக்கவும். 14 நாட்களுக்குக் கண்ணைத் தேய்க்க வேண்டாம். பார்வை மங்கினாலோ வலி ஏற்பட்டாலோ உடனே "
    "மருத்துவமனைக்கு 98300 12345 என்ற எண்ணில் கூப்பிடவும். கொடுக்க, பௌர்ணமி, ஸ்ரீ, க்ஷ.",
}
URDU = "بوتل کو اچھی طرح ہلائیں۔ دائیں آنکھ میں دن میں {} بار دوا ڈالیں۔ دو دواؤں کے درمیان {} منٹ کا وقفہ رکھیں۔"
FONTS = {"en": "Noto Sans", "bn": "Noto Sans Bengali", "hi": "Noto Sans Devanagari", "ta": "Noto Sans Tamil"}
# Unicode charts: consonants and vowel signs of the blocks, which this project's languages write.
SYLLABLES = {
    "bn": ("কখগঘঙচছজঝঞটঠডঢণতথদধনপফবভমযরলশষসহ", "ািীুূৃেৈোৌঁংঃ", ("{}্র", "{}্যা", "র্{}ি", "স্{}ো", "{0}্{0}")),
    "hi": ("कखगघङचछजझञटठडढणतथदधनपफबभमयरलवशषसह", "ािीुूृेैोौॅॉँंः", ("{}्र", "{}्या", "र्{}ि", "स्{}िं", "{0}्{0}")),
    "ta": ("கஙசஞடணதநபமயரலவழளறனஜஷஸஹ", "ாிீுூெேைொோௌ்", ("{0}்{0}", "க்{}ொ")),
}
WIDTHS = (45, 90, 170)
SHEET = """<html lang="{lang}"><title>t</title><style>
@page {{ size: 200mm 400mm; margin: 10mm; @bottom-right {{ content: "{lang} " counter(page) }} }}
p {{ font: 13pt "{font}", "Noto Sans"; width: {width}mm }} </style><body>{body}"""
# One page with all that is painted in ways of its own.
MIXED = (
    "".join(
        f'<p lang={tag} style="font: {n}00 12pt {FONTS[tag]}">{text}'
        for n, (tag, text) in enumerate(SAMPLES.items(), 4)
    )
    + f'<p lang=ur dir=rtl style="font: 12pt Noto Naskh Arabic">{URDU.format(6, 5)}'
    + f'<div style="opacity: 0.5; transform: rotate(2deg)"><p lang=bn style="text-align: justify">{SAMPLES["bn"]}</div>'
    + '<p style="letter-spacing: 1pt; word-spacing: 3pt; text-decoration: underline" lang=en>fluffy office'
    + '<p style="hyphens: auto; width: 15mm">anti\u00adinflammatory'
    + '<p style="white-space: pre">a\tb &lt;&gt; (x) ] TJ [ % \\ \u2066c\u2069<p style="font-style: italic">চোখ</p>'
    + '<svg width=200 height=30><text x=5 y=20 font-family="Noto Sans Bengali">ফোঁটা ৫</text></svg>'
)
WITHOUT = "import sys, weasyprint; html = sys.stdin.read(); weasyprint.HTML(string=html).write_pdf(sys.argv[1])"


@pytest.fixture(autouse=True, scope="module")
def _installed():
    text_layer.install()


def sheet(body: str, lang: str = "en", width: int = 170) -> str:
    return SHEET.format(lang=lang, font=FONTS.get(lang, "Noto Sans"), width=width, body=body)


def printed(html: str, **options: object) -> bytes:
    from weasyprint import HTML

    pdf = HTML(string=html).write_pdf(**options)
    assert isinstance(pdf, bytes)
    return pdf


@cache
def paragraphs(lang: str, width: int) -> bytes:
    text = SAMPLES[lang]
    return printed(sheet(f"<p>{text}<p style='font-weight: bold'>{text}", lang, width), pdf_variant="pdf/ua-1")


def poppler(pdf: bytes) -> str:
    return subprocess.run(["pdftotext", "-", "-"], input=pdf, capture_output=True, check=True).stdout.decode()


def by_pypdf(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)


def plain(text: str) -> str:
    return " ".join(unicodedata.normalize("NFC", text).split())


def body_of(text: str, lang: str) -> str:
    """What was read, without the page's foot."""
    return plain(text).removesuffix(f" {lang} 1")


def likeness(text: str, source: str) -> float:
    return SequenceMatcher(None, plain(source), text, autojunk=False).ratio()


# Source of the thresholds: ours. Poppler reads ActualText; pypdf reads ToUnicode and takes a shifted mark for a gap.
@pytest.mark.parametrize(("reader", "least"), [(poppler, 0.99), (by_pypdf, 0.98)], ids=["poppler", "pypdf"])
@pytest.mark.parametrize(("lang", "width"), list(product(SAMPLES, WIDTHS)))
def test_what_is_read_is_what_was_written(lang, width, reader, least):
    source = f"{SAMPLES[lang]} {SAMPLES[lang]}"
    read = body_of(reader(paragraphs(lang, width)), lang)
    assert likeness(read, source) >= least
    assert re.findall(r"\d+", read) == re.findall(r"\d+", source)
    assert read.replace(" ", "") == plain(source).replace(" ", "")


# Source: ISO 32000-1, 9.10.2; every syllable of the script must come back from its own glyphs.
@pytest.mark.parametrize("reader", [poppler, by_pypdf])
@pytest.mark.parametrize("lang", SYLLABLES)
def test_every_syllable_is_read(lang, reader):
    consonants, signs, conjuncts = SYLLABLES[lang]
    words = [letter + sign for letter, sign in product(consonants, signs)]
    words += [conjunct.format(letter) for letter, conjunct in product(consonants, conjuncts)]
    read = reader(printed(sheet(f"<p>{' '.join(words)}", lang, 120)))
    assert body_of(read, lang).replace(" ", "") == plain("".join(words))


# Source: Poppler's pdftotext -bbox; a search marks the word, not the whole line.
def test_a_word_is_found_where_it_stands(tmp_path):
    path = tmp_path / "words.pdf"
    path.write_bytes(paragraphs("bn", 90))
    boxes = subprocess.run(["pdftotext", "-bbox", path, "-"], capture_output=True, check=True).stdout.decode()
    words = re.findall(r">([^<]+)</word>", boxes)
    assert [plain(word) for word in words[:6]] == plain(SAMPLES["bn"]).split()[:6]


# Source: Poppler and pypdf put right-to-left lines in order in ways of their own, so words and numbers are counted.
@pytest.mark.parametrize("reader", [poppler, by_pypdf])
def test_right_to_left_words_are_all_there(reader):
    text = URDU.format("<bdi dir=ltr>6</bdi>", "<bdi dir=ltr>5</bdi>")
    read = reader(printed(sheet(f"<p dir=rtl style='font-family: Noto Naskh Arabic'>{text}", "ur", 90)))
    words = re.compile(r"\d+|[^\W\d]+")
    assert Counter(words.findall(read)) - Counter(["ur", "1"]) == Counter(words.findall(URDU.format(6, 5)))


# Source: Unicode 16, chapter 23.2: joiners are part of the spelling; direction and break controls are not.
def test_joiners_stay_and_controls_go():
    pdf = printed(sheet("<p lang=bn>র\u200d্যাশ ক্\u200cষ \u2066চোখ\u2069 অ\u00adষুধ \u202aজল\u202c ক\u200bখ", "bn"))
    assert body_of(poppler(pdf), "bn") == (expected := "র\u200d্যাশ ক্\u200cষ চোখ অষুধ জল কখ")
    assert body_of(by_pypdf(pdf), "bn").replace(" ", "") == expected.replace(" ", "")


def without(html: str, path: Path) -> bytes:
    """The PDF of a process that never installed the text layer."""
    subprocess.run([sys.executable, "-c", WITHOUT, path], input=html.encode(), capture_output=True, check=True)
    return path.read_bytes()


def raster(pdf: bytes, dpi: int = 150) -> bytes:
    return subprocess.run(["pdftoppm", "-r", str(dpi), "-"], input=pdf, capture_output=True, check=True).stdout


# Source: WeasyPrint 70.0 itself, in another process.
@pytest.mark.parametrize("body", [MIXED, "<p lang=bn>নেই: \ua999 \U0001f7ff আছে"], ids=["mixed", "missing letters"])
def test_the_paper_looks_the_same(body, tmp_path):
    html = sheet(body)
    assert raster(printed(html)) == raster(without(html, tmp_path / "before.pdf"))


# Source: WeasyPrint 70.0 itself; its subset goes by glyph numbers, which stay what they were.
def test_the_fonts_hold_the_same_glyphs(tmp_path):
    def programs(pdf: bytes) -> list[bytes]:
        with pikepdf.open(io.BytesIO(pdf)) as opened:
            return sorted(
                thing.FontFile2.read_bytes() for thing in opened.objects if in_dictionary(thing, "/FontFile2")
            )

    html = sheet(MIXED)
    after = programs(printed(html))
    assert len(after) > 4
    assert after == programs(without(html, tmp_path / "before.pdf"))


def in_dictionary(thing: object, key: str) -> bool:
    return isinstance(thing, pikepdf.Dictionary) and key in thing


# Source: ISO 32000-1, table 117 (CIDToGIDMap), 9.7.4.3 (W), 9.10.3 (ToUnicode), table 118 (Identity-H).
def test_every_code_has_glyph_width_and_text():
    printed_once = printed(sheet(MIXED))
    strings = re.sub(rb"<FEFF[^>]*>", b"", b"".join(contents(printed_once)))
    shown = set(re.findall(rb"[0-9a-f]{4}(?=[0-9a-f]*>)", strings))
    with pikepdf.open(io.BytesIO(printed_once)) as pdf:
        fonts = [thing for thing in pdf.objects if in_dictionary(thing, "/DescendantFonts")]
        for font in fonts:
            inner = font.DescendantFonts[0]
            listed = font.ToUnicode.read_bytes().partition(b"endcodespacerange")[2]
            texts = re.findall(rb"^<([0-9a-f]{4})> <[0-9a-f]*>$", listed, re.M)
            assert [int(code, 16) for code in texts] == list(range(1, len(texts) + 1))
            assert len(inner.CIDToGIDMap.read_bytes()) == 2 * (len(texts) + 1)
            assert int(inner.W[0]) == 1
            assert len(inner.W[1]) == len(texts)
            assert font.Encoding == "/Identity-H"
            assert b"feff" not in listed
            shown -= set(texts)
    assert not shown


def contents(pdf: bytes) -> list[bytes]:
    """What is painted: pages, and the groups on them."""
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        forms = [thing for thing in opened.objects if isinstance(thing, pikepdf.Stream) and "/BBox" in thing]
        return [page.Contents.read_bytes() for page in opened.pages] + [form.read_bytes() for form in forms]


# Source: ISO 32000-1, 14.6.1: marked content nests, and not across the edge of a text object; 14.8 tags.
@pytest.mark.parametrize("options", [{}, {"pdf_tags": True}, {"pdf_variant": "pdf/ua-1"}, {"pdf_variant": "pdf/ua-2"}])
def test_marks_are_balanced(options):
    painted = contents(printed(sheet(MIXED), **options))
    assert len(painted) > 1
    with pikepdf.new() as holder:
        for content in painted:
            inside, began = False, []
            for instruction in pikepdf.parse_content_stream(holder.make_stream(content)):
                match str(instruction.operator):
                    case "BT" | "ET" as edge:
                        assert True not in began
                        inside = edge == "BT"
                    case "BDC" | "BMC":
                        began.append(inside)
                    case "EMC":
                        assert began.pop() == inside
                    case "TJ":
                        assert len(instruction.operands[0])
            assert not inside
            assert not began


# Source: ISO 32000-1, 14.9.2.3 and 14.9.4.
def test_language_and_words_are_marked():
    content = contents(printed(sheet("<p lang=bn>চোখে জল<p lang=hi>दिन<p lang=en>day")))[0]
    marks = re.findall(rb"/Span <</Lang \((\w+)\)>> BDC|/ActualText <FEFF([0-9a-f]+)>", content)
    said = [lang.decode() or bytes.fromhex(text.decode()).decode("utf-16-be") for lang, text in marks]
    assert said == ["bn", "চোখে", "hi", "दिन", "en", "en"]


# Source: WeasyPrint 70.0: a missing letter is logged, which the printing room turns into an error.
def test_a_missing_letter_is_still_logged(caplog):
    with caplog.at_level(logging.WARNING, "weasyprint"):
        read = poppler(printed(sheet("<p>Wait \U0001f7ff minutes")))
    assert any(".notdef" in record.getMessage() for record in caplog.records)
    assert body_of(read, "en") == "Wait \U0001f7ff minutes"


def test_one_document_can_be_written_twice():
    from weasyprint import HTML

    document = HTML(string=sheet(f"<p lang=bn>{SAMPLES['bn']}")).render()
    assert document.write_pdf() == document.write_pdf()


OPENTYPE = Path("/usr/share/fonts/opentype/urw-base35/NimbusSans-Regular.otf")


# Source: ISO 32000-1, table 117: CIDToGIDMap is for TrueType outlines; PostScript outlines keep WeasyPrint's way.
@pytest.mark.skipif(not OPENTYPE.exists(), reason="no font with PostScript outlines here")
def test_postscript_outlines_stay_as_they_were(tmp_path):
    face = f'@font-face {{ font-family: x; src: url("{OPENTYPE.as_uri()}") }}'
    html = sheet(f'<style>{face}</style><p style="font-family: x">Wait 5 minutes')
    assert raster(printed(html)) == raster(without(html, tmp_path / "before.pdf"))
    assert body_of(poppler(printed(html)), "en") == "Wait 5 minutes"


# Source: ours. Codes of a font that is embedded whole would be read as its glyph numbers.
def test_whole_fonts_are_refused():
    with pytest.raises(PrintError, match="embedded whole"):
        printed(sheet("<p>x"), full_fonts=True)


# Source: ours. What was painted is compared with what the line has.
@pytest.mark.parametrize(("numbers", "codes"), [([1], [b"0001"]), ([1, 3], [b"0001", b"0002"]), ([], [])])
def test_other_glyphs_are_refused(numbers, codes):
    with pytest.raises(PrintError, match="other glyphs"):
        text_layer._recoded(b"[<0001>-7<0002>] TJ", numbers, codes)


def test_installing_again_changes_nothing():
    from weasyprint.draw import text
    from weasyprint.pdf import fonts

    before = text.draw_first_line, fonts._build_vector_font_dictionary
    text_layer.install()
    assert before == (text.draw_first_line, fonts._build_vector_font_dictionary)
    assert not hasattr(text.draw_first_line.__wrapped__, "__wrapped__")


# Source: ours. The private functions may change in any other release.
def test_another_weasyprint_is_refused(monkeypatch):
    monkeypatch.setattr("weasyprint.__version__", "70.1")
    with pytest.raises(MachineError, match=r"this is WeasyPrint 70\.1, not 70\.0"):
        text_layer.install()


@pytest.mark.parametrize("name", text_layer._KNOWN)
def test_a_changed_function_is_refused(name, monkeypatch):
    monkeypatch.setitem(text_layer._KNOWN, name, "0" * 32)
    with pytest.raises(MachineError, match=re.escape(name)):
        text_layer.install()


def test_a_function_that_is_gone_is_refused(monkeypatch):
    monkeypatch.setitem(text_layer._KNOWN, "weasyprint.draw.text:gone", "0" * 32)
    with pytest.raises(MachineError, match="gone"):
        text_layer.install()
