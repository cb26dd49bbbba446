"""What the check says before heat is told, and kept with the run: warnings, and accepted ones."""

from emberbed.profiles.acceptance import with_acceptance
from emberbed.profiles.check import check_profile
from emberbed.profiles.reader import parse_profile
from tests.support.command import finish
from tests.support.profiles import hold_profile

REASON = "Scrap board, its parts are off"
WARM = hold_profile(for_s=5).replace("below_c = 50", "below_c = 55")


def accepted(text: str) -> str:
    file = parse_profile(text.encode(), "warm.toml")
    (found,) = [one for one in check_profile(file) if one.severity == "warning"]
    return with_acceptance(file.source, text, found.name, REASON)


def events_of(ran, kind):
    return [event.sentence for event in ran.tape.events if event.kind == kind]


def test_an_accepted_warning_is_printed_and_kept_with_its_reason(make_run, tmp_path):
    path = tmp_path / "warm.toml"
    path.write_text(accepted(WARM), encoding="utf-8")
    ran = make_run(path)
    assert ran.done.exit_code == 0
    (kept,) = events_of(ran, "accepted")
    assert kept.startswith("Check before heat: ") and kept.endswith(f"(accepted: {REASON})")
    assert REASON in ran.done.output and events_of(ran, "check") == []
    assert REASON in ran.tape.run.profile_toml
    page = tmp_path / "page.html"
    assert finish("runs", "page", "last", "--store", ran.store, "--to", page).exit_code == 0
    assert REASON in page.read_text(encoding="utf-8")


def test_a_warning_that_nobody_accepted_is_kept_too(make_run, tmp_path):
    path = tmp_path / "warm.toml"
    path.write_text(WARM, encoding="utf-8")
    ran = make_run(path)
    assert ran.done.exit_code == 0  # what the trade says is told, it refuses nothing
    (kept,) = events_of(ran, "check")
    assert "still too hot to handle" in kept and events_of(ran, "accepted") == []


def test_a_boards_own_profile_runs_and_its_text_needs_no_base(make_run, tmp_path):
    (tmp_path / "recipe.toml").write_text(hold_profile(for_s=5), encoding="utf-8")
    own = tmp_path / "own.toml"
    own.write_text(
        'base = "recipe"\nname = "Own board"\n[[corrections]]\nto_c_plus = -4\n', encoding="utf-8"
    )
    ran = make_run(own)
    assert ran.done.exit_code == 0 and ran.tape.run.profile_name == "Own board"
    kept = parse_profile(ran.tape.run.profile_toml.encode(), "kept").model
    assert kept.stages[0].to_c == 56
