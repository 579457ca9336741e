//! Who stands behind the opaque keys by which the journal knows students.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

use super::batch::Table;
use super::journal::hash_of;
use super::retention::{self, FreeTextRow};
use super::sql::{Bound, Connection, Row, query, query_scalar};
use super::{StoreError, batch};
use crate::changes::Change;
use crate::course::Student;
use crate::ids::StudentId;
use crate::term::{Judged, Slot};
use crate::words::hexadecimal;

/// A row of `person`.
#[derive(Clone)]
pub(super) struct PersonRow {
    pub key: String,
    pub number: StudentId,
    pub family_name: String,
    pub given_name: String,
    pub email: String,
    pub sourced_id: String,
    pub salt: String,
    pub commitment: String,
}

pub(super) const PERSON: Table = Table {
    name: "person",
    columns: &[
        "key",
        "number",
        "family_name",
        "given_name",
        "email",
        "sourced_id",
        "salt",
        "commitment",
    ],
};

/// Keys and names of students.
#[derive(Default)]
pub(super) struct People {
    numbers: BTreeMap<String, StudentId>,
    keys: BTreeMap<StudentId, String>,
    by_commitment: BTreeMap<String, PersonRow>,
    /// Entered by the changes being written.
    fresh: Vec<PersonRow>,
    /// Free text by its commitment.
    texts: BTreeMap<String, String>,
    fresh_texts: Vec<FreeTextRow>,
}

impl PersonRow {
    fn read(row: &Row) -> Result<Self, StoreError> {
        Ok(Self {
            key: row.try_get("key")?,
            number: StudentId::new(row.try_get::<String>("number")?),
            family_name: row.try_get("family_name")?,
            given_name: row.try_get("given_name")?,
            email: row.try_get("email")?,
            sourced_id: row.try_get("sourced_id")?,
            salt: row.try_get("salt")?,
            commitment: row.try_get("commitment")?,
        })
    }

    fn values(self) -> [Bound; 8] {
        [
            self.key.into(),
            self.number.as_str().into(),
            self.family_name.into(),
            self.given_name.into(),
            self.email.into(),
            self.sourced_id.into(),
            self.salt.into(),
            self.commitment.into(),
        ]
    }

    /// What stands in the journal for number, names, address and, where there is one, the sourcedId.
    pub fn committed(&self) -> String {
        let Self {
            salt,
            number,
            family_name,
            given_name,
            email,
            sourced_id,
            ..
        } = self;
        if sourced_id.is_empty() {
            return hash_of(&(salt, number, family_name, given_name, email));
        }
        hash_of(&(salt, number, family_name, given_name, email, sourced_id))
    }
}

/// Every row, oldest first.
pub(super) async fn person_rows(connection: &mut Connection) -> Result<Vec<PersonRow>, StoreError> {
    let rows = query("SELECT * FROM person ORDER BY id").fetch_all(connection);
    rows.await?.iter().map(PersonRow::read).collect()
}

/// The opaque key of every student.
pub async fn student_keys(
    connection: &mut Connection,
) -> Result<BTreeMap<StudentId, String>, StoreError> {
    let rows = person_rows(connection).await?;
    let known = rows.into_iter().map(|row| (row.number, row.key));
    let mut keys: BTreeMap<StudentId, String> = known.collect();
    // whoever was taken out is known by the key alone
    let bare =
        query_scalar("SELECT DISTINCT body ->> '$.student' FROM journal WHERE kind = 'student'");
    for key in bare.fetch_all(connection).await? {
        let key: String = key;
        keys.entry(StudentId::new(&*key)).or_insert(key);
    }
    Ok(keys)
}

impl People {
    /// Everybody, to read the journal with.
    pub async fn all(connection: &mut Connection) -> Result<Self, StoreError> {
        let texts = retention::texts(connection).await?;
        Ok(Self::read(person_rows(connection).await?, texts))
    }

    /// Who stands behind some keys, and the texts of some commitments, to read few changes with.
    pub async fn of(
        connection: &mut Connection,
        keys: &BTreeSet<StudentId>,
        texts: &BTreeSet<String>,
    ) -> Result<Self, StoreError> {
        let rows = query(
            "SELECT * FROM person WHERE key IN (SELECT value FROM json_each($1)) ORDER BY id",
        );
        let rows = rows.bind(listed(keys)?).fetch_all(&mut *connection).await?;
        let rows: Result<Vec<PersonRow>, _> = rows.iter().map(PersonRow::read).collect();
        Ok(Self::read(
            rows?,
            retention::texts_of(connection, texts).await?,
        ))
    }

    fn read(rows: Vec<PersonRow>, texts: BTreeMap<String, String>) -> Self {
        let mut people = Self {
            texts,
            ..Self::default()
        };
        for row in rows {
            people.numbers.insert(row.key.clone(), row.number.clone());
            people.by_commitment.insert(row.commitment.clone(), row);
        }
        people
    }

