//! Accounts that move from the file of one course to that of a department.

use jiff::Timestamp;

use super::{AccountId, Accounts, Event, Kind, SecondStep, What, of_account};
use crate::store::sql::query;
use crate::store::{StoreError, hash};

/// An account with all that lets its owner in.
pub struct MovedAccount {
    pub id: AccountId,
    pub password_hash: String,
    pub disabled: bool,
    /// Confirmed ones alone.
    pub second_step: Option<SecondStep>,
    /// Hashes of codes on paper.
    pub recovery_codes: Vec<String>,
}

impl Accounts<'_> {
    /// Gives a student what let them in as a member of staff, which they are no more.
    pub(in crate::store) async fn hand_to_student(
        &mut self,
        (login, number): (&str, &str),
        (by, at): (&str, Timestamp),
    ) -> Result<(), StoreError> {
        let id = AccountId {
            kind: Kind::Student,
            login: number.to_owned(),
        };
        self.remove_student(number).await?;
        query("UPDATE lti_person SET kind = 'student', login = $2 WHERE kind = 'staff' AND lower(login) = lower($1)")
            .bind(login)
            .bind(number)
            .execute(&mut *self.0)
            .await?;
        let held = query(
            "SELECT password_hash, disabled_at FROM account WHERE kind = 'staff' AND lower(login) = lower($1)",
        );
        let held = held.bind(login).fetch_optional(&mut *self.0).await?;
        let Some(held) = held else { return Ok(()) };
        let disabled = held.try_get::<Option<i64>>("disabled_at")?.is_some();
        self.keep_account(&id, at).await?;
        self.set_disabled(&id, disabled.then_some(at)).await?;
        for statement in [
            "UPDATE second_step SET kind = 'student', login = $2 WHERE kind = 'staff' AND lower(login) = lower($1)",
            "UPDATE recovery_code SET kind = 'student', login = $2 WHERE kind = 'staff' AND lower(login) = lower($1)",
        ] {
            let statement = query(statement).bind(login).bind(number);
            statement.execute(&mut *self.0).await?;
        }
        let Some(password_hash) = held.try_get::<Option<String>>("password_hash")? else {
            return Ok(());
        };
        self.set_password_hash(&id, &password_hash, at).await?;
        self.note(Event {
            at,
            what: What::PasswordSet,
            who: Some(&id),
            by,
            subject: &hash(&password_hash),
            network: "",
        })
        .await
    }

    /// Every account whose owner has set a password.
    pub async fn all(&mut self) -> Result<Vec<MovedAccount>, StoreError> {
        let mut all = Vec::new();
        for kind in [Kind::Staff, Kind::Student] {
            for login in self.with_password(kind).await? {
                let id = AccountId { kind, login };
                let Some(account) = self.account(&id).await? else {
                    continue;
                };
                let codes = of_account(
                    "SELECT code_hash FROM recovery_code WHERE kind = $1 AND login = $2",
                    &id,
                );
                let codes = codes.fetch_all(&mut *self.0).await?;
                let codes = codes.iter().map(|row| row.try_get("code_hash"));
                all.push(MovedAccount {
                    password_hash: account.password_hash.unwrap_or_default(),
                    disabled: account.disabled,
                    second_step: self.second_step(&id).await?.filter(|step| step.confirmed),
                    recovery_codes: codes.collect::<Result<_, _>>()?,
                    id,
                });
            }
        }
        Ok(all)
    }

    /// Takes in those whose owners have set no password here. Returns how many.
    pub async fn take_in(
        &mut self,
        accounts: &[MovedAccount],
        at: Timestamp,
    ) -> Result<usize, StoreError> {
        let mut taken = 0;
        for moved in accounts {
            let id = &moved.id;
            let held = self.account(id).await?;
            if held.is_some_and(|held| held.password_hash.is_some()) {
                continue;
            }
            self.set_password_hash(id, &moved.password_hash, at).await?;
            self.set_disabled(id, moved.disabled.then_some(at)).await?;
            if let Some(step) = &moved.second_step {
                self.begin_second_step(id, &step.secret).await?;
                self.take_step(id, step.last_step, at).await?;
            }
            for code in &moved.recovery_codes {
                of_account(
                    "INSERT INTO recovery_code (kind, login, code_hash) VALUES ($1, $2, $3)",
                    id,
                )
                .bind(code)
                .execute(&mut *self.0)
                .await?;
            }
            self.note(Event {
                at,
                what: What::PasswordSet,
                who: Some(id),
                by: "command line",
                subject: &hash(&moved.password_hash),
                network: "",
            })
            .await?;
            taken += 1;
        }
        Ok(taken)
    }
}
