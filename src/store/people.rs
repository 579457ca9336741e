//! Who stands behind the opaque keys by which the journal knows students.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;
use serde_json::Value;

use super::batch::{Holds, Table};
use super::journal::hash_of;
use super::retention::{self, FreeTextRow};
use super::sql::{Connection, query, query_scalar};
use super::{StoreError, batch};
use crate::changes::Change;
use crate::course::Student;
use crate::ids::StudentId;
use crate::term::{Judged, Slot};

/// A row of `person`.
#[derive(Clone, Serialize)]
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
        ("key", Holds::Text),
        ("number", Holds::Text),
        ("family_name", Holds::Text),
        ("given_name", Holds::Text),
        ("email", Holds::Text),
        ("sourced_id", Holds::Text),
        ("salt", Holds::Text),
        ("commitment", Holds::Text),
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
    let rows = rows.await?;
    let read = rows.iter().map(|row| {
        Ok(PersonRow {
            key: row.try_get("key")?,
            number: StudentId::new(row.try_get::<String>("number")?),
            family_name: row.try_get("family_name")?,
            given_name: row.try_get("given_name")?,
            email: row.try_get("email")?,
            sourced_id: row.try_get("sourced_id")?,
            salt: row.try_get("salt")?,
            commitment: row.try_get("commitment")?,
        })
    });
    read.collect()
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
        let mut people = Self {
            texts: retention::texts(connection).await?,
            ..Self::default()
        };
        for row in person_rows(connection).await? {
            people.numbers.insert(row.key.clone(), row.number.clone());
            people.by_commitment.insert(row.commitment.clone(), row);
        }
        Ok(people)
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
        let named: Vec<&StudentId> = named.iter().collect();
        let named = serde_json::to_string(&named).map_err(|why| StoreError::damaged("ids", why))?;
        let mut people = Self::default();
        // where who a student is was removed, the key stands for the number
        let rows = query(
            "SELECT body ->> '$.student' AS key, body ->> '$.student' AS number FROM journal
             WHERE kind = 'student' AND body ->> '$.student' IN (SELECT value FROM json_each($1))
             UNION ALL SELECT key, number FROM person WHERE number IN (SELECT value FROM json_each($1))",
        );
        for row in rows.bind(named).fetch_all(connection).await? {
            let number = StudentId::new(row.try_get::<String>("number")?);
            people.keys.insert(number, row.try_get("key")?);
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

    /// Keeps the students that were entered.
    pub async fn save(self, connection: &mut Connection) -> Result<(), StoreError> {
        batch::insert(connection, &PERSON, &self.fresh).await?;
        retention::save(connection, &self.fresh_texts).await
    }
}

pub(super) fn random() -> Result<String, StoreError> {
    let mut bytes = [0_u8; 12];
    getrandom::fill(&mut bytes).map_err(|why| StoreError::damaged("random numbers", why))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}
