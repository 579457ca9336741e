//! Academic sessions of an exchange: in which grading period a line item falls.

use std::collections::BTreeMap;

use super::package::{Package, is_active, list};
use crate::changes::Exchanged;
use crate::term::Term;
use crate::text::Fault;

/// The academic sessions of an exchange.
#[derive(Default)]
pub(super) struct Sessions(BTreeMap<String, Session>);

struct Session {
    kind: String,
    // dates as YYYY-MM-DD, which sort as they follow one another
    start: String,
    end: String,
    parent: String,
}

impl Sessions {
    pub fn read(package: &Package<'_>, faults: &mut Vec<Fault>) -> Self {
        let needed = ["sourcedId", "type", "startDate", "endDate"];
        let Some(table) = package.table("academicSessions", &needed, faults) else {
            return Self::default();
        };
        let active = table.rows.iter().filter(|row| is_active(&table, row));
        let sessions = active.map(|row| {
            let cell = |column: &str| table.cell(row, column).trim().to_owned();
            let session = Session {
                kind: cell("type"),
                start: cell("startDate"),
                end: cell("endDate"),
                parent: cell("parentSourcedId"),
            };
            (cell("sourcedId"), session)
        });
        Self(sessions.collect())
    }

    /// As the course keeps them.
    pub fn kept(term: &Term) -> Self {
        let sessions = term.exchanged.values().filter(|one| {
            ![Exchanged::VERSION, Exchanged::CLASS, Exchanged::LINE_ITEM]
                .contains(&one.kind.as_str())
        });
        let session = |one: &Exchanged| Session {
            kind: one.kind.clone(),
            start: one.start.clone(),
            end: one.end.clone(),
            parent: one.within.clone(),
        };
        let sessions = sessions.map(|one| (one.sourced_id.clone(), session(one)));
        Self(sessions.collect())
    }

    /// What the course is to keep of them.
    pub fn to_keep(&self) -> impl Iterator<Item = Exchanged> {
        self.0.iter().map(|(id, session)| Exchanged {
            kind: session.kind.clone(),
            sourced_id: id.clone(),
            within: session.parent.clone(),
            start: session.start.clone(),
            end: session.end.clone(),
            ..Exchanged::default()
        })
    }

    /// The grading period of a day within the terms of a class; where there is none, the first of its terms.
    pub fn of_day(&self, day: &str, terms: &str) -> Option<&str> {
        let terms: Vec<_> = list(terms).collect();
        let is_term = |id: &str| terms.iter().any(|term| *term == id);
        let period = self.0.iter().find(|(id, session)| {
            session.kind == "gradingPeriod"
                && session.start.as_str() <= day
                && day <= session.end.as_str()
                && self.line_of(id).any(is_term)
        });
        let first = || {
            let mut held = terms
                .iter()
                .filter_map(|term| self.0.get_key_value(&**term));
            held.next()
        };
        period.or_else(first).map(|(id, _)| id.as_str())
    }

    /// A session and those it lies in.
    fn line_of<'s>(&'s self, id: &'s str) -> impl Iterator<Item = &'s str> {
        let parent = |id: &&'s str| self.0.get(*id).map(|session| session.parent.as_str());
        // no deeper than there are sessions, should they lie in a circle
        std::iter::successors(Some(id), parent).take(self.0.len())
    }
}
