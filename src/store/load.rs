//! Reads a whole term back from the database; every value is checked again as it is decoded.

use std::collections::BTreeMap;
use std::str::FromStr;

use jiff::Timestamp;
use rust_decimal::Decimal;
use sqlx::sqlite::SqliteRow;
use sqlx::{Row, SqliteConnection};

use super::arrangements::{day, load_arrangements, local};
use super::{StoreError, StoredJudgements, last_event, load_judged};
use crate::course::{
    Course, Experiment, SectionDates, SectionLots, StaffMember, StaffRole, Student, Zone,
};
use crate::ids::{ExperimentKey, LotCode, SectionName, UnknownCode};
use crate::measure::GlasswareTable;
use crate::procedure::{Dates, Procedure};
use crate::term::{Decision, ExperimentSource, Note, Revision, Side, Slot, Term};
use crate::truth::{Assigned, Bottle, Lot, Sealed, ShelfLife, Unknown};

/// Reads the texts a database keeps as they were written. The formats are not the store's business.
pub trait Texts {
    /// The shipped glassware and, if the course has its own, that.
    fn glassware(&self, own: Option<&str>) -> Result<GlasswareTable, String>;

    /// A procedure with the tables an experiment replaces.
    fn procedure(
        &self,
        text: &str,
        source: &ExperimentSource,
        glassware: &GlasswareTable,
    ) -> Result<Procedure, String>;
}

/// A course and its judgements as they stood at one moment.
#[derive(Debug)]
pub struct Stored {
    pub term: Term,
    pub judgements: StoredJudgements,
    /// Number of the newest event.
    pub last_event: i64,
}

/// Reads the course and its judgements, with nothing written in between. Within a transaction, as that sees them.
pub async fn load_stored(
    connection: &mut SqliteConnection,
    texts: &impl Texts,
) -> Result<Stored, StoreError> {
    // a savepoint opens a transaction where there is none, and nests where there is one
    sqlx::query("SAVEPOINT load")
        .execute(&mut *connection)
        .await?;
    let loaded = load_parts(connection, texts).await;
    sqlx::query("RELEASE load").execute(connection).await?;
    loaded
}

async fn load_parts(
    connection: &mut SqliteConnection,
    texts: &impl Texts,
) -> Result<Stored, StoreError> {
    let last_event = last_event(connection).await?;
    let term = load_term(connection, texts).await?;
    let judgements = load_judged(connection).await?;
    Ok(Stored {
        term,
        judgements,
        last_event,
    })
}

pub async fn load_term(
    connection: &mut SqliteConnection,
    texts: &impl Texts,
) -> Result<Term, StoreError> {
    let row = sqlx::query("SELECT title, term, time_zone, glassware FROM course")
        .fetch_optional(&mut *connection)
        .await?
        .ok_or(StoreError::NoCourse)?;
    let own: Option<String> = row.try_get("glassware")?;
    let glassware = texts
        .glassware(own.as_deref())
        .map_err(|why| StoreError::damaged("course.glassware", why))?;
    let zone: String = row.try_get("time_zone")?;
    let zone = Zone::new(&zone).map_err(|why| StoreError::damaged("course.time_zone", why))?;
    let course = Course {
        title: row.try_get("title")?,
        term: row.try_get("term")?,
        zone,
    };
    let mut term = Term::new(course, glassware);
    term.sources.glassware = own;
    people(connection, &mut term).await?;
    experiments(connection, &mut term, texts).await?;
    values(connection, &mut term).await?;
    shelf(connection, &mut term).await?;
    bench(connection, &mut term).await?;
    load_arrangements(connection, &mut term).await?;
    handed_in(connection, &mut term).await?;
    notes(connection, &mut term).await?;
    Ok(term)
}

async fn people(connection: &mut SqliteConnection, term: &mut Term) -> Result<(), StoreError> {
    for row in sqlx::query("SELECT * FROM student ORDER BY position, id")
        .fetch_all(&mut *connection)
        .await?
    {
        term.students.push(Student {
            id: row.try_get("id")?,
            family_name: row.try_get("family_name")?,
            given_name: row.try_get("given_name")?,
            section: row.try_get("section")?,
            email: row.try_get("email")?,
            left: day(row.try_get("left_on")?, "student.left_on")?,
        });
    }
    for row in sqlx::query("SELECT * FROM staff ORDER BY position, login")
        .fetch_all(connection)
        .await?
    {
        let (role, sections): (String, String) = (row.try_get("role")?, row.try_get("sections")?);
        term.staff.push(StaffMember {
            login: row.try_get("login")?,
            name: row.try_get("name")?,
            role: StaffRole::from_name(&role)
                .ok_or_else(|| StoreError::damaged("staff.role", role))?,
            sections: sections.lines().map(SectionName::new).collect(),
        });
    }
    Ok(())
}

