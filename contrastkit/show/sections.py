"""The sections of the report, each a function from the study to a piece of the page; nothing where there is nothing."""

from __future__ import annotations

import datetime
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

import cv2
import numpy as np

from contrastkit.compose.groups import balance_sentence, grouping_sentence
from contrastkit.show import look
from contrastkit.show.balance import BalanceStyle, count_groups, draw_balance
from contrastkit.show.choice import BestStacks, DrawnStack, left_words, step_words
from contrastkit.show.crops import CutOut, Pixels, flattened
from contrastkit.show.markup import (
    bars_svg,
    clip_path,
    drawing_svg,
    escaped,
    items,
    jpeg_uri,
    name,
)
from contrastkit.show.outlines import draw_outlines
from contrastkit.show.pairs import Pairs, PairsStyle, draw_pairs
from contrastkit.show.pieces import (
    Piece,
    borderline_words,
    remedy_for,
    rival_of,
    vivid_words,
)
from contrastkit.show.strip import StripStyle, draw_strip
from contrastkit.show.words import breaks_words, counted, listed, reference_words, spread_words

if TYPE_CHECKING:
    from contrastkit.compose.groups import Breaks
    from contrastkit.show.report import Failure, PhotoPage

_THUMB = 96  # pixels
_STACK_SIDE = 320  # pixels
_CROP_QUALITY, _PHOTO_QUALITY = 84, 82


@dataclass(frozen=True)
class Study:
    """Everything the sections draw on."""

    pieces: tuple[Piece, ...]
    cuts: dict[str, CutOut]
    pages: tuple[PhotoPage, ...]
    failures: tuple[Failure, ...]
    breaks: Breaks
    edges: tuple[float, ...]
    made: datetime.date
    pairs: Pairs | None = None
    best: BestStacks | None = None

    @property
    def names(self) -> tuple[str, ...]:
        return self.breaks.names

    @property
    def known(self) -> list[Piece]:
        return [piece for piece in self.pieces if piece.known]

    @property
    def doubtful(self) -> list[Piece]:
        """Pieces whose lightness someone should check."""
        return [piece for piece in self.pieces if piece.flags or not piece.known]

    @property
    def borderline(self) -> list[Piece]:
        return [piece for piece in self.pieces if piece.borderline]

    def anchor(self, piece: Piece) -> str:
        """Where a piece stands on the page; never made from its name, which may hold anything."""
        return f"piece-{self._numbers[piece.swatch_id]}"

    @cached_property
    def _numbers(self) -> dict[str, int]:
        return {piece.swatch_id: number for number, piece in enumerate(self.pieces, start=1)}

    def link(self, piece: Piece) -> str:
        return f'<a href="#{self.anchor(piece)}">{name(piece.swatch_id)}</a>'


def section(anchor: str, heading: str, *parts: str) -> str:
    title = f'<h2 id="{anchor}-title">{heading}</h2>'
    inside = "\n".join(filter(None, (title, *parts)))
    return f'<section id="{anchor}" aria-labelledby="{anchor}-title">\n{inside}\n</section>'


def paragraph(text: str, classes: str = "") -> str:
    return f'<p class="{classes}">{text}</p>' if classes else f"<p>{text}</p>"


# Photographs.


def photographs(study: Study) -> str:
    if not study.pages:
        return ""
    heading = f"{counted(len(study.pages), 'photograph')}, {counted(len(study.pieces), 'piece')}"
    return section("photographs", heading, *(_photograph(page, study) for page in study.pages))


def _photograph(page: PhotoPage, study: Study) -> str:
    pieces = [piece for piece in study.pieces if piece.photo == page.name and piece.outline]
    pieces.sort(key=lambda piece: piece.swatch_id)
    short = _without_common_start([piece.swatch_id for piece in pieces])
    drawn = draw_outlines(
        page.picture, dict(zip(short, (piece.outline for piece in pieces), strict=True)), scale=page.picture_scale,
        reference=page.reference_outline,
    )
    rows, cols = drawn.shape[:2]
    image = (
        f'<img src="{jpeg_uri(drawn, quality=_PHOTO_QUALITY)}" width="{cols}" height="{rows}" '
        f'alt="{escaped(_photo_alt(page, pieces))}">'
    )
    about = [paragraph(escaped(page.sentence)), items([escaped(note) for note in page.notes], classes="notes")]
    if pieces and short[0] != pieces[0].swatch_id:
        text = f"Names are short on the picture: {name(short[0])} is {name(pieces[0].swatch_id)}."
        about.append(paragraph(text, "quiet"))
    caption = f"<figcaption>{''.join(about)}</figcaption>"
    return f'<figure class="photo"><h3>{name(page.name)}</h3>{image}{caption}</figure>'


