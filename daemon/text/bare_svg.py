"""What is left of a drawing in a page: no fonts, colours or names of its own."""

import re
from collections.abc import Iterable

_NUMBER = re.compile(r"-?\d+\.\d{3,}")
_TAG = re.compile(r"<[^>]*>")
"""Numbers are shortened inside tags alone: what people read stays as it is."""


def bare(svg: str, key: str, colours: Iterable[tuple[str, str]]) -> str:
    """Take from an SVG what the page gives, and what nobody needs.

    Args:
        svg: as matplotlib writes it.
        key: makes its parts' names unlike those of other pictures in the page.
        colours: each a marker in the drawing, and the page's variable for it.
    """
    svg = svg[svg.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<!--.*?-->", "", svg, flags=re.DOTALL)
    svg = re.sub(r'<style type="text/css">.*?</style>', "", svg, flags=re.DOTALL)
    svg = re.sub(r"font(-family)?: [^;\"]*?'[^;\"]*", _size_only, svg)
    svg = _TAG.sub(lambda tag: _NUMBER.sub(_shorter, tag[0]), svg)
    svg = re.sub(r'<g id="[^"]*">', "<g>", svg)
    svg = re.sub(r'<svg [^>]*?viewBox="([^"]*)"[^>]*>', r'<svg viewBox="\1">', svg)
    svg = svg.replace("xlink:href", "href")
    for marker, variable in colours:
        svg = svg.replace(marker, f"var({variable})")
    # names of parts must differ from picture to picture
    svg = re.sub(r'id="(\w+)"', rf'id="{key}-\1"', svg)
    svg = re.sub(r'href="#(\w+)"', rf'href="#{key}-\1"', svg)
    svg = re.sub(r"url\(#(\w+)\)", rf"url(#{key}-\1)", svg)
    return re.sub(r"\s*\n\s*", "\n", svg).strip()


def _shorter(match: re.Match[str]) -> str:
    return f"{float(match[0]):.1f}"


def _size_only(match: re.Match[str]) -> str:
    """Keep a font's size alone: the page has its own fonts."""
    size = re.search(r"[\d.]+px", match[0])
    return f"font-size: {size[0]}" if size else "font-family: inherit"
