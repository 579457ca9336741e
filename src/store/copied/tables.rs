//! What is copied: a table or a column that is forgotten here is missed by a test.

use Holds::{Number, Text};

/// A table with all of its columns.
pub(super) struct Copied {
    pub name: &'static str,
    pub columns: &'static [(&'static str, Holds)],
}

/// What a column holds.
#[derive(Clone, Copy)]
pub(super) enum Holds {
    Number,
    Text,
}

/// Every table, those that others point to first, with all of its columns; the first of them are its key, by which it is
/// gone through.
pub(super) const TABLES: &[(Copied, usize)] = &[
    (
        of(
            "journal",
            &[
                ("seq", Number),
                ("at", Number),
                ("by_login", Text),
                ("kind", Text),
                ("body", Text),
                ("judgements", Text),
                ("previous", Text),
                ("hash", Text),
            ],
        ),
        1,
    ),
    (
        of(
            "person",
            &[
                ("id", Number),
                ("key", Text),
                ("number", Text),
                ("family_name", Text),
                ("given_name", Text),
                ("email", Text),
                ("salt", Text),
                ("commitment", Text),
                ("sourced_id", Text),
            ],
        ),
        1,
    ),
    (
        of(
            "judgement",
            &[
                ("id", Number),
                ("seq", Number),
                ("experiment", Text),
                ("student", Text),
                ("schema", Number),
                ("document", Text),
                ("rules", Number),
            ],
        ),
        1,
    ),
    (
        of(
            "free_text",
            &[("commitment", Text), ("salt", Text), ("text", Text)],
        ),
        1,
    ),
    (
        of(
            "bench_draft",
            &[
                ("experiment", Text),
                ("student", Text),
                ("at", Number),
                ("change", Number),
                ("form", Text),
                ("fields", Text),
                ("hand_at", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "account",
            &[
                ("kind", Text),
                ("login", Text),
                ("password_hash", Text),
                ("created_at", Number),
                ("disabled_at", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "draft_owner",
            &[("kind", Text), ("login", Text), ("name", Text)],
        ),
        2,
    ),
    (
        of(
            "claim_code",
            &[
                ("id", Number),
                ("kind", Text),
                ("login", Text),
                ("code_hash", Text),
                ("issued_at", Number),
                ("expires_at", Number),
                ("used_at", Number),
            ],
        ),
        1,
    ),
    (
        of(
            "session",
            &[
                ("token_hash", Text),
                ("kind", Text),
                ("login", Text),
                ("created_at", Number),
                ("last_seen_at", Number),
            ],
        ),
        1,
    ),
    (
        of(
            "sign_in_failure",
            &[
                ("id", Number),
                ("login_hash", Text),
                ("address", Text),
                ("at", Number),
            ],
        ),
        1,
    ),
    (
        of(
            "known_browser",
            &[
                ("browser_hash", Text),
                ("login_hash", Text),
                ("used_at", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "second_step",
            &[
                ("kind", Text),
                ("login", Text),
                ("secret", Text),
                ("confirmed_at", Number),
                ("last_step", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "recovery_code",
            &[("kind", Text), ("login", Text), ("code_hash", Text)],
        ),
        3,
    ),
    (of("sign_in_rule", &[("name", Text)]), 1),
    (of("setting", &[("name", Text), ("value", Text)]), 1),
    (
        of(
            "access_event",
            &[
                ("id", Number),
                ("at", Number),
                ("what", Text),
                ("kind", Text),
                ("who", Text),
                ("by_login", Text),
                ("subject", Text),
                ("head", Text),
                ("place", Text),
                ("previous", Text),
                ("hash", Text),
            ],
        ),
        1,
    ),
    (
        of(
            "access_place",
            &[("event", Number), ("salt", Text), ("address", Text)],
        ),
        1,
    ),
    (
        of(
            "mail_course",
            &[("one", Number), ("wanted", Number), ("seq", Number)],
        ),
        1,
    ),
    (
        of(
            "mail",
            &[
                ("id", Number),
                ("event", Text),
                ("what", Text),
                ("kind", Text),
                ("who", Text),
                ("experiment", Text),
                ("queued_at", Number),
                ("state", Text),
                ("tries", Number),
                ("next_at", Number),
                ("ended_at", Number),
                ("why", Text),
                ("address", Text),
            ],
        ),
        1,
    ),
    (
        of(
            "mail_choice",
            &[
                ("kind", Text),
                ("who", Text),
                ("wanted", Number),
                ("address", Text),
            ],
        ),
        2,
    ),
    (
        of(
            "calendar",
            &[
                ("kind", Text),
                ("who", Text),
                ("secret", Text),
                ("made_at", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "lti_platform",
            &[
                ("issuer", Text),
                ("client", Text),
                ("deployment", Text),
                ("authorize", Text),
                ("keys", Text),
                ("named_by", Text),
                ("token", Text),
                ("audience", Text),
            ],
        ),
        3,
    ),
    (
        of(
            "lti_key",
            &[
                ("kid", Text),
                ("n", Text),
                ("e", Text),
                ("private", Text),
                ("made_at", Number),
                ("retired_at", Number),
            ],
        ),
        1,
    ),
    (
        of(
            "lti_context",
            &[
                ("name", Text),
                ("issuer", Text),
                ("client", Text),
                ("deployment", Text),
                ("id", Text),
                ("title", Text),
                ("memberships", Text),
                ("line_items", Text),
                ("scopes", Text),
                ("groups", Text),
                ("link", Text),
                ("seen_at", Number),
                ("course", Text),
            ],
        ),
        1,
    ),
    (
        of(
            "lti_person",
            &[
                ("issuer", Text),
                ("sub", Text),
                ("kind", Text),
                ("login", Text),
                ("linked_at", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "lti_member",
            &[
                ("context", Text),
                ("issuer", Text),
                ("sub", Text),
                ("teaches", Number),
                ("named", Text),
            ],
        ),
        3,
    ),
    (
        of(
            "lti_course",
            &[("one", Number), ("wanted", Number), ("seq", Number)],
        ),
        1,
    ),
    (
        of(
            "lti_line_item",
            &[
                ("context", Text),
                ("experiment", Text),
                ("address", Text),
                ("taken_until", Number),
            ],
        ),
        2,
    ),
    (
        of(
            "lti_grade",
            &[
                ("id", Number),
                ("context", Text),
                ("experiment", Text),
                ("student", Text),
                ("points", Text),
                ("possible", Text),
                ("settled", Number),
                ("version", Number),
                ("changed_at", Number),
                ("state", Text),
                ("tries", Number),
                ("next_at", Number),
                ("taken_until", Number),
                ("stamped_at", Number),
                ("sent_at", Number),
                ("sent_points", Text),
                ("why", Text),
            ],
        ),
        1,
    ),
];

const fn of(name: &'static str, columns: &'static [(&'static str, Holds)]) -> Copied {
    Copied { name, columns }
}
