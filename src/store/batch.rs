//! Many rows in one statement. A statement costs tens of microseconds whatever it carries.

use super::StoreError;
use super::dialect::place;
use super::sql::{Bound, Connection, Dialect, query_made};

/// Rows carried by one statement. So few numbers of rows make few texts of statements, which the connection knows.
const AT_ONCE: [usize; 4] = [64, 16, 4, 1];

/// A table that many rows go into at once, with the columns that they bring.
pub(super) struct Table<'c> {
    pub name: &'static str,
    pub columns: &'c [&'static str],
}

/// Inserts rows in order, each with a value for every column of its table.
pub(super) async fn insert<R: IntoIterator<Item = Bound>>(
    connection: &mut Connection,
    table: &Table<'_>,
    rows: impl IntoIterator<Item = R>,
) -> Result<(), StoreError> {
    let rows: Vec<R> = rows.into_iter().collect();
    let (mut left, mut rows) = (rows.len(), rows.into_iter());
    for size in AT_ONCE {
        while left >= size {
            left = left.saturating_sub(size);
            let mut statement = query_made(statement(connection.dialect(), table, size));
            for value in rows.by_ref().take(size).flatten() {
                statement = statement.bind(value);
            }
            statement.execute(connection).await?;
        }
    }
    Ok(())
}

fn statement(dialect: Dialect, table: &Table<'_>, rows: usize) -> String {
    let columns: Vec<String> = table.columns.iter().map(|c| format!("\"{c}\"")).collect();
    let mut places = (1_usize..).map(|number| place(dialect, number));
    let rows: Vec<String> = (0..rows)
        .map(|_| {
            let row: Vec<String> = places.by_ref().take(columns.len()).collect();
            format!("({})", row.join(", "))
        })
        .collect();
    let (columns, rows) = (columns.join(", "), rows.join(", "));
    format!("INSERT INTO {} ({columns}) VALUES {rows}", table.name)
}
