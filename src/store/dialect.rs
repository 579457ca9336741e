//! What the engines say differently. Every other statement of the store stands once.

use super::batch::{Holds, Table};
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

/// Inserts rows that come as one JSON array of objects, in its order.
pub(super) fn insert_of_json(dialect: Dialect, table: &Table) -> String {
    let each = |one: &dyn Fn(&str, Holds) -> String| {
        let columns = table.columns.iter().map(|(name, kind)| one(name, *kind));
        columns.collect::<Vec<_>>().join(", ")
    };
    let names = each(&|name, _| format!("\"{name}\""));
    let into = format!("INSERT INTO {} ({names}) SELECT", table.name);
    match dialect {
        Dialect::Sqlite => {
            let values = each(&|name, _| format!("value ->> '$.{name}'"));
            format!("{into} {values} FROM json_each($1) ORDER BY key")
        }
        #[cfg(feature = "postgres")]
        Dialect::Postgres => {
            let typed = each(&|name, kind| match kind {
                Holds::Number => format!("\"{name}\" bigint"),
                Holds::Text => format!("\"{name}\" text"),
            });
            format!(
                "{into} {names} FROM ROWS FROM (json_to_recordset($1::json) AS ({typed})) WITH ORDINALITY
                 AS brought ({names}, row_of_list) ORDER BY row_of_list"
            )
        }
    }
}