    /// The keys of the students whom changes and judgements name.
    pub async fn for_writing(
        connection: &mut Connection,
        changes: &[Change],
        judged: &BTreeMap<Slot, Option<Judged>>,
    ) -> Result<Self, StoreError> {
        let mut named: BTreeSet<StudentId> = judged.keys().map(|s| s.student.clone()).collect();
        for change in changes {
            change.clone().students(&mut |id| {
                named.insert(id.clone());
            });
        }
        let mut people = Self::default();
        let rows = query(
            "SELECT key, number FROM person WHERE number IN (SELECT value FROM json_each($1))",
        );
        for row in rows
            .bind(listed(&named)?)
            .fetch_all(&mut *connection)
            .await?
        {
            let number = StudentId::new(row.try_get::<String>("number")?);
            named.remove(&number);
            people.keys.insert(number, row.try_get("key")?);
        }
        if !named.is_empty() {
            // where who a student is was removed, the key stands for the number; asked last, since it goes through the journal
            let keys = query_scalar(
                "SELECT DISTINCT body ->> '$.student' FROM journal
                 WHERE kind = 'student' AND body ->> '$.student' IN (SELECT value FROM json_each($1))",
            );
            for key in keys.bind(listed(&named)?).fetch_all(connection).await? {
                let key: String = key;
                people.keys.insert(StudentId::new(key.as_str()), key);
            }
        }
        for change in changes {
            // a change may name a student whom an earlier one of the same writing enters
            if let Some(student) = change.clone().person()
                && !people.keys.contains_key(&student.id)
            {
                people.keys.insert(student.id.clone(), random()?);
            }
        }
        Ok(people)
    }

    /// The number of a key; the key itself where that student's rows are gone.
    pub fn number(&self, key: &StudentId) -> StudentId {
        self.numbers
            .get(key.as_str())
            .cloned()
            .unwrap_or_else(|| key.clone())
    }

    pub fn key(&self, number: &StudentId) -> Result<&str, StoreError> {
        let key = self.keys.get(number).map(String::as_str);
        key.ok_or_else(|| StoreError::damaged("person", format!("found no student {number}")))
    }

    /// Gives a student the names that the journal holds a commitment to.
    pub fn name(&self, student: &mut Student, commitment: &str) {
        if let Some(row) = self.by_commitment.get(commitment) {
            student.family_name.clone_from(&row.family_name);
            student.given_name.clone_from(&row.given_name);
            student.email.clone_from(&row.email);
            student.sourced_id.clone_from(&row.sourced_id);
        }
    }

    /// The body and the author of a change as the journal keeps them, without anything that tells who a student is.
    pub fn written(&mut self, change: &Change, by: &str) -> Result<(String, String), StoreError> {
        let mut change = change.clone();
        let mut commitment = None;
        if let Some(student) = change.person() {
            let mut row = PersonRow {
                key: self.key(&student.id)?.to_owned(),
                number: student.id.clone(),
                family_name: std::mem::take(&mut student.family_name),
                given_name: std::mem::take(&mut student.given_name),
                email: std::mem::take(&mut student.email),
                sourced_id: std::mem::take(&mut student.sourced_id),
                salt: random()?,
                commitment: String::new(),
            };
            row.commitment = row.committed();
            commitment = Some(row.commitment.clone());
            self.fresh.push(row);
        }
        let (mut by_login, mut stranger) = (by.to_owned(), None);
        change.students(&mut |id| match self.keys.get(id) {
            Some(key) => {
                if *id == *by {
                    by_login.clone_from(key);
                }
                *id = StudentId::new(key.as_str());
            }
            None => stranger = Some(id.clone()),
        });
        if let Some(stranger) = stranger {
            // says who is missing
            self.key(&stranger)?;
        }
        let body = change.body();
        let mut body = body.map_err(|why| StoreError::damaged(change.kind(), why))?;
        if let (Some(commitment), Some(fields)) = (commitment, body.as_object_mut()) {
            fields.insert("names".to_owned(), Value::String(commitment));
        }
        let text = retention::put_apart(change.kind(), &mut body)?;
        self.fresh_texts.extend(text);
        Ok((body.to_string(), by_login))
    }

    /// Puts the free text of a body back that stands apart.
    pub fn put_back(&self, kind: &str, body: &mut Value) {
        retention::put_back(kind, body, &self.texts);
    }

    /// Keeps the students that were entered, and the texts that stand apart.
    pub async fn save(&mut self, connection: &mut Connection) -> Result<(), StoreError> {
        let fresh = std::mem::take(&mut self.fresh).into_iter();
        batch::insert(connection, &PERSON, fresh.map(PersonRow::values)).await?;
        retention::save(connection, std::mem::take(&mut self.fresh_texts)).await
    }
}

/// As a statement takes them.
fn listed(students: &BTreeSet<StudentId>) -> Result<String, StoreError> {
    serde_json::to_string(students).map_err(|why| StoreError::damaged("students", why))
}

pub(super) fn random() -> Result<String, StoreError> {
    let mut bytes = [0_u8; 12];
    getrandom::fill(&mut bytes).map_err(|why| StoreError::damaged("random numbers", why))?;
    Ok(hexadecimal(&bytes))
}
