"""``lampfold build`` from the outside: files, output, exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pikepdf
import pytest

from server import cli
from server.commands import COMMANDS, build, modules_for
from server.drawing import deck_pdf
from server.errors import BadValue
from tests.formats.artwork import encoded, pdf, picture, write

KEYS = {"pdf", "method", "paper", "sheets", "papers", "cards_per_sheet", "cuts", "waste_percent", "problems", "unit"}


@pytest.fixture
def deck(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Ten cards of 63 x 88 mm with one back, in a folder beside the one that the command runs in."""
    folder = tmp_path / "Harbour"
    for number in range(1, 9):
        write(folder, f"fronts/{number}.png", encoded("PNG", picture(252, 352 + number % 2)))
    write(folder, "fronts/9_x2.jpg", encoded("JPEG", picture(252, 352)))
    write(folder, "backs/back.png", encoded("PNG", picture(252, 352, "L")))
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    return folder


def failed(capsys: pytest.CaptureFixture[str], *argv: str | Path, code: int = 2) -> str:
    """The one line that a command said before it gave up."""
    assert cli.main([str(word) for word in argv]) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("lampfold: ")
    assert err.count("\n") == 1
    assert err.endswith("\n")
    assert "Traceback" not in err
    return err.removeprefix("lampfold: ").rstrip("\n")


def test_json_has_the_promised_keys_and_true_numbers(deck: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["build", str(deck), "--json", "--bleed", "0"]) == 0
    out, err = capsys.readouterr()
    said = json.loads(out)
    assert set(said) >= KEYS
    assert err == ""
    # Nine cards of 63 x 88 mm go on A4 without gutter (common practice), so ten take two sheets: 12 cuts for nine
    # cards (8 between them and 4 strips of waste) and 4 for one. Waste: 1 - 10 x 63 x 88 / (2 x 210 x 297).
    assert (said["method"], said["paper"], said["sheets"], said["cards_per_sheet"], said["cuts"]) == (
        "duplex", "a4", 2, 9, 16)
    assert said["waste_percent"] == pytest.approx(100 * (1 - 10 * 63 * 88 / (2 * 210 * 297)), abs=0.01)
    assert {problem["severity"] for problem in said["problems"]} == {"note", "warning"}
    assert all(list(problem) == ["file", "severity", "code", "message", "fix"] for problem in said["problems"])
    with pikepdf.open(said["pdf"]) as made:
        assert len(made.pages) == 4


def test_the_pdf_takes_the_folders_name_and_lies_where_the_command_is_run(deck: Path) -> None:
    assert cli.main(["build", str(deck)]) == 0
    assert [path.name for path in Path.cwd().iterdir()] == ["Harbour.pdf"]


@pytest.mark.parametrize("method", ["duplex", "vertical-fold", "side-fold", "two-sheet"])
def test_every_method_gives_a_pdf_and_a_plan_that_agree(deck: Path, tmp_path: Path, method: str) -> None:
    out, plan = tmp_path / "sheets.pdf", tmp_path / "plan.json"
    assert cli.main(["build", str(deck), "--method", method, "--paper", "letter", "--out", str(out),
                     "--plan", str(plan)]) == 0
    told = json.loads(plan.read_text(encoding="utf-8"))
    assert told["method"] == method
    with pikepdf.open(out) as made:
        assert len(made.pages) == len(told["pages"])
        for page in made.pages:  # Letter is 612 x 792 units (ASME Y14.1, size A)
            assert [float(value) for value in page.mediabox] == pytest.approx([0, 0, 612, 792], abs=0.01)


def test_sheets_are_the_plans_and_papers_the_pieces_of_paper(deck: Path, tmp_path: Path,
                                                              capsys: pytest.CaptureFixture[str]) -> None:
    plan = tmp_path / "plan.json"
    assert cli.main(["build", str(deck), "--json", "--method", "two-sheet", "--plan", str(plan)]) == 0
    said = json.loads(capsys.readouterr().out)
    assert (said["sheets"], said["papers"], said["pages"]) == (2, 4, 4)
    kept = json.loads(plan.read_text(encoding="utf-8"))
    assert (kept["sheets"], kept["papers"]) == (2, 4)
    assert kept["summary"].items() <= said.items()
    assert (kept["format"], kept["version"], kept["unit"]) == ("lampfold-plan", 1, "mm")


