"""
Render the demo scenario again: three photographs of an invented pile, their truth table and their cards.

    python data/render_demo.py

The same library versions give the same files, bit for bit; the versions used are written into the card.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path

import pandas as pd

from contrastkit.camera.synthetic import SCALE_LIGHTNESS, Scene, SceneSpec, render_scene, save_scene

HERE = Path(__file__).parent / "thistlewick"

# Rows of contrastkit.camera.synthetic.paint_reflectances(); the names are the invented studio's own.
PAINTS = {
    2: "chalk pearl", 10: "soot", 20: "shell pink", 46: "burnt kiln", 49: "fox", 56: "amber sheen", 62: "straw glow",
    70: "old gold", 104: "deep fir", 115: "sea glass", 118: "verdigris", 134: "midnight tide", 136: "frost",
    141: "heron", 160: "dusk violet", 177: "damson", 178: "foxglove",
}  # fmt: skip
GROUNDS = {
    -1: "undyed", 16: "blush cotton", 38: "madder cotton", 45: "terracotta cotton", 60: "ochre cotton",
    88: "moss cotton", 113: "bottle cotton", 116: "teal cotton", 131: "sky cotton", 144: "slate cotton",
    155: "lilac cotton", 173: "mauve cotton",
}  # fmt: skip

COMMON = SceneSpec(
    paints=tuple(PAINTS),
    grounds=tuple(row for row in GROUNDS if row >= 0),
    pearly=0.7,
    undyed=0.3,
    side=(0.08, 0.15),
    undulation=0.025,
    noise=0.0025,
    quality=88,
)


def demo_specs() -> dict[str, tuple[SceneSpec, str, str]]:
    """Return, for each photograph, what to render, when it was (not really) taken, and a line about it."""
    return {
        "morning-card": (
            replace(COMMON, seed=25, backing="white", reference="card", illuminant="D65", pieces=16, rim=0.035,
                    shapes=("square", "square", "triangle"), gradient=0.2, vignetting=0.2, perspective=0.02,
                    exposure=0.86, shadows=0.4, clutter=("thread",)),
            "2024:03:09 10:12:00",
            "White board by the north window, one 18 % grey card, daylight falling off across the board.",
        ),
        "evening-scale": (
            replace(COMMON, seed=54, backing="grey", reference="scale", illuminant="LED-B3", pieces=16, rim=0.05,
                    shapes=("square", "triangle", "rectangle"), gradient=0.18, vignetting=0.25, perspective=0.025,
                    exposure=0.8, shadows=0.4, tone="phone", white_balance=0.06, clutter=("ruler", "thread")),
            "2024:03:09 19:40:00",
            "Grey board under an LED lamp, six-step grey scale, a ruler; a phone's contrast curve and saturation.",
        ),
        "noon-chart": (
            replace(COMMON, seed=22, backing="black", reference="chart", illuminant="D50",
                    camera="Sigma SDMerill (NPL)", pieces=14, rim=0.03, shapes=("square", "triangle"), gradient=0.1,
                    vignetting=0.3, perspective=0.015, exposure=0.9, shadows=0.3, white_balance=0.03),
            "2024:03:10 12:25:00",
            "Black board at noon, 24-patch chart, a second camera.",
        ),
    }  # fmt: skip


def main() -> None:
    """Write photographs, truth table and cards."""
    (HERE / "photos").mkdir(parents=True, exist_ok=True)
    tables: list[pd.DataFrame] = []
    cards: list[str] = []
    for name, (spec, taken, about) in demo_specs().items():
        scene = render_scene(spec)
        path = HERE / "photos" / f"{name}.jpg"
        save_scene(scene, path, taken=taken)
        tables.append(named_truth(scene, path.name, start=1 + sum(len(table) for table in tables)))
        cards.append(photo_card(scene, path, taken, about))
    pd.concat(tables).to_csv(HERE / "truth.csv", index=False, float_format="%.3f", lineterminator="\n")
    count = sum(len(table) for table in tables)
    text = SET_CARD.format(count=count, photos="\n".join(cards), versions=versions())
    (HERE / "card.md").write_text(text, encoding="utf-8")


def named_truth(scene: Scene, photo: str, *, start: int) -> pd.DataFrame:
    """Return the truth of one photograph with the studio's names for pieces, cotton and paints."""
    truth = scene.truth.copy()
    truth["swatch_id"] = [f"T{number:02d}" for number in range(start, start + len(truth))]
    truth["ground"] = truth["ground"].map(GROUNDS)
    truth["paints"] = [" + ".join(PAINTS[row] for row in json.loads(rows)) for rows in truth["paints"]]
    truth.insert(1, "photo", photo)
    return truth


