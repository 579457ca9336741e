//! The views of the database say what the exported folder says.

use std::collections::BTreeSet;

use concordant::desk::{Desk, bring_in, output_files};
use concordant::files::write_term;
use concordant::store::Store;
use rust_decimal::Decimal;
use sqlx::sqlite::SqliteConnection;
use sqlx::{AssertSqlSafe, Row};

type Rows = BTreeSet<Vec<String>>;

/// A cell without the apostrophe that keeps a spreadsheet from running it.
fn said(cell: &str) -> String {
    let guarded = |rest: &&str| rest.starts_with(['=', '+', '-', '@']);
    cell.strip_prefix('\'')
        .filter(guarded)
        .unwrap_or(cell)
        .to_owned()
}

/// Columns of a CSV file by their names.
fn of_file(bytes: Option<&[u8]>, columns: &[&str]) -> Rows {
    let mut reader = csv::Reader::from_reader(bytes.expect("a file"));
    let header = reader.headers().expect("a header").clone();
    let place = |name: &&str| header.iter().position(|h| h == *name).expect(name);
    let places: Vec<usize> = columns.iter().map(place).collect();
    let rows = reader.records().map(|row| {
        let row = row.expect("a row");
        places.iter().map(|at| said(&row[*at])).collect()
    });
    rows.collect()
}

async fn of_view(connection: &mut SqliteConnection, query: &str, columns: usize) -> Rows {
    let rows = sqlx::query(AssertSqlSafe(query.to_owned()));
    let rows = rows.fetch_all(connection).await.expect("rows");
    let text = |row: &sqlx::sqlite::SqliteRow, at: usize| {
        let text: Option<String> = row.try_get(at).expect("text");
        text.unwrap_or_default()
    };
    let rows = rows
        .iter()
        .map(|row| (0..columns).map(|at| text(row, at)).collect());
    rows.collect()
}

#[tokio::test]
async fn the_views_say_what_the_folder_says() {
    let desk = Desk::open(Store::passing().await.expect("a store"));
    let desk = desk.await.expect("a desk");
    let now = "2026-10-01T12:00:00Z".parse().expect("an instant");
    let brought = bring_in(&desk, &crate::arrangements::arranged(), "test", now).await;
    brought.expect("imported");
    let (folder, outputs, term) = {
        let view = desk.view().await.expect("a course");
        (
            write_term(&view.term),
            output_files(&view),
            view.term.clone(),
        )
    };
    let mut reader = desk.store().read().await.expect("a reader");
    let connection = reader.sqlite().expect("in memory");

    let columns = [
        "student_id",
        "family_name",
        "given_name",
        "section",
        "email",
        "left",
    ];
    let query = "SELECT student_id, family_name, given_name, section, email, left_on FROM students";
    assert_eq!(
        of_view(connection, query, 6).await,
        of_file(folder.get("roster.csv"), &columns)
    );

    let columns = [
        "lot",
        "reagent",
        "molarity_mol_per_L",
        "standard_uncertainty_mol_per_L",
    ];
    let query =
        "SELECT lot, reagent, molarity, standard_uncertainty FROM lot_values WHERE record IS NULL";
    assert_eq!(
        of_view(connection, query, 4).await,
        of_file(folder.get("lots.csv"), &columns)
    );

    let columns = [
        "experiment",
        "unknown",
        "true_value",
        "standard_uncertainty",
    ];
    let query = "SELECT experiment, unknown, true_value, standard_uncertainty FROM unknown_values WHERE record IS NULL";
    assert_eq!(
        of_view(connection, query, 4).await,
        of_file(folder.get("unknowns.csv"), &columns)
    );

    let columns = ["experiment", "student_id", "reason", "by", "at"];
    let query = "SELECT experiment, student_id, reason, by_login, at FROM decisions";
    let decisions = of_view(connection, query, 5).await;
    assert!(!decisions.is_empty());
    assert_eq!(decisions, of_file(folder.get("decisions.csv"), &columns));

    let columns = ["experiment", "student_id", "status", "unknown", "lot"];
    let query = "SELECT experiment, student_id, status, unknown, lot FROM results";
    let expected = of_file(outputs.get("results.csv"), &columns);
    assert!(!expected.is_empty());
    assert_eq!(of_view(connection, query, 5).await, expected);
    let number = |rows: Rows| -> BTreeSet<(String, String, Vec<Option<Decimal>>)> {
        let numbers = |row: &[String]| {
            row.iter()
                .map(|text| {
                    text.parse::<Decimal>()
                        .ok()
                        .map(|n| n.round_sf(9).unwrap_or(n).normalize())
                })
                .collect()
        };
        rows.iter()
            .map(|row| (row[0].clone(), row[1].clone(), numbers(&row[2..])))
            .collect()
    };
    let columns = [
        "experiment",
        "student_id",
        "result",
        "total",
        "possible",
        "accuracy",
        "recording",
    ];
    let query = "SELECT experiment, student_id, result, total, possible, points ->> '$.accuracy', points ->> '$.recording' FROM results";
    assert_eq!(
        number(of_view(connection, query, 7).await),
        number(of_file(outputs.get("results.csv"), &columns))
    );

    // every revision counts here, and the folder keeps the last one in its readings
    let query =
        "SELECT written FROM readings WHERE experiment = 'hardness' AND student_id = '0017'";
    let written = of_view(connection, query, 1).await;
    let columns = ["student_id", "burette_end_mL"];
    for row in of_file(folder.get("readings/hardness.csv"), &columns) {
        assert!(row[0] != "0017" || written.contains(&row[1..]), "{row:?}");
    }
    let query = "SELECT experiment, student_id, max(revision) || '' FROM submissions GROUP BY experiment, student_id";
    let expected = term.submissions.iter().map(|(slot, revisions)| {
        vec![
            slot.experiment.to_string(),
            slot.student.to_string(),
            revisions.len().to_string(),
        ]
    });
    assert_eq!(of_view(connection, query, 3).await, expected.collect());
    let keys = of_view(connection, "SELECT experiment FROM experiments", 1).await;
    assert_eq!(
        keys,
        term.experiments
            .iter()
            .map(|e| vec![e.key.to_string()])
            .collect()
    );
    let count = of_view(
        connection,
        "SELECT max(seq) || '', count(*) || '' FROM history",
        2,
    )
    .await;
    assert!(
        count.iter().all(|row| row[0] == row[1] && row[0] != "0"),
        "{count:?}"
    );
}
