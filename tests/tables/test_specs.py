"""Thickness specifications: what each class asks for, and how it may be written."""

from collections.abc import Callable

import pytest
from numpy.testing import assert_allclose

from geom.errors import TableError
from geom.provenance import Trust
from geom.tables.specs import Specification, specification, standard_named, standards

CLASSES = [
    # ASTM B689: the number of the class is the least thickness in µm (from memory)
    *((f"B689 class {n}", n) for n in (5, 25, 50, 100, 200)),
    # QQ-N-290, class 1 grades A to G: 0.0016 to 0.0002 in (seen)
    *zip((f"QQ-N-290 class 1 grade {g}" for g in "ABCDEFG"), (40, 30, 25, 20, 15, 10, 5), strict=True),
    # ASTM B545 (seen)
    ("B545 class A", 2.5),
    ("B545 class B", 5),
    ("B545 class C on copper", 8),
    ("B545 class C on steel", 10),
    ("B545 class D on brass", 15),
    ("B545 class D on steel", 20),
    ("B545 class E", 30),
    ("B545 class F", 1.5),
    # ASTM B633, ISO 2081 (from memory)
    *zip((f"B633 SC{n}" for n in (1, 2, 3, 4)), (5, 8, 12, 25), strict=True),
    *((f"ISO 2081 Fe/Zn {n}", n) for n in (5, 8, 12, 25)),
    # ISO 2093 on copper (from memory)
    *zip((f"ISO 2093 SC{n}" for n in (1, 2, 3, 4)), (5, 8, 15, 30), strict=True),
    # ASTM B456 on steel, Metal Finishing Guidebook 2011-12 p. 227 (seen)
    ("B456 SC5 on steel", 35),
    ("B456 SC4 on steel", 40),
    ("B456 SC3 on steel", 30),
]


@pytest.mark.parametrize(("text", "micrometres"), CLASSES)
def test_a_class_asks_for_what_its_standard_says(text: str, micrometres: float) -> None:
    assert_allclose(specification(text).thickness, 1e-6 * micrometres, rtol=1e-12, atol=0.0)


def test_the_grades_in_inches_are_the_grades_in_micrometres() -> None:
    # QQ-N-290: grade A 0.0016 in, G 0.0002 in (seen)
    for grade, inches in (
        ("A", 0.0016),
        ("B", 0.0012),
        ("C", 0.0010),
        ("D", 0.0008),
        ("E", 0.0006),
        ("F", 0.0004),
        ("G", 0.0002),
    ):
        assert_allclose(specification(f"QQ-N-290 grade {grade}").thickness, 0.0254 * inches, rtol=0.02, atol=0.0)


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("astm b689 Class 25", "ASTM B689 class 25"),
        ("ASTM B689-97(2018) type 1 class 5", "ASTM B689 class 5"),
        ("B689-5", "ASTM B689 class 5"),
        ("QQ-N-290A Class 1, Grade B", "QQ-N-290 class 1 grade B"),
        ("qq n 290 g", "QQ-N-290 class 1 grade G"),
        ("QQ-N-290 class 2", "QQ-N-290 class 2"),
        ("ASTM B633-98 type II SC 3", "ASTM B633 SC3"),
        ("iso 2081:2018 Fe/Zn8", "ISO 2081 Fe/Zn 8"),
        ("B545 c ON Steel", "ASTM B545 class C on steel"),
        ("busbar nickel", "bus bar nickel usual"),
        ("bus bar tin, damp", "bus bar tin damp"),
    ],
)
def test_a_class_may_be_written_freely(written: str, words: str) -> None:
    assert specification(written).words == words


def every_class() -> list[Specification]:
    return [one for standard in standards() for one in standard.classes]


@pytest.mark.parametrize("one", every_class(), ids=lambda one: one.words)
def test_the_canonical_words_of_a_class_mean_it(one: Specification) -> None:
    assert specification(one.words) == one
    assert (
        one.thickness_range.low <= one.thickness == one.thickness_range.high or one.thickness == one.thickness_range.low
    )
    assert one.source.text


