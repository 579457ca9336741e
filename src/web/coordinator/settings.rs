//! What the course is called, and what its students read.

use askama::Template;
use axum::response::IntoResponse;

use crate::desk::forms::CourseForm;
use crate::form::Filled;
use crate::web::changing::{Answer, Place, Refused, Visit, Who, notice};
use crate::web::{Frame, Page};

pub const SETTINGS: Place = Place::new(
    Who::Coordinator,
    "/course/settings",
    |_| Ok(Box::new(CourseForm)),
    page,
)
.says("settings", |_| "The settings are kept.".to_owned());

#[derive(Template)]
#[template(path = "coordinator/settings.html")]
struct SettingsPage {
    frame: Frame,
    form: Filled,
}

fn page(visit: &Visit, refused: Option<Refused>) -> Answer<'_> {
    Box::pin(async move {
        let view = visit.view().await?;
        let mut frame = visit.frame("Course settings");
        frame.notice = notice(&visit.query, &[&SETTINGS]);
        let form = SETTINGS.filled(visit, &view.term, refused.as_ref())?;
        Ok(Page(SettingsPage { frame, form }).into_response())
    })
}
