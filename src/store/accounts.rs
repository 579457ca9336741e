//! Accounts: whose they are, password hashes, claim codes, failed attempts.

use std::collections::BTreeSet;

use jiff::Timestamp;
use sqlx::{Row, SqliteConnection};

use super::StoreError;
use crate::course::StaffRole;

/// Somebody on the staff list or the roster.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Person {
    /// A student's id, or the login of a member of staff.
    pub login: String,
    pub name: String,
    /// What they may do.
    pub role: Role,
}

/// What a person may do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Role {
    Student {
        section: String,
    },
    /// The work of their sections.
    Assistant {
        sections: Vec<String>,
    },
    Coordinator,
    Prep,
}

#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct AccountId {
    /// Which list the person is on.
    pub kind: Kind,
    /// As that list spells it.
    pub login: String,
}

/// The list a person is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    Staff,
    Student,
}

/// An account as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Account {
    /// PHC string; none until it is claimed.
    pub password_hash: Option<String>,
    /// Whether it may be used.
    pub disabled: bool,
}

/// A claim code as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ClaimCode {
    pub id: i64,
    /// Until when it may be used.
    pub expires_at: Timestamp,
    /// Whether it, or one issued with it, has been used.
    pub used: bool,
}

impl Person {
    /// The account of this person.
    pub fn account(&self) -> AccountId {
        let kind = match self.role {
            Role::Student { .. } => Kind::Student,
            Role::Assistant { .. } | Role::Coordinator | Role::Prep => Kind::Staff,
        };
        AccountId {
            kind,
            login: self.login.clone(),
        }
    }
}

impl Kind {
    /// As it is stored.
    pub fn name(self) -> &'static str {
        match self {
            Self::Staff => "staff",
            Self::Student => "student",
        }
    }

    pub(super) fn from_name(name: &str) -> Option<Self> {
        [Self::Staff, Self::Student]
            .into_iter()
            .find(|kind| kind.name() == name)
    }
}

/// Logins of that kind whose owners have set a password.
pub async fn with_password(
    connection: &mut SqliteConnection,
    kind: Kind,
) -> Result<BTreeSet<String>, StoreError> {
    let logins: Vec<String> = sqlx::query_scalar(
        "SELECT login FROM account WHERE kind = ? AND password_hash IS NOT NULL",
    )
    .bind(kind.name())
    .fetch_all(connection)
    .await?;
    Ok(logins.into_iter().collect())
}

/// Everyone a typed login can mean, staff first. Logins of staff ignore case; ids of students do too as long as no
/// other student's id is written exactly so.
pub async fn people_called(
    connection: &mut SqliteConnection,
    typed: &str,
) -> Result<Vec<Person>, StoreError> {
    let mut people = Vec::new();
    let staff = AccountId {
        kind: Kind::Staff,
        login: typed.to_owned(),
    };
    people.extend(person(connection, &staff).await?);
    let ids: Vec<String> = sqlx::query_scalar(
        "SELECT id FROM student WHERE id = ?1 COLLATE NOCASE ORDER BY id <> ?1, id",
    )
    .bind(typed)
    .fetch_all(&mut *connection)
    .await?;
    let meant = match ids.as_slice() {
        [first, ..] if first == typed || ids.len() == 1 => Some(first.clone()),
        _ => None,
    };
    if let Some(login) = meant {
        let id = AccountId {
            kind: Kind::Student,
            login,
        };
        people.extend(person(connection, &id).await?);
    }
    Ok(people)
}

/// The person of an account, if they are still on its list.
pub async fn person(
    connection: &mut SqliteConnection,
    id: &AccountId,
) -> Result<Option<Person>, StoreError> {
    match id.kind {
        Kind::Staff => {
            let row = sqlx::query("SELECT login, name, role, sections FROM staff WHERE login = ?")
                .bind(&id.login)
                .fetch_optional(connection)
                .await?;
            let Some(row) = row else { return Ok(None) };
            let (role, sections): (String, String) =
                (row.try_get("role")?, row.try_get("sections")?);
            let role = match StaffRole::from_name(&role) {
                Some(StaffRole::Coordinator) => Role::Coordinator,
                Some(StaffRole::Assistant) => Role::Assistant {
                    sections: sections.lines().map(str::to_owned).collect(),
                },
                Some(StaffRole::Prep) => Role::Prep,
                None => return Err(StoreError::damaged("staff.role", role)),
            };
            Ok(Some(Person {
                login: row.try_get("login")?,
                name: row.try_get("name")?,
                role,
            }))
        }
        Kind::Student => {
            let row = sqlx::query(
                "SELECT id, given_name || ' ' || family_name AS name, section FROM student
                 WHERE id = ? AND left_on IS NULL",
            )
            .bind(&id.login)
            .fetch_optional(connection)
            .await?;
            let Some(row) = row else { return Ok(None) };
            Ok(Some(Person {
                login: row.try_get("id")?,
                name: row.try_get::<String, _>("name")?.trim().to_owned(),
                role: Role::Student {
                    section: row.try_get("section")?,
                },
            }))
        }
    }
}

/// The account, if there is one.
pub async fn account(
    connection: &mut SqliteConnection,
    id: &AccountId,
) -> Result<Option<Account>, StoreError> {
    let row =
        sqlx::query("SELECT password_hash, disabled_at FROM account WHERE kind = ? AND login = ?")
            .bind(id.kind.name())
            .bind(&id.login)
            .fetch_optional(connection)
            .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Account {
        password_hash: row.try_get("password_hash")?,
        disabled: row.try_get::<Option<i64>, _>("disabled_at")?.is_some(),
    }))
}

/// Makes sure there is an account.
pub async fn keep_account(
    connection: &mut SqliteConnection,
    id: &AccountId,
    at: Timestamp,
) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO account (kind, login, created_at) VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
    )
    .bind(id.kind.name())
    .bind(&id.login)
    .bind(at.as_millisecond())
    .execute(connection)
    .await?;
    Ok(())
}

/// The name under which a student's drafts are kept in browsers; nobody can be told by it.
pub async fn draft_owner(
    connection: &mut SqliteConnection,
    student: &str,
) -> Result<String, StoreError> {
    let name = sqlx::query_scalar("SELECT name FROM draft_owner WHERE kind = ? AND login = ?")
        .bind(Kind::Student.name())
        .bind(student)
        .fetch_optional(connection)
        .await?;
    Ok(name.unwrap_or_default())
}

/// Sets the password hash of an account, which is made if there is none.
pub async fn set_password_hash(
    connection: &mut SqliteConnection,
    id: &AccountId,
    hash: &str,
    at: Timestamp,
) -> Result<(), StoreError> {
    keep_account(connection, id, at).await?;
    sqlx::query("UPDATE account SET password_hash = ? WHERE kind = ? AND login = ?")
        .bind(hash)
        .bind(id.kind.name())
        .bind(&id.login)
        .execute(connection)
        .await?;
    Ok(())
}

/// Closes an account from an instant on, or (none) opens it again.
pub async fn set_disabled(
    connection: &mut SqliteConnection,
    id: &AccountId,
    disabled_at: Option<Timestamp>,
) -> Result<(), StoreError> {
    sqlx::query("UPDATE account SET disabled_at = ? WHERE kind = ? AND login = ?")
        .bind(disabled_at.map(Timestamp::as_millisecond))
        .bind(id.kind.name())
        .bind(&id.login)
        .execute(connection)
        .await?;
    Ok(())
}