def test_all_options_reach_the_settings(deck: Path, tmp_path: Path) -> None:
    plan = tmp_path / "plan.json"
    assert cli.main(["build", str(deck), "--method", "side-fold", "--card", "2.5x3.5in", "--bleed", "0.125in",
                     "--gutter", "6,35 mm", "--edges", "colour", "--cut-lines", "both", "--line-style", "ticks",
                     "--safe", "2", "--stock", "card-300", "--core", "1", "--margin", "6", "--paper", "a3",
                     "--arrangement", "landscape", "--turn-cards", "no", "--plan", str(plan)]) == 0
    told = json.loads(plan.read_text(encoding="utf-8"))
    assert (told["paper"]["name"], told["arrangement"], told["card_turned"]) == ("a3", "landscape", False)
    assert (told["card"]["width"], told["bleed"], told["gutter"]) == pytest.approx((63.5, 3.175, 6.35))
    assert told["spine"] == pytest.approx(1 + 3.14159265 * 0.300 / 2, abs=1e-5)  # T + pi c / 2, mid-plane neutral
    assert cli.main(["build", str(deck), "--method", "two-sheet", "--hinge", "15", "--plan", str(plan)]) == 0
    strip = json.loads(plan.read_text(encoding="utf-8"))["pages"][0]["hinge_strips"][0]
    assert min(strip["width"], strip["height"]) == pytest.approx(15)
    assert cli.main(["build", str(deck), "--method", "vertical-fold", "--fold-on-cut", "--plan", str(plan)]) == 0
    page = json.loads(plan.read_text(encoding="utf-8"))["pages"][0]
    crease = page["creases"][0]
    across = 0 if crease["start"][0] == crease["end"][0] else 1
    assert any(line["start"][across] == line["end"][across] == crease["start"][across] for line in page["cut_lines"])


