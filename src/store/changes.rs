//! Writes changes, each with its entry in the hash-chained event log.

use jiff::Timestamp;
use sha2::{Digest, Sha256};
use sqlx::query::Query;
use sqlx::sqlite::SqliteArguments;
use sqlx::{Row, Sqlite, SqliteConnection};

use super::{StoreError, arrangements, batch};
use crate::change::Change;
use crate::course::{Experiment, Student};
use crate::term::{Decision, ExperimentSource, Revision, Side, Slot};
use crate::truth::Bottle;

/// What writing changes brought about.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Written {
    /// For each change in order, the number of the receipt if it was a hand-in.
    pub receipts: Vec<Option<i64>>,
}

/// Writes changes in order, as done by `login` at `at`.
pub async fn write_changes(
    connection: &mut SqliteConnection,
    changes: &[Change],
    login: &str,
    at: Timestamp,
) -> Result<Written, StoreError> {
    let mut written = Written::default();
    let milliseconds = at.as_millisecond();
    for run in changes.chunk_by(|one, next| is_issue(one) && is_issue(next)) {
        if is_issue(&run[0]) {
            issues(connection, run, login, milliseconds).await?;
            written.receipts.extend(run.iter().map(|_| None));
            continue;
        }
        for change in run {
            let write = Write {
                connection: &mut *connection,
                login,
                at: milliseconds,
            };
            let receipt = match change {
                Change::HandIn {
                    slot,
                    revision,
                    key,
                } => Some(write.hand_in(slot, revision, key.as_deref()).await?),
                other => write.other(other).await.map(|()| None)?,
            };
            written.receipts.push(receipt);
        }
    }
    chain(
        connection,
        changes.iter().map(Change::event),
        login,
        milliseconds,
    )
    .await?;
    Ok(written)
}

fn is_issue(change: &Change) -> bool {
    matches!(change, Change::Issue { .. })
}

/// Bottles are dealt to a whole course at once.
async fn issues(
    connection: &mut SqliteConnection,
    changes: &[Change],
    login: &str,
    at: i64,
) -> Result<(), StoreError> {
    let rows: Vec<[&str; 3]> = changes
        .iter()
        .filter_map(|change| match change {
            Change::Issue { slot, unknown } => {
                Some([slot.experiment.as_str(), &slot.student, unknown])
            }
            _ => None,
        })
        .collect();
    let statement = "INSERT INTO issue (experiment, student_id, unknown, by_login, at)
         SELECT value->>0, value->>1, value->>2, ?2, ?3 FROM json_each(?1) ORDER BY key";
    batch::insert(connection, statement, &rows, (login, at)).await
}

