"""How far one straight link sees along a way of triangles, and the window where it must end.

A link passes right of every corner on the left of its way and left of every one on the right.  All
such lines lie between two extreme ones: the one turned most to the right touches a left corner and then a
right one, the other a right corner and then a left one.  When the next corner leaves no line, the
extreme line towards it is the *window*: from where it last touched on to the border, no link reaches beyond
it, so the next link starts there (Suri 1986, and hourglasses of Guibas et al. 1987, both from memory).
"""

from __future__ import annotations

from typing import NamedTuple

from trimgeo.plane.annulus import Annulus, Point

LEFT, RIGHT = 0, 1

GRAZES = 1e-10
"""A corner this little (mm²: twice a triangle's area) on the wrong side of a line does not block it."""


class Window(NamedTuple):
    """Where a link ends: a line from ``tail`` to ``head``, where it touches, and on to ``hit`` on the border.

    ``step`` counts the sides of triangles crossed before; ``side`` is the one that it hits (LEFT or RIGHT).
    """

    tail: Point
    head: Point
    hit: Point
    step: int
    side: int


def turn_of(tail: Point, head: Point, point: Point) -> float:
    """Twice the area of the triangle, positive where ``point`` is left of the line.

    >>> turn_of((0.0, 0.0), (2.0, 0.0), (1.0, 1.0))
    2.0
    """
    return (head[0] - tail[0]) * (point[1] - tail[1]) - (head[1] - tail[1]) * (point[0] - tail[0])


def meeting(tail: Point, head: Point, start: Point, end: Point) -> Point:
    """Where a line meets the line through ``start`` and ``end``; the nearer of the two where parallel.

    >>> meeting((0.0, 0.0), (1.0, 0.0), (3.0, -1.0), (3.0, 1.0))
    (3.0, 0.0)
    """
    first, second = turn_of(tail, head, start), turn_of(tail, head, end)
    if first == second:
        return start
    share = first / (first - second)
    return start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])


class Lines:
    """The lines that pass right of some corners and left of others.

    ``corners`` are those passed on the left and on the right, ``lines`` the extreme lines: line LEFT is the
    one turned most to the right, from a left corner to a right one, by their numbers; line RIGHT the other.

    >>> lines = Lines([(0.0, 1.0)], [(0.0, 0.0)])
    >>> lines.add(LEFT, (1.0, 1.0)), lines.add(RIGHT, (2.0, 3.0)), lines.add(RIGHT, (2.0, 0.5))
    (True, False, True)
    """

    __slots__ = ("corners", "lines")

    def __init__(self, left: list[Point], right: list[Point]) -> None:
        left, right = _pulled(left, LEFT), _pulled(right, RIGHT)
        self.corners: tuple[list[Point], list[Point]] = ([left[0]], [right[0]])
        self.lines: list[tuple[int, int]] = [(0, 0), (0, 0)]
        for side, others in ((LEFT, left[1:]), (RIGHT, right[1:])):
            for corner in others:
                if not self.add(side, corner):
                    self._turn_at(side, corner)

    def copy(self) -> Lines:
        """The same once more, so that two ways can go on from here."""
        twin = Lines.__new__(Lines)
        twin.corners, twin.lines = (self.corners[0][:], self.corners[1][:]), self.lines[:]
        return twin

    def line(self, side: int) -> tuple[Point, Point]:
        """Extreme line ``side`` by two points in its direction."""
        tail, head = self.lines[side]
        return self.corners[side][tail], self.corners[1 - side][head]

    def add(self, side: int, corner: Point) -> bool:
        """Pass one more corner; False, and nothing is changed, where no line does.

        Where the corner cuts off lines, it takes the place of that extreme line's own end, and the
        other end follows to where the new line touches the other side.
        """
        sign = 1.0 if side == LEFT else -1.0
        own, other = self.corners[side], self.corners[1 - side]
        tail, head = self.lines[side]
        first, last = self.lines[1 - side]
        behind = sign * turn_of(own[tail], other[head], corner) >= -GRAZES
        ahead = sign * turn_of(other[first], own[last], corner) >= -GRAZES
        if not behind and not ahead:
            return False
        own.append(corner)
        if not ahead:
            self.lines[1 - side] = (_tangent(other, corner, first, sign), len(own) - 1)
        elif not behind:
            self.lines[side] = (len(own) - 1, _tangent(other, corner, head, -sign))
        return True

    def _turn_at(self, side: int, corner: Point) -> None:
        """Pass a corner near the start that cuts off both extreme lines: both turn about it then."""
        sign = 1.0 if side == LEFT else -1.0
        own, other = self.corners[side], self.corners[1 - side]
        own.append(corner)
        self.lines[side] = (len(own) - 1, _tangent(other, corner, 0, -sign))
        self.lines[1 - side] = (_tangent(other, corner, 0, sign), len(own) - 1)


