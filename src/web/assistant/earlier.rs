//! Hand-ins that share readings with one of an earlier term, for people to look at. No true value and no grade is here, of
//! this course or of another; who somebody of an earlier term is, only staff of that course are told.

use std::sync::Arc;

use askama::Template;
use axum::response::IntoResponse;

use super::{address, in_path};
use crate::desk::Image;
use crate::desk::accounts::Role;
use crate::desk::department::{BesideEarlier, EarlierCourse, UNREADABLE};
use crate::ids::{CourseKey, SectionName};
use crate::term::{EarlierHandIn, SharedEarlier, Slot};
use crate::web::{AssistantVisitor, Frame, Page, PageResult};
use crate::words::counted;

#[derive(Template)]
#[template(path = "assistant/earlier.html")]
struct EarlierPage {
    frame: Frame,
    /// Whether the course is one of a department.
    in_department: bool,
    /// Whether every section is the visitor's.
    whole_course: bool,
    /// Courses that it is compared with, by title.
    compared: Vec<String>,
    /// Courses that count as earlier terms and cannot be read, with why.
    unread: Vec<String>,
    /// Whether one that is read is put by, so that no page of it can be looked at.
    some_put_by: bool,
    /// Hand-ins of theirs by the procedures of this course.
    hand_ins: usize,
    lines: Vec<Line>,
}

/// A student whose hand-in shares readings with an earlier one.
struct Line {
    address: String,
    name: String,
    id: String,
    section: String,
    experiment: String,
    evidence: String,
    /// The other hand-in, for staff of that course.
    elsewhere: Option<String>,
}

pub async fn page(visitor: AssistantVisitor) -> PageResult<impl IntoResponse> {
    let frame = visitor.frame("Readings shared with earlier terms");
    let place = visitor.state.place.course().cloned();
    let Some((department, key)) = visitor.state.department.clone().zip(place) else {
        return Ok(Page(EarlierPage {
            frame,
            in_department: false,
            whole_course: visitor.is_coordinator(),
            compared: Vec::new(),
            unread: Vec::new(),
            some_put_by: false,
            hand_ins: 0,
            lines: Vec::new(),
        }));
    };
    let view = visitor.view().await?;
    let earlier = department.earlier_terms(&key).await?;
    let can_be = earlier.iter().any(|one| one.lists.is_some());
    let beside = match can_be {
        false => None,
        true => Some(department.beside_earlier(&key, &view).await?),
    };
    let is_read = |one: &EarlierCourse| {
        let unread = beside.as_ref().map(|beside| &beside.unread);
        one.lists.is_some() && !unread.is_some_and(|unread| unread.contains(&one.key))
    };
    let (compared, unread): (Vec<_>, Vec<_>) = earlier.iter().partition(|one| is_read(one));
    let asking = Asking {
        visitor: &visitor,
        view: &view,
        earlier: &earlier,
    };
    let why = |one: &&EarlierCourse| {
        let why = one.unread.unwrap_or(UNREADABLE);
        format!("{} {why}", title(one))
    };
    Ok(Page(EarlierPage {
        frame,
        in_department: true,
        whole_course: visitor.is_coordinator(),
        some_put_by: compared.iter().any(|one| one.is_put_by),
        unread: unread.iter().map(why).collect(),
        compared: compared.into_iter().map(title).collect(),
        hand_ins: beside.as_ref().map_or(0, |beside| beside.hand_ins),
        lines: beside.map_or_else(Vec::new, |beside| asking.lines(&beside)),
    }))
}

fn title(course: &EarlierCourse) -> String {
    match &course.lists {
        Some(lists) => lists.title(&course.key),
        None => course.key.to_string(),
    }
}

/// Who asks, and what they look at.
struct Asking<'a> {
    visitor: &'a AssistantVisitor,
    view: &'a Arc<Image>,
    earlier: &'a [EarlierCourse],
}

impl Asking<'_> {
    fn lines(&self, beside: &BesideEarlier) -> Vec<Line> {
        let found = beside.found.iter();
        found.flat_map(|shared| self.lines_of(shared)).collect()
    }

    /// A line for each student of the hand-in whom the visitor sees.
    fn lines_of(&self, shared: &SharedEarlier) -> Vec<Line> {
        let Some(experiment) = self.view.term.experiment(&shared.experiment) else {
            return Vec::new();
        };
        let known = shared.students.iter();
        let known = known.filter_map(|id| self.view.term.student(id));
        let seen = known.filter(|student| self.visitor.sees(&student.section));
        let line = |student: &crate::course::Student| Line {
            address: address(&Slot::new(&shared.experiment, &student.id)),
            name: student.to_string(),
            id: student.id.to_string(),
            section: student.section.to_string(),
            experiment: experiment.procedure.title.clone(),
            evidence: shared.likeness.clone().with(self.who(shared)).words(),
            elsewhere: self.elsewhere(&shared.with),
        };
        seen.map(line).collect()
    }

    /// The others, as the visitor may know them.
    fn who(&self, shared: &SharedEarlier) -> String {
        let with = &shared.with;
        let mut who: Vec<String> = Vec::new();
        let mut unnamed = 0_usize;
        for (student, section) in &with.students {
            let is_same = shared.students.contains(student);
            match self.may_know(&with.course, section) {
                true if is_same => who.push(format!("{student} (the same number as here)")),
                true => who.push(student.to_string()),
                false => unnamed = unnamed.saturating_add(1),
            }
        }
        match unnamed {
            0 => {}
            1 => who.push("a student".to_owned()),
            n => who.push(counted(n, "student", "students")),
        }
        let course = self.earlier.iter().find(|one| one.key == with.course);
        let course = course.map_or_else(|| with.course.to_string(), title);
        format!("{} of \u{201c}{course}\u{201d}", who.join(", "))
    }

    /// The page of the other hand-in, where the visitor may see it.
    fn elsewhere(&self, with: &EarlierHandIn) -> Option<String> {
        let course = self.earlier.iter().find(|one| one.key == with.course);
        // nobody is served from one that is put by
        course.filter(|one| !one.is_put_by)?;
        let mut students = with.students.iter();
        let (student, _) = students.find(|(_, section)| self.may_know(&with.course, section))?;
        let (experiment, student) = (in_path(&with.experiment), in_path(student));
        Some(format!("/c/{}/review/{experiment}/{student}", with.course))
    }

    /// Whether students of a section of an earlier course are the visitor's to see there too.
    fn may_know(&self, course: &CourseKey, section: &SectionName) -> bool {
        let session = &self.visitor.session;
        let who = (&session.account, session.number.as_ref());
        let course = self.earlier.iter().find(|one| one.key == *course);
        let lists = course.and_then(|course| course.lists.as_ref());
        let there = lists.and_then(|lists| lists.person(who));
        match there.map(|person| person.role) {
            Some(Role::Coordinator) => true,
            Some(Role::Assistant { sections }) => sections.iter().any(|one| **one == **section),
            Some(Role::Prep | Role::Student { .. }) | None => false,
        }
    }
}