async fn experiments(
    connection: &mut SqliteConnection,
    term: &mut Term,
    texts: &impl Texts,
) -> Result<(), StoreError> {
    for row in sqlx::query("SELECT key, text FROM procedure ORDER BY id")
        .fetch_all(&mut *connection)
        .await?
    {
        // the newest text of a key comes last
        term.sources
            .procedures
            .insert(row.try_get("key")?, row.try_get("text")?);
    }
    let mut lots: BTreeMap<i64, BTreeMap<SectionName, SectionLots>> = BTreeMap::new();
    for row in sqlx::query("SELECT * FROM section_lot")
        .fetch_all(&mut *connection)
        .await?
    {
        let of = lots.entry(row.try_get("experiment_id")?).or_default();
        let both = SectionLots {
            titrant: row.try_get("titrant")?,
            excess: row.try_get("excess")?,
        };
        of.insert(row.try_get("section")?, both);
    }
    let mut own_dates: BTreeMap<i64, BTreeMap<SectionName, SectionDates>> = BTreeMap::new();
    for row in sqlx::query("SELECT * FROM section_date")
        .fetch_all(&mut *connection)
        .await?
    {
        let of = own_dates.entry(row.try_get("experiment_id")?).or_default();
        let dates = SectionDates {
            opens: local(row.try_get("opens")?, "section_date.opens")?,
            due: local(row.try_get("due")?, "section_date.due")?,
        };
        of.insert(row.try_get("section")?, dates);
    }
    for row in sqlx::query("SELECT * FROM experiment ORDER BY id")
        .fetch_all(connection)
        .await?
    {
        let key: ExperimentKey = row.try_get("key")?;
        let place = format!("experiment {key}");
        let source = ExperimentSource {
            procedure: row.try_get("procedure")?,
            marking: row.try_get("marking")?,
            trials: row.try_get("trials")?,
            show_truth: row.try_get("show_truth")?,
        };
        let text = term.sources.procedures.get(&source.procedure);
        let text = text.ok_or_else(|| {
            StoreError::damaged(&place, format!("no procedure {}", source.procedure))
        })?;
        let procedure = texts
            .procedure(text, &source, &term.glassware)
            .map_err(|why| StoreError::damaged(&place, why))?;
        let (opens, due): (String, String) = (row.try_get("opens")?, row.try_get("due")?);
        let date = |text: String| text.parse().map_err(|why| StoreError::damaged(&place, why));
        let id: i64 = row.try_get("id")?;
        let section_lots = lots.remove(&id).unwrap_or_default();
        let section_dates = own_dates.remove(&id).unwrap_or_default();
        let dates = Dates {
            opens: date(opens)?,
            due: date(due)?,
        };
        term.experiments.push(Experiment {
            key: key.clone(),
            procedure,
            dates,
            section_lots,
            section_dates,
        });
        term.sources.experiments.insert(key, source);
    }
    Ok(())
}

async fn values(connection: &mut SqliteConnection, term: &mut Term) -> Result<(), StoreError> {
    for row in sqlx::query("SELECT * FROM lot_value ORDER BY id")
        .fetch_all(&mut *connection)
        .await?
    {
        let code: LotCode = row.try_get("lot")?;
        let molarity = assigned(&row, "molarity", &format!("lot {code}"))?;
        match row.try_get::<Option<String>, _>("record")? {
            Some(record) => term.sources.lots.insert(code.clone(), record),
            None => term.sources.lots.remove(&code),
        };
        let (reagent, version) = (row.try_get("reagent")?, row.try_get("version")?);
        term.lots.insert(
            code.clone(),
            Lot {
                code,
                reagent,
                molarity,
                version,
            },
        );
    }
    for row in sqlx::query("SELECT * FROM unknown_value ORDER BY id")
        .fetch_all(connection)
        .await?
    {
        let (experiment, code): (ExperimentKey, UnknownCode) =
            (row.try_get("experiment")?, row.try_get("unknown")?);
        let truth = Sealed::new(assigned(
            &row,
            "true_value",
            &format!("unknown {experiment}/{code}"),
        )?);
        let at = (experiment.clone(), code.clone());
        match row.try_get::<Option<String>, _>("record")? {
            Some(record) => term.sources.unknowns.insert(at, record),
            None => term.sources.unknowns.remove(&at),
        };
        let unknown = Unknown {
            code: code.clone(),
            truth,
            version: row.try_get("version")?,
        };
        term.unknowns
            .entry(experiment)
            .or_default()
            .insert(code, unknown);
    }
    Ok(())
}

