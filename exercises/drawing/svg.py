"""Small helpers to write SVG; everything is a presentation attribute or a class.

No style attributes: a strict content-security policy forbids them.
"""

from xml.etree.ElementTree import Element as Node
from xml.etree.ElementTree import SubElement, tostring

INK = "#1c1a17"
FAINT = "#6b655c"
WOOD = "#8a4b1f"
GROUND = "#d9cfbd"
PAPER = "#fffdf8"


def drawing(
    width: float, height: float, *, ident: str, title: str, says: str, kind: str
) -> Node:
    """Return an SVG root with its text alternative."""
    root = Node(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {_n(width)} {_n(height)}",
            "class": f"drawing {kind}",
            "role": "img",
            "aria-labelledby": f"{ident}-title {ident}-says",
        },
    )
    SubElement(root, "title", {"id": f"{ident}-title"}).text = title
    SubElement(root, "desc", {"id": f"{ident}-says"}).text = says
    rect(root, 0, 0, width, height, fill=PAPER)
    return root


def line(
    parent: Node,
    x1: float,
    y1: float,
    x2: float,
    y2: float,
    *,
    stroke: str = INK,
    width: float = 4,
    dash: str = "",
) -> Node:
    """Draw a straight line."""
    attributes = {
        "x1": _n(x1),
        "y1": _n(y1),
        "x2": _n(x2),
        "y2": _n(y2),
        "stroke": stroke,
        "stroke-width": _n(width),
        "stroke-linecap": "round",
    }
    if dash:
        attributes["stroke-dasharray"] = dash
    return SubElement(parent, "line", attributes)


def rect(
    parent: Node,
    x: float,
    y: float,
    width: float,
    height: float,
    *,
    fill: str = "none",
    stroke: str = "none",
    stroke_width: float = 0,
) -> Node:
    """Draw a rectangle."""
    return SubElement(
        parent,
        "rect",
        {
            "x": _n(x),
            "y": _n(y),
            "width": _n(width),
            "height": _n(height),
            "fill": fill,
            "stroke": stroke,
            "stroke-width": _n(stroke_width),
        },
    )


def text(
    parent: Node,
    x: float,
    y: float,
    words: str,
    *,
    size: float,
    anchor: str = "middle",
    fill: str = INK,
    bold: bool = False,
) -> Node:
    """Write words."""
    node = SubElement(
        parent,
        "text",
        {
            "x": _n(x),
            "y": _n(y),
            "font-size": _n(size),
            "text-anchor": anchor,
            "fill": fill,
            "font-family": "system-ui, sans-serif",
            "font-weight": "700" if bold else "400",
        },
    )
    node.text = words
    return node


def circle(parent: Node, x: float, y: float, radius: float, *, fill: str) -> Node:
    """Draw a filled circle."""
    return SubElement(
        parent, "circle", {"cx": _n(x), "cy": _n(y), "r": _n(radius), "fill": fill}
    )


def written(root: Node) -> str:
    """Return the drawing as text."""
    return tostring(root, encoding="unicode")


def _n(number: float) -> str:
    return f"{number:.1f}".rstrip("0").rstrip(".")
