"""The header of a picture: size, resolution and orientation, without its pixels."""

from __future__ import annotations

import logging
import math
import stat
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from PIL import Image, UnidentifiedImageError

from trimgeo.errors import JobError, TrimgeoError, quoted
from trimgeo.tables import LARGEST_PICTURE

logging.getLogger("PIL").addHandler(logging.NullHandler())  # else Python shows its warnings on stderr

FORMATS: Final = ("PNG", "JPEG", "TIFF", "WEBP", "BMP")
_SIGNATURES: Final = (b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"II*\0", b"MM\0*")
"""How PNG, JPEG and TIFF files begin (PNG specification, 5.2; ISO 10918-1, B.1; TIFF 6.0, section 2)."""
_FIX: Final = "save it again as a PNG, JPEG or TIFF"
_WIDTH, _LENGTH, _ORIENTATION, _X_RESOLUTION, _Y_RESOLUTION, _UNIT = 256, 257, 274, 282, 283, 296
_PHOTO_TAGS: Final = 34665
_EXPOSURE, _FOCAL_LENGTH, _FOCAL_35MM = 33434, 37386, 41989
_MAKE, _MODEL, _LENS_MODEL = 271, 272, 42036
_LEAST_FOCAL, _GREATEST_FOCAL = 8.0, 400.0
_TURNED: Final = (5, 6, 7, 8)
"""EXIF orientations that swap columns and rows (CIPA DC-008, tag Orientation)."""

Resolution = tuple[float, float]


@dataclass(frozen=True)
class Source:
    """A picture file: what its header says of it.

    ``where`` names the view for messages, ``label`` the file as the job writes it; ``size`` is
    (columns, rows) and ``dpi`` (x, y) as a viewer shows the picture, after its EXIF ``orientation``.
    ``camera`` says that the file bears a camera's exposure data; ``focal_35mm`` is the focal
    length that would frame the same on 35 mm film (36 x 24 mm), where the file has it, and ``taken_by``
    what it says of camera and lens.

    >>> upright = Source(Path("a.jpg"), "top", "a.jpg", "JPEG", (3000, 4000), 6, (72.0, 72.0), camera=True)
    >>> upright.stored_size  # the camera was held on its side
    (4000, 3000)
    """

    path: Path
    where: str
    label: str
    form: str
    size: tuple[int, int]
    orientation: int
    dpi: Resolution | None
    camera: bool
    focal_35mm: float | None = None
    taken_by: str | None = None

    @property
    def stored_size(self) -> tuple[int, int]:
        """(columns, rows) before the orientation is applied."""
        columns, rows = self.size
        return (rows, columns) if self.orientation in _TURNED else (columns, rows)


def open_source(path: Path, where: str, label: str) -> Source:
    """What the header of a picture says.

    Raises `trimgeo.JobError` for a file that is missing, a folder or device, empty, no picture,
    damaged, or larger than `trimgeo.tables.LARGEST_PICTURE` pixels.
    """
    _refuse_odd_files(path, where, label)
    try:
        with quiet_pillow(), Image.open(path, formats=FORMATS) as picture:
            source = _described(picture, path, where, label)
    except UnidentifiedImageError as fault:
        if _begins_like_one(path):
            raise undecodable(where, label, ValueError("its header leads to no pixels")) from fault
        raise JobError(
            f"{where}, image",
            f"found {quoted(label)}, which begins like no PNG, JPEG, TIFF, WebP or BMP",
            _FIX,
        ) from fault
    except TrimgeoError:
        raise
    except Exception as fault:  # decoders raise whatever damaged bytes lead them to
        raise undecodable(where, label, fault) from fault
    return source


def _begins_like_one(path: Path) -> bool:
    """Whether a file that Pillow knows not begins with the signature of a form that is read."""
    with path.open("rb") as file:
        return file.read(8).startswith(_SIGNATURES)


def undecodable(where: str, label: str, fault: BaseException) -> JobError:
    """The sentence for a picture that is damaged, from what the decoder said of it.

    >>> undecodable('[[view]] "top"', "top.png", ValueError("it ends inside a chunk.")).found
    'found "top.png", which is cut off or damaged (it ends inside a chunk)'
    """
    reason = " ".join(str(fault).split())[:120].rstrip(".;")
    if isinstance(fault, MemoryError):
        return JobError(
            f"{where}, image", f"found {quoted(label)}, too large for this machine's memory", _FIX
        )
    return JobError(
        f"{where}, image",
        f"found {quoted(label)}, which is cut off or damaged ({reason or type(fault).__name__})",
        "copy or scan it again",
    )


