"""Photos of the reference card: one fit of lens, pose, card and what they leave open."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from trimgeo.errors import JobError
from trimgeo.model.card import CARDS
from trimgeo.model.lens import BrownLens
from trimgeo.model.planemap import PlaneMap
from trimgeo.scale.adjustment import Adjusted, Sheet, Sight, adjusted
from trimgeo.scale.bend import LOWEST, usual
from trimgeo.scale.bending import bend_asked_for, without_sides
from trimgeo.scale.camera import CAMERA, FOCAL, first_camera
from trimgeo.scale.causes import told_causes, told_note
from trimgeo.scale.face import Face, Height, face_map
from trimgeo.scale.lengths import with_lengths
from trimgeo.scale.limits import (
    CALIPER,
    CARD_FLAT,
    CARD_HEIGHT,
    CARD_RESETTLES,
    CENTRE_CROPPED,
    CENTRE_SHARE,
    CENTRE_UNTOLD,
    DECENTRING,
    FAR_OFF,
    FEW_CORNERS,
    FOCAL_GUESS,
    FOCAL_TOLD,
    FOCAL_UNTOLD,
    FRAME_ROUNDING,
    FRAMES,
    MOST_SPREAD,
    PIXEL_SHAPE,
    RADIAL_TERMS,
    UNEQUAL_SCALE,
    UNKNOWN_SCALE,
)
from trimgeo.scale.registration import wandering
from trimgeo.tables import BAR, COVERAGE_FACTOR

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

_FRAME_DIAGONAL = float(np.hypot(36.0, 24.0))
"""Diagonal, mm, of the frame that 35 mm equivalents refer to (CIPA DCG-001, from memory)."""

_STILL = 1e-6
_CONTRADICTED = 3.0

_HALVES = ((0.0, 0.0), (0.5, 0.0), (-0.5, 0.0), (0.0, 0.5), (0.0, -0.5))
"""Where the camera's middle lies, in pictures off the middle: nothing cut away, or the half on that side."""

_CROPPED = 1.05
"""A whole picture is taken for cut where its corners fit worse by this factor than those of a cut one."""


def _no_checks() -> tuple[Floats, Floats]:
    return np.zeros((0, 2, 2)), np.zeros(0)


@dataclass(frozen=True, eq=False)
class CardShot:
    """What a photo shows of a card.

    Corners ``ids`` (n,) at ``pixels`` (n, 2), each known to ``sigma`` (n,) px;
    ``size`` (columns, rows) of the picture; ``height`` of the shown face
    above the card, mm, or three of ((pixel), mm); ``bars`` the card's 100 mm bars as measured;
    ``focal_35mm`` and ``taken_by`` what the file says of the camera; ``mirrored`` where the bottom face is
    shown; ``checks`` ends (k, 2, 2) px and lengths (k,) mm known by caliper.
    """

    ids: Ints
    pixels: Floats
    sigma: Floats
    size: tuple[int, int]
    paper: str
    height: Height
    bars: tuple[float, float] | None = None
    focal_35mm: float | None = None
    taken_by: str | None = None
    mirrored: bool = False
    checks: tuple[Floats, Floats] = field(default_factory=_no_checks)


@dataclass(frozen=True, eq=False)
class CardFit:
    """A fitted photo.

    ``to_card`` takes pixels to mm of the shown face, at true scale, x along the card's; ``residuals`` (n, 2)
    are corners as seen less as fitted, px, ``residuals_mm`` the same on the card; ``corners`` is how many
    count.  ``slopes`` (17, p) are d(what the map's covariance is of)/d(parameters of the whole adjustment),
    with those of its own height left out; ``covariance`` (p, p) is that of the parameters, one for all
    photos of a fit; ``bent`` (p, p) is what the bend of its card adds for this photo.
    """

    to_card: PlaneMap
    residuals: Floats
    residuals_mm: Floats
    focal_px: float
    corners: int
    note: str
    warnings: tuple[str, ...]
    slopes: Floats
    covariance: Floats
    bent: Floats


