//! The roster: who is on it, and a file brought in after a look at what it would change.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::home::FaultsPage;
use super::oneroster::roster_form;
use super::roster_columns;
use super::student::STUDENT;
use crate::changes::{Exchanged, exchanged_file, staff_among};
use crate::course::{StaffMember, Student};
use crate::desk::accounts::{Kind, claimed};
use crate::desk::{self, PrepareError, RosterPlan};
use crate::files::{read_roster_file, write_roster};
use crate::form::Filled;
use crate::ids::StudentId;
use crate::lti::NotTaken;
use crate::term::Altered;
use crate::text::{Fault, Known};
use crate::web::changing::{GradeRow, grade, notice};
use crate::web::fields::{LongForm, MOST_FILE_IN_FORM};
use crate::web::parts::{Parts, from_to};
use crate::web::upload::MOST_FILE_BYTES;
use crate::web::{
    CoordinatorVisitor, Fields, Frame, Page, PageError, PageResult, QueryFields, Upload,
    UploadedFile,
};

/// What to do about a roster that is too large.
const IN_PARTS: &str = ": send it in parts; nobody leaves the roster by not being in the file";

#[derive(Template)]
#[template(path = "coordinator/roster.html")]
struct RosterPage {
    frame: Frame,
    fault: Option<String>,
    /// For a roster as the files of an exchange.
    exchange: Filled,
    total: usize,
    all_sections: usize,
    sections: Vec<SectionPeople>,
    parts: Parts,
    staff: Vec<StaffMember>,
    staff_without: usize,
    left: Vec<Student>,
}

/// Most students on a page, unless a section has more.
const MOST_STUDENTS: usize = 600;

/// The students of a section.
struct SectionPeople {
    name: String,
    students: Vec<Listed>,
    without: usize,
}

/// A student, and whether they have set a password.
struct Listed {
    student: Student,
    claimed: bool,
}

/// What a roster was read from.
pub struct Source<'a> {
    pub name: &'a str,
    /// Where somebody is who is on it: “in the file”.
    pub place: &'static str,
    pub not_taken: Vec<NotTaken>,
    /// So many could not be told at all.
    pub unnamed: usize,
    /// What somebody has to know of the file.
    pub remark: Option<String>,
}

impl<'a> Source<'a> {
    pub fn file(name: &'a str) -> Self {
        Self {
            name,
            place: "in the file",
            not_taken: Vec::new(),
            unnamed: 0,
            remark: None,
        }
    }
}

#[derive(Template)]
#[template(path = "coordinator/roster-preview.html")]
struct Preview {
    frame: Frame,
    file: String,
    place: &'static str,
    not_taken: Vec<NotTaken>,
    unnamed: usize,
    remark: Option<String>,
    text: String,
    /// Names of its exchange, as their file.
    exchanged: String,
    plan: RosterPlan,
    changes: usize,
    /// Grades that would be others.
    grades: Vec<GradeRow>,
}