def test_the_readable_summary_names_what_matters(deck: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(deck, "fronts/empty.png", b"")
    write(deck, "notes.txt", b"x")
    assert cli.main(["build", str(deck), "--bleed", "0"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Harbour.pdf: 10 cards on 2 sheets of A4.\n")
    for part in ("Cards a sheet   9 (3 × 3, portrait)", "Cuts            16", "Other plans",
                 "--arrangement portrait --turn-cards yes", "fronts/empty.png: Is empty.", "notes.txt: A document",
                 "Actual size, 100 %", "flip on the long edge"):
        assert part in out, part
    assert max(len(line) for line in out.splitlines() if "--arrangement" not in line) <= 100


@pytest.mark.parametrize(("mode", "count"), [("RGBA", 40), ("RGB", 1)], ids=["decoded", "passed through"])
def test_a_file_that_is_broken_inside_is_left_out_and_the_others_go_on(
        deck: Path, capsys: pytest.CaptureFixture[str], mode: str, count: int) -> None:
    data = bytearray(encoded("PNG", picture(252, 352, mode)))
    at = len(data) // 2
    data[at:at + count] = bytes(byte ^ 0xFF for byte in data[at:at + count])
    write(deck, "fronts/3.png", bytes(data))
    assert cli.main(["build", str(deck), "--json", "--bleed", "0"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert ("fronts/3.png", "error") in {(problem["file"], problem["severity"]) for problem in said["problems"]}
    assert said["sheets"] == 1


def test_a_lampfold_pdf_in_the_folder_is_not_laid_out_again(
        deck: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(deck)
    for _ in range(2):
        assert cli.main(["build", ".", "--json"]) == 0
        said = json.loads(capsys.readouterr().out)
        assert (said["pdf"], said["sheets"]) == ("Harbour.pdf", 2)
    assert ("Harbour.pdf", "ignored") in {(problem["file"], problem["code"]) for problem in said["problems"]}


def test_art_is_never_overwritten(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    art = write(tmp_path / "Harbour", "Harbour.pdf", pdf(2))
    before = art.read_bytes()
    monkeypatch.chdir(art.parent)
    assert failed(capsys, "build", ".").startswith("--out: Harbour.pdf is art of this deck")
    assert art.read_bytes() == before


@pytest.mark.parametrize(("options", "line"), [
    (["--bleed", "50"], "--bleed: 50 mm is too much. Use 0 to 20 mm."),
    (["--bleed", "wide"], "--bleed: 'wide' is no length. Write it as 3, 3mm, 0.125in or 1/8in."),
    (["--gutter=-1"], "--gutter: -1 mm is too little. Use 0 to 100 mm."),
    (["--method", "origami"], "--method: 'origami' is not known. Use duplex, vertical-fold, side-fold, card-fold, "
     "two-sheet or fronts-only."),
    (["--flip", "up"], "--flip: 'up' is not known. Use long-edge or short-edge."),
    (["--edges", "blur"], "--edges: 'blur' is not known. Use auto, art, mirror, stretch, colour or none."),
    (["--cut-lines", "x"], "--cut-lines: 'x' is not known. Use fronts, both or none."),
    (["--turn-cards", "x"], "--turn-cards: 'x' is not known. Use no or yes, or leave it out."),
    (["--back-flood", "pink"], "--back-flood: 'pink' is no colour. Write it as #1f5f6b, or leave it empty."),
    (["--hinge", "5"], "--hinge: 5 mm is too little. Use 10 to 60 mm."),
])
def test_bad_values_name_their_option(
        deck: Path, capsys: pytest.CaptureFixture[str], options: list[str], line: str) -> None:
    assert failed(capsys, "build", deck, *options) == line


def test_a_card_that_does_not_fit_says_by_how_much(deck: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line = failed(capsys, "build", deck, "--card", "400x400")
    assert line.startswith("--card: 400 × 400 mm is 202 mm too wide and 115 mm too tall for A4")


def test_names_that_are_not_known_list_those_that_are(deck: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for option in ("--card", "--paper", "--stock"):
        line = failed(capsys, "build", deck, option, "nothing")
        assert line.startswith(f"{option}: 'nothing' is not known. Use")


@pytest.mark.parametrize(("argv", "part"), [
    (["build"], "FOLDER"), (["build", "a", "b", "--json"], "unrecognized arguments: b"), (["bild"], "'bild'"),
    (["build", "x", "--ble", "3"], "--ble"), (["build", "x", "--bleed"], "--bleed"), (["check", "x", "--wat"], "--wat"),
])
def test_a_command_line_that_cannot_be_read_ends_with_2(
        capsys: pytest.CaptureFixture[str], argv: list[str], part: str) -> None:
    line = failed(capsys, *argv)
    assert part in line
    assert "--help" in line


def test_places_that_cannot_be_read_or_written(deck: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert failed(capsys, "build", tmp_path / "gone").endswith("gone: isn't there. Give the folder that holds fronts/ "
                                                               "and backs/.")
    assert "is a file, not a folder" in failed(capsys, "build", deck / "fronts/1.png")
    assert "--out: the folder" in failed(capsys, "build", deck, "--out", tmp_path / "no/where.pdf")
    assert "is a folder" in failed(capsys, "build", deck, "--out", tmp_path)
    assert "--plan: the folder" in failed(capsys, "build", deck, "--plan", tmp_path / "no/plan.json")
    assert "the PDF's own place" in failed(capsys, "build", deck, "--out", "a.pdf", "--plan", "./a.pdf")


def test_a_disk_that_refuses_is_one_line(
        deck: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*given: object, **named: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(deck_pdf, "write_pdf", full)
    assert failed(capsys, "build", deck).startswith("--out: Harbour.pdf can't be written (No space left on device).")


def test_a_deck_without_cards_has_no_pdf(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path / "Empty", "fronts/1.png", b"")
    line = failed(capsys, "build", tmp_path / "Empty", "--json")
    assert line.startswith("deck: 'Empty' has no card to print. fronts/1.png: Is empty.")


def test_copies_beyond_all_sense_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for number in range(21):
        write(tmp_path / "Many", f"fronts/{number}_x999.png", encoded("PNG", picture(63, 88)))
    assert "asks for 20979 cards, over the limit of 20000" in failed(capsys, "build", tmp_path / "Many")


def test_control_letters_in_names_stay_out_of_the_terminal() -> None:
    from server.commands.report import wrapped

    assert wrapped("fronts/\x1b[31mred\n.png", "  ") == ["  fronts/\ufffd[31mred\ufffd.png"]


def test_ctrl_c_ends_with_130(deck: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(arguments: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(build, "read_asked", stop)
    assert failed(capsys, "build", deck, code=130) == "stopped."


def test_a_fault_of_ours_is_one_line_too(
        deck: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    def fault(arguments: object) -> int:
        raise TypeError("two\nlines")

    monkeypatch.setattr(build, "read_asked", fault)
    assert failed(capsys, "build", deck).startswith("TypeError: two lines.")


def test_help_and_version_end_with_0(capsys: pytest.CaptureFixture[str]) -> None:
    for argv in (["--help"], ["--version"], ["build", "--help"], ["check", "-h"]):
        assert cli.main(argv) == 0
        assert capsys.readouterr().out


def test_a_command_is_found_by_its_modules_name_alone() -> None:
    assert [module.__name__ for module in modules_for(["build", "x"])] == ["server.commands.build"]
    assert len(modules_for(["demo"])) == len(modules_for([])) == len(COMMANDS)


def test_an_error_keeps_its_class_when_it_is_named_by_option() -> None:
    from server.commands.options import by_option
    from server.errors import DoesNotFit

    assert type(by_option(DoesNotFit("card: too wide.", "Cut."))) is DoesNotFit
    unknown = BadValue("something else altogether")
    assert by_option(unknown) is unknown