def fit_cards(shots: Sequence[CardShot], where: Sequence[str]) -> tuple[CardFit, ...]:
    """All photos of cards of a job in one adjustment; ``where`` names each for messages.

    Lens (two radial terms, and what little a phone has besides), principal point, focal length and pose
    of each photo, scale and bend of each card, heights: every one a parameter, either told by the corners
    or held by its prior (`limits`), so that the covariance has what the corners leave open (Bayesian
    bundle adjustment; Hartley and Zisserman, Multiple View Geometry, 2nd ed., A6; JCGM 101 for priors as
    knowledge).  Photos by one camera share their radial terms, photos of one card (same bars) its scale
    and bend.  How far a card may be bent is itself judged by evidence: see `bending`.

    Raises `trimgeo.JobError` where the corners determine nothing.

    >>> from trimgeo.model.card import CARDS
    >>> ids = CARDS["A4"].corner_ids
    >>> at = CARDS["A4"].corners(ids)
    >>> pixels = np.array([150.0, 3100.0]) + at * [10.0, -10.0]  # from straight above, 10 pixels per mm
    >>> sigma, size = np.full(len(ids), 0.1), (2400, 3200)
    >>> shot = CardShot(ids, pixels, sigma, size, "A4", 0.0, bars=(100.0, 100.0))
    >>> (fit,) = fit_cards([shot], ["photo"])
    >>> fit.to_card.to_mm([[1150.0, 2100.0]]).round(2), len(fit.warnings)  # a tilted photo is advised
    (array([[100., 100.]]), 1)
    """
    for shot, place in zip(shots, where, strict=True):
        _refuse_undetermined(shot, place)
    sheets, sights = _known(shots)
    fit = _fitted(sheets, sights)
    doubted = _contradicted(fit, shots)
    if doubted:
        fit = _fitted_anew(shots, sheets, sights, doubted)
    extra = without_sides(fit)
    faces = [_face(shot) for shot in shots]
    for v, shot in enumerate(shots):
        if shot.bars is None and len(shot.checks[1]):
            fit = with_lengths(fit, v, faces[v], *shot.checks)
    told = [
        _told(fit, v, shot, faces[v], extra[v], v in doubted, place)
        for v, (shot, place) in enumerate(zip(shots, where, strict=True))
    ]
    return tuple(_with_gain(one, v, fit, shots, where) for v, one in enumerate(told))


def _with_gain(
    one: CardFit, v: int, fit: Adjusted, shots: Sequence[CardShot], where: Sequence[str]
) -> CardFit:
    """The fit with a note of what the other photos of its camera or card gave it."""
    own = fit.sights[v]
    by_maker = sum(sight.maker == own.maker for sight in fit.sights) - 1
    by_sheet = sum(sight.sheet == own.sheet for sight in fit.sights) - 1
    if not by_maker and not by_sheet:
        return one
    (alone,) = fit_cards([shots[v]], [where[v]])
    left, low, right, high = CARDS[shots[v].paper].middle
    sign = -1 if shots[v].mirrored else 1
    at = np.array([[sign * x, y] for x in (left, right) for y in (low, high)]) * print_scale(shots[v])
    with_others, by_itself = (
        float(found.to_card.standard_uncertainty(found.to_card.to_pixels(at)).max()) for found in (one, alone)
    )
    shared = " and ".join(
        [f"the lens with {by_maker}"] * (by_maker > 0) + [f"the card with {by_sheet}"] * (by_sheet > 0)
    )
    gain = (
        f"; it shares {shared} other photo{'s' if max(by_maker, by_sheet) > 1 else ''}: standard uncertainty "
        f"{with_others:.3f} mm, {by_itself:.3f} mm by itself"
    )
    return replace(one, note=one.note + gain)


def _fitted(sheets: list[Sheet], sights: list[Sight]) -> Adjusted:
    bent = bend_asked_for(sheets, sights)
    return adjusted(bent.sheets, sights, bent)


def _face(shot: CardShot) -> Face:
    return Face(shot.height, -np.array(CARDS[shot.paper].size) / 2, shot.mirrored, shot.size)


def _known(shots: Sequence[CardShot]) -> tuple[list[Sheet], list[Sight]]:
    """Sheets and sights with what is known of each beforehand."""
    sheet_keys: list[object] = [
        ("apart", v) if shot.bars is None else (shot.paper, shot.bars) for v, shot in enumerate(shots)
    ]
    maker_keys: list[object] = [
        ("apart", v) if shot.taken_by is None else (shot.taken_by, shot.size) for v, shot in enumerate(shots)
    ]
    sheet_order, maker_order = list(dict.fromkeys(sheet_keys)), list(dict.fromkeys(maker_keys))
    told = [shots[sheet_keys.index(key)] for key in sheet_order]
    sheets = [
        _sheet(shot, *_bars_of(shot, told), several=sheet_keys.count(key) > 1)
        for shot, key in zip(told, sheet_order, strict=True)
    ]
    sights = [
        _sight(shot, sheet_order.index(sheet), maker_order.index(maker), sheets[sheet_order.index(sheet)])
        for shot, sheet, maker in zip(shots, sheet_keys, maker_keys, strict=True)
    ]
    return sheets, sights


