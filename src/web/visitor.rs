//! Who is asking, as parameters of handlers: a handler that names one cannot be reached by anybody else.

use std::ops::Deref;
use std::sync::Arc;

use axum::extract::{FromRequestParts, OptionalFromRequestParts};
use axum::http::request::Parts;
use jiff::Timestamp;

use super::demo::DemoPerson;
use super::error::{PageError, PageResult};
use super::frame::{self, Frame};
use super::place::Place;
use super::state::AppState;
use crate::course::Zone;
use crate::desk::View;
use crate::desk::accounts::{Person, Role};
use crate::desk::sessions::{Session, Token};
use crate::ids::StudentId;
use crate::language::{Language, message};

/// What is open to staff who have yet to set up the second step that their course asks for.
const WITHOUT_SECOND_STEP: [&str; 5] = [
    "/second-step",
    "/second-step/begin",
    "/second-step/confirm",
    "/password",
    "/access",
];

/// Anybody, signed in or not.
#[derive(Clone, Debug)]
pub struct Anyone {
    pub session: Option<Session>,
    /// Title of the course; empty if there is none.
    pub course: String,
    /// What the course is held in.
    pub language: Language,
    pub path: String,
    pub place: Place,
    /// Whether somebody is signed in who is on no list of this course.
    pub is_stranger: bool,
    /// Whether this course is one of a department, or this is what its courses share.
    pub in_department: bool,
    pub way: Way,
    /// As in the state of the server.
    pub demo: Arc<[DemoPerson]>,
    /// What they carry, where it cannot be asked just now whose session it is.
    pub carried: Option<Token>,
}

/// How people come to the sign-in page.
#[derive(Clone, Copy, Debug, Default)]
pub struct Way {
    /// Whether the institution's own sign-in leads here too.
    pub campus: bool,
    /// Whether they come by plain HTTP over the network.
    pub plain: bool,
}

#[derive(Clone)]
pub struct Visitor {
    pub state: AppState,
    pub person: Person,
    pub session: Session,
    anyone: Arc<Anyone>,
}

#[derive(Clone)]
pub struct StudentVisitor {
    pub id: StudentId,
    pub section: String,
    visitor: Visitor,
}

/// An assistant, or a coordinator at an assistant's work.
#[derive(Clone)]
pub struct AssistantVisitor {
    pub login: String,
    /// Their sections; none means every section.
    pub sections: Option<Vec<String>>,
    visitor: Visitor,
}

#[derive(Clone)]
pub struct CoordinatorVisitor {
    pub login: String,
    visitor: Visitor,
}

/// Somebody of the prep room, or a coordinator at its work.
#[derive(Clone)]
pub struct PrepVisitor {
    pub login: String,
    visitor: Visitor,
}

/// Anybody of staff: an assistant, the prep room, a coordinator.
#[derive(Clone)]
pub struct StaffVisitor {
    visitor: Visitor,
}

impl Anyone {
    /// What pages are written in: those of staff are in English.
    pub fn language(&self) -> Language {
        let role = self.session.as_ref().map(|session| &session.person.role);
        match role {
            None | Some(Role::Student { .. }) => self.language,
            Some(_) => Language::English,
        }
    }

    /// The frame of a page.
    pub fn frame(&self, title: impl Into<String>) -> Frame {
        let token = self.session.as_ref().map(|session| &session.token);
        let csrf = token.or(self.carried.as_ref()).map(Token::form_token);
        let person = self.session.as_ref().map(|s| &s.person);
        let mut frame = Frame::new(
            (&self.course, self.language()),
            person,
            csrf.unwrap_or_default(),
            &self.path,
            title,
        );
        if self.in_department {
            frame.show_department(person, self.place.course().is_none(), &self.path);
        }
        frame
    }

    /// Where a person starts who comes in here.
    pub fn home(&self, person: &Person) -> &'static str {
        match self.in_department {
            // their courses are found there
            true => "/",
            false => frame::home(&person.role),
        }
    }
}

impl Visitor {
    /// Whether the whole course is theirs, students' grades included.
    pub fn is_coordinator(&self) -> bool {
        self.person.role == Role::Coordinator
    }