def test_memory_is_told_as_memory_and_practice_as_practice() -> None:
    by_words = {one.words: one.source for one in every_class()}
    assert (by_words["ASTM B689 class 5"].basis, by_words["ASTM B689 class 5"].trust) == ("memory", Trust.ROUGH)
    assert (by_words["QQ-N-290 class 1 grade A"].basis, by_words["QQ-N-290 class 1 grade A"].trust) == (
        "seen",
        Trust.GOOD,
    )
    assert by_words["ASTM B456 SC1 on copper"].basis == "memory"
    assert by_words["ASTM B456 SC5 on steel"].basis == "seen"
    assert by_words["bus bar nickel usual"].basis == "practice"


def test_the_metal_plated_on_decides_where_the_class_goes_by_it() -> None:
    assert specification("B545 class C", substrate="copper").words == "ASTM B545 class C on copper"
    assert specification("B545 class C", substrate="mild steel").words == "ASTM B545 class C on steel"
    assert specification("B456 SC3", substrate="brass").words == "ASTM B456 SC3 on copper"


WRONG: list[tuple[Callable[[], object], str, str]] = [
    (lambda: specification("B698 class 5"), "spec-unknown", "ASTM B689"),
    (lambda: specification("our own"), "spec-unknown", "known: ASTM B689"),
    (lambda: specification(""), "spec-unknown", "known: "),
    (lambda: specification("B689 class 6"), "spec-class-unknown", "class 5, class 25"),
    (lambda: specification("B689"), "spec-class-unknown", "it has"),
    (lambda: specification("AMS 2403"), "spec-open", "thickness"),
    (lambda: specification("SAE AMS 2403"), "spec-open", "thickness"),
    (lambda: specification("ISO 4526"), "spec-open", "thickness"),
    (lambda: specification("B545 C"), "spec-substrate", '"ASTM B545 class C on steel"'),
    (lambda: specification("B633 SC2", substrate="copper"), "spec-substrate", "for the metal plated on"),
    (lambda: specification("B545 C on steel", substrate="copper"), "spec-substrate", ""),
    (lambda: specification("B545 C on cheese"), "substrate-unknown", "known: "),
    (lambda: standard_named("B545 class Z"), "spec-class-unknown", "class A"),
]


@pytest.mark.parametrize(("ask", "slug", "hint"), WRONG)
def test_what_no_standard_has_is_told_with_what_there_is(ask: Callable[[], object], slug: str, hint: str) -> None:
    with pytest.raises(TableError) as error:
        ask()
    assert error.value.slug == slug
    assert hint in error.value.hint


def test_standards_are_listed_by_metal_and_by_name() -> None:
    assert {standard.metal for standard in standards()} == {"Ni", "Sn", "Zn"}
    assert [standard.standard for standard in standards("Sn")] == ["ASTM B545", "ISO 2093", "bus bar tin"]
    assert len(standard_named("b545").classes) == 8
    assert [one.words for one in standard_named("B545 D").classes] == [
        "ASTM B545 class D on copper",
        "ASTM B545 class D on steel",
    ]
    assert standard_named("AMS 2403").classes == ()


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("B456 SC4 on copper", 25, 30),
        ("B456 SC1 on copper", 5, 8),
        ("B456 SC4 on steel", 30, 40),
        ("B689 class 5", 5, 5),
    ],
)
def test_where_memory_is_not_sure_the_larger_figure_is_taken_and_both_are_kept(
    text: str, low: float, high: float
) -> None:
    one = specification(text)
    assert_allclose(
        (one.thickness_range.low, one.thickness_range.high), (1e-6 * low, 1e-6 * high), rtol=1e-12, atol=0.0
    )
    assert one.thickness == one.thickness_range.high
