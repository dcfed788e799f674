"""
The peer: what a person who knows scikit-image writes in an afternoon, as well as that can be done.

Grey card to one gain a channel in linear light, colour difference from the board, Otsu's threshold, cleaned up,
regions and their mean L*. It is told where the card lies, which the package has to find out.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SMALLEST = 0.0008  # of the frame; what is smaller is no piece


def measure(
    path: Path, card: NDArray[np.float64], card_lightness: float
) -> tuple[list[NDArray[np.float64]], list[float]]:
    """
    Return outline and lightness of each piece in a photograph.

    Parameters
    ----------
    path : the photograph
    card : row, col corners of the card, pixels
    card_lightness : its true L*
    """
    import numpy as np
    from scipy.ndimage import binary_fill_holes
    from skimage.color import rgb2lab
    from skimage.draw import polygon
    from skimage.filters import threshold_otsu
    from skimage.io import imread
    from skimage.measure import label, regionprops
    from skimage.morphology import disk, opening

    codes = imread(path)[..., :3].astype(np.float32) / 255
    linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    middle = card.mean(axis=0)
    inside, around = (polygon(*((card - middle) * size + middle).T, codes.shape[:2]) for size in (0.8, 1.1))
    linear *= ((card_lightness + 16) / 116) ** 3 / linear[inside].mean(axis=0)
    linear = linear.clip(0, 1)
    lab = rgb2lab(np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055))

    edge = len(lab) // 40
    board = np.median(np.concatenate([lab[:edge].reshape(-1, 3), lab[-edge:].reshape(-1, 3)]), axis=0)
    difference = np.linalg.norm(lab - board, axis=2)
    mask = opening(difference > threshold_otsu(difference), disk(3))
    mask = binary_fill_holes(mask)
    mask[around] = False

    regions = [region for region in regionprops(label(mask), lab[..., 0]) if region.area > SMALLEST * mask.size]
    return [_outline(region) for region in regions], [float(region.intensity_mean) for region in regions]


def _outline(region: Any) -> NDArray[np.float64]:
    import numpy as np
    from skimage.measure import approximate_polygon, find_contours

    contour = max(find_contours(np.pad(region.image, 1).astype(float), 0.5), key=len)
    return np.asarray(approximate_polygon(contour, 2.0) - 1 + region.bbox[:2])
