//! One student of the roster: added, moved to another section, or marked as having left.

use askama::Template;
use axum::response::IntoResponse;

use crate::changes::StudentForm;
use crate::form::Filled;
use crate::web::changing::{Answer, Place, Refused, Visit, Who};
use crate::web::{Frame, Page};
use crate::words::counted;

pub const STUDENT: Place = Place::new(
    Who::Coordinator,
    "/course/roster/student",
    |_| Ok(Box::new(StudentForm)),
    page,
)
.says("roster", |n| {
    let students = counted(n, "student", "students");
    format!("The roster is in: {students} joined or changed.")
})
.leads_to("/course/roster");

#[derive(Template)]
#[template(path = "coordinator/student.html")]
struct StudentPage {
    frame: Frame,
    form: Filled,
}

fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let view = visit.view().await?;
        let form = STUDENT.filled(visit, &view.term, refused.as_ref())?;
        let title = match view.term.student(form.typed.text("student_id")) {
            Some(student) => format!("Change {student}"),
            None => "Add a student".to_owned(),
        };
        let frame = visit.frame(title);
        Ok(Page(StudentPage { frame, form }).into_response())
    })
}