def _photo_alt(page: PhotoPage, pieces: Sequence[Piece]) -> str:
    reference = " and the grey reference" if page.reference_outline else ""
    if not pieces:
        return f"{page.name}, with no piece outlined{reference and ', only' + reference.removeprefix(' and')}."
    names = listed([piece.swatch_id for piece in pieces])
    return f"{page.name}, with {counted(len(pieces), 'piece')}{reference} outlined and named: {names}."


def _without_common_start(names: Sequence[str]) -> list[str]:
    """
    Return the names without what all begin with, up to its last hyphen or the like, where that is worth leaving out.

    >>> _without_common_start(["board-1", "board-2"]), _without_common_start(["a-1", "a-2"])
    (['1', '2'], ['a-1', 'a-2'])
    """
    start = os.path.commonprefix(list(names))
    start = start[: 1 + max(start.rfind(sign) for sign in "-_ /.#:")]
    long_enough = len(start) >= 4 and len(names) > 1 and all(len(each) > len(start) for each in names)
    return [each[len(start) :] for each in names] if long_enough else list(names)


# The sorted pile.


def pile(study: Study) -> str:
    if not study.pieces:
        return ""
    how = (
        "Dark at the bottom left, light at the top right. Each piece lies beside the grey of equal lightness. "
        "Under it: its name, lightness L* ± standard uncertainty, Munsell value, group."
    )
    cells = "".join(_piece(piece, study) for piece in study.pieces)
    return section(
        "pile", "The pile, from dark to light", paragraph(how), _surround_choice(),
        f'<ol class="pile" aria-label="Pieces from dark to light">{cells}</ol>',
    )


def _surround_choice() -> str:
    options = "".join(
        f'<label><input type="radio" name="surround" id="surround-{kind}"{" checked" if kind == "middle" else ""}>'
        f"{kind}</label>"
        for kind in look.SURROUNDS
    )
    return f'<fieldset class="surrounds"><legend>Surround:</legend>{options}</fieldset>'


def _piece(piece: Piece, study: Study) -> str:
    cut = study.cuts.get(piece.swatch_id)
    rows, cols = (1, 1) if cut is None else cut.pixels.shape[:2]
    size = f"--w:{cols / max(rows, cols):.3f};--a:{cols}/{rows}"
    return (
        f'<li class="piece" id="{study.anchor(piece)}"><figure><div class="mat"><div class="pair" style="{size}">'
        f"{_crop(piece, cut)}{_grey(piece)}</div></div>{_caption(piece, study)}</figure></li>\n"
    )


def _crop(piece: Piece, cut: CutOut | None) -> str:
    if cut is None:
        return '<span class="missing">no picture</span>'
    alt = f"{piece.swatch_id}: L* {piece.lightness_words}" + (f", {piece.group}" if piece.group else "")
    uri = jpeg_uri(flattened(cut), quality=_CROP_QUALITY)
    return f'<img src="{uri}" alt="{escaped(alt)}" style="{clip_path(cut)}">'


def _grey(piece: Piece) -> str:
    if not piece.known:
        return ""
    return f'<span style="background:{look.grey_hex(piece.lightness)}" aria-hidden="true"></span>'


def _caption(piece: Piece, study: Study) -> str:
    rival = rival_of(piece, study.names, study.edges)
    numbers = (
        f'<span><span class="vh">lightness L* </span>{piece.lightness_words}</span> '
        f'<span><span class="vh">Munsell value </span>{piece.value_words}</span>'
    )
    rows = [
        f"<strong>{name(piece.swatch_id)}</strong>",
        f'<span class="numbers">{numbers}</span>',
        f"<span>{_group_mark(piece.group, study.names, rival)}{escaped(piece.group)}</span>" if piece.group else "",
        *(f"<span>{escaped(text)}</span>" for text in (borderline_words(piece, rival, study.names), vivid_words(piece))
          if text),
        f'<span class="flagged">Check: {escaped(", ".join(piece.flags))}</span>' if piece.flags else "",
    ]
    return "<figcaption>" + " ".join(filter(None, rows)) + "</figcaption>"