class Sight(Lines):
    """The lines that one link may take so far; it changes as it is carried along.

    ``ends`` are the numbers of the ends of the side crossed last, ``windows`` those of the links so far.
    """

    __slots__ = ("ends", "room", "step", "windows")

    def __init__(
        self, room: Annulus, left: list[Point], right: list[Point], ends: tuple[int, int], step: int
    ) -> None:
        super().__init__(left, right)
        self.room = room
        self.ends = list(ends)
        self.step = step
        self.windows: tuple[Window, ...] = ()

    def copy(self) -> Sight:
        """The same once more, so that two ways can go on from here."""
        twin = Sight.__new__(Sight)
        twin.room, twin.step = self.room, self.step
        twin.corners = (self.corners[0][:], self.corners[1][:])
        twin.lines, twin.ends, twin.windows = self.lines[:], self.ends[:], self.windows
        return twin

    def cross(self, triangle: int, leave: int) -> Window | None:
        """Go on through ``triangle``, out by side ``leave``; the window where one link does not get there.

        After a window the sight is that of the next link.
        """
        corners = self.room.triangles[triangle]
        right, left = corners[leave], corners[(leave + 1) % 3]
        side, new = (LEFT, left) if left != self.ends[LEFT] else (RIGHT, right)
        point = self.room.points[new]
        window = None
        if not self.add(side, point):
            window = self._turned(triangle, side, new)
            self.windows = (*self.windows, window)
            if not self.add(side, point):
                self._turn_at(side, point)
        self.ends[side] = new
        self.step += 1
        return window

    def _turned(self, triangle: int, side: int, new: int) -> Window:
        """Start anew from the window on extreme line ``side``."""
        tail, head = self.line(side)
        corners = self.room.triangles[triangle]
        edge = next(k for k in range(3) if {corners[k], corners[(k + 1) % 3]} == {new, self.ends[side]})
        found = shot(self.room, triangle, edge, (tail, head))
        # the way goes on beyond the line: right of it where it hits on the left
        beyond = found.right[1:] if side == LEFT else found.left[1:]
        touched = self.lines[side][1]
        own = [found.hit, *(self.room.points[k] for k in reversed(beyond))]
        self._restart(side, own, self.corners[1 - side][touched:])
        return Window(tail, head, found.hit, self.step, side)

    def _restart(self, side: int, own: list[Point], other: list[Point]) -> None:
        left, right = (own, other) if side == LEFT else (other, own)
        windows = self.windows
        Sight.__init__(self, self.room, left, right, (self.ends[0], self.ends[1]), self.step)
        self.windows = windows


def _pulled(chain: list[Point], side: int) -> list[Point]:
    """A chain of corners on one side pulled taut between its ends: what it leaves lies in pockets beside it.

    A line across both ends' sides need not pass the corners of a pocket.
    """
    sign = 1.0 if side == LEFT else -1.0
    taut: list[Point] = []
    for corner in chain:
        while len(taut) > 1 and sign * turn_of(taut[-2], corner, taut[-1]) >= 0:
            taut.pop()
        taut.append(corner)
    return taut