async fn shelf(connection: &mut SqliteConnection, term: &mut Term) -> Result<(), StoreError> {
    for row in sqlx::query("SELECT * FROM shelf_life ORDER BY id")
        .fetch_all(connection)
        .await?
    {
        let bottle = match row.try_get("experiment")? {
            Some(experiment) => Bottle::Unknown {
                experiment,
                code: row.try_get("code")?,
            },
            None => Bottle::Lot(row.try_get("code")?),
        };
        let day = |column: &str| -> Result<_, StoreError> {
            let text: Option<String> = row.try_get(column)?;
            let day = text.map(|text| text.parse()).transpose();
            day.map_err(|why| StoreError::damaged(format!("shelf_life, {column}"), why))
        };
        let life = ShelfLife {
            made: day("made")?,
            expires: day("expires")?,
        };
        if life.is_empty() {
            term.shelf.remove(&bottle);
        } else {
            term.shelf.insert(bottle, life);
        }
    }
    Ok(())
}

async fn bench(connection: &mut SqliteConnection, term: &mut Term) -> Result<(), StoreError> {
    for row in sqlx::query("SELECT * FROM bench_group")
        .fetch_all(&mut *connection)
        .await?
    {
        term.groups.insert(slot(&row)?, row.try_get("name")?);
    }
    for row in sqlx::query("SELECT * FROM by_hand ORDER BY id")
        .fetch_all(&mut *connection)
        .await?
    {
        term.by_hand
            .insert(slot(&row)?, decimal(&row, "points", "by_hand")?);
    }
    Ok(())
}

async fn handed_in(connection: &mut SqliteConnection, term: &mut Term) -> Result<(), StoreError> {
    let submissions = "SELECT id, experiment, student_id, document, submitted_at, reason FROM submission ORDER BY id";
    for row in sqlx::query(submissions).fetch_all(&mut *connection).await? {
        let slot = slot(&row)?;
        let revision = revision(&row)?;
        term.submissions.entry(slot).or_default().push(revision);
    }
    for row in sqlx::query("SELECT * FROM decision ORDER BY id")
        .fetch_all(connection)
        .await?
    {
        let ruling: String = row.try_get("ruling")?;
        let decision = Decision {
            ruling: serde_json::from_str(&ruling)
                .map_err(|why| StoreError::damaged("decision.ruling", why))?,
            revision: row.try_get("revision")?,
            reason: row.try_get("reason")?,
            by: row.try_get("by_login")?,
            at: instant(row.try_get("at")?, "decision")?,
        };
        term.decisions
            .entry(slot(&row)?)
            .or_default()
            .push(decision);
    }
    Ok(())
}

async fn notes(connection: &mut SqliteConnection, term: &mut Term) -> Result<(), StoreError> {
    for row in sqlx::query("SELECT * FROM note ORDER BY id")
        .fetch_all(connection)
        .await?
    {
        let from = if row.try_get("from_staff")? {
            Side::Staff
        } else {
            Side::Student
        };
        let note = Note {
            from,
            by: row.try_get("by_login")?,
            text: row.try_get("text")?,
            at: instant(row.try_get("at")?, "note")?,
        };
        term.notes.entry(slot(&row)?).or_default().push(note);
    }
    Ok(())
}

/// A revision from a row of `submission`.
pub(super) fn revision(row: &SqliteRow) -> Result<Revision, StoreError> {
    let (id, document): (i64, String) = (row.try_get("id")?, row.try_get("document")?);
    let place = format!("submission {id}");
    let at: Option<i64> = row.try_get("submitted_at")?;
    Ok(Revision {
        hand_in: serde_json::from_str(&document).map_err(|why| StoreError::damaged(&place, why))?,
        submitted_at: at.map(|at| instant(at, &place)).transpose()?,
        reason: row.try_get("reason")?,
        receipt: Some(id),
    })
}

/// The slot of a row with `experiment` and `student_id`.
pub(super) fn slot(row: &SqliteRow) -> Result<Slot, StoreError> {
    Ok(Slot {
        experiment: row.try_get("experiment")?,
        student: row.try_get("student_id")?,
    })
}

pub(super) fn instant(milliseconds: i64, place: &str) -> Result<Timestamp, StoreError> {
    Timestamp::from_millisecond(milliseconds).map_err(|why| StoreError::damaged(place, why))
}

fn decimal(row: &SqliteRow, column: &str, place: &str) -> Result<Decimal, StoreError> {
    let text: String = row.try_get(column)?;
    Decimal::from_str(&text).map_err(|why| StoreError::damaged(format!("{place}, {column}"), why))
}

pub(super) fn assigned(row: &SqliteRow, column: &str, place: &str) -> Result<Assigned, StoreError> {
    let (value, u) = (
        decimal(row, column, place)?,
        decimal(row, "standard_uncertainty", place)?,
    );
    Assigned::new(value, u)
        .map_err(|(what, why)| StoreError::damaged(place, format!("{what}: {why}")))
}
