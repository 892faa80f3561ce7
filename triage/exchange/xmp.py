"""XMP sidecars: what people saw as keywords (dc:subject), boxes as image regions.

Open standards: XMP (ISO 16684-1), Dublin Core, and the image regions of the IPTC Photo Metadata Standard
(2019.1 and later): a rectangle has its upper left corner and its sides relative to the picture, a point is a
polygon of one vertex.
"""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from triage.exchange.content import Content
from triage.label.files import write_whole
from triage.library.records import Box, Photo

_HEAD = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
 <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
  <rdf:Description rdf:about=""
    xmlns:dc="http://purl.org/dc/elements/1.1/"
    xmlns:exif="http://ns.adobe.com/exif/1.0/"
    xmlns:Iptc4xmpExt="http://iptc.org/std/Iptc4xmpExt/2008-02-29/">
"""
_TAIL = """  </rdf:Description>
 </rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>
"""


def write_sidecars(content: Content, folder: Path) -> list[Path]:
    """Write one sidecar per photo next to its picture in the export (`name.jpg.xmp`)."""
    seen: dict[str, list[tuple[str, tuple[Box, ...]]]] = {}
    for (sha, tag), word in sorted(content.words.items()):
        if word.value == "present":
            seen.setdefault(sha, []).append((tag, word.boxes))
    files = []
    for photo in content.photos:
        file = folder / f"{content.names[photo.sha]}.xmp"
        file.parent.mkdir(parents=True, exist_ok=True)
        text = sidecar(photo, seen.get(photo.sha, []), content.positions.get(photo.sha))
        write_whole(file, text.encode())
        files.append(file)
    return files


def sidecar(
    photo: Photo, seen: list[tuple[str, tuple[Box, ...]]], position: tuple[float, float] | None = None
) -> str:
    """Return the XMP of one photo from the tags that are present, with their boxes."""
    parts = [_HEAD, f"   <dc:identifier>{photo.sha}</dc:identifier>\n"]
    if seen:
        words = "".join(f"     <rdf:li>{_text(tag)}</rdf:li>\n" for tag, _ in seen)
        parts.append(f"   <dc:subject>\n    <rdf:Bag>\n{words}    </rdf:Bag>\n   </dc:subject>\n")
    if position is not None:
        latitude = _degrees(position[0], "N", "S")
        longitude = _degrees(position[1], "E", "W")
        parts.append(f"   <exif:GPSLatitude>{latitude}</exif:GPSLatitude>\n")
        parts.append(f"   <exif:GPSLongitude>{longitude}</exif:GPSLongitude>\n")
    regions = [_region(tag, box) for tag, boxes in seen for box in dict.fromkeys(boxes)]
    if regions:
        inside = "".join(regions)
        parts.append(
            f"   <Iptc4xmpExt:ImageRegion>\n    <rdf:Bag>\n{inside}    </rdf:Bag>\n"
            "   </Iptc4xmpExt:ImageRegion>\n"
        )
    return "".join([*parts, _TAIL])


def _region(tag: str, box: Box) -> str:
    x, y, width, height = (_decimal(side) for side in box)
    if box[2] == 0 and box[3] == 0:
        shape = (
            "<Iptc4xmpExt:rbShape>polygon</Iptc4xmpExt:rbShape><Iptc4xmpExt:rbUnit>relative</Iptc4xmpExt:rbUnit>"
            '<Iptc4xmpExt:rbVertices><rdf:Seq><rdf:li rdf:parseType="Resource">'
            f"<Iptc4xmpExt:rbX>{x}</Iptc4xmpExt:rbX><Iptc4xmpExt:rbY>{y}</Iptc4xmpExt:rbY>"
            "</rdf:li></rdf:Seq></Iptc4xmpExt:rbVertices>"
        )
    else:
        shape = (
            "<Iptc4xmpExt:rbShape>rectangle</Iptc4xmpExt:rbShape><Iptc4xmpExt:rbUnit>relative</Iptc4xmpExt:rbUnit>"
            f"<Iptc4xmpExt:rbX>{x}</Iptc4xmpExt:rbX><Iptc4xmpExt:rbY>{y}</Iptc4xmpExt:rbY>"
            f"<Iptc4xmpExt:rbW>{width}</Iptc4xmpExt:rbW><Iptc4xmpExt:rbH>{height}</Iptc4xmpExt:rbH>"
        )
    return (
        '     <rdf:li rdf:parseType="Resource">\n      <Iptc4xmpExt:RegionBoundary rdf:parseType="Resource">'
        f"{shape}</Iptc4xmpExt:RegionBoundary>\n      <Iptc4xmpExt:rId>{_text(tag)}</Iptc4xmpExt:rId>\n"
        f"      <Iptc4xmpExt:Name><rdf:Alt><rdf:li xml:lang={quoteattr('x-default')}>{_text(tag)}</rdf:li>"
        "</rdf:Alt></Iptc4xmpExt:Name>\n     </rdf:li>\n"
    )


def _text(text: str) -> str:
    return escape("".join(char for char in text if ord(char) >= 32))


def _decimal(side: float) -> str:
    return f"{side:.6f}".rstrip("0").rstrip(".") or "0"


def _degrees(value: float, positive: str, negative: str) -> str:
    """Degrees and decimal minutes, as XMP wants a position: 46,54.0300N."""
    minutes = round(abs(value) * 60, 5)
    return f"{int(minutes // 60)},{minutes % 60:.5f}{positive if value >= 0 else negative}"