@contextmanager
def quiet_pillow() -> Iterator[None]:
    """Pillow without its warnings on stderr, and without its own limit of pixels: ours is told in words."""
    limit = Image.MAX_IMAGE_PIXELS
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        Image.MAX_IMAGE_PIXELS = None
        try:
            yield
        finally:
            Image.MAX_IMAGE_PIXELS = limit


def _refuse_odd_files(path: Path, where: str, label: str) -> None:
    try:
        status = path.stat()
    except FileNotFoundError as fault:
        raise JobError(
            f"{where}, image", f"found no file {quoted(label)}", "give its name relative to the job file"
        ) from fault
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        raise JobError(
            f"{where}, image",
            f"found {quoted(label)}, which cannot be opened ({reason})",
            "give the name of a picture",
        ) from fault
    if not stat.S_ISREG(status.st_mode):
        kind = "a folder" if stat.S_ISDIR(status.st_mode) else "no plain file"
        raise JobError(
            f"{where}, image", f"found {quoted(label)}, which is {kind}", "give the name of a picture"
        )
    if status.st_size == 0:
        raise JobError(f"{where}, image", f"found {quoted(label)}, which is empty", "copy or scan it again")


def _described(picture: Image.Image, path: Path, where: str, label: str) -> Source:
    tags = _tags(picture)
    columns, rows = _stored_size(picture)
    if columns < 1 or rows < 1:
        raise JobError(f"{where}, image", f"found {quoted(label)}, which has no pixels", _FIX)
    if columns * rows > LARGEST_PICTURE:
        raise JobError(
            f"{where}, image",
            f"found {quoted(label)} of {columns} x {rows} pixels, "
            f"more than {LARGEST_PICTURE // 10**6} megapixels",
            "crop it to the board or scan it at a lower resolution",
        )
    orientation = tags.get(_ORIENTATION)
    orientation = orientation if isinstance(orientation, int) and 1 <= orientation <= 8 else 1
    dpi = _resolution(picture, tags)
    if orientation in _TURNED:
        columns, rows = rows, columns
        dpi = None if dpi is None else (dpi[1], dpi[0])
    form = str(picture.format)
    photo = _photo_tags(tags)
    focal = _number(photo.get(_FOCAL_35MM))
    return Source(
        path,
        where,
        label,
        form,
        (columns, rows),
        orientation,
        dpi,
        camera=_EXPOSURE in photo or _FOCAL_LENGTH in photo,
        focal_35mm=focal if _LEAST_FOCAL <= focal <= _GREATEST_FOCAL else None,
        taken_by=_camera_name(tags, photo),
    )


def _stored_size(picture: Image.Image) -> tuple[int, int]:
    """The size before any turning: Pillow reports a turned TIFF as it will be shown, others as stored."""
    stored = getattr(picture, "tag_v2", None)
    if picture.format == "TIFF" and stored is not None:
        return int(stored[_WIDTH]), int(stored[_LENGTH])
    return picture.size


def _tags(picture: Image.Image) -> Any:
    """The EXIF tags; none where they are damaged, as viewers do.

    Pillow would decode a whole PNG to look for tags behind its pixels: read those in front only.
    """
    try:
        if picture.format == "PNG":
            tags = Image.Exif()
            tags.load(picture.info.get("exif", b""))
            return tags
        return picture.getexif()
    except Exception:  # whatever damaged bytes lead to
        return Image.Exif()


def _resolution(picture: Image.Image, tags: Any) -> Resolution | None:
    """Resolution in dots per inch, x and y, from the format's own field, else from EXIF."""
    found = picture.info.get("dpi")
    if found is None and picture.format != "TIFF" and tags.get(_UNIT, 2) in (2, 3):
        to_inch = 2.54 if tags.get(_UNIT) == 3 else 1.0
        found = [_number(tags.get(tag)) * to_inch for tag in (_X_RESOLUTION, _Y_RESOLUTION)]
    if not isinstance(found, tuple | list) or len(found) != 2:
        return None
    x, y = (_number(value) for value in found)
    return (x, y) if x > 0 and y > 0 else None


def _number(value: Any) -> float:
    """A tag as number; 0 for what is none, such as a fraction over 0."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return 0.0
    return number if math.isfinite(number) else 0.0


def _photo_tags(tags: Any) -> Any:
    """The tags of the exposure; none where they are damaged."""
    try:
        return tags.get_ifd(_PHOTO_TAGS)
    except Exception:  # whatever damaged bytes lead to
        return {}


def _camera_name(tags: Any, photo: Any) -> str | None:
    """Camera and lens in one line; two pictures with the same line are by the same optics."""
    told = [tags.get(_MAKE), tags.get(_MODEL), photo.get(_LENS_MODEL), photo.get(_FOCAL_LENGTH)]
    return "; ".join(str(each) for each in told) if tags.get(_MODEL) else None