def _bars_of(shot: CardShot, shots: Sequence[CardShot]) -> tuple[Floats, float]:
    """The bars of a photo's card, shape (2,), mm, by all readings of what may be the same print.

    Different readings of cards of one paper that agree within what two readings by caliper differ by are
    taken together: their mean, whose standard uncertainty is that of one over the root of their number, or
    what they scatter by themselves where that is more (GUM 4.2): they may be two prints of one printer.
    """
    if shot.bars is None:
        return np.array([BAR, BAR]), CALIPER
    own = np.array(shot.bars)
    every = np.array([each.bars for each in shots if each.paper == shot.paper and each.bars is not None])
    alike = every[(np.abs(every - own) <= COVERAGE_FACTOR * CALIPER * np.sqrt(2)).all(axis=1)]
    scatter = 0.0 if len(alike) == 1 else float(np.sqrt(alike.var(axis=0, ddof=1).mean()))
    return alike.mean(axis=0), max(CALIPER, scatter) / float(np.sqrt(len(alike)))


def print_scale(shot: CardShot) -> Floats:
    """True / nominal length of a card by its bars, shape (2,); 1 where nobody measured them."""
    return np.ones(2) if shot.bars is None else np.array(shot.bars) / BAR


def _sheet(shot: CardShot, bars: Floats, caliper: float, *, several: bool) -> Sheet:
    """A card whose bars measure ``bars``, shape (2,), mm, each known to ``caliper``."""
    x, y = bars / BAR
    each = caliper / BAR / np.sqrt(2)
    known = (UNKNOWN_SCALE, UNEQUAL_SCALE / 2) if shot.bars is None else (each, each)
    return Sheet(
        half=np.array(CARDS[shot.paper].size) / 2,
        scale=np.array([(x + y) / 2, (x - y) / 2]),
        scale_known=np.array(known),
        bend_known=CARD_FLAT * usual(),
        own_bend=np.full(LOWEST, CARD_RESETTLES if several else _STILL),
    )


def _sight(
    shot: CardShot, sheet: int, maker: int, card: Sheet, cut: tuple[float, float] = (0.0, 0.0)
) -> Sight:
    """What is known beforehand of a photo whose camera's middle lies ``cut``, in pictures, off its own."""
    diagonal = float(np.hypot(*shot.size))
    told = shot.focal_35mm
    focal = (FOCAL_GUESS if told is None else told) / _FRAME_DIAGONAL * diagonal
    middle = ((shot.size[0] - 1) * (0.5 + cut[0]), (shot.size[1] - 1) * (0.5 + cut[1]))
    lens = BrownLens(middle, focal, 0.0, 0.0, 0.0, 0.0, 0.0)
    at = CARDS[shot.paper].corners(shot.ids) - card.half
    known = np.full(CAMERA, np.inf)
    whole = _is_whole(shot.size)
    known[:2] = (CENTRE_CROPPED if not whole else CENTRE_UNTOLD if told is None else CENTRE_SHARE) * diagonal
    known[FOCAL] = FOCAL_TOLD if whole and told is not None else FOCAL_UNTOLD
    known[3:10] = [*RADIAL_TERMS, DECENTRING, DECENTRING, PIXEL_SHAPE, PIXEL_SHAPE]
    mean, half = card.scale
    start = first_camera(at * [mean + half, mean - half], shot.pixels, lens)
    heights = 3 if isinstance(shot.height, tuple) else 1
    return Sight(
        at, shot.pixels, np.asarray(shot.sigma), start, known, sheet, maker, np.full(heights, CARD_HEIGHT)
    )


def _is_whole(size: tuple[int, int]) -> bool:
    """Whether a picture has the shape of a camera's: a cut one tells neither focal length nor middle."""
    shape = max(size) / min(size)
    return any(abs(shape / frame - 1) < FRAME_ROUNDING for frame in FRAMES)


def _contradicted(fit: Adjusted, shots: Sequence[CardShot]) -> set[int]:
    """Photos whose told focal length the corners deny, or with which they fit to nothing."""
    found = set()
    for v, shot in enumerate(shots):
        off = fit.camera(v).parameters[FOCAL] - fit.sights[v].start.parameters[FOCAL]
        denied = shot.focal_35mm is not None and abs(off) > _CONTRADICTED * FOCAL_TOLD
        if denied or fit.spread[v] > MOST_SPREAD:
            found.add(v)
    return found


