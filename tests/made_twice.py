"""The same pieces photographed twice, and other prints of the same plates: boards for telling pieces apart."""

from __future__ import annotations

import json
import zlib
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
from made_scenes import FRAME, matched, outlines_of, photo_of

from contrastkit.camera import synthetic
from contrastkit.camera.measure import measure_things
from contrastkit.camera.pipeline import PhotoResult, _is_piece, find
from contrastkit.camera.reference import calibrate, parse_reference
from contrastkit.show.study import piece_crops

PAINTS = (2, 10, 20, 46, 49, 56, 62, 70, 104, 115, 118, 134, 136, 141, 160, 177, 178)
GROUNDS = (16, 38, 45, 60, 88, 113, 116, 131, 144, 155, 173)
BOARD = synthetic.SceneSpec(
    size=FRAME, pieces=12, shapes=("square", "square", "triangle", "rectangle"), side=(0.07, 0.12), paints=PAINTS,
    grounds=GROUNDS, pearly=0.7, low_contrast=0.05, backing="grey",
)  # fmt: skip
CONDITIONS = (
    {"illuminant": "D65", "reference": "card"},
    {"illuminant": "LED-B3", "reference": "scale", "tone": "phone", "white_balance": 0.06},
    {"illuminant": "D50", "reference": "chart", "camera": "Sigma SDMerill (NPL)", "white_balance": 0.03},
    {"illuminant": "D65", "reference": "card", "backing": "black", "tone": "phone", "exposure": 0.7},
)
REFERENCES = {"card": "card", "scale": "scale=95.5,81,66,50.5,35.5,20.5", "chart": "chart"}


def first_board(seed):
    """A board of twelve pieces, photographed under one of four conditions."""
    with _plates():
        return synthetic.render_scene(_first(seed))


def same_board(seed):
    """The pieces of `first_board` laid out anew, photographed under the next condition."""
    return _again(seed, number=1, rubbed_anew=False)


def sister_board(seed):
    """Prints of the same plates, on the same cloth, in the same paints, rubbed anew: no piece of `first_board`."""
    return _again(seed, number=2, rubbed_anew=True)


def measured(scene, name):
    """The photograph measured, its pieces' crops, and the true number of each piece found, by swatch_id."""
    photo = photo_of(scene.codes, name=name)
    calibration, others = calibrate(photo, find(photo), parse_reference(REFERENCES[scene.spec.reference]), at=None)
    things = tuple(thing for thing in others if _is_piece(thing))
    result = PhotoResult(photo, calibration, measure_things(photo, calibration, things), 0)
    truth = [np.array(json.loads(outline)) for outline in scene.truth["outline"]]
    found, shares = matched(truth, outlines_of(result.table))
    ids = result.table["swatch_id"]
    numbers = {ids[i]: number for number, (i, share) in enumerate(zip(found, shares, strict=True)) if share > 0.7}
    return result, piece_crops(result), numbers


def _first(seed):
    return replace(BOARD, seed=seed, **CONDITIONS[seed % 4])


def _again(seed, *, number, rubbed_anew):
    condition = CONDITIONS[(seed + number + seed // 4 % 2) % 4]
    spec = replace(BOARD, seed=seed + 1000 * number, perspective=0.03, gradient=0.25, **condition)
    with _plates(), _pieces_of(_first(seed), seed + number, rubbed_anew):
        return synthetic.render_scene(spec)


@contextmanager
def _plates():
    """Every plate's relief depends on its motif and size alone, and not on what is printed from it."""
    relief = synthetic._relief

    def of_plate(motif, rng, shape, side):
        return relief(motif, np.random.default_rng([zlib.crc32(motif.encode()), int(side * 7)]), shape, side)

    synthetic._relief = of_plate
    try:
        yield
    finally:
        synthetic._relief = relief


@contextmanager
def _pieces_of(first, seed, rubbed_anew):
    """Scenes show the pieces of another, elsewhere on the board; what is random of a piece is as it was, or new."""
    lay, stream = synthetic._lay_pieces, synthetic._stream

    def own_stream(spec, name):
        if not name.startswith("piece-"):
            return stream(spec, name)
        extra = [7] if rubbed_anew else []
        return np.random.default_rng([first.seed, zlib.crc32(name.encode()), *extra])

    synthetic._lay_pieces = lambda spec, board, projector, level, rng: _laid_anew(
        _pieces(first, lay, stream), board, projector, np.random.default_rng(seed), spec
    )
    synthetic._stream = own_stream
    try:
        yield
    finally:
        synthetic._lay_pieces, synthetic._stream = lay, stream


def _pieces(spec, lay, stream):
    """The pieces of a spec, as its own photograph shows them."""
    board = synthetic._Board(spec.size, (0.012 + spec.perspective) * max(spec.size))
    projector = synthetic._projector(spec.illuminant, spec.camera)
    synthetic._lay_reference(spec, board, stream(spec, "reference"))
    level = synthetic._board_level(spec.backing, stream(spec, "board"))
    return lay(spec, board, projector, level, stream(spec, "pieces"))


def _laid_anew(pieces, board, projector, rng, spec):
    """The pieces in the same order, each somewhere else, turned, and in the light of this photograph."""
    placed = {}
    for index in sorted(range(len(pieces)), key=lambda i: -pieces[i].side):
        piece = pieces[index]
        polygon, turn = _free(piece, board, rng, spec)
        board.take(polygon)
        reflectances = synthetic.paint_reflectances()
        ground = reflectances[piece.ground_row] @ projector if piece.ground_row >= 0 else piece.ground
        placed[index] = replace(
            piece, polygon=polygon, turn=piece.turn + turn, ground=ground,
            paints=reflectances[list(piece.paint_rows)] @ projector,
        )  # fmt: skip
    return [placed[index] for index in range(len(pieces))]


def _free(piece, board, rng, spec):
    middle = piece.polygon.mean(axis=0)
    for _ in range(20_000):
        turn = float(rng.uniform(0, 2 * np.pi))
        polygon = synthetic._turned(piece.polygon - middle, turn) + rng.random(2) * spec.size
        if board.room_round(polygon) > 0.015 * max(spec.size):
            return polygon, turn
    raise AssertionError("the board has no room: choose another seed")
