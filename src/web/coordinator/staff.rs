//! The staff: who teaches which sections, who coordinates.

use askama::Template;
use axum::response::IntoResponse;

use crate::changes::{RemoveStaffForm, StaffForm};
use crate::course::StaffMember;
use crate::form::Filled;
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::{Frame, Page};

pub const STAFF: Place = Place::new(
    Who::Coordinator,
    "/course/staff",
    |_| Ok(Box::new(StaffForm)),
    page,
)
.says("staff", |_| "The staff list is changed.".to_owned());

/// Off the list, and every session ended.
pub const REMOVE: Place = Place::new(
    Who::Coordinator,
    "/course/staff/remove",
    |_| Ok(Box::new(RemoveStaffForm)),
    page,
)
.says("staff", |_| "The staff list is changed.".to_owned())
.leads_to("/course/staff");

#[derive(Template)]
#[template(path = "coordinator/staff.html")]
struct StaffPage {
    frame: Frame,
    form: Filled,
    staff: Vec<StaffMember>,
    untaught: Vec<String>,
    /// About somebody who is about to be taken off the list.
    leaving: Option<Filled>,
}

/// `?login=` fills the form in with somebody to change, `?remove=` asks about taking them off.
fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let view = visit.view().await?;
        let term = &view.term;
        let is_taught = |section: &&str| {
            let mut staff = term.staff.iter();
            staff.any(|s| s.sections.iter().any(|own| own == section))
        };
        let untaught = term.sections().into_iter().filter(|s| !is_taught(s));
        let mut frame = visit.frame("Staff");
        frame.notice = notice(&visit.query, &[&STAFF]);
        let leaving = REMOVE.filled(visit, term, refused.as_ref())?;
        let is_asked = !leaving.form.title.is_empty() || !leaving.faults.is_empty();
        Ok(Page(StaffPage {
            frame,
            form: STAFF.filled(visit, term, refused.as_ref())?,
            untaught: untaught.map(str::to_owned).collect(),
            staff: term.staff.to_vec(),
            leaving: is_asked.then_some(leaving),
        })
        .into_response())
    })
}
