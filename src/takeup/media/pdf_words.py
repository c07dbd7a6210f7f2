"""Who, when, where in a PDF's XMP packet. PDF/A-2 knows Dublin Core, Photoshop's and EXIF's properties; those of IPTC's
extension it takes only where the packet itself explains them (ISO 19005-2, extension schemas): so it does."""

from __future__ import annotations

from typing import Any

from takeup.media.xmp import SPACES
from takeup.plan.tagging import Tags

PDFA = "http://www.aiim.org/pdfa/ns/"
EXPLAINED = (
    ("PersonInImage", "bag Text", "Name of a person shown"),
    ("DigitalSourceType", "URI", "What the original was"),
    ("DigImageGUID", "Text", "Globally unique identifier of the scan"),
)


def write_pdf_words(pdf: Any, tags: Tags, source_type: str) -> None:
    """Give an open PDF these words; what an earlier time wrote of the same is taken away."""
    scanned = tags.scanned
    words: dict[str, object] = {
        "dc:title": tags.title,
        "dc:description": tags.description,
        "dc:creator": [tags.creator] if tags.creator else [],
        "dc:subject": set(tags.keywords),
        "dc:rights": tags.rights,
        "dc:coverage": tags.place,
        "dc:source": scanned.object_said[0][1] if scanned and scanned.object_said else "",
        "photoshop:DateCreated": tags.date_text,
        "{http://ns.adobe.com/exif/1.0/}DateTimeDigitized": scanned.written if scanned else "",
        "dc:identifier": tags.id,
    }
    with pdf.open_metadata(set_pikepdf_as_editor=False) as xmp:
        for name, value in words.items():
            if value:
                xmp[name] = value
            elif name in xmp:
                del xmp[name]
    own = {
        "PersonInImage": list(tags.people),
        "DigitalSourceType": [source_type] if source_type else [],
        "DigImageGUID": [tags.guid.urn] if tags.guid else [],
    }
    pdf.Root.Metadata.write(_with_own(pdf.Root.Metadata.read_bytes(), own))


def _with_own(packet: bytes, own: dict[str, list[str]]) -> bytes:
    """The packet with these properties of IPTC's extension and what explains them, and no others of it."""
    from lxml import etree

    root = etree.fromstring(packet)
    rdf = root if root.tag == _name("rdf", "RDF") else root.find(_name("rdf", "RDF"))
    for block in list(rdf):
        for thing in list(block):
            if thing.tag in {_name("Iptc4xmpExt", name) for name, _, _ in EXPLAINED}:
                block.remove(thing)
            elif thing.tag == f"{{{PDFA}extension/}}schemas":
                for schema in list(thing.iter(_name("rdf", "li"))):
                    if schema.findtext(f"{{{PDFA}schema#}}namespaceURI") == SPACES["Iptc4xmpExt"]:
                        schema.getparent().remove(schema)
                if not len(thing) or not len(thing[0]):
                    block.remove(thing)
        if not len(block) and set(block.attrib) <= {_name("rdf", "about")}:
            rdf.remove(block)
    there = [explained for explained in EXPLAINED if own[explained[0]]]
    if there:
        block = etree.SubElement(rdf, _name("rdf", "Description"), {_name("rdf", "about"): ""}, nsmap={
            "Iptc4xmpExt": SPACES["Iptc4xmpExt"], "pdfaExtension": f"{PDFA}extension/",
            "pdfaSchema": f"{PDFA}schema#", "pdfaProperty": f"{PDFA}property#",
        })  # fmt: skip
        for name, kind, _ in there:
            thing = etree.SubElement(block, _name("Iptc4xmpExt", name))
            if kind.startswith("bag"):
                bag = etree.SubElement(thing, _name("rdf", "Bag"))
                for text in own[name]:
                    etree.SubElement(bag, _name("rdf", "li")).text = text
            else:
                thing.text = own[name][0]
        _explain(_schemas(rdf, block), there)
    return etree.tostring(root.getroottree(), encoding="UTF-8")


def _schemas(rdf: Any, block: Any) -> Any:
    """The bag of schemas that the packet explains: its own where it has one, for it may have but one."""
    from lxml import etree

    standing = rdf.find(f".//{{{PDFA}extension/}}schemas/{_name('rdf', 'Bag')}")
    if standing is not None:
        return standing
    return etree.SubElement(etree.SubElement(block, f"{{{PDFA}extension/}}schemas"), _name("rdf", "Bag"))


def _explain(schemas: Any, there: list[tuple[str, str, str]]) -> None:
    from lxml import etree

    resource = {_name("rdf", "parseType"): "Resource"}
    schema = etree.SubElement(schemas, _name("rdf", "li"), resource)
    for name, text in (
        ("schema", "IPTC Extension"),
        ("namespaceURI", SPACES["Iptc4xmpExt"]),
        ("prefix", "Iptc4xmpExt"),
    ):
        etree.SubElement(schema, f"{{{PDFA}schema#}}{name}").text = text
    listed = etree.SubElement(etree.SubElement(schema, f"{{{PDFA}schema#}}property"), _name("rdf", "Seq"))
    for name, kind, said in there:
        one = etree.SubElement(listed, _name("rdf", "li"), resource)
        for part, text in (("name", name), ("valueType", kind), ("category", "external"), ("description", said)):
            etree.SubElement(one, f"{{{PDFA}property#}}{part}").text = text


def _name(space: str, name: str) -> str:
    return f"{{{SPACES[space]}}}{name}"
