//! A request for a page with forms: who asks, of which experiment, and with what query.

use std::ops::Deref;

use crate::changes::Who;
use crate::course::Experiment;
use crate::form::Typed;
use crate::ids::ExperimentKey;
use crate::term::Term;
use crate::web::{PageError, PageResult, Visitor};

pub struct Visit {
    pub visitor: Visitor,
    pub query: Typed,
    now: jiff::Timestamp,
    key: Option<ExperimentKey>,
    /// Whether a form came with it.
    is_sent: bool,
}

impl Deref for Visit {
    type Target = Visitor;

    fn deref(&self) -> &Visitor {
        &self.visitor
    }
}

impl Visit {
    /// None for a query means that a form came.
    pub fn new(visitor: Visitor, key: Option<ExperimentKey>, query: Option<Typed>) -> Self {
        Self {
            now: visitor.now(),
            key,
            visitor,
            is_sent: query.is_none(),
            query: query.unwrap_or_default(),
        }
    }

    pub fn who(&self) -> Who<'_> {
        (&self.visitor.person.login, self.now)
    }

    pub fn now(&self) -> jiff::Timestamp {
        self.now
    }

    /// The key of the experiment; a path without one is none of an experiment.
    pub fn key(&self) -> PageResult<&ExperimentKey> {
        self.key.as_ref().ok_or_else(PageError::not_found)
    }

    pub fn experiment<'t>(&self, term: &'t Term) -> PageResult<&'t Experiment> {
        let experiment = term.experiment(self.key()?);
        experiment.ok_or_else(PageError::not_found)
    }

    /// The answer where a page is asked for, or a form sent, about a bottle that is not there.
    pub fn no_such_bottle(&self) -> PageError {
        match self.is_sent {
            true => {
                PageError::unprocessable("There is no bottle of that code, so nothing was changed.")
            }
            false => PageError::not_found(),
        }
    }

    /// A path with the key of the experiment in it.
    pub fn at(&self, path: &str) -> String {
        path.replace("{key}", self.key.as_deref().unwrap_or_default())
    }
}

/// A text as the value of a query.
pub fn in_query(text: &str) -> String {
    form_urlencoded::byte_serialize(text.as_bytes()).collect()
}