/// SHA-256 of a text, in hexadecimal.
pub fn hash(text: &str) -> String {
    Sha256::digest(text)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

/// Number of the newest event; 0 if there is none. Whoever holds the course in memory sees by it that another process
/// has written since.
pub async fn last_event(connection: &mut SqliteConnection) -> Result<i64, StoreError> {
    let last = sqlx::query_scalar("SELECT coalesce(max(id), 0) FROM event");
    Ok(last.fetch_one(connection).await?)
}

/// Adds an event that no change brings with it.
pub async fn log_event(
    connection: &mut SqliteConnection,
    what: &'static str,
    login: &str,
    at: Timestamp,
) -> Result<(), StoreError> {
    chain(
        connection,
        [(what, String::new())].into_iter(),
        login,
        at.as_millisecond(),
    )
    .await
}

/// Adds events to the chain of hashes.
async fn chain(
    connection: &mut SqliteConnection,
    events: impl Iterator<Item = (&'static str, String)>,
    login: &str,
    at: i64,
) -> Result<(), StoreError> {
    let last = sqlx::query_scalar("SELECT hash FROM event ORDER BY id DESC LIMIT 1");
    let mut last: String = last
        .fetch_optional(&mut *connection)
        .await?
        .unwrap_or_default();
    let rows: Vec<(&str, String, String)> = events
        .map(|(what, subject)| {
            last = event_hash(&last, at, login, what, &subject);
            (what, subject, last.clone())
        })
        .collect();
    let statement = "INSERT INTO event (what, subject, hash, by_login, at)
         SELECT value->>0, value->>1, value->>2, ?2, ?3 FROM json_each(?1) ORDER BY key";
    batch::insert(connection, statement, &rows, (login, at)).await
}

/// The hash of an event over the one before it.
fn event_hash(before: &str, at: i64, login: &str, what: &str, subject: &str) -> String {
    // a separator no field can hold keeps fields from running into one another
    hash(&[before, &at.to_string(), login, what, subject].join("\u{1f}"))
}

/// The id of the first event whose hash does not follow from it and the one before; none if the chain is whole.
pub async fn first_broken_event(
    connection: &mut SqliteConnection,
) -> Result<Option<i64>, StoreError> {
    let mut last = String::new();
    for row in sqlx::query("SELECT * FROM event ORDER BY id")
        .fetch_all(connection)
        .await?
    {
        let (what, subject, login): (String, String, String) = (
            row.try_get("what")?,
            row.try_get("subject")?,
            row.try_get("by_login")?,
        );
        last = event_hash(&last, row.try_get("at")?, &login, &what, &subject);
        if last != row.try_get::<String, _>("hash")? {
            return Ok(Some(row.try_get("id")?));
        }
    }
    Ok(None)
}

struct Write<'a> {
    connection: &'a mut SqliteConnection,
    login: &'a str,
    at: i64,
}

impl Write<'_> {
    async fn hand_in(
        self,
        slot: &Slot,
        revision: &Revision,
        key: Option<&str>,
    ) -> Result<i64, StoreError> {
        let document = serde_json::to_string(&revision.hand_in)
            .map_err(|why| StoreError::damaged("submission.document", why))?;
        let done = sqlx::query(
            "INSERT INTO submission (experiment, student_id, revision, request_key, document, hash, submitted_at,
                 reason, by_login, recorded_at)
             SELECT ?1, ?2, 1 + (SELECT count(*) FROM submission WHERE experiment = ?1 AND student_id = ?2),
                 ?3, ?4, ?5, ?6, ?7, ?8, ?9",
        )
        .bind(slot.experiment.as_str())
        .bind(slot.student.as_str())
        .bind(key)
        .bind(&document)
        .bind(hash(&document))
        .bind(revision.submitted_at.map(Timestamp::as_millisecond))
        .bind(&revision.reason)
        .bind(self.login)
        .bind(self.at)
        .execute(self.connection)
        .await?;
        Ok(done.last_insert_rowid())
    }

    async fn other(self, change: &Change) -> Result<(), StoreError> {
        let (login, at) = (self.login, self.at);
        let query = match change {
            Change::Experiment { experiment, source } => return self.experiment(experiment, source).await,
            Change::Extend { slot, extension } => {
                return arrangements::write_extension(self.connection, slot, extension).await;
            }
            Change::Reissue { slot, reissue } => {
                return arrangements::write_reissue(self.connection, slot, reissue).await;
            }
            Change::Amend(amendment) => {
                return arrangements::write_amendment(self.connection, amendment).await;
            }
            Change::RemoveStaff { login } => {
                return arrangements::remove_staff(self.connection, login).await;
            }
            Change::Student(student) if student.left.is_some() => {
                arrangements::end_sessions(&mut *self.connection, &student.id).await?;
                student_row(student)
            }
            Change::Student(student) => student_row(student),
            // written with others of their kind, for their receipt, or only to the log
            Change::HandIn { .. } | Change::Issue { .. } | Change::KeyOpened { .. } => return Ok(()),
            Change::Course(course) => sqlx::query(
                "INSERT INTO course (id, title, term, time_zone) VALUES (1, ?, ?, ?)
                 ON CONFLICT (id) DO UPDATE SET title = excluded.title, term = excluded.term,
                     time_zone = excluded.time_zone",
            )
            .bind(&course.title)
            .bind(&course.term)
            .bind(course.zone.name()),
            Change::Glassware { text, .. } => sqlx::query("UPDATE course SET glassware = ?").bind(text),
            Change::Procedure { key, text } => {
                sqlx::query("INSERT INTO procedure (key, text) VALUES (?, ?)").bind(key).bind(text)
            }
            Change::Staff(staff) => sqlx::query(
                "INSERT INTO staff (login, position, name, role, sections)
                 VALUES (?, (SELECT coalesce(max(position), -1) + 1 FROM staff), ?, ?, ?)
                 ON CONFLICT (login) DO UPDATE SET name = excluded.name, role = excluded.role,
                     sections = excluded.sections",
            )
            .bind(&staff.login)
            .bind(&staff.name)
            .bind(staff.role.name())
            .bind(staff.sections.join("\n")),
            Change::Lot { lot, source, reason } => sqlx::query(
                "INSERT INTO lot_value (lot, version, reagent, molarity, standard_uncertainty, record, reason,
                     by_login, at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            )
            .bind(lot.code.as_str())
            .bind(lot.version)
            .bind(&lot.reagent)
            .bind(lot.molarity.value.to_string())
            .bind(lot.molarity.standard_uncertainty.to_string())
            .bind(source)
            .bind(reason)
            .bind(login)
            .bind(at),
            Change::Unknown { experiment, unknown, source, reason } => {
                let truth = unknown.truth.open();
                sqlx::query(
                    "INSERT INTO unknown_value (experiment, unknown, version, true_value, standard_uncertainty,
                         record, reason, by_login, at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                )
                .bind(experiment)
                .bind(unknown.code.as_str())
                .bind(unknown.version)
                .bind(truth.value.to_string())
                .bind(truth.standard_uncertainty.to_string())
                .bind(source)
                .bind(reason)
                .bind(login)
                .bind(at)
            }
            Change::ShelfLife { bottle, life } => {
                let (experiment, code) = match bottle {
                    Bottle::Lot(code) => (None, code.as_str()),
                    Bottle::Unknown { experiment, code } => (Some(experiment), code.as_str()),
                };
                sqlx::query(
                    "INSERT INTO shelf_life (experiment, code, made, expires, by_login, at) VALUES (?, ?, ?, ?, ?, ?)",
                )
                .bind(experiment)
                .bind(code)
                .bind(life.made.map(|day| day.to_string()))
                .bind(life.expires.map(|day| day.to_string()))
                .bind(login)
                .bind(at)
            }
            Change::Group { slot, group } => sqlx::query(
                "INSERT INTO bench_group (experiment, student_id, name) VALUES (?, ?, ?)
                 ON CONFLICT (experiment, student_id) DO UPDATE SET name = excluded.name",
            )
            .bind(slot.experiment.as_str())
            .bind(slot.student.as_str())
            .bind(group),
            Change::ByHand { slot, points } => sqlx::query(
                "INSERT INTO by_hand (experiment, student_id, points, by_login, at) VALUES (?, ?, ?, ?, ?)",
            )
            .bind(slot.experiment.as_str())
            .bind(slot.student.as_str())
            .bind(points.to_string())
            .bind(login)
            .bind(at),
            Change::Decide { slot, decision } => {
                let Decision { ruling, revision, reason, by, at } = decision;
                let ruling = serde_json::to_string(ruling).map_err(|why| StoreError::damaged("decision", why))?;
                sqlx::query(
                    "INSERT INTO decision (experiment, student_id, ruling, revision, reason, by_login, at)
                     VALUES (?, ?, ?, ?, ?, ?, ?)",
                )
                .bind(slot.experiment.as_str())
                .bind(slot.student.as_str())
                .bind(ruling)
                .bind(revision)
                .bind(reason)
                .bind(by)
                .bind(at.as_millisecond())
            }
            Change::Release { experiment, section, at: released } => sqlx::query(
                "INSERT INTO release (experiment, section, released_at, by_login, at) VALUES (?, ?, ?, ?, ?)",
            )
            .bind(experiment)
            .bind(section)
            .bind(released.map(Timestamp::as_millisecond))
            .bind(login)
            .bind(at),
            Change::Note { slot, note } => sqlx::query(
                "INSERT INTO note (experiment, student_id, from_staff, text, by_login, at) VALUES (?, ?, ?, ?, ?, ?)",
            )
            .bind(slot.experiment.as_str())
            .bind(slot.student.as_str())
            .bind(note.from == Side::Staff)
            .bind(&note.text)
            .bind(&note.by)
            .bind(note.at.as_millisecond()),
        };
        query.execute(self.connection).await?;
        Ok(())
    }

    async fn experiment(
        self,
        experiment: &Experiment,
        source: &ExperimentSource,
    ) -> Result<(), StoreError> {
        let connection = self.connection;
        let id: i64 = sqlx::query_scalar(
            "INSERT INTO experiment (key, procedure, opens, due, marking, trials, show_truth) VALUES (?, ?, ?, ?, ?, ?, ?)
             ON CONFLICT (key) DO UPDATE SET procedure = excluded.procedure, opens = excluded.opens,
                 due = excluded.due, marking = excluded.marking, trials = excluded.trials,
                 show_truth = excluded.show_truth
             RETURNING id",
        )
        .bind(experiment.key.as_str())
        .bind(&source.procedure)
        .bind(experiment.dates.opens.to_string())
        .bind(experiment.dates.due.to_string())
        .bind(&source.marking)
        .bind(&source.trials)
        .bind(source.show_truth)
        .fetch_one(&mut *connection)
        .await?;
        sqlx::query("DELETE FROM section_lot WHERE experiment_id = ?")
            .bind(id)
            .execute(&mut *connection)
            .await?;
        for (section, lots) in &experiment.section_lots {
            sqlx::query("INSERT INTO section_lot (experiment_id, section, titrant, excess) VALUES (?, ?, ?, ?)")
                .bind(id)
                .bind(section)
                .bind(lots.titrant.as_deref())
                .bind(lots.excess.as_deref())
                .execute(&mut *connection)
                .await?;
        }
        arrangements::write_section_dates(connection, id, experiment).await
    }
}

fn student_row(student: &Student) -> Query<'_, Sqlite, SqliteArguments> {
    sqlx::query(
        "INSERT INTO student (id, position, family_name, given_name, section, email, left_on)
         VALUES (?, (SELECT count(*) FROM student), ?, ?, ?, ?, ?)
         ON CONFLICT (id) DO UPDATE SET family_name = excluded.family_name, given_name = excluded.given_name,
             section = excluded.section, email = excluded.email, left_on = excluded.left_on",
    )
    .bind(student.id.as_str())
    .bind(&student.family_name)
    .bind(&student.given_name)
    .bind(student.section.as_str())
    .bind(&student.email)
    .bind(student.left.map(|day| day.to_string()))
}
