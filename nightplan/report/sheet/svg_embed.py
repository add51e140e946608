"""SVG pictures made fit to stand inside a page: small, self-contained, named, in one palette."""

from __future__ import annotations

import re

_PROLOG = re.compile(r"<\?xml[^>]*\?>|<!DOCTYPE[^>]*>|<!--.*?-->|<metadata>.*?</metadata>", re.S)
_UNSAFE = re.compile(r"<(script|foreignObject)\b.*?</\1>|\son\w+=\"[^\"]*\"", re.S | re.I)
_NUMBER = re.compile(r"(?<![#\w.])-?\d+\.(?:\d{2,}|0)(?!\d)")
_TAG = re.compile(r"<[^>]+>")
_PATH = re.compile(r"\sd=\"([^\"]*)\"")
_COLOUR = re.compile(r"#[0-9a-fA-F]{6}\b|#[0-9a-fA-F]{3}\b|\brgba?\([^)]*\)")
_WORD_COLOUR = re.compile(
    r"(?<=[:\"\s])(white|black|gray|grey|red|green|blue|orange|purple|brown|cyan|magenta|yellow)"
    r"(?=[;\"])"
)
_RED = re.compile(r"#([0-9a-f]{2})0000\b")
_STYLE = re.compile(r"\sstyle=\"[^\"]*\"")
_PAINT = re.compile(r"\s(fill|stroke)=\"(#[0-9a-f]{2}0000)\"")
_WORDS = {
    "white": "#ffffff", "black": "#000000", "gray": "#808080", "grey": "#808080",
    "red": "#ff0000", "green": "#008000", "blue": "#0000ff", "orange": "#ffa500",
    "purple": "#800080", "brown": "#a52a2a", "cyan": "#00ffff", "magenta": "#ff00ff",
    "yellow": "#ffff00",
}  # fmt: skip


def embed_svg(text: str, prefix: str, title: str, *, red_only: bool = False) -> str:
    """An SVG document as an ``<svg>`` element of an HTML page that scales with its box.

    Numbers are cut to a tenth of a unit. `prefix` is put before every id, so that two pictures on a
    page do not borrow each other's parts; `title` is for those who hear the page. `red_only` turns
    every colour into the red of the same luminance. Raises ValueError where there is no ``<svg>``,
    or an image of dots while `red_only` is asked for (its colours cannot be seen from here).
    """
    body = _UNSAFE.sub("", _PROLOG.sub("", text)).strip()
    if not body.startswith("<svg"):
        raise ValueError("not an SVG document")
    if red_only:
        if "<image" in body:
            raise ValueError("an SVG with an image of dots cannot be turned red")
        body = redden(body)
    body = _small(body)
    body = _own_ids(body, prefix)
    head, rest = body.split(">", 1)
    head = re.sub(r"\s(?:width|height|xmlns|xmlns:xlink|version|role|class)=\"[^\"]*\"", "", head)
    rest = rest.replace("xlink:href=", "href=")
    rest = re.sub(r"^\s*<title>.*?</title>", "", rest, flags=re.S)
    return f'{head} role="img" aria-label="{_attribute(title)}" class="picture">{rest}'


def redden(svg: str) -> str:
    """Every colour of an SVG or of CSS as the pure red of equal luminance (Rec. 709 weights)."""
    named = _WORD_COLOUR.sub(lambda match: _WORDS[match.group(1)], svg)
    return _COLOUR.sub(lambda match: red_of(match.group()), named)


def reds_as_variables(svg: str, levels: set[str]) -> str:
    """The reds of a reddened picture as CSS variables ``--rb6``, so that paper can turn them;
    `levels` takes up those used."""

    def variable(match: re.Match[str]) -> str:
        levels.add(match.group(1))
        return f"var(--r{match.group(1)})"

    def tag(match: re.Match[str]) -> str:
        text = match.group()
        given = _PAINT.findall(text)
        if given and " style=" not in text:
            # An attribute takes no variable; a style does.
            paint = ";".join(f"{name}:{colour}" for name, colour in given)
            text = _PAINT.sub("", text).replace(" ", f' style="{paint}" ', 1)
        return _STYLE.sub(lambda style: _RED.sub(variable, style.group()), text)

    levels.add("00")  # what has no colour of its own is black
    return _TAG.sub(tag, svg)


def red_of(colour: str) -> str:
    """``#RR0000`` as bright as the colour is; what is red only stays as it is."""
    if colour.startswith("#"):
        digits = colour[1:]
        if len(digits) == 3:
            digits = "".join(2 * digit for digit in digits)
        red, green, blue = (int(digits[i : i + 2], 16) for i in (0, 2, 4))
    else:
        parts = re.findall(r"[\d.]+%?", colour)
        red, green, blue = (
            round(float(part[:-1]) * 2.55) if part.endswith("%") else round(float(part))
            for part in parts[:3]
        )
    if green == blue == 0:
        return f"#{red:02x}0000"
    level = min(255, round(0.2126 * red + 0.7152 * green + 0.0722 * blue))
    return f"#{level:02x}0000"


def _small(svg: str) -> str:
    """Cut decimals in attributes and blanks in paths; what is written in letters stays."""
    svg = _TAG.sub(lambda match: _NUMBER.sub(lambda n: _short(n.group()), match.group()), svg)
    svg = _PATH.sub(lambda match: f' d="{_tight(match.group(1))}"', svg)
    svg = re.sub(r"\s*\n\s*", " ", svg)
    return re.sub(r">\s+<", "><", svg)


def _tight(path: str) -> str:
    path = re.sub(r"\s+", " ", path).strip()
    return re.sub(r" ?([A-Za-z]) ?", r"\1", path)


def _short(number: str) -> str:
    text = f"{float(number):.1f}"
    text = text[:-2] if text.endswith(".0") else text
    return "0" if text in {"-0", "0"} else text


def _own_ids(svg: str, prefix: str) -> str:
    used = set(re.findall(r"(?:href=\"#|url\(#)([^\")]+)", svg))

    def rename(match: re.Match[str]) -> str:
        return f' id="{prefix}{match.group(1)}"' if match.group(1) in used else ""

    svg = re.sub(r"\sid=\"([^\"]*)\"", rename, svg)
    svg = re.sub(r"href=\"#([^\"]+)\"", rf'href="#{prefix}\1"', svg)
    svg = re.sub(r"url\(#([^)]+)\)", rf"url(#{prefix}\1)", svg)
    return re.sub(r"<g>\s*</g>", "", svg)


def _attribute(text: str) -> str:
    return (
        text.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;").replace(">", "&gt;")
    )
