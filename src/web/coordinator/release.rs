//! Releases the results of an experiment to a section or to all of them, or withdraws them, after a look at what is not
//! settled and at what students will see.

use askama::Template;
use axum::response::IntoResponse;
use jiff::civil::DateTime;

use super::audit::{Axis, Strip, Tick, words};
use super::glance::{Alarm, Tally, alarm};
use super::marks::{Histograms, histograms};
use crate::changes::ReleaseForm;
use crate::course::Student;
use crate::desk::Image;
use crate::form::Filled;
use crate::ids::ExperimentKey;
use crate::judge::AuditGroup;
use crate::term::{ExperimentAudit, Slot, Status};
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::{Frame, Page, dates};
use crate::words::counted;

/// To `section`, or without one to all of them.
pub const RELEASE: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/release",
    |visit| {
        Ok(Box::new(ReleaseForm {
            experiment: visit.key()?.clone(),
            out: true,
        }))
    },
    page,
)
.says("released", |_| {
    "The results are released: students can see them now.".to_owned()
});

/// From `section`, or without one from all of them.
pub const WITHDRAW: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/withdraw",
    |visit| {
        Ok(Box::new(ReleaseForm {
            experiment: visit.key()?.clone(),
            out: false,
        }))
    },
    page,
)
.says("withdrawn", |_| {
    "The results are withdrawn: students cannot see them any more.".to_owned()
})
.leads_to("/course/experiments/{key}/release");

#[derive(Template)]
#[template(path = "coordinator/release.html")]
struct ReleasePage {
    frame: Frame,
    /// To the section looked at, or to everybody.
    release: Filled,
    withdraw: Filled,
    key: ExperimentKey,
    title: String,
    tally: Tally,
    sections: Vec<SectionRelease>,
    /// The section looked at closely.
    chosen: Option<SectionRelease>,
    /// What each student of that section sees.
    seen: Vec<Seen>,
    alarm: Option<Alarm>,
    /// How marks are spread; none while there are none.
    marks: Option<Histograms>,
    /// What groups find against what was assigned: those that look off, or else the bottles.
    strips: Vec<(String, Strip)>,
    ticks: Vec<Tick>,
    /// When the last section is due, if that is still to come.
    not_due: Option<String>,
    /// Nobody has the results.
    none_out: bool,
    all_out: bool,
    /// When, if all sections have them at once.
    at: Option<String>,
}

/// Where a section stands.
#[derive(Clone)]
struct SectionRelease {
    name: String,
    tally: Tally,
    /// Since when it has the results.
    out: Option<String>,
    /// When the last of its students is due, if that is still to come.
    not_due: Option<String>,
}

/// What a student sees once the results are out.
struct Seen {
    name: String,
    id: String,
    points: String,
    remark: &'static str,
}

