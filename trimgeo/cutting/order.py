"""In which order the cuts are made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from trimgeo.cutting.edges import Chain, split_at_edge
from trimgeo.model.board import Ring
from trimgeo.model.plan import Cut


def order_cuts(cuts: Sequence[Cut], chains: Sequence[Chain], edge: Ring) -> tuple[Cut, ...]:
    """The cuts, numbered from 1 in the order in which they are made; the same wherever the ring starts.

    First the cuts that begin and end on the board's edge, then the chains that do, each from one end to
    the other, so that every cut starts at the edge or at the one before, and the last of all frees the part.
    Where the whole outline is new, one cut has to start inside the board: the one that starts nearest to
    its edge.

    >>> from shapely import Polygon, box
    >>> from trimgeo.cutting.edges import chains, new_edges
    >>> board = Ring(box(0, 0, 100, 60))
    >>> part = Ring(Polygon([(0, 0), (90, 0), (90, 30), (50, 30), (50, 50), (0, 50)]))
    >>> cuts = new_edges(part, board)
    >>> [(cut.n, cut.start) for cut in order_cuts(cuts, chains(cuts, part), board)]
    [(1, (90.0, 0.0)), (2, (90.0, 30.0)), (3, (50.0, 30.0)), (4, (50.0, 50.0))]
    """
    parted = [_from_the_edge(chain, edge) for chain in split_at_edge(chains, edge)]
    ordered = sorted(parted, key=lambda chain: (chain.closed, len(chain.cuts) > 1))
    positions = [i for chain in ordered for i in chain.cuts]
    return tuple(replace(cuts[i], n=n) for n, i in enumerate(positions, start=1))


def _from_the_edge(chain: Chain, edge: Ring) -> Chain:
    """A closed chain, its cuts started with the one that starts nearest to the board's edge, lowest first."""
    if not chain.closed or len(chain.cuts) == 1:
        return chain
    starts = chain.points[list(chain.joints)]
    gaps = np.round(shapely.distance(edge.polygon.exterior, shapely.points(starts)), 6)
    first = int(np.lexsort((starts[:, 0], starts[:, 1], gaps))[0])
    return replace(chain, cuts=(*chain.cuts[first:], *chain.cuts[:first]))
