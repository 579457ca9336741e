//! Who is asking, as parameters of handlers: a handler that names one cannot be reached by anybody else.

use std::ops::Deref;
use std::sync::Arc;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;

use super::error::PageError;
use super::frame::Frame;
use crate::desk::accounts::{Person, Role};
use crate::desk::sessions::Session;
use crate::ids::StudentId;

/// Anybody, signed in or not.
#[derive(Clone, Debug)]
pub struct Anyone {
    pub session: Option<Session>,
    /// Title of the course; empty if there is none.
    pub course: String,
    pub path: String,
}

#[derive(Clone, Debug)]
pub struct Visitor {
    pub person: Person,
    pub session: Session,
    anyone: Arc<Anyone>,
}

#[derive(Clone, Debug)]
pub struct StudentVisitor {
    pub id: StudentId,
    pub section: String,
    visitor: Visitor,
}

/// An assistant, or a coordinator at an assistant's work.
#[derive(Clone, Debug)]
pub struct AssistantVisitor {
    pub login: String,
    /// Their sections; none means every section.
    pub sections: Option<Vec<String>>,
    visitor: Visitor,
}

#[derive(Clone, Debug)]
pub struct CoordinatorVisitor {
    pub login: String,
    visitor: Visitor,
}

/// Somebody of the prep room, or a coordinator at its work.
#[derive(Clone, Debug)]
pub struct PrepVisitor {
    pub login: String,
    visitor: Visitor,
}

impl Anyone {
    /// The frame of a page.
    pub fn frame(&self, title: impl Into<String>) -> Frame {
        let csrf = self.session.as_ref().map(|s| s.token.form_token());
        let person = self.session.as_ref().map(|s| &s.person);
        Frame::new(
            &self.course,
            person,
            csrf.unwrap_or_default(),
            &self.path,
            title,
        )
    }
}

impl Visitor {
    /// Whether the whole course is theirs, students' grades included.
    pub fn is_coordinator(&self) -> bool {
        self.person.role == Role::Coordinator
    }

    /// The frame of a page.
    pub fn frame(&self, title: impl Into<String>) -> Frame {
        self.anyone.frame(title)
    }
}

impl AssistantVisitor {
    /// Whether students of a section are theirs to see.
    pub fn sees(&self, section: &str) -> bool {
        self.sections
            .as_ref()
            .is_none_or(|own| own.iter().any(|one| one == section))
    }
}

macro_rules! is_a_visitor {
    ($($name:ident),*) => {$(
        impl Deref for $name {
            type Target = Visitor;

            fn deref(&self) -> &Visitor {
                &self.visitor
            }
        }
    )*};
}
is_a_visitor!(
    StudentVisitor,
    AssistantVisitor,
    CoordinatorVisitor,
    PrepVisitor
);

impl<S: Sync> FromRequestParts<S> for Anyone {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, PageError> {
        anyone(parts).map(|anyone| Self::clone(&anyone))
    }
}

impl<S: Sync> FromRequestParts<S> for Visitor {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, PageError> {
        let anyone = anyone(parts)?;
        let Some(session) = anyone.session.clone() else {
            return Err(sign_in_first(parts));
        };
        Ok(Self {
            person: session.person.clone(),
            session,
            anyone,
        })
    }
}

impl<S: Sync> FromRequestParts<S> for StudentVisitor {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, PageError> {
        let visitor = Visitor::from_request_parts(parts, state).await?;
        match visitor.person.role.clone() {
            Role::Student { section } => Ok(Self {
                id: StudentId::new(visitor.person.login.as_str()),
                section,
                visitor,
            }),
            _ => Err(PageError::forbidden(
                "This page is for students of the course.",
            )),
        }
    }
}

impl<S: Sync> FromRequestParts<S> for AssistantVisitor {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, PageError> {
        let visitor = Visitor::from_request_parts(parts, state).await?;
        let sections = match visitor.person.role.clone() {
            Role::Assistant { sections } => Some(sections),
            Role::Coordinator => None,
            Role::Student { .. } | Role::Prep => {
                return Err(PageError::forbidden(
                    "This page is for assistants and coordinators.",
                ));
            }
        };
        Ok(Self {
            login: visitor.person.login.clone(),
            sections,
            visitor,
        })
    }
}

impl<S: Sync> FromRequestParts<S> for CoordinatorVisitor {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, PageError> {
        let visitor = Visitor::from_request_parts(parts, state).await?;
        match visitor.person.role {
            Role::Coordinator => Ok(Self {
                login: visitor.person.login.clone(),
                visitor,
            }),
            _ => Err(coordinators_only()),
        }
    }
}

impl<S: Sync> FromRequestParts<S> for PrepVisitor {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, PageError> {
        let visitor = Visitor::from_request_parts(parts, state).await?;
        match visitor.person.role {
            Role::Prep | Role::Coordinator => Ok(Self {
                login: visitor.person.login.clone(),
                visitor,
            }),
            Role::Assistant { .. } | Role::Student { .. } => Err(prep_room_only()),
        }
    }
}

pub(super) fn coordinators_only() -> PageError {
    PageError::forbidden("This page is for the coordinator of the course.")
}

pub(super) fn prep_room_only() -> PageError {
    PageError::forbidden("This page is for the prep room and the coordinator.")
}

/// What [`super::surround`] found out about the visitor.
pub(super) fn anyone(parts: &Parts) -> Result<Arc<Anyone>, PageError> {
    let found = parts.extensions.get::<Arc<Anyone>>().cloned();
    found.ok_or_else(|| PageError::internal("a page outside the layer that finds the session"))
}

/// A page asked for is shown after signing in; a form sent is kept, see [`super::surround`].
fn sign_in_first(parts: &Parts) -> PageError {
    if !parts.method.is_safe() {
        return PageError::sign_in_needed();
    }
    let wanted = parts
        .uri
        .path_and_query()
        .map_or("/", |wanted| wanted.as_str());
    let next: String = form_urlencoded::byte_serialize(wanted.as_bytes()).collect();
    PageError::see_other(format!("/sign-in?next={next}"))
}
