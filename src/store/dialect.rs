//! What the engines say differently. Every other statement of the store stands once.

use super::sql::Dialect;

/// Begins the one write of a course, which waits for the one before to end.
pub(super) fn begin(dialect: Dialect) -> &'static str {
    match dialect {
        Dialect::Sqlite => "BEGIN IMMEDIATE",
        // the lock is let go of with the transaction, and every statement after it sees what was committed before
        #[cfg(feature = "postgres")]
        Dialect::Postgres => {
            "BEGIN; SELECT pg_advisory_xact_lock(1131376739, hashtext(current_schema()))"
        }
    }
}

/// Begins to read with nothing written in between, and ends it. A savepoint opens a transaction where there is none, and
/// nests where there is one; `within` says whether there is one.
pub(super) fn snapshot(dialect: Dialect, within: bool) -> Option<(&'static str, &'static str)> {
    match (dialect, within) {
        (Dialect::Sqlite, _) => Some(("SAVEPOINT load", "RELEASE load")),
        #[cfg(feature = "postgres")]
        (Dialect::Postgres, false) => {
            Some(("BEGIN ISOLATION LEVEL REPEATABLE READ, READ ONLY", "COMMIT"))
        }
        // whoever writes has the course to themselves
        #[cfg(feature = "postgres")]
        (Dialect::Postgres, true) => None,
    }
}

/// The place of a value that is bound, of many that are bound in order.
#[cfg_attr(not(feature = "postgres"), expect(unused_variables))]
pub(super) fn place(dialect: Dialect, number: usize) -> String {
    match dialect {
        // a number makes a name of it, which is looked for among all the others
        Dialect::Sqlite => "?".to_owned(),
        #[cfg(feature = "postgres")]
        Dialect::Postgres => format!("${number}"),
    }
}