def _fitted_anew(
    shots: Sequence[CardShot], sheets: list[Sheet], sights: Sequence[Sight], doubted: set[int]
) -> Adjusted:
    """The fit with doubted photos begun anew: as whole pictures, else as what is left of halved ones."""
    fits = [
        _fitted(
            sheets,
            [_freed(shots[v], one, sheets, cut) if v in doubted else one for v, one in enumerate(sights)],
        )
        for cut in _HALVES
    ]
    worst = [max(float(fit.spread[v]) for v in doubted) for fit in fits]
    return fits[0] if worst[0] <= _CROPPED * min(worst) else fits[int(np.argmin(worst))]


def _freed(shot: CardShot, sight: Sight, sheets: Sequence[Sheet], cut: tuple[float, float]) -> Sight:
    """The sight begun anew, as that of a camera that tells nothing, with ``cut`` of the picture gone."""
    fresh = _sight(replace(shot, focal_35mm=None), sight.sheet, sight.maker, sheets[sight.sheet], cut)
    known = fresh.known.copy()
    known[FOCAL] = 2 * FOCAL_UNTOLD
    if any(cut):
        known[:2] = CENTRE_CROPPED * float(np.hypot(*shot.size))
    return replace(fresh, known=known)


def _told(
    fit: Adjusted, v: int, shot: CardShot, face: Face, extra: Floats, doubted: bool, where: str
) -> CardFit:
    to_card, slopes = face_map(fit, v, face)
    to_card = replace(to_card, covariance=to_card.covariance + slopes @ extra @ slopes.T)
    if not np.isfinite(to_card.covariance).all() or not np.isfinite(to_card.matrix).all():
        raise JobError(
            where, "found corners of the card that fix no map", "photograph all of the card, sharply"
        )
    if fit.spread[v] > MOST_SPREAD:
        raise JobError(
            where,
            f"found corners of the card {fit.spread[v]:.0f} times as far off as they were read, as no flat "
            "card is seen by a lens",
            "photograph a whole card, not creased and not glued, in one picture that is not put together",
        )
    misses = fit.misses[v]
    residuals_mm = np.einsum("nij,nj->ni", to_card.slopes(shot.pixels), misses)
    if fit.spread[v] > FAR_OFF:
        to_card = replace(to_card, covariance=to_card.covariance + _astray(to_card, shot, residuals_mm))
    used = int((fit.weights[v] > 0.25).sum())
    return CardFit(
        to_card,
        misses,
        residuals_mm,
        fit.camera(v).lens.focal,
        used,
        told_note(fit, v),
        told_causes(
            fit,
            v,
            focal=shot.focal_35mm,
            measured=shot.bars is not None or len(shot.checks[1]) > 0,
            doubted=doubted,
        ),
        _without_height(fit, v, slopes),
        fit.covariance,
        extra,
    )


def _astray(to_card: PlaneMap, shot: CardShot, residuals_mm: Floats) -> Floats:
    """Covariance, shape (17, 17), of an unknown change of the map as large as corners lie off.

    Whatever moves corners by more than they were read moves neighbours together, and the board with them.
    """
    rms = float(np.sqrt((residuals_mm**2).sum(axis=1).mean()))
    ways = wandering(to_card, shot.pixels, "perspective", rms)
    return np.asarray(ways @ ways.T)


def _without_height(fit: Adjusted, v: int, slopes: Floats) -> Floats:
    """Slopes, shape (17, p), of a map whose height is taken as said."""
    own = slopes.copy()
    own[:, fit.layout.columns[v][fit.layout.seen :]] = 0.0
    return own


def _refuse_undetermined(shot: CardShot, where: str) -> None:
    """Corners must be several, and spread in two directions."""
    if len(shot.ids) < FEW_CORNERS:
        raise JobError(
            where,
            f"found {len(shot.ids)} corners of the reference card, and {FEW_CORNERS} are needed",
            "leave at least a third of the card's border free and in the picture",
        )
    at = CARDS[shot.paper].corners(shot.ids)
    across = np.linalg.svd(at - at.mean(axis=0), compute_uv=False)[-1] / np.sqrt(len(at))
    if across < 0.4 * CARDS[shot.paper].square:
        raise JobError(
            where,
            "found corners of the reference card along one line only",
            "photograph two neighbouring sides of the card at least",
        )
