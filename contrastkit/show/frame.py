"""What our web pages have in common: greys, typeface, nothing fetched and nothing run, a bar to check a print by."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

from contrastkit.show import look
from contrastkit.show.markup import escaped, font_uri
from contrastkit.show.words import date_words

_POLICY = "default-src 'none'; img-src data:; font-src data:; style-src 'unsafe-inline'"
_TRUE_SIZE = (
    '<svg class="true-size" viewBox="0 0 50 6" role="img" aria-label="A bar of 50 mm at true size">'
    '<path d="M0 .2h50v1.6h-50z" fill="none" stroke="currentColor" stroke-width=".3"/>'
    '<path d="M0 .2h10v1.6h-10zM20 .2h10v1.6h-10zM40 .2h10v1.6h-10z" fill="currentColor"/>'
    '<text x="0" y="5" font-size="2.9" fill="currentColor">50 mm at true size</text></svg>'
)


def page(
    title: str, *, header: Sequence[str], sections: Sequence[str], foot: str, made: datetime.date,
    styles: Sequence[str] = ("report.css",), made_by: str = "contrastkit",
) -> str:
    """
    Return a whole page that fetches nothing and runs nothing, whatever a name or a note in it may hold.

    Parameters
    ----------
    title : of the window, plain text
    header, sections : finished parts
    foot : what stands at the foot, plain text
    made : the date at the foot of printed pages
    styles : style sheets of this folder, the later ones over the earlier
    made_by : what the page says it was made by

    >>> page("A wall", header=["<h1>A wall</h1>"], sections=[], foot="", made=datetime.date(2031, 4, 2))[:15]
    '<!DOCTYPE html>'
    """
    return "\n".join((
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="color-scheme" content="light dark">',
        f'<meta name="generator" content="{escaped(made_by)}">',
        f"<title>{escaped(title)}</title>",
        f"<style>\n{_style(made, styles)}</style>\n</head>\n<body>",
        "<header>", *header, "</header>\n<main>", *filter(None, sections), "</main>",
        f"<footer><p>{escaped(foot)}</p>{_TRUE_SIZE}</footer>\n</body>\n</html>\n",
    ))


def section(anchor: str, heading: str, *parts: str) -> str:
    """
    Return finished parts as a section of a page, under its heading.

    >>> section("days", "Day by day").splitlines()[0]
    '<section id="days" aria-labelledby="days-title">'
    """
    title = f'<h2 id="{anchor}-title">{heading}</h2>'
    inside = "\n".join(filter(None, (title, *parts)))
    return f'<section id="{anchor}" aria-labelledby="{anchor}-title">\n{inside}\n</section>'


def paragraph(text: str, classes: str = "") -> str:
    """
    Return a finished line of text as a paragraph.

    >>> paragraph("Two.")
    '<p>Two.</p>'
    """
    return f'<p class="{classes}">{text}</p>' if classes else f"<p>{text}</p>"


def _style(made: datetime.date, styles: Sequence[str]) -> str:
    return "\n".join((
        *(_font_face(path, weight) for path, weight in ((look.REGULAR, 400), (look.BOLD, 700))),
        f':root {{ {_greys(look.LIGHT_PAGE, look.ACCENT)} --print-foot: "contrastkit, {date_words(made)}"; '
        f"--print-secondary: {look.grey_hex(look.PAPER.secondary)}; {_surround()} }}",
        f"@media print {{ :root {{ {_greys(look.PAPER, look.grey_hex(look.PAPER.text))} }} }}",
        "@media screen and (prefers-color-scheme: dark) "
        f"{{ :root {{ {_greys(look.DARK_PAGE, look.ACCENT_ON_DARK)} }} }}",
        *map(_stylesheet, styles),
    ))


@lru_cache(maxsize=8)
def _stylesheet(name: str) -> str:
    return Path(__file__).with_name(name).read_text(encoding="utf-8")


def _font_face(path: Path, weight: int) -> str:
    return (
        f'@font-face {{ font-family: "Atkinson Hyperlegible Next"; font-weight: {weight}; '
        f'src: url({font_uri(path)}) format("truetype"); }}'
    )


def _greys(tones: look.Page, accent: str) -> str:
    roles = ("ground", "text", "secondary", "hairline", "raised")
    return " ".join(f"--{role}: {look.grey_hex(getattr(tones, role))};" for role in roles) + f" --accent: {accent};"


def _surround() -> str:
    tone = look.SURROUNDS["middle"]
    return f"--surround: {look.grey_hex(tone)}; --surround-ink: {look.grey_hex(look.legible_on(tone))};"
