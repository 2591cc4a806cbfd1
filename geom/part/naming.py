"""Features by the words a person gives: a name, a name without its size, or a kind."""

from collections.abc import Sequence
from difflib import get_close_matches

from geom.errors import PartError
from geom.feature import Feature
from geom.part.part import Part


def is_called(feature: Feature, word: str) -> bool:
    """Is this a word for the feature: its name, in full or without its size or its part on a rack, or its kind?"""
    return word in (feature.name, feature.name_alone, str(feature.kind)) or feature.name_alone.startswith(f"{word} (")


def called(part: Part, word: str, *, where: str) -> tuple[int, ...]:
    """Return the numbers of the features with this name or kind.

    Raises
    ------
    PartError
        naming the nearest one where there is none.
    """
    found = tuple(k for k, feature in enumerate(part.features) if is_called(feature, word))
    if not found:
        raise unknown(part.features, word, where=where)
    return found


def unknown(features: Sequence[Feature], word: str, *, where: str) -> PartError:
    """Return the refusal of a word that none of the features is called by, with the nearest one."""
    names = list(dict.fromkeys(f.name_alone for f in features))
    kinds = list(dict.fromkeys(str(f.kind) for f in features))
    short = {name.split(" (")[0]: name for name in reversed(names)}
    near = get_close_matches(word, [*names, *kinds, *(f.name for f in features), *short], n=1, cutoff=0.3)
    near = [short.get(found, found) for found in near]
    return PartError(
        "feature-unknown",
        f'the part has no feature or kind of feature called "{word}"',
        where=where,
        hint=(f'nearest: "{near[0]}"; ' if near else "") + f"features: {', '.join(names)}; kinds: {', '.join(kinds)}",
    )
