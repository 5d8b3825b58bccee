"""What two lists ask for, in our own words, and the test that shows it or the reason why it is not so here.

Numbers of V5, V7 and V8: OWASP ASVS 5.0, English text of its public repository, read on 2026-11-25. Capability URLs: W3C TAG,
"Good Practices for Capability URLs"; its advice from memory, numbered by us. `tests` are names of test functions; a row without
one says why. `test_checklist.py` looks for each.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Row:
    number: str
    asks: str
    tests: tuple[str, ...] = ()
    reason: str = ""


def row(number: str, asks: str, *tests: str, reason: str = "") -> Row:
    return Row(number=number, asks=asks, tests=tests, reason=reason)


FILES = (
    row(
        "5.1.1",
        "the documents say which files are taken, how large, and what becomes of bad ones",
        "test_the_readme_names_formats_and_ceilings",
    ),
    row(
        "5.2.1",
        "no file larger than can be worked on",
        "test_a_file_beyond_the_limit_is_told_so_by_name",
        "test_bodies_beyond_the_room_are_refused_until_others_are_gone",
        "test_whatever_a_file_does_costs_itself_and_is_one_sentence",
    ),
    row(
        "5.2.2",
        "content is what its name says, also inside an archive",
        "test_a_bad_file_is_one_sentence_that_names_it_and_is_not_kept",
        reason="the content alone decides how a file is read; nothing hangs on its extension",
    ),
    row(
        "5.2.3",
        "archives are held to an unpacked size and a number of files",
        "test_a_zip_bomb_is_one_sentence",
        "test_a_ceiling_of_archives_is_one_sentence",
        reason="counted before, sizes while unpacking: what a header says of a size is not believed",
    ),
    row(
        "5.2.4",
        "nobody fills the storage alone",
        "test_the_fifth_upload_of_four_is_429_with_when_to_come_back",
        "test_bytes_are_counted_as_bytes_and_one_large_file_is_never_shut_out",
        "test_a_full_disk_and_a_full_quota_are_refused_before_anything_is_kept",
        reason="by address, because there are no accounts",
    ),
    row("5.2.5", "no symbolic links in archives", reason="members are read as bytes in memory; no link is ever made or followed"),
    row("5.2.6", "no image of too many pixels", reason="no images are taken"),
    row(
        "5.3.1",
        "an uploaded file is never run",
        "test_a_child_can_write_to_no_disk_and_knows_no_secret",
        "test_an_upload_is_never_spooled_to_the_disk",
        reason="the file itself is never kept; what is kept lies in no served folder",
    ),
    row(
        "5.3.2",
        "paths are made of the program's own names",
        "test_a_file_name_is_never_a_path_and_never_trusted",
        "test_a_blob_is_found_by_its_hash_and_by_nothing_else",
    ),
    row("5.3.3", "paths inside an archive lead nowhere", "test_paths_in_an_archive_lead_nowhere"),
    row("5.4.1", "downloads have a name of our own", "test_the_download_is_the_result_and_computes_nothing_twice"),
    row(
        "5.4.2",
        "names in headers cannot break them",
        "test_the_download_is_the_result_and_computes_nothing_twice",
        reason="the name is made of the program's name and of eight characters of the address",
    ),
    row(
        "5.4.3",
        "what is served on was scanned",
        reason="no uploaded file is served on; recordings leave as numbers and texts of ours",
    ),
)

SESSIONS = (
    row(
        "7.1.1",
        "how long a browser stays an owner is documented",
        reason="400 days, `access.COOKIE_AGE_S` with its reason; a key can be ended or revoked at any time",
    ),
    row("7.1.2", "how many at once is documented", reason="as many browsers as hold the owner link; that is its purpose"),
    row("7.1.3", "federated identities are documented", reason="there are none"),
    row("7.2.1", "tokens are looked at on the server", "test_an_owners_callback_without_the_key_is_refused_and_changes_nothing"),
    row("7.2.2", "tokens are made for the occasion", "test_a_new_trial_gives_its_key_to_this_browser_only"),
    row(
        "7.2.3",
        "tokens have 128 bits of good randomness",
        "test_addresses_and_keys_carry_at_least_128_bit",
        "test_tokens_and_keys_are_long_random_and_of_the_alphabet_of_addresses",
    ),
    row(
        "7.2.4",
        "a new token at each authentication",
        reason="nobody logs in; the owner link is the authentication and its key the token",
    ),
    row("7.3.1", "an end after inactivity", reason="an owner comes back after months; the key's end can be set instead"),
    row("7.3.2", "an end in any case", "test_a_revoked_or_ended_key_opens_nothing_any_more"),
    row("7.4.1", "what was ended stays ended", "test_a_revoked_or_ended_key_opens_nothing_any_more"),
    row("7.4.2", "a deleted account ends its sessions", reason="no accounts; keys lie with the trial and go with it"),
    row("7.4.3", "other sessions can be ended", "test_the_last_owner_link_goes_when_that_is_meant"),
    row(
        "7.4.4",
        "a way to log out is in sight",
        reason="owner links are listed on the page of their trial, each can be ended there",
    ),
    row(
        "7.4.5", "whoever runs the server can end sessions", reason="by deleting trials or keys; there is no administrator's page"
    ),
    row(
        "7.5.1",
        "authentication anew before what matters is changed",
        reason="there is nothing beside the key that could be asked for",
    ),
    row("7.5.2", "all sessions can be seen and ended", "test_of_two_owners_changing_links_at_once_the_later_is_told"),
    row("7.5.3", "a second check before what cannot be undone", reason="no second factor exists without accounts"),
    row("7.6.1", "federated lifetimes agree", reason="no federation"),
    row(
        "7.6.2",
        "no session without an act of the user",
        "test_the_owner_link_moves_the_key_into_a_cookie",
        reason="opening the owner link is the act",
    ),
)

AUTHORIZATION = (
    row("8.1.1", "who may do what is written down", "test_every_callback_and_route_has_a_decision_and_no_decision_is_left_over"),
    row("8.1.2", "also field by field", reason="deltas before freezing are the one case: `freezing.py` says what may leave"),
    row("8.1.3", "what of the surroundings counts is written down", "test_every_variable_is_in_the_readme"),
    row("8.1.4", "and how it counts", "test_every_variable_is_in_the_readme", reason="address and rate only, the README's table"),
    row(
        "8.2.1",
        "functions only for whoever may",
        "test_an_owners_callback_without_the_key_is_refused_and_changes_nothing",
        "test_an_owners_route_without_the_key_gives_nothing",
    ),
    row(
        "8.2.2",
        "data only for whoever may",
        "test_an_owner_of_one_trial_is_none_of_another",
        "test_only_a_trials_own_keys_open_it",
        "test_looking_changes_nothing",
    ),
    row("8.2.3", "fields only for whoever may", "test_a_built_file_leaves_no_trace_of_place_rider_or_device"),
    row("8.2.4", "the surroundings count as documented", "test_new_trials_owner_links_and_requests_have_their_own_limits"),
    row(
        "8.3.1",
        "decided on the server, not in the browser",
        "test_an_owners_callback_without_the_key_is_refused_and_changes_nothing",
        "test_the_refusal_is_the_keys_doing",
        "test_odd_values_from_an_owners_browser_are_never_a_fault",
    ),
    row("8.3.2", "a change counts at once", "test_a_revoked_or_ended_key_opens_nothing_any_more"),
    row("8.3.3", "the asker's rights count, not those of a go-between", reason="no service asks another"),
    row(
        "8.4.1",
        "tenants cannot reach each other",
        "test_an_owner_of_one_trial_is_none_of_another",
        "test_links_of_another_trial_are_out_of_reach",
    ),
    row("8.4.2", "administration behind several locks", reason="no administrator's page exists"),
)

CAPABILITY_URLS = (
    row("C1", "addresses cannot be guessed", "test_addresses_and_keys_carry_at_least_128_bit"),
    row("C2", "only over https", "test_each_thing_that_is_missing_or_unsafe_is_a_sentence"),
    row(
        "C3",
        "no other site learns the address",
        "test_every_answer_carries_the_protecting_headers",
        "test_the_policy_names_every_inline_script_and_no_page_asks_for_another_host",
    ),
    row("C4", "search engines stay out", "test_the_page_names_its_language_its_width_and_keeps_out_of_indexes"),
    row("C5", "addresses can be revoked and can end", "test_revoked_ended_and_unknown_links_are_told_apart_by_nothing"),
    row("C6", "several addresses for one thing, told apart", "test_a_second_reader_link_opens_the_same_trial_and_both_go_on"),
    row(
        "C7",
        "looking and changing have addresses of their own",
        "test_an_owners_callback_without_the_key_is_refused_and_changes_nothing",
    ),
    row("C8", "the stronger address does not stay in the address bar", "test_the_owner_link_moves_the_key_into_a_cookie"),
    row("C9", "no log keeps an address", "test_nothing_private_is_in_the_log", "test_no_log_line_holds_a_key_or_a_link"),
    row("C10", "a page says what its address allows", "test_a_new_trial_shows_both_links_once_and_is_listed_nowhere"),
    row("C11", "the database does not give the keys away", "test_a_copy_of_the_disk_holds_no_owner_key"),
)

ALL = FILES + SESSIONS + AUTHORIZATION + CAPABILITY_URLS
# How many requirements each chapter has; a row left out is noticed.
COUNTS = {"5": 13, "7": 19, "8": 13, "C": 11}