/// `?section=` looks at one closely.
fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let view = visit.view().await?;
        let term = &view.term;
        let experiment = visit.experiment(term)?;
        let (key, title) = (&experiment.key, &experiment.procedure.title);
        view.audited().await?;
        let (strips, ticks) = view.audit(experiment).map(strips).unwrap_or_default();
        let sections: Vec<SectionRelease> = term
            .sections()
            .into_iter()
            .map(|section| of_section(visit, &view, key, section))
            .collect();
        let asked = match &refused {
            Some(refused) => refused.typed.text("section"),
            None => visit.query.text("section"),
        };
        let chosen = sections.iter().find(|s| s.name == asked).cloned();
        let name = chosen.as_ref().map_or("", |section| &section.name);
        let tally = Tally::of(&view, key, None);
        let students = counted(tally.students, "student", "students");
        let [to, from] = match name {
            "" => [
                format!("Release to {students}"),
                "Withdraw the results".to_owned(),
            ],
            name => [
                format!("Release to section {name}"),
                format!("Withdraw them from section {name}"),
            ],
        };
        let waiting = chosen
            .as_ref()
            .map_or(tally, |section| section.tally)
            .to_review;
        let mut release = RELEASE.filled(visit, term, refused.as_ref())?;
        release.form = ReleaseForm::to(name, &to, waiting);
        release.typed.set("section", name);
        let mut withdraw = WITHDRAW.filled(visit, term, refused.as_ref())?;
        withdraw.form = ReleaseForm::to(name, &from, 0);
        withdraw.typed.set("section", name);
        let everyone = term.released.get(key).filter(|r| r.sections.is_empty());
        let dues = term.enrolled().map(|s| term.dates_of(experiment, s).due);
        let mut frame = visit.frame(format!("Release: {title}"));
        frame.notice = notice(&visit.query, &[&RELEASE, &WITHDRAW]);
        Ok(Page(ReleasePage {
            frame,
            title: title.clone(),
            tally,
            seen: chosen
                .as_ref()
                .map_or_else(Vec::new, |s| seen(&view, key, &s.name)),
            release,
            withdraw,
            alarm: alarm(&view, experiment),
            marks: histograms(&view, key),
            strips,
            ticks,
            not_due: dues
                .max()
                .filter(|due| is_to_come(visit, &view, *due))
                .map(dates::local),
            none_out: !term.released.contains_key(key),
            all_out: view.is_released(key),
            at: everyone
                .and_then(|r| r.everyone)
                .map(|at| dates::instant(&term.course.zone, at)),
            sections,
            chosen,
            key: key.clone(),
        })
        .into_response())
    })
}

/// Strips of the groups that look off; where none does, of those with a value of their own.
fn strips(audit: &ExperimentAudit) -> (Vec<(String, Strip)>, Vec<Tick>) {
    const MOST: usize = 8;
    let errors = audit.results.iter().map(|one| one.observed.error_percent);
    let errors: Vec<f64> = errors.collect();
    let axis = Axis::of(&audit.groups, &errors);
    let assigned = |group: &&AuditGroup| audit.assigned.contains_key(&group.name);
    let mut groups: Vec<&AuditGroup> = audit.named().collect();
    if groups.is_empty() {
        groups = audit.groups.iter().filter(assigned).take(MOST).collect();
    }
    let strip = |group: &AuditGroup| (words::capital(&group.name), axis.strip(group, &errors));
    let strips = groups.into_iter().map(strip).collect();
    (strips, axis.ticks())
}

fn of_section(visit: &Visit, view: &Image, key: &ExperimentKey, section: &str) -> SectionRelease {
    let term = &view.term;
    let zone = &term.course.zone;
    let experiment = term.experiment(key);
    let students = term.enrolled_of(section).into_iter();
    let dues = experiment
        .map(|e| students.map(|s| term.dates_of(e, s).due).max())
        .unwrap_or_default();
    SectionRelease {
        name: section.to_owned(),
        tally: Tally::of(view, key, Some(section)),
        out: term
            .released_to(key, section)
            .map(|at| dates::instant(zone, at)),
        not_due: dues
            .filter(|due| is_to_come(visit, view, *due))
            .map(dates::local),
    }
}

fn is_to_come(visit: &Visit, view: &Image, due: DateTime) -> bool {
    let at = view.term.course.zone.instant(due);
    at.is_some_and(|at| at > visit.now())
}

fn seen(view: &Image, key: &ExperimentKey, section: &str) -> Vec<Seen> {
    let students = view.term.enrolled_of(section).into_iter();
    let one = |student: &Student| {
        let judged = view.judged.get(&Slot::new(key, &student.id));
        let marks = judged.map(|j| &j.evaluation.marks);
        Seen {
            name: student.to_string(),
            id: student.id.to_string(),
            points: marks.map_or_else(
                || "nothing handed in".to_owned(),
                |marks| format!("{} of {}", marks.total, marks.possible),
            ),
            remark: match judged.map(|j| j.status) {
                Some(Status::ToReview) => "to review",
                Some(Status::Returned) => "back with the student",
                _ => "",
            },
        }
    };
    students.into_iter().map(one).collect()
}