def _group_mark(group: str, names: Sequence[str], rival: str | None = None) -> str:
    if group not in names:
        return ""
    return bars_svg(names.index(group), rival=None if rival is None else names.index(rival))


# Groups and balance.


def groups(study: Study) -> str:
    if not study.known:
        return ""
    balance = _grouped_balance(study)
    return section(
        "groups", escaped(balance.removesuffix(".")),
        paragraph(escaped(grouping_sentence([piece.lightness for piece in study.known], study.breaks))),
        _balance_drawings(study, balance), _group_table(study),
        f"<h3>{escaped(spread_words(study.known).removesuffix('.'))}</h3>",
        paragraph("Each piece at its lightness, with one standard uncertainty either side. Dashed: edges of groups."),
        _thumbs(study), _strip_drawings(study),
    )


def _grouped_balance(study: Study) -> str:
    import pandas as pd

    return balance_sentence(pd.DataFrame({"group": [piece.group for piece in study.pieces]}), study.names)


def _balance_drawings(study: Study, finding: str) -> str:
    each = ", ".join(f"{count} {group}" for group, (count, _) in count_groups(study.pieces, study.names).items())
    styles = {"wide": (720, 240), "medium": (640, 220), "narrow": (350, 200)}
    return "".join(
        drawing_svg(
            draw_balance(study.pieces, study.names, BalanceStyle(width, height, text=16, line=1), f"{finding} {each}."),
            {}, f"drawn balance {kind}",
        )
        for kind, (width, height) in styles.items()
    )


def _group_table(study: Study) -> str:
    ends = ["0", *(f"{round(edge, 1):g}" for edge in study.edges), "100"]
    counts = count_groups(study.pieces, study.names)
    rows = "".join(
        f'<tr><th scope="row">{_group_mark(group, study.names)}{escaped(group)}</th><td>{low}–{high}</td>'
        f"<td>{counts[group][0]}</td><td>{counts[group][1]}</td></tr>"
        for group, (low, high) in zip(study.names, pairwise(ends), strict=True)
    )
    heads = "".join(f'<th scope="col">{head}</th>' for head in ("group", "L*", "pieces", "borderline"))
    return (
        "<table><caption>A lightness on an edge belongs to the darker group.</caption>"
        f"<thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
    )


def _thumb_id(study: Study, piece: Piece) -> str:
    return study.anchor(piece).replace("piece", "small")


def _thumbs(study: Study) -> str:
    """The pieces once more, small, for all drawings of the strip to use."""
    small = "".join(
        f'<image id="{_thumb_id(study, piece)}" width="1" height="1" preserveAspectRatio="none" '
        f'href="{jpeg_uri(_thumb(study.cuts[piece.swatch_id]), quality=_CROP_QUALITY)}"/>'
        for piece in study.known if piece.swatch_id in study.cuts
    )
    return f'<svg class="store" aria-hidden="true"><defs>{small}</defs></svg>'


def _thumb(cut: CutOut) -> Pixels:
    """The piece on the middle surround."""
    factor = min(1.0, _THUMB / max(cut.pixels.shape[:2]))
    size = tuple(max(1, round(length * factor)) for length in cut.pixels.shape[1::-1])
    flat = flattened(cut) * (cut.pixels[..., 3:] / 255)
    flat += look.grey_code(look.SURROUNDS["middle"]) * (1 - cut.pixels[..., 3:] / 255)
    return np.asarray(np.round(cv2.resize(flat, size, interpolation=cv2.INTER_AREA)), np.uint8)


def _strip_drawings(study: Study) -> str:
    sizes = {"wide": (1152, 640, 72.0), "medium": (700, 600, 56.0), "narrow": (350, 620, 40.0)}
    places = {piece.swatch_id: _thumb_id(study, piece) for piece in study.known if piece.swatch_id in study.cuts}
    each = ", ".join(f"{piece.swatch_id} {piece.lightness:.0f}" for piece in study.known)
    return "".join(
        drawing_svg(
            draw_strip(
                study.known, study.cuts, study.names, study.edges,
                StripStyle(width, tallest, largest, text=16, gap=4, line=1, surround=look.SURROUNDS["middle"]),
                f"Lightness from dark to light: {each}.",
            ),
            places, f"drawn {kind}",
        )
        for kind, (width, tallest, largest) in sizes.items()
    )