    /// Where they start.
    pub fn home(&self) -> &'static str {
        self.anyone.home(&self.person)
    }

    /// The course as it stands.
    pub async fn view(&self) -> PageResult<View> {
        Ok(self.state.desk.view().await?)
    }

    pub fn now(&self) -> Timestamp {
        self.state.clock.now()
    }

    /// What their pages are written in.
    pub fn language(&self) -> Language {
        self.anyone.language()
    }

    /// An instant as the clocks of the course show it, in the words of their pages.
    pub fn at(&self, zone: &Zone, at: Timestamp) -> String {
        self.language().date(zone.local(at))
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
    PrepVisitor,
    StaffVisitor
);

impl<S: Sync> FromRequestParts<S> for Anyone {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, PageError> {
        anyone(parts).map(|anyone| Self::clone(&anyone))
    }
}

impl<S: Sync> OptionalFromRequestParts<S> for Anyone {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Option<Self>, PageError> {
        Ok(parts
            .extensions
            .get::<Arc<Self>>()
            .map(|anyone| Self::clone(anyone)))
    }
}

impl FromRequestParts<AppState> for Visitor {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> Result<Self, PageError> {
        let anyone = anyone(parts)?;
        if anyone.is_stranger {
            return Err(PageError::forbidden(message!("error.stranger")));
        }
        let Some(session) = anyone.session.clone() else {
            return Err(sign_in_first(parts, &anyone.place));
        };
        if session.lacks_second_step && !WITHOUT_SECOND_STEP.contains(&parts.uri.path()) {
            return Err(PageError::see_other("/second-step"));
        }
        Ok(Self {
            state: state.clone(),
            person: session.person.clone(),
            session,
            anyone,
        })
    }
}

impl FromRequestParts<AppState> for StudentVisitor {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> Result<Self, PageError> {
        let visitor = Visitor::from_request_parts(parts, state).await?;
        match visitor.person.role.clone() {
            Role::Student { section } => Ok(Self {
                id: StudentId::new(visitor.person.login.as_str()),
                section,
                visitor,
            }),
            _ => Err(PageError::forbidden(message!("error.students-only"))),
        }
    }
}

impl FromRequestParts<AppState> for AssistantVisitor {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> Result<Self, PageError> {
        let visitor = Visitor::from_request_parts(parts, state).await?;
        let sections = match visitor.person.role.clone() {
            Role::Assistant { sections } => Some(sections),
            Role::Coordinator => None,
            Role::Student { .. } | Role::Prep => {
                return Err(PageError::forbidden(message!("error.assistants-only")));
            }
        };
        Ok(Self {
            login: visitor.person.login.clone(),
            sections,
            visitor,
        })
    }
}

impl FromRequestParts<AppState> for CoordinatorVisitor {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> Result<Self, PageError> {
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

impl FromRequestParts<AppState> for PrepVisitor {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> Result<Self, PageError> {
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

impl FromRequestParts<AppState> for StaffVisitor {
    type Rejection = PageError;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> Result<Self, PageError> {
        let visitor = Visitor::from_request_parts(parts, state).await?;
        match visitor.person.role {
            Role::Student { .. } => Err(staff_only()),
            Role::Assistant { .. } | Role::Coordinator | Role::Prep => Ok(Self { visitor }),
        }
    }
}

pub(super) fn staff_only() -> PageError {
    PageError::forbidden(message!("error.staff-only"))
}

pub(super) fn coordinators_only() -> PageError {
    PageError::forbidden(message!("error.coordinators-only"))
}

pub(super) fn prep_room_only() -> PageError {
    PageError::forbidden(message!("error.prep-only"))
}

/// What [`super::surround`] found out about the visitor.
pub(super) fn anyone(parts: &Parts) -> Result<Arc<Anyone>, PageError> {
    let found = parts.extensions.get::<Arc<Anyone>>().cloned();
    found.ok_or_else(|| PageError::internal("a page outside the layer that finds the session"))
}

/// A page asked for is shown after signing in; a form sent is kept, see [`super::surround`].
fn sign_in_first(parts: &Parts, place: &Place) -> PageError {
    if !parts.method.is_safe() {
        return PageError::sign_in_needed();
    }
    let wanted = parts
        .uri
        .path_and_query()
        .map_or("/", |wanted| wanted.as_str());
    let wanted = place.own(wanted);
    let next: String = form_urlencoded::byte_serialize(wanted.as_bytes()).collect();
    PageError::see_other(format!("/sign-in?next={next}"))
}
