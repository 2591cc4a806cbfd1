"""Specks: tiny pieces within a free curved skin that belong to it. Arrays in, arrays out."""

import numpy as np

from geom.arrays import Bools, Floats, Ints
from geom.recognise.facets import SMOOTH, Facets, groups

SPECK = 1e-3  # share of the area of a part up to which a piece may be one
MOSTLY = 0.5  # share of its border that must be a smooth one with a single free skin


def absorbed(facets: Facets, owner: Ints, is_free: Bools) -> Ints:
    """Return (facets,) the region of each facet after specks went to the free skin round them.

    A facet of a free skin that happens to lie flat, or was one too many to be told apart, is no feature.

    Parameters
    ----------
    owner : (facets,) region of each, -1 for none
    is_free : (regions,) is it a curved skin that fits no flat, cylinder, cone or ball?
    """
    most = SPECK * float(facets.area.sum())
    area = np.bincount(owner + 1, facets.area, len(is_free) + 1)
    small = (area <= most) & np.concatenate([[True], ~is_free])
    small[0] = True  # no region: however many they are together
    speck = small[owner + 1]
    if not is_free.any() or not speck.any():
        return owner
    smooth = np.abs(facets.turn) <= SMOOTH
    inner = smooth & speck[facets.one] & speck[facets.two]
    group = groups(facets.one[inner], facets.two[inner], facets.count)
    size = np.bincount(group, np.where(speck, facets.area, 0.0))
    best, share = _neighbour(facets, owner, group, speck, smooth, is_free, len(size))
    goes = speck & (size[group] <= most) & (share[group] > MOSTLY)
    return np.where(goes, best[group], owner)


def joined_skins(facets: Facets, owner: Ints, is_free: Bools) -> Ints:
    """Return (facets,) the region of each facet after free skins that run smoothly into each other became one.

    Where a free skin turns from bulging to hollow is no border that anybody could find on the part.
    """
    one, two = owner[facets.one], owner[facets.two]
    free = np.concatenate([is_free, [False]])  # the last is for facets of no region: -1
    across = (one != two) & free[one] & free[two] & (np.abs(facets.turn) <= SMOOTH)
    group = groups(one[across], two[across], len(is_free))
    first = np.full(len(is_free), len(is_free), dtype=np.int64)
    np.minimum.at(first, group, np.arange(len(is_free)))
    return np.where(owner >= 0, first[group][owner], -1)


def _neighbour(
    facets: Facets, owner: Ints, group: Ints, speck: Bools, smooth: Bools, is_free: Bools, count: int
) -> tuple[Ints, Floats]:
    """Return (count,) the free skin that each group of specks borders on the most, and with what share of its border."""
    outer = speck[facets.one] != speck[facets.two]
    inside = np.where(speck[facets.one], facets.one, facets.two)[outer]
    outside = np.where(speck[facets.one], facets.two, facets.one)[outer]
    length, skin = facets.length[outer], owner[outside]
    # two groups of specks that meet at a crease: that too is border
    crease = speck[facets.one] & speck[facets.two] & (group[facets.one] != group[facets.two])
    border = np.bincount(group[inside], length, count)
    for side in (facets.one[crease], facets.two[crease]):
        border += np.bincount(group[side], facets.length[crease], count)
    usable = smooth[outer] & is_free[skin]
    key, row = np.unique(group[inside][usable] * len(is_free) + skin[usable], return_inverse=True)
    shared = np.bincount(row.reshape(-1), length[usable], len(key))
    order = np.argsort(shared, kind="stable")  # the longest comes last and stays
    best, most = np.full(count, -1, dtype=np.int64), np.zeros(count)
    best[key[order] // len(is_free)] = key[order] % len(is_free)
    most[key[order] // len(is_free)] = shared[order]
    return best, np.divide(most, border, out=np.zeros(count), where=border > 0)
