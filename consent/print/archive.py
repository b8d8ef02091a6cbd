"""Print for keeping: files embedded, dates fixed, so that the same data in one environment is the same bytes again.

Tagged, in the archival format PDF/A-3a (ISO 19005-3), marked as PDF/UA-1 (ISO 14289-1) besides. No validator has been
run over it.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Literal

from consent.print.structure import mend_tags

Relationship = Literal["Source", "Data", "Alternative", "Supplement"]


@dataclass(frozen=True)
class Attachment:
    """One file in the paper; ``relationship`` says what it is to the pages (ISO 19005-3, annex E)."""

    name: str
    content: bytes
    media_type: str
    description: str
    relationship: Relationship = "Data"


@dataclass(frozen=True)
class Archive:
    """What is embedded, and the moment, with its time zone, that the paper bears as the date it was made."""

    attachments: tuple[Attachment, ...]
    made_at: dt.datetime

    def __post_init__(self) -> None:
        if self.made_at.tzinfo is None:
            raise ValueError("the moment a paper was made needs a time zone")


def stamp_dates(metadata: Any, archive: Archive) -> None:
    """Fix both dates of WeasyPrint's ``metadata`` to ``made_at``, to the second, in UTC."""
    metadata.created = metadata.modified = archive.made_at.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


@contextmanager
def left_open() -> Iterator[None]:
    """WeasyPrint 70 leaves the file of the colour profile to be closed by Python, which would warn of it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        yield


def finisher(archive: Archive) -> Callable[[Any, Any], None]:
    """What WeasyPrint calls before it writes: mends tags, embeds the files, names PDF/UA beside PDF/A."""

    def finish(document: Any, pdf: Any) -> None:
        del document
        mend_tags(pdf)
        if archive.attachments:
            _embed(pdf, archive)
        _name_accessible(pdf)

    return finish


def _embed(pdf: Any, archive: Archive) -> None:
    """Embedded files by name and as associated files of the whole paper (ISO 32000-1, 7.11.4; ISO 19005-3, 6.8)."""
    import pydyf

    named, associated = pydyf.Array(), pydyf.Array()
    for attachment in sorted(archive.attachments, key=lambda one: one.name):
        specification = _file(pdf, attachment, archive.made_at)
        named.extend((pydyf.String(attachment.name), specification.reference))
        associated.append(specification.reference)
    tree = pydyf.Dictionary({"Names": named})
    pdf.add_object(tree)
    pdf.catalog.setdefault("Names", pydyf.Dictionary())["EmbeddedFiles"] = tree.reference
    pdf.catalog["AF"] = associated


def _file(pdf: Any, attachment: Attachment, made_at: dt.datetime) -> Any:
    import pydyf

    date = pydyf.String(made_at.astimezone(dt.UTC).strftime("D:%Y%m%d%H%M%SZ"))
    checksum = hashlib.md5(attachment.content, usedforsecurity=False).hexdigest()  # the format's own, table 46
    parameters = pydyf.Dictionary(
        {"Size": len(attachment.content), "CreationDate": date, "ModDate": date, "CheckSum": f"<{checksum}>"}
    )
    kind = pydyf.name(attachment.media_type)
    stream = pydyf.Stream(
        [attachment.content], {"Type": "/EmbeddedFile", "Subtype": kind, "Params": parameters}, compress=True
    )
    pdf.add_object(stream)
    files = pydyf.Dictionary({"F": stream.reference, "UF": stream.reference})
    specification = pydyf.Dictionary(
        {
            "Type": "/Filespec",
            "F": pydyf.String(attachment.name),
            "UF": pydyf.String(attachment.name),
            "Desc": pydyf.String(attachment.description),
            "AFRelationship": f"/{attachment.relationship}",
            "EF": files,
        }
    )
    pdf.add_object(specification)
    return specification


_END = b"</rdf:RDF>"
# ISO 19005-3, 6.6.2.3: a property that PDF/A does not know is described where it is used.
_PDF_UA = b"""<rdf:Description xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/" rdf:about="" pdfuaid:part="1" />
<rdf:Description xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
 xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#" xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#"
 rdf:about=""><pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:schema>PDF/UA identification</pdfaSchema:schema>
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:name>part</pdfaProperty:name>
<pdfaProperty:valueType>Integer</pdfaProperty:valueType>
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289 that the file follows</pdfaProperty:description>
</rdf:li></rdf:Seq></pdfaSchema:property>
</rdf:li></rdf:Bag></pdfaExtension:schemas></rdf:Description>
"""


def _name_accessible(pdf: Any) -> None:
    metadata = pdf.objects[int(pdf.catalog["Metadata"].split()[0])]
    (packet,) = metadata.stream
    before, end, after = packet.rpartition(_END)
    if not end:
        raise TypeError("the metadata has no description to add to")
    metadata.stream = [before + _PDF_UA + end + after]