impl Preview {
    /// Students who were not on the course, in two lists.
    fn new_faces(&self) -> [(&'static str, &[Student]); 2] {
        [
            ("Joining", &self.plan.joining),
            ("Coming back", &self.plan.returning),
        ]
    }
}

pub async fn page(visitor: CoordinatorVisitor, query: QueryFields) -> PageResult<Response> {
    let mut frame = visitor.frame("Roster");
    frame.notice = notice(&query.0, &[&STUDENT]);
    Ok(roster(&visitor, frame, (None, &query.0))
        .await?
        .into_response())
}

async fn roster(
    visitor: &CoordinatorVisitor,
    frame: Frame,
    (fault, query): (Option<String>, &Fields),
) -> PageResult<Page<RosterPage>> {
    let students = claimed(&visitor.state.people, Kind::Student).await?;
    let of_staff = claimed(&visitor.state.people, Kind::Staff).await?;
    let view = visitor.view().await?;
    let section = |name: &str| {
        let own: Vec<Listed> = view
            .term
            .enrolled_of(name)
            .into_iter()
            .map(|student| Listed {
                claimed: students.contains(student.id.as_str()),
                student: student.clone(),
            })
            .collect();
        SectionPeople {
            name: name.to_owned(),
            without: own.iter().filter(|l| !l.claimed).count(),
            students: own,
        }
    };
    let staff = &view.term.staff;
    let mut sections: Vec<SectionPeople> = view.term.sections().into_iter().map(section).collect();
    let parts = Parts::cut(
        &mut sections,
        MOST_STUDENTS,
        query,
        |section| section.students.len(),
        |first, last| from_to(&first.name, &last.name),
    );
    Ok(Page(RosterPage {
        frame,
        fault,
        exchange: roster_form(),
        parts,
        all_sections: view.term.sections().len(),
        total: view.term.enrolled().count(),
        left: view
            .term
            .in_order()
            .into_iter()
            .filter(|s| !s.is_enrolled())
            .cloned()
            .collect(),
        sections,
        staff: staff.to_vec(),
        staff_without: staff
            .iter()
            .filter(|s| !of_staff.contains(&s.login))
            .count(),
    }))
}

/// `POST /course/roster/preview`: what the file would change; nothing is changed yet.
pub async fn preview(visitor: CoordinatorVisitor, upload: Upload) -> PageResult<Response> {
    let back = "/course/roster";
    let frame = || visitor.frame("The roster was not brought in");
    let refuse = |file: &str, faults| Ok(FaultsPage::answer(frame(), file, faults, back));
    // of a workbook most may be pictures
    let is_workbook = |file: &UploadedFile| file.bytes.starts_with(b"PK\x03\x04");
    let most = match upload.file.as_ref().is_some_and(is_workbook) {
        true => MOST_FILE_BYTES,
        false => MOST_FILE_IN_FORM,
    };
    let file = match upload.within("a roster as a .csv, .xlsx or .ods file", most, IN_PARTS) {
        Ok(file) => file,
        Err((name, fault)) => return refuse(&name, vec![fault]),
    };
    roster_columns::read(&visitor, &file).await
}

/// What a roster would change, to be confirmed.
pub async fn show_plan(
    visitor: &CoordinatorVisitor,
    source: Source<'_>,
    (incoming, exchanged): (&[Student], &[Exchanged]),
) -> PageResult<Response> {
    let file = source.name;
    let refuse = |faults| {
        let frame = visitor.frame("The roster was not brought in");
        Ok(FaultsPage::answer(frame, file, faults, "/course/roster"))
    };
    let text = write_roster(incoming);
    let sourced = exchanged_file().write(exchanged);
    let size = text.len().saturating_add(sourced.len());
    if size > MOST_FILE_IN_FORM {
        let (found, most) = (size / 1024, MOST_FILE_IN_FORM / 1024);
        let what = format!("found a roster of {found} KiB, expected at most {most} KiB{IN_PARTS}");
        return refuse(vec![Fault::of_file(file, what)]);
    }
    let view = visitor.view().await?;
    let clashes = staff_among(&view.term, incoming);
    if !clashes.is_empty() {
        let fault = Fault::of_file(file, clashes).in_column("student_id");
        return refuse(vec![fault]);
    }
    let lost = desk::lost_of_roster(&view.term, incoming, file);
    if !lost.is_empty() {
        return refuse(lost);
    }
    let now = view.term.course.zone.local(visitor.now());
    let plan = desk::plan_roster(&view.term, (incoming, exchanged), &[], now.date());
    let changes = plan.changes();
    let moved = |altered: &&Altered| !altered.gain().is_zero();
    let preview = visitor.state.desk.preview(&view, &changes).await?;
    let grades = preview.altered.iter().filter(moved);
    let grades = grades.map(|one| grade(&view.term, one)).collect();
    Ok(Page(Preview {
        frame: visitor.frame("What this roster changes"),
        file: file.chars().take(120).collect(),
        place: source.place,
        not_taken: source.not_taken,
        unnamed: source.unnamed,
        remark: source.remark,
        text,
        exchanged: sourced,
        changes: changes.len(),
        plan,
        grades,
    })
    .into_response())
}

pub async fn confirm(
    visitor: CoordinatorVisitor,
    LongForm(fields): LongForm,
) -> PageResult<Response> {
    let text = fields.need("text")?.to_owned();
    let mut faults = Vec::new();
    let exchanged = match fields.text("exchanged") {
        "" => Vec::new(),
        text => exchanged_file().read(text.as_bytes(), &Known::default(), &mut faults),
    };
    let incoming = match read_roster_file(text.as_bytes()) {
        Ok(incoming) if faults.is_empty() => incoming,
        read => {
            faults.extend(read.err().unwrap_or_default());
            let frame = visitor.frame("The roster was not brought in");
            return Ok(FaultsPage::answer(
                frame,
                "roster.csv",
                faults,
                "/course/roster",
            ));
        }
    };
    let who = (visitor.login.as_str(), visitor.now());
    let left: Vec<StudentId> = fields.list("left[]").map(StudentId::new).collect();
    match desk::apply_roster(&visitor.state.desk, (&incoming, &exchanged), &left, who).await {
        Ok(plan) => {
            let n = plan.changes().len();
            Err(PageError::see_other(format!(
                "/course/roster?done=roster&n={n}"
            )))
        }
        Err(PrepareError::Store(why)) => Err(why.into()),
        Err(PrepareError::Fields(faults)) => {
            let frame = visitor.frame("Roster");
            let page = roster(&visitor, frame, (faults.of("roster"), &fields)).await?;
            Ok(page.with_status(StatusCode::UNPROCESSABLE_ENTITY))
        }
    }
}