def photo_card(scene: Scene, path: Path, taken: str, about: str) -> str:
    """Return the paragraph of the card that describes one photograph."""
    spec = scene.spec
    counts = scene.truth["group"].value_counts()
    groups = ", ".join(f"{counts.get(group, 0)} {group}" for group in ("dark", "medium", "light"))
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    return (
        f"### {path.name}\n\n{about}\n\n"
        f"- {len(scene.truth)} pieces: {groups} (edges at L* 40 and 70)\n"
        f"- light {spec.illuminant}, camera {spec.camera}, tone {spec.tone}, exposure {spec.exposure}\n"
        f"- light field: {spec.gradient:.0%} across, {spec.vignetting:.0%} lost in the corners; "
        f"perspective {spec.perspective:.1%}; gains off by up to {spec.white_balance:.0%}\n"
        f"- reference corners [row, col], clockwise: {json.dumps(scene.reference_outline)}\n"
        f"- date in the file (invented): {taken}\n"
        f"- sha256 `{digest}`\n"
    )


def versions() -> str:
    """Return the libraries the bits depend on."""
    names = ("numpy", "opencv-python-headless", "pillow", "colour-science", "pandas")
    return ", ".join(f"{name} {version(name)}" for name in names)


SET_CARD = f"""# Thistlewick: a painted pile

An invented studio's pile: one Saturday and Sunday of painting over relief plates, cut and photographed three times.
Nothing in it is real: no person, place, product or photograph. It exists to try the software on, and because the
whole truth about it is known.

**What.** Three photographs of 4000 x 3000 pixels in `photos/`, {{count}} pieces in all. `truth.csv` has one row
a piece: `swatch_id` (the studio's own), `photo`, `outline` ([row, col] corners, clockwise, full-resolution pixels),
`lightness` (CIE L* of the linear-light mean of all that shows, rim included), `lightness_paint`, `lightness_ground`,
`coverage` (share of the area inside the rim that is painted), `lightness_rim`, `group`, `shape`, `motif`, `ground`
and `paints`. Empty cells: no such part.

**How made.** `python data/render_demo.py`. Each pixel is worked out from spectra: measured reflectances, CIE
illuminants and measured camera sensitivities, all as they come with colour-science. Truth is luminance under the same
light with the CIE 1931 2 degree observer, relative to the perfect diffuser. The card is 18 % everywhere in the
spectrum; the scale's steps are L* {", ".join(f"{step:g}" for step in SCALE_LIGHTNESS)}; the chart has the 24 patches
named "BabelColor Average" there.

**Not like life.** Cloth is nearly flat and does not curl; sheen does not depend on where one stands; the camera does
not sharpen, nor treat parts of the picture differently.

**What goes with them.** `plan.toml` is an invented project, `class.toml` an invented class, and `orders.csv` what its
invented learners sorted by eye.

**Licence.** BSD-3-Clause, as the project; the photographs and the table also under CC0 1.0.

**Bits.** Made with {{versions}}.
Other versions give the same scene with other last bits.

## Photographs

{{photos}}"""

if __name__ == "__main__":
    main()
