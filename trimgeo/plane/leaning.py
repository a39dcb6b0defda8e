"""How standing things lean outwards in a camera's view."""

from __future__ import annotations

from shapely import Polygon
from shapely.affinity import scale

Eye = tuple[float, float, float]


def foot_of(polygon: Polygon, eye: Eye, height: float) -> Polygon:
    """The foot of an upright part whose top is seen as ``polygon`` on the plane of the face, mm.

    ``eye`` is the camera: x, y and its height above the face; ``height`` is the part's, less than that.
    A point at height h that is seen at q lies, by similar triangles, above
    ``eye_xy + (q - eye_xy) (1 - h / eye_z)``.  Raises ValueError where the part reaches the camera.

    A part 20 mm high, 80 mm off the axis, seen from 300 mm: its top stands 5.7 mm off its foot.

    >>> import shapely
    >>> top = shapely.box(80 + 5.714, -5, 95, 5)
    >>> foot = foot_of(top, (0.0, 0.0, 300.0), 20.0)
    >>> round(foot.bounds[0], 2), round(top.bounds[0] - foot.bounds[0], 1)
    (80.0, 5.7)
    """
    if not 0.0 <= height < eye[2]:
        raise ValueError(f"a part {height} mm high reaches a camera {eye[2]} mm above the face")
    by = 1.0 - height / eye[2]
    return scale(polygon, by, by, origin=(eye[0], eye[1]))