# All pairs.


def pairs(study: Study) -> str:
    """Which pieces go with which; nothing for fewer than two."""
    if study.pairs is None:
        return ""
    drawings = _pairs_drawings(study.pairs, study)
    return section("pairs", study.pairs.finding, paragraph(escaped(study.pairs.how)), drawings)


def _pairs_drawings(pairs: Pairs, study: Study) -> str:
    sizes = {"wide": (1152, 18), "medium": (700, 16), "narrow": (350, 16)}  # the wide one is printed, with its names
    places = {piece.swatch_id: _thumb_id(study, piece) for piece in study.known if piece.swatch_id in study.cuts}
    surround = look.SURROUNDS["middle"]
    return "".join(
        drawing_svg(
            draw_pairs(pairs, study.cuts, PairsStyle(width, 64, text, line=1, surround=surround), pairs.description),
            places, f"drawn pairs {kind}",
        )
        for kind, (width, text) in sizes.items()
    )


# The best stacks.


def stacks(study: Study) -> str:
    """The best stacks the pile allows, drawn; a sentence where it is too small for any."""
    if study.best is None:
        if not 0 < len(study.known) < 3:
            return ""
        return paragraph(f"There is no stack of three to show: {counted(len(study.known), 'piece')} measured.")
    how = f"{study.best.how} Each as it will look, and small in grey; beside the layers their L* and the steps between."
    left_over = [piece for piece in study.known if piece.swatch_id in study.best.choice.left_over]
    return section(
        "stacks", escaped(study.best.finding), paragraph(escaped(how)),
        f'<ol class="stacks" aria-label="Stacks, strongest first">{"".join(map(_stack, study.best.drawn))}</ol>',
        paragraph(escaped(left_words(left_over))),
    )


def _stack(stack: DrawnStack) -> str:
    mat = f'<div class="mat" style="{_ground(stack)}">'
    views = (
        f"{mat}{_view(stack.colour, stack.description)}</div>"
        f'<div class="beside"><strong>{stack.number}</strong><span>weakest<br>{escaped(stack.verdict)}</span>'
        f"{mat}{_view(stack.grey, f'Stack {stack.number} in grey.')}</div></div>"
    )
    layers = "".join(_layer(stack, place) for place in range(len(stack.lines)))
    return f'<li class="stack"><div class="views">{views}</div><ol class="stair">{layers}</ol></li>\n'


def _ground(stack: DrawnStack) -> str:
    """The cloth that a stack is to lie on; where there is none, the page's surround, as for every piece."""
    return f"background:{look.grey_hex(stack.ground)}" if stack.on_background else ""


def _view(pixels: Pixels, alt: str) -> str:
    side = min(_STACK_SIDE, len(pixels))
    small = pixels if side == len(pixels) else cv2.resize(pixels, (side, side), interpolation=cv2.INTER_AREA)
    uri = jpeg_uri(np.asarray(small, np.uint8), quality=_CROP_QUALITY)
    return f'<img src="{uri}" width="{side}" height="{side}" alt="{escaped(alt)}">'


def _layer(stack: DrawnStack, place: int) -> str:
    """A layer's bar, as long as it is light, its name and its L*, and the step up to it from the layer below."""
    words, lightness = stack.lines[place]
    rise = ""
    if place:
        step = step_words(abs(stack.seams[place - 1].step))
        step = f"<strong>{step}</strong>" if place - 1 == stack.weakest else step
        rise = f'<span class="rise"><span class="vh">step of </span>{step}</span>'
    bar = f'<span class="bar"><span style="width:{lightness:.1f}%;background:{look.grey_hex(lightness)}"></span></span>'
    figure = f'<span class="figure"><span class="vh">L* </span>{lightness:.0f}</span>'
    return f"<li>{bar}<span>{name(words)}</span>{figure}{rise}</li>"


# To check.


