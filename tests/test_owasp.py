"""OWASP's File Upload and CSRF Prevention cheat sheets, item by item, with the tests that cover each.

The items are the cheat sheets' own advice in our words; a test here sees that every test named does exist.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

_TESTS = Path(__file__).parent

FILE_UPLOAD: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("List what is allowed; everything else is refused",
     ("web/test_files_api.py::test_what_is_no_art_is_a_415_that_names_it",)),
    ("Decode and validate the name before anything is judged by it",
     ("store/test_data_folder.py::test_paths_that_climb_or_hide_are_refused",
      "web/test_files_api.py::test_names_that_climb_are_refused")),
    ("Judge by content, not by Content-Type or ending",
     ("web/test_files_api.py::test_what_is_no_art_is_a_415_that_names_it",)),
    ("The name on the disk is the application's own",
     ("web/test_files_api.py::test_a_file_is_kept_under_its_bytes_and_never_under_its_name",)),
    ("Limit the length and the letters of names",
     ("store/test_data_folder.py::test_paths_that_climb_or_hide_are_refused",
      "store/test_data_folder.py::test_names_that_are_none_are_refused")),
    ("Limit the size of a file, before it is read where that is known",
     ("web/test_files_api.py::test_a_body_over_the_limit_is_refused_before_it_is_read",
      "web/test_memory.py::test_two_gigabytes_are_refused",
      "web/test_files_api.py::test_pixels_over_the_limit_are_refused_by_the_header")),
    ("Limit how much is kept in all",
     ("web/test_files_api.py::test_files_and_bytes_of_a_deck_are_bounded",
      "web/test_files_api.py::test_a_disk_without_room_is_a_507",
      "store/test_decks.py::test_the_limit_of_decks_is_told")),
    ("Only people who may upload can upload",
     ("web/test_files_api.py::test_strangers_bodies_are_not_read",
      "web/test_people.py::test_a_playtester_looks_and_prints_and_changes_nothing",
      "web/test_people.py::test_whoever_is_put_out_in_the_middle_of_an_upload_keeps_nothing")),
    ("Keep files outside what is served; give them out by a handler",
     ("web/test_files_api.py::test_a_file_is_kept_under_its_bytes_and_never_under_its_name",
      "web/test_decks_api.py::test_pictures_come_shrunk_and_upright",
      "web/test_guard.py::test_every_answer_carries_the_headers")),
    ("Look at files in a place apart that may break",
     ("web/test_files_api.py::test_a_worker_that_is_lost_takes_one_files_verdict_along",
      "jobs/test_pool.py::test_memory_is_bounded", "jobs/test_pool.py::test_a_worker_that_hangs_is_ended_in_time")),
    ("Disarm documents: what runs in a PDF stays out of what is given on",
     ("web/test_privacy.py::test_the_pdf_runs_nothing",)),
    ("Make images anew before they are shown; leave what they tell behind",
     ("web/test_privacy.py::test_pictures_for_the_screen_tell_nothing",
      "web/test_privacy.py::test_the_pdf_does_not_tell_where_a_photograph_was_taken")),
    ("Guard uploads against forged requests",
     ("web/test_guard.py::test_a_change_from_another_origin_is_refused",)),
    ("Nothing is overwritten by another file of the same name without a way back",
     ("web/test_files_api.py::test_a_file_goes_and_undo_brings_it_back",
      "store/test_decks.py::test_files_of_one_drop_are_one_step_to_undo")),
    ("Archives: bombs, climbing names, links and nesting are refused",
     ("jobs/test_unpack.py::test_a_bomb_is_refused_by_its_directory",
      "jobs/test_unpack.py::test_a_directory_that_lies_gets_no_more_than_it_says",
      "jobs/test_unpack.py::test_a_name_that_climbs_refuses_the_archive",
      "jobs/test_unpack.py::test_a_link_refuses_the_archive",
      "jobs/test_unpack.py::test_an_archive_in_the_archive_is_refused")),
    ("Names from outside are shown escaped",
     ("browser/test_people_page.py::test_a_playtester_comes_in_prints_on_the_own_paper_and_is_put_out",
      "web/test_people.py::test_a_code_from_a_qr_fills_the_door_in_and_is_escaped")),
    ("Rights of the folder: its owner's alone",
     ("store/test_data_folder.py::test_the_folder_is_its_owners_alone",)),
)

CSRF: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Compare Origin with the own one on every request that changes something, and refuse a missing one",
     ("web/test_guard.py::test_a_change_from_another_origin_is_refused",)),
    ("The own origin is what the server knows, not what Host says",
     ("web/test_guard.py::test_any_other_name_is_refused_on_every_route",
      "web/test_people.py::test_machines_own_addresses_are_names_on_the_lan_alone")),
    ("Cookies: SameSite and HttpOnly", ("web/test_guard.py::test_a_launch_token_is_good_once",)),
    ("A request that reads changes nothing",
     ("web/test_decks_api.py::test_the_plan_is_drawn_with_settings_that_are_not_saved",
      "web/test_guard.py::test_every_answer_carries_the_headers")),
    ("Logging in can't be forged: a link from elsewhere makes nobody someone else",
     ("web/test_people.py::test_a_link_leaves_the_host_the_host",
      "web/test_guard.py::test_a_made_up_token_lets_no_one_in")),
    ("Scripts from outside would undo all of this: a strict policy, no framing",
     ("web/test_guard.py::test_every_answer_carries_the_headers",)),
    ("A session that has been ended is dead at once",
     ("web/test_guard.py::test_a_cookie_is_dead_once_its_owner_is_put_out",
      "web/test_people.py::test_a_stream_ends_for_whoever_is_put_out")),
    ("Fetch Metadata is not relied on: browsers leave it out on plain http",
     ("web/test_guard.py::test_a_change_from_another_origin_is_refused",)),
)


@pytest.mark.parametrize(("item", "tests"), [*FILE_UPLOAD, *CSRF])
def test_every_item_has_its_test(item: str, tests: tuple[str, ...]) -> None:
    for entry in tests:
        path, _, name = entry.partition("::")
        tree = ast.parse((_TESTS / path).read_text(encoding="utf-8"))
        found = [node for node in tree.body if isinstance(node, ast.FunctionDef) and node.name == name]
        assert len(found) == 1, entry
        asserts = [node for node in ast.walk(found[0]) if isinstance(node, (ast.Assert, ast.With))]
        assert asserts, f"{entry} asserts nothing"
