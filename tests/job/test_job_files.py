"""Files that are no job files at all are refused before anything is read into them."""

import pytest
from job.test_wrong_jobs import GOOD

from geom.errors import JobError
from geom.job.read import parse_job, read_job


def slug_of(path) -> str:
    with pytest.raises(JobError) as caught:
        read_job(path)
    assert len(caught.value.mistakes) == 1
    return caught.value.slug


def test_a_missing_file_is_named_with_its_neighbours(tmp_path):
    (tmp_path / "link.toml").write_text(GOOD)
    with pytest.raises(JobError) as caught:
        read_job(tmp_path / "lnik.toml")
    assert caught.value.slug == "job-file-missing"
    assert "link.toml" in caught.value.hint


def test_a_folder_is_no_job_file(tmp_path):
    assert slug_of(tmp_path) == "job-file-missing"


def test_a_path_with_a_null_is_no_job_file():
    assert slug_of("job\0.toml") in (
        "job-file-missing",
        "job-file-unreadable",
    )  # Python 3.11 and later differ


def test_a_file_without_permission_is_unreadable(tmp_path, monkeypatch):
    path = tmp_path / "job.toml"
    path.write_text(GOOD)

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", refuse)  # root, as which tests may run, is refused nothing
    assert slug_of(path) == "job-file-unreadable"


@pytest.mark.parametrize("content", [b"", b"\n  \n", b"\xef\xbb\xbf"])
def test_an_empty_file_is_refused(tmp_path, content):
    path = tmp_path / "job.toml"
    path.write_bytes(content)
    assert slug_of(path) == "job-file-empty"


def test_a_file_that_is_not_utf8_is_refused_with_its_line(tmp_path):
    path = tmp_path / "job.toml"
    path.write_bytes(GOOD.replace("50 C", "50 °C").encode("latin-1"))
    with pytest.raises(JobError, match="line 12"):
        read_job(path)
    assert slug_of(path) == "job-file-encoding"
    path.write_bytes(GOOD.encode("utf-16"))
    assert slug_of(path) == "job-file-encoding"


def test_a_file_over_one_megabyte_is_refused(tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(GOOD + "#" * 1_000_000)
    assert slug_of(path) == "job-file-too-large"


def test_a_byte_order_mark_and_windows_line_ends_change_nothing(tmp_path):
    path = tmp_path / "job.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    job, plain = read_job(path), parse_job(GOOD, path=path)
    assert job.shape == plain.shape
    assert job.origins == plain.origins


def test_a_syntax_error_in_a_file_with_windows_line_ends_has_its_line():
    with pytest.raises(JobError, match="line 5\n") as caught:
        parse_job(GOOD.replace('"20 mm"', "20 mm").replace("\n", "\r\n"))
    assert caught.value.slug == "job-syntax"


def test_a_mesh_must_be_beside_the_job_file(tmp_path):
    path = tmp_path / "job.toml"
    text = '[part]\nmesh = "clamp.stl"\nunit = "mm"\n[bath]\nname = "watts-nickel"\n[target]\nthickness = "8 um"\n'
    path.write_text(text)
    assert slug_of(path) == "job-mesh-missing"
    (tmp_path / "clamp.stl").write_bytes(b"")
    assert read_job(path).shape.path == tmp_path / "clamp.stl"


def test_lists_nested_past_all_reason_are_refused():
    with pytest.raises(JobError) as caught:
        parse_job("a = " + "[" * 100_000)
    assert caught.value.slug == "job-syntax"


@pytest.mark.parametrize("digits", ["0x" + "f" * 5000, "1" + "0" * 400, "1" * 5000])
def test_a_number_of_thousands_of_digits_is_refused(digits):
    with pytest.raises(JobError):
        parse_job(GOOD.replace("0.95", digits))
    with pytest.raises(JobError):
        parse_job(GOOD.replace('"20 mm"', digits))
    with pytest.raises(JobError):
        parse_job(GOOD.replace('"bar"', digits))


@pytest.mark.parametrize(
    ("name", "lines"),
    [
        ("bracket.stl", 'mesh = "bracket.stl" and unit = "mm"'),
        ("BRACKET.STEP", 'mesh = "BRACKET.STEP";'),
        ("tab.dxf", 'drawing = "tab.dxf" and thickness = "2 mm"'),
    ],
)
def test_the_file_of_a_part_is_told_to_go_into_a_job(tmp_path, name, lines):
    path = tmp_path / name
    path.write_bytes(b"\xff\xfe solid")
    assert slug_of(path) == "job-file-is-part"
    with pytest.raises(JobError) as caught:
        read_job(path)
    assert lines in caught.value.hint