def _tangent(others: list[Point], corner: Point, begin: int, sign: float) -> int:
    """Number of the one that has all others right (sign 1) or left of its line to ``corner``."""
    x, y = corner
    at = begin
    u, v = others[at][0] - x, others[at][1] - y
    for k, (p, q) in enumerate(others):
        if sign * (u * (q - y) - v * (p - x)) < 0:
            at, u, v = k, p - x, q - y
    return at


class Shot(NamedTuple):
    """A line followed to the border: where it hits, the corners of the sides crossed, and the triangles.

    ``left`` and ``right`` are numbers of corners in the order in which the line passes them.
    """

    hit: Point
    left: list[int]
    right: list[int]
    triangles: list[int]


def shot(room: Annulus, triangle: int, edge: int, line: tuple[Point, Point]) -> Shot:
    """Follow a line that leaves ``triangle`` by side ``edge``, to the border."""
    tail, head = line
    points, neighbours, triangles = room.points, room.neighbours, room.triangles
    right, left = triangles[triangle][edge], triangles[triangle][(edge + 1) % 3]
    found = Shot(tail, [left], [right], [triangle])
    for _ in range(len(triangles)):
        triangle = neighbours[triangle][edge]
        if triangle < 0:
            break
        found.triangles.append(triangle)
        corners = triangles[triangle]
        base = corners.index(left)
        apex = corners[(base + 2) % 3]
        if turn_of(tail, head, points[apex]) > 0:
            left, edge = apex, (base + 1) % 3
            found.left.append(apex)
        else:
            right, edge = apex, (base + 2) % 3
            found.right.append(apex)
    return found._replace(hit=meeting(tail, head, points[right], points[left]))


def sight_from(room: Annulus, corner: int, towards: Point) -> tuple[Point, Sight] | None:
    """Where the line from a corner on in a direction hits the other side, and the sight onwards from there.

    ``towards`` is the direction, of any length.  None where the line does not go into the room, or comes
    back to its own side.
    """
    points = room.points
    tail = points[corner]
    head = (tail[0] + towards[0], tail[1] + towards[1])
    for triangle in room.fans[corner]:
        base = room.triangles[triangle].index(corner)
        one, two = (points[room.triangles[triangle][(base + k) % 3]] for k in (1, 2))
        if turn_of(tail, head, one) <= 0 < turn_of(tail, head, two):
            break
    else:
        return None
    found = shot(room, triangle, (base + 1) % 3, (tail, head))
    kept = len(room.kept)
    last = (found.left[-1] < kept, found.right[-1] < kept)
    if last[0] != last[1] or last[0] == (corner < kept):
        return None
    ahead = found.left if corner < kept else found.right
    left = [points[k] for k in ahead if k < kept]
    right = [points[k] for k in ahead if k >= kept]
    if corner < kept:
        left, right = [tail, *left], [found.hit, *reversed(right)]
    else:
        left, right = [found.hit, *reversed(left)], [tail, *right]
    step = _last_step(room, found.triangles)
    before = room.triangles[room.ring[step - 1]], room.exits[step - 1]
    ends = (before[0][(before[1] + 1) % 3], before[0][before[1]])
    return found.hit, Sight(room, left, right, ends, step)


def _last_step(room: Annulus, triangles: list[int]) -> int:
    """The furthest place in the ring among triangles that follow each other, in 0 to the ring's length."""
    count = len(room.ring)
    place = {triangle: k for k, triangle in enumerate(room.ring)}
    steps = [place[triangle] for triangle in triangles if triangle in place]
    at = furthest = steps[0]
    for step in steps[1:]:
        at += (step - at + 1) % count - 1
        furthest = max(furthest, at)
    return furthest % count
