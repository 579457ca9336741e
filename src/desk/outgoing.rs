//! What goes out of courses to other servers, mail and grades, each from an outbox of the course's own.

use std::ops::AddAssign;
use std::sync::Arc;

use jiff::Timestamp;

use super::Desk;
use crate::campus::Services;
use crate::mail::Post;
use crate::store::StoreError;

/// What goes out, and by whom it is handed over.
pub enum Outgoing {
    /// Mail, and where people find the courses that it speaks of.
    Mail {
        post: Arc<Post>,
        public: Arc<str>,
    },
    Grades(Arc<Services>),
}

/// A course, where its people and the courses of platforms are kept, and its key in a department; empty where it stands alone.
#[derive(Clone, Copy)]
pub struct Place<'a> {
    pub desk: &'a Desk,
    pub people: &'a Desk,
    pub course: &'a str,
}

/// What came of looking through what waits.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Passed {
    pub sent: usize,
    pub refused: usize,
    /// Not to be sent any more.
    pub dropped: usize,
    /// To be tried again.
    pub put_off: usize,
    /// Why the other server cannot be had; then what goes there waits.
    pub away: Option<String>,
}

impl Outgoing {
    /// Queues what is new in a course, and hands over what is due.
    pub async fn pass(&self, place: Place<'_>, at: Timestamp) -> Result<Passed, StoreError> {
        match self {
            Self::Mail { post, public } => {
                let public = match place.course {
                    "" => public.to_string(),
                    course => format!("{public}/c/{course}"),
                };
                super::mail::pass(place, (post, &public), at).await
            }
            Self::Grades(services) => super::lti::grades::pass(place, services, at).await,
        }
    }

    /// Lets what is being handed over be taken, and hands over no more.
    pub fn stop(&self) {
        match self {
            Self::Mail { post, .. } => post.stop(),
            Self::Grades(services) => services.stop(),
        }
    }

    pub fn is_stopping(&self) -> bool {
        match self {
            Self::Mail { post, .. } => post.is_stopping(),
            Self::Grades(services) => services.is_stopping(),
        }
    }
}

impl<'a> Place<'a> {
    /// Of a course that stands alone and holds its people itself.
    pub fn alone(desk: &'a Desk) -> Self {
        Self {
            desk,
            people: desk,
            course: "",
        }
    }
}

impl AddAssign for Passed {
    fn add_assign(&mut self, other: Self) {
        self.sent += other.sent;
        self.refused += other.refused;
        self.dropped += other.dropped;
        self.put_off += other.put_off;
        self.away = other.away.or(self.away.take());
    }
}
