"""What the Stack panel says of stacks: plain values that its page draws, and words. No widgets here."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from contrastkit.compose.groups import Breaks
from contrastkit.compose.seams import AMBIGUOUS, VERDICTS, Seam, Surface, metres, verdict_word
from contrastkit.compose.stacks import Remedy, StackScore
from contrastkit.lengths import length_words
from contrastkit.panels.laying import Judged, Laying
from contrastkit.show.look import grey_hex
from contrastkit.show.stack import finding
from contrastkit.show.views import Viewing, size_from_afar, view_named

LETTERS = "ABCD"
MOST_OFFERED = 12  # pieces that are offered for one layer
_ORDINALS = ("second", "third", "fourth", "fifth", "sixth", "seventh")
_PER_MM = 96 / 25.4  # a web page's pixels to a millimetre, as web pages count
_SMALL_FROM = 0.6  # of a picture's side: a small picture that is larger tells nothing more

Plain = dict[str, Any]


def stack_told(number: int, laying: Laying, judged: Judged, breaks: Breaks) -> Plain:
    """Return all that a page shows of a stack beside its picture, as plain values."""
    score = judged.score
    return {
        "letter": LETTERS[number],
        "layers": [_layer_told(place, judged, breaks) for place in range(len(judged.layers))],
        "finding": finding_words(judged),
        "sentences": list(score.sentences) if score else [],
        "points": f"{score.points:.0f} of 100 points" if score else "",
        "sizes": sizes_words(judged.sides),
        "stairs": stairs_told(judged, laying),
        "alt": alt_words(number, laying, judged, breaks),
    }


def finding_words(judged: Judged) -> str:
    """
    Return the weakest seam of a stack and what it comes to, or what is to be done next.

    >>> finding_words(Judged(()))
    'Tap a piece: it becomes the bottom layer.'
    """
    if judged.problem:
        return judged.problem
    if judged.score is not None:
        return finding(judged.score)
    if not judged.layers:
        return "Tap a piece: it becomes the bottom layer."
    return f"{judged.layers[0].swatch_id} lies at the bottom. Tap the piece to lay on it."


def layer_role(place: int, count: int) -> str:
    """
    Return what a layer is in its stack, counted from the bottom, 0.

    >>> [layer_role(place, 3) for place in range(3)]
    ['bottom', 'middle', 'top']
    """
    if place in (0, count - 1):
        return "top" if place else "bottom"
    return "middle" if count == 3 else _ORDINALS[place - 1]


def _layer_told(place: int, judged: Judged, breaks: Breaks) -> Plain:
    surface = judged.layers[place]
    seam = _seam_under(place, judged)
    return {
        "name": surface.swatch_id,
        "role": layer_role(place, len(judged.layers)),
        "level": lightness_words(surface),
        "group": str(breaks.assign([surface.lightness])[0]),
        "step": step_words(seam) if seam else "",
        "weakest": bool(seam is not None and judged.score is not None and seam is judged.score.weakest),
    }


def _seam_under(place: int, judged: Judged) -> Seam | None:
    if judged.score is None:
        return None
    number = place - (judged.score.stack.background is None)
    return judged.score.seams[number] if number >= 0 else None


def step_words(seam: Seam) -> str:
    """
    Return a step in words, with what takes from it.

    >>> from contrastkit.compose.seams import judge_seam
    >>> step_words(judge_seam(Surface("a", 80, 1), Surface("b", 56, 1)))
    '24 L* darker, surely clear'
    """
    way = "lighter" if seam.step >= 0 else "darker"
    told = f"{abs(seam.step):.0f} L* {way}, {'surely ' if _is_sure(seam) else ''}{seam.verdict}"
    if round(seam.weakest if seam.weakest < seam.separation else seam.separation) >= round(abs(seam.step)):
        return told
    if seam.weakest < seam.separation:
        return f"{told}; down to {max(seam.weakest, 0):.0f} in places"
    return told if seam.ambiguous else f"{told}; {seam.separation:.0f} of it, for its colours"


def _is_sure(seam: Seam) -> bool:
    if seam.verdict in (AMBIGUOUS, VERDICTS[0].word) or math.isnan(seam.sure_step):
        return False
    return verdict_word(min(seam.sure_step, seam.separation)) == seam.verdict


def lightness_words(surface: Surface) -> str:
    """
    Return how light a surface is, with its uncertainty where that is known.

    >>> lightness_words(Surface("a", 54.4, 0.2))
    '54 ± 1'
    """
    sigma = f" ± {max(1, round(surface.sigma))}" if math.isfinite(surface.sigma) else ""
    return f"{surface.lightness:.0f}{sigma}"


def sizes_words(sides: Sequence[float]) -> str:
    """
    Return cut sides in inches, bottom first.

    >>> sizes_words([92.075, 66.675])
    '3 5/8, 2 5/8 in'
    """
    return ", ".join(length_words(side, "in").removesuffix(" in") for side in sides) + (" in" if sides else "")


def alt_words(number: int, laying: Laying, judged: Judged, breaks: Breaks) -> str:
    """Return what the picture of a stack shows, for who cannot see it."""
    letter = LETTERS[number]
    if not judged.layers:
        return f"Stack {letter}: nothing lies on it yet."
    view = view_named(laying.view).words(Viewing(1.0, laying.distance_mm, breaks))
    layers = "; ".join(
        f"{layer_role(place, len(judged.layers))} {surface.swatch_id}, L* {surface.lightness:.0f}"
        for place, surface in enumerate(judged.layers)
    )
    end = f" {finding(judged.score)}." if judged.score else ""
    return f"Stack {letter} {view}, from {metres(laying.distance_mm)}: {layers}.{end}"


def small_size(size_mm: float, distance_mm: float, side: int) -> int:
    """
    Return how many of a web page's pixels wide something looks from a distance on a page at arm's length.

    0 where that is hardly smaller than its picture.

    >>> small_size(100, 3000, 400), small_size(100, 600, 400)
    (76, 0)
    """
    wide = round(size_from_afar(size_mm, distance_mm) * _PER_MM)
    return wide if wide <= _SMALL_FROM * side else 0


# --- the staircase ----------------------------------------------------------------------------------------------------


def stairs_told(judged: Judged, laying: Laying) -> Plain:
    """Return the numbers of a staircase of value: treads from the furthest back up, and the steps between them."""
    score = judged.score
    back = [score.stack.background] if score and score.stack.background else []
    found = [*back, *judged.layers]
    roles = ["background"] * len(back) + [layer_role(place, len(judged.layers)) for place in range(len(judged.layers))]
    return {
        "treads": [
            {"level": surface.lightness, "grey": grey_hex(min(surface.lightness, 100)), "role": what}
            for surface, what in zip(found, roles, strict=True)
        ],
        "seams": [
            _seam_told(seam, found[place + 1], laying, weakest=score is not None and seam is score.weakest)
            for place, seam in enumerate(score.seams if score else ())
        ],
    }


def _seam_told(seam: Seam, above: Surface, laying: Laying, *, weakest: bool) -> Plain:
    rim = above.rim if laying.rim_mm > 0 and math.isfinite(above.rim) else None
    return {
        "low": seam.lightness_below, "high": seam.lightness_above, "step": f"{abs(seam.step):.0f}",
        "verdict": seam.verdict, "sigma": seam.sigma if seam.sigma > 0 else 0.0,
        "weakest": weakest,
        "rim": rim, "rim_grey": grey_hex(min(max(rim, 0), 100)) if rim is not None else "",
    }  # fmt: skip


# --- better -----------------------------------------------------------------------------------------------------------


def better_told(number: int, mended: StackScore | None, levels: dict[str, float]) -> Plain:
    """
    Return what would mend a stack: a sentence and the pieces for each layer, best first.

    Parameters
    ----------
    number : of the stack
    mended : the stack judged with the pile; None where there is nothing to judge
    levels : L* of all pieces
    """
    letter = LETTERS[number]
    if mended is None:
        return {"head": f"Better in stack {letter}", "words": ["Lay two pieces first."], "remedies": []}
    own = {remedy.sentence for remedy in mended.remedies if remedy.swatch_ids}
    told = [sentence for sentence in mended.sentences[len(mended.seams) :] if sentence not in own]
    count = len(mended.stack.layers)
    return {
        "head": f"Better in stack {letter}",
        "words": told,
        "remedies": [_remedy_told(remedy, count, levels) for remedy in mended.remedies if remedy.swatch_ids],
    }


def _remedy_told(remedy: Remedy, count: int, levels: dict[str, float]) -> Plain:
    best = remedy.swatch_ids[:MOST_OFFERED]
    more = len(remedy.swatch_ids) - len(best)
    what = remedy.sentence.partition(":")[0]  # no name stands before it
    does = (
        "any of these is enough, the best first" if remedy.enough
        else f"these help, but are not enough: the weakest seam is then {remedy.worst_step:.0f} L* at best"
    )  # fmt: skip
    return {
        "layer": remedy.layer,
        "role": layer_role(remedy.layer, count),
        "words": f"{what}: {does}{f' ({more} more in the pile)' if more else ''}.",
        "pieces": [{"name": name, "level": f"{levels[name]:.0f}"} for name in best],
    }
