//! What a course chose of how people sign in.

use super::Accounts;
use crate::store::StoreError;
use crate::store::sql::{query, query_scalar};

/// A setting; each is text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Setting {
    /// By what the institution's sign-in names people.
    CampusClaim,
    /// With what of the course that is compared.
    CampusMatch,
    /// Names of the institution, on which no password may rest.
    Institution,
    /// For how many days it is kept where people were.
    PlacesKeptDays,
}

impl Setting {
    fn name(self) -> &'static str {
        match self {
            Self::CampusClaim => "campus-claim",
            Self::CampusMatch => "campus-match",
            Self::Institution => "institution",
            Self::PlacesKeptDays => "places-kept-days",
        }
    }
}

impl Accounts<'_> {
    /// None: as it comes.
    pub async fn setting(&mut self, setting: Setting) -> Result<Option<String>, StoreError> {
        let value = query_scalar("SELECT value FROM setting WHERE name = $1");
        Ok(value
            .bind(setting.name())
            .fetch_optional(&mut *self.0)
            .await?)
    }

    pub async fn set(&mut self, setting: Setting, value: &str) -> Result<(), StoreError> {
        query(
            "INSERT INTO setting (name, value) VALUES ($1, $2)
             ON CONFLICT (name) DO UPDATE SET value = excluded.value",
        )
        .bind(setting.name())
        .bind(value)
        .execute(&mut *self.0)
        .await?;
        Ok(())
    }
}
