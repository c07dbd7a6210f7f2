"""Who, when, where as an XMP packet: the properties of IPTC Photo Metadata 2021.1, in RDF.

Title, description and rights are language alternatives (Alt), creators an ordered list (Seq), the rest bags.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape, quoteattr

from takeup.plan.tagging import Tags

SPACES = {
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmpRights": "http://ns.adobe.com/xap/1.0/rights/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "xmpMM": "http://ns.adobe.com/xap/1.0/mm/",
    "stEvt": "http://ns.adobe.com/xap/1.0/sType/ResourceEvent#",
    "Iptc4xmpCore": "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/",
    "Iptc4xmpExt": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
}
HEAD = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n<x:xmpmeta xmlns:x="adobe:ns:meta/">\n'
TAIL = '</x:xmpmeta>\n<?xpacket end="w"?>'


def xmp_packet(tags: Tags, source_type: str = "", digitised: str = "") -> bytes:
    """The packet, UTF-8.

    Parameters
    ----------
    source_type : str
        IPTC's word for what the original was (a print, a negative, a slide), as an address; "" when none fits.
    digitised : str
        When it was scanned, as the file's other fields say; ISO 8601.
    """
    guid, (short, long) = tags.guid, tags.alt_texts
    parts = [
        _alternative("dc:title", tags.title),
        _alternative("dc:description", tags.description),
        _listed("dc:creator", "Seq", [tags.creator] if tags.creator else []),
        _listed("dc:subject", "Bag", tags.keywords),
        _alternative("dc:rights", tags.rights),
        _alternative("xmpRights:UsageTerms", tags.rights),
        _simple("photoshop:DateCreated", tags.date_text),
        _simple("xmp:CreateDate", digitised),
        _listed("Iptc4xmpExt:PersonInImage", "Bag", tags.people),
        _place(tags.place),
        _simple("Iptc4xmpCore:Location", tags.place),
        _alternative("Iptc4xmpExt:Event", tags.event),
        _original(tags),
        _simple("Iptc4xmpExt:DigitalSourceType", source_type),
        _simple("Iptc4xmpExt:DigImageGUID", guid.urn if guid else ""),
        _alternative("Iptc4xmpCore:AltTextAccessibility", short),
        _alternative("Iptc4xmpCore:ExtDescrAccessibility", long),
        _simple("dc:identifier", tags.id),
        _history(tags.scanned.mended if tags.scanned else ()),
    ]
    spaces = "".join(f"\n    xmlns:{name}={quoteattr(address)}" for name, address in SPACES.items() if name != "rdf")
    body = "".join(part for part in parts if part)
    rdf = f' <rdf:RDF xmlns:rdf={quoteattr(SPACES["rdf"])}>\n  <rdf:Description rdf:about=""{spaces}>\n'
    return f"{HEAD}{rdf}{body}  </rdf:Description>\n </rdf:RDF>\n{TAIL}".encode()


def _simple(name: str, text: str) -> str:
    return f"   <{name}>{escape(text)}</{name}>\n" if text else ""


def _alternative(name: str, text: str) -> str:
    if not text:
        return ""
    return f'   <{name}><rdf:Alt><rdf:li xml:lang="x-default">{escape(text)}</rdf:li></rdf:Alt></{name}>\n'


def _said(name: str, texts: Sequence[tuple[str, str]]) -> str:
    """The same in several languages; the first is everybody's."""
    if not texts:
        return ""
    items = [("x-default", texts[0][1]), *texts]
    inner = "".join(f"<rdf:li xml:lang={quoteattr(lang)}>{escape(text)}</rdf:li>" for lang, text in items)
    return f"   <{name}><rdf:Alt>{inner}</rdf:Alt></{name}>\n"


def _listed(name: str, kind: str, texts: Sequence[str]) -> str:
    if not texts:
        return ""
    items = "".join(f"<rdf:li>{escape(text)}</rdf:li>" for text in texts)
    return f"   <{name}><rdf:{kind}>{items}</rdf:{kind}></{name}>\n"


def _history(mended: Sequence[str]) -> str:
    """What was put right in this copy, in its order (XMP specification part 2, Media Management)."""
    if not mended:
        return ""
    steps = "".join(
        '<rdf:li rdf:parseType="Resource"><stEvt:action>edited</stEvt:action>'
        f"<stEvt:parameters>{escape(step)}</stEvt:parameters></rdf:li>"
        for step in mended
    )
    return f"   <xmpMM:History><rdf:Seq>{steps}</rdf:Seq></xmpMM:History>\n"


def _place(place: str) -> str:
    if not place:
        return ""
    inner = _alternative("Iptc4xmpExt:LocationName", place).strip()
    name = "Iptc4xmpExt:LocationShown"
    return f'   <{name}><rdf:Bag><rdf:li rdf:parseType="Resource">{inner}</rdf:li></rdf:Bag></{name}>\n'


def _original(tags: Tags) -> str:
    """The original on paper or film: here, and only here, a date may be in doubt."""
    inner = _alternative("Iptc4xmpExt:AOTitle", tags.album).strip()
    inner += _simple("Iptc4xmpExt:AODateCreated", tags.date_text).strip()
    if tags.date_given and not tags.date_text:
        inner += _simple("Iptc4xmpExt:AOCircaDateCreated", tags.date_given).strip()
    if tags.scanned is not None:
        inner += _said("Iptc4xmpExt:AOPhysicalDescription", tags.scanned.object_said).strip()
    inner += _simple("Iptc4xmpExt:AOSourceInvNo", tags.id).strip()
    name = "Iptc4xmpExt:ArtworkOrObject"
    return f'   <{name}><rdf:Bag><rdf:li rdf:parseType="Resource">{inner}</rdf:li></rdf:Bag></{name}>\n'