def to_check(study: Study) -> str:
    """What was flagged, what it means, what to do about it, and which pieces lie between two groups."""
    if not study.pieces:
        return ""
    flags = dict.fromkeys(flag for piece in study.doubtful for flag in piece.flags)
    notes = [*(_flag_note(flag, study) for flag in flags), _unknown_note(study), _borderline_note(study)]
    heading = f"{counted(len(study.doubtful), 'piece')} to check" if study.doubtful else "Nothing to check"
    text = "" if study.doubtful else paragraph("Nothing spoilt the measurement of any piece.")
    return section("check", heading, text, *notes)


def _note(heading: str, text: str, pieces: Sequence[Piece], study: Study) -> str:
    links = items([study.link(piece) for piece in pieces], classes="names")
    return f'<div class="note"><h3>{heading}</h3>{paragraph(text)}{links}</div>'


def _flag_note(flag: str, study: Study) -> str:
    pieces = [piece for piece in study.pieces if flag in piece.flags]
    meaning, remedy = remedy_for(flag)
    text = f"That is, {meaning}. {remedy}" if meaning else "Look at it by eye, and measure it again if in doubt."
    return _note(f"{escaped(flag.capitalize())}: {counted(len(pieces), 'piece')}", text, pieces, study)


def _borderline_note(study: Study) -> str:
    pieces = study.borderline
    if not pieces:
        return ""
    text = (
        "Their lightness is too near an edge to be sure of the group. Use them where either group will do, or settle "
        "it by eye: lay the piece between one that is surely of the one group and one that is surely of the other."
    )
    return _note(f"Between two groups: {counted(len(pieces), 'piece')}", text, pieces, study)


def _unknown_note(study: Study) -> str:
    pieces = [piece for piece in study.pieces if not piece.known]
    if not pieces:
        return ""
    return _note(f"Lightness unknown: {counted(len(pieces), 'piece')}", "Photograph them again.", pieces, study)


# Photographs that could not be used.


def failed(study: Study) -> str:
    if not study.failures:
        return ""
    reasons = "".join(
        f"<div><dt>{name(failure.photo)}</dt><dd>{escaped(failure.reason)}</dd></div>" for failure in study.failures
    )
    heading = f"{counted(len(study.failures), 'photograph')} could not be used"
    return section("failed", heading, f"<dl>{reasons}</dl>")


# How it was measured.


def method(study: Study) -> str:
    terms = "".join(f"<div><dt>{term}</dt><dd>{meaning}</dd></div>" for term, meaning in _method_terms(study))
    return section("method", "How it was measured", f"<dl>{terms}</dl>")


def _method_terms(study: Study) -> list[tuple[str, str]]:
    sigmas = [piece.sigma for piece in study.pieces if math.isfinite(piece.sigma)]
    typical = f" Half of these pieces are known to ± {np.median(sigmas):.1f} or better." if sigmas else ""
    return [
        ("Lightness L*",
         "From 0, black, to 100, white (CIE 1976, daylight D65). The light that a whole piece sends back is averaged, "
         "its rim of bare ground included, and then turned into lightness; so a piece of fine dark and light marks "
         "gets the lightness it has from across the room."),
        ("± standard uncertainty",
         "The true lightness lies within it about two times in three, and within twice as much nineteen times in "
         "twenty." + typical),
        ("Measured against", _reference_term(study)),
        ("Munsell value",
         "What painters call value, from 0 to 10 (ASTM D1535); a step of it is about ten of L*."),
        ("Group",
         f"By lightness: {escaped(breaks_words(study.breaks))}. A piece is borderline where no group is at least 80 % "
         "likely."),
        ("Looks, as in “looks 52–56”",
         "A vivid colour looks lighter than its L*. Where that may be half a step of value or more, the range is "
         "given. How clearly an edge between two pieces shows still follows L* itself."),
    ]


def _reference_term(study: Study) -> str:
    used = [reference for reference in dict.fromkeys(piece.reference for piece in study.pieces) if reference]
    if not used:
        return "The table does not say."
    plain = [reference_words(reference) for reference in used]
    text = f"{listed(plain)} in the photograph, and the evenness of the board round the pieces."
    if used == ["none"]:
        text = "nothing grey: no reference was found, so the lightness is rough."
    elif "none" in used:
        text = text.removesuffix(".") + "; where nothing grey was found, the lightness is rough."
    return escaped(text[0].upper() + text[1:])


