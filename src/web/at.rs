//! What a path names, as parameters of handlers: parsed, and 404 where the course has nothing of that name.
//!
//! They come after the visitor, so that who may not see a page is told so first.

use std::fmt;
use std::ops::Deref;

use axum::extract::{FromRequestParts, OptionalFromRequestParts, RawPathParams};
use axum::http::request::Parts;

use super::{AppState, PageError, PageResult};
use crate::course::Experiment;
use crate::ids::{ExperimentKey, StudentId};
use crate::term::{Slot, Term};

/// An experiment of the course.
pub struct ExperimentAt(ExperimentKey);

/// A student's place in an experiment; there may be no such student, which is for pages to say as they say it of others'.
pub struct SlotAt(pub Slot);

impl ExperimentAt {
    pub fn of<'t>(&self, term: &'t Term) -> PageResult<&'t Experiment> {
        term.experiment(&self.0).ok_or_else(PageError::not_found)
    }

    pub fn into_key(self) -> ExperimentKey {
        self.0
    }
}

impl Deref for ExperimentAt {
    type Target = ExperimentKey;

    fn deref(&self) -> &ExperimentKey {
        &self.0
    }
}

impl fmt::Display for ExperimentAt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl FromRequestParts<AppState> for ExperimentAt {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> PageResult<Self> {
        let key = part(parts, state, &["key", "experiment"]).await?;
        let key = ExperimentKey::parse(&key).map_err(|_| PageError::not_found())?;
        let at = Self(key);
        at.of(&state.desk.view().await?.term)?;
        Ok(at)
    }
}

/// For pages of an experiment and pages of none alike.
impl OptionalFromRequestParts<AppState> for ExperimentAt {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> PageResult<Option<Self>> {
        match part(parts, state, &["key"]).await {
            Err(_) => Ok(None),
            Ok(_) => {
                let at = <Self as FromRequestParts<AppState>>::from_request_parts(parts, state);
                at.await.map(Some)
            }
        }
    }
}

impl FromRequestParts<AppState> for SlotAt {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> PageResult<Self> {
        let experiment =
            <ExperimentAt as FromRequestParts<AppState>>::from_request_parts(parts, state).await?;
        let student = part(parts, state, &["student"]).await?;
        let student = StudentId::parse(&student).map_err(|_| PageError::not_found())?;
        Ok(Self(Slot::new(&experiment, &student)))
    }
}

/// The part of the path that has one of these names.
async fn part(parts: &mut Parts, state: &AppState, names: &[&str]) -> PageResult<String> {
    let params = RawPathParams::from_request_parts(parts, state).await;
    let params = params.map_err(|_| PageError::not_found())?;
    let named = params.iter().find(|(name, _)| names.contains(name));
    let (_, text) = named.ok_or_else(PageError::not_found)?;
    Ok(text.to_owned())
}
