//! A term judged in memory, then regraded in a database after every assigned value changed, beside the bare reading and
//! writing of as many rows of that size, all in one run: submissions per second. `cargo bench --bench regrade -- 1390`
//! takes 1,390 sections of 24, about 100,000 submissions; without a number 100 sections.

use std::time::Instant;

use concordant::changes::{Change, LotValue, UnknownValue};
use concordant::course::{Course, Zone};
use concordant::desk::{self, Desk};
use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::ids::{ExperimentKey, SectionName};
use concordant::procedure::Dates;
use concordant::simulate::{Plan, PlannedExperiment, invent};
use concordant::store::Store;
use concordant::term::Term;
use concordant::truth::{Assigned, Sealed};
use jiff::Timestamp;
use jiff::civil::date;
use rust_decimal::Decimal;
use sqlx::{Connection, Row, SqliteConnection};

#[tokio::main]
async fn main() {
    let number = |text: String| text.parse::<usize>().ok();
    let sections = std::env::args().find_map(number).unwrap_or(100);
    let term = term(sections);
    let clock = Instant::now();
    let judged = term.judge_all().len();
    let memory = rate("judged in memory", judged, clock);
    let folder = tempfile::tempdir().expect("a folder");
    let db = folder.path().join("course.db");
    let store = Store::open(&db).await.expect("a database");
    let desk = Desk::open(store).await.expect("a desk");
    let at = Timestamp::from_second(1_790_000_000).expect("a time");
    let clock = Instant::now();
    desk::bring_in_term(&desk, &term, "bench", at)
        .await
        .expect("imported");
    rate("imported and judged", judged, clock);
    let changes = every_value_changed(&term);
    let clock = Instant::now();
    desk.apply(changes, "bench", at).await.expect("regraded");
    let regraded = rate("regraded in the database", judged, clock);
    desk.close().await;
    let bare = bare(&db, judged).await;
    println!("regraded / bare rows = {:.2}", regraded / bare);
    println!("judged in memory / bare rows = {:.2}", memory / bare);
}

fn rate(name: &str, rows: usize, since: Instant) -> f64 {
    let seconds = since.elapsed().as_secs_f64();
    let rate = rows as f64 / seconds;
    println!("{name}: {rows} in {seconds:.2} s, {rate:.0} per second");
    rate
}

/// Each newest judgement read, and a row of its size written, one by one in one transaction.
async fn bare(db: &std::path::Path, rows: usize) -> f64 {
    let url = format!("sqlite://{}", db.display());
    let mut connection = SqliteConnection::connect(&url).await.expect("the database");
    sqlx::query("CREATE TABLE bare (experiment TEXT, student_id TEXT, document TEXT)")
        .execute(&mut connection)
        .await
        .expect("a table");
    let clock = Instant::now();
    let newest = "SELECT experiment, student, document FROM judgement
                  WHERE id IN (SELECT max(id) FROM judgement GROUP BY experiment, student)";
    let read = sqlx::query(newest)
        .fetch_all(&mut connection)
        .await
        .expect("rows");
    assert_eq!(read.len(), rows);
    let mut transaction = connection.begin().await.expect("a transaction");
    for row in read {
        sqlx::query("INSERT INTO bare VALUES (?, ?, ?)")
            .bind(row.get::<String, _>(0))
            .bind(row.get::<String, _>(1))
            .bind(row.get::<String, _>(2))
            .execute(&mut *transaction)
            .await
            .expect("a row");
    }
    transaction.commit().await.expect("on disk");
    rate("bare rows read and written", rows, clock)
}

/// Every lot and unknown a thousandth higher.
fn every_value_changed(term: &Term) -> Vec<Change> {
    let higher = |assigned: Assigned| Assigned {
        value: assigned.value * Decimal::new(1001, 3),
        ..assigned
    };
    let lots = term.lots.values().map(|lot| {
        let mut lot = lot.clone();
        lot.molarity = higher(lot.molarity);
        lot.version += 1;
        let (source, reason) = (None, "bench".to_owned());
        Change::Lot(LotValue {
            lot,
            source,
            reason,
        })
    });
    let unknowns = term.unknowns.iter().flat_map(|(experiment, of)| {
        of.values().map(|unknown| {
            let mut unknown = unknown.clone();
            unknown.truth = Sealed::new(higher(*unknown.truth.open()));
            unknown.version += 1;
            let (experiment, source, reason) = (experiment.clone(), None, "bench".to_owned());
            Change::Unknown(UnknownValue {
                experiment,
                unknown,
                source,
                reason,
            })
        })
    });
    lots.chain(unknowns).collect()
}

fn term(sections: usize) -> Term {
    let glassware = shipped_glassware();
    let planned = |key: &str, week: i8, prefix: &str| {
        let text = shipped_procedure(key).expect("shipped");
        let procedure = read_procedure(key, &text, &glassware).expect("sound");
        PlannedExperiment {
            key: ExperimentKey::new(key),
            procedure: (key.to_owned(), text, procedure),
            dates: Dates {
                opens: date(2026, 10, week).at(8, 0, 0, 0),
                due: date(2026, 10, week + 4).at(17, 0, 0, 0),
            },
            prefix: prefix.to_owned(),
            unknowns: 12,
            missing: 0,
            open: false,
            bad_bottle: None,
            copying: Vec::new(),
        }
    };
    let plan = Plan {
        course: Course {
            title: "Bench".into(),
            term: "t".into(),
            zone: Zone::new("Atlantic/Reykjavik").expect("a zone"),
            language: concordant::language::Language::default(),
        },
        sections: (1..=sections)
            .map(|n| SectionName::new(format!("S{n}")))
            .collect(),
        students_per_section: 24,
        experiments: vec![
            planned("naoh-against-khp", 5, "N"),
            planned("well-water-hardness", 12, "W"),
            planned("eggshell-carbonate", 19, "E"),
        ],
        seed: 4,
    };
    invent(&plan, glassware).expect("can be carried out")
}
