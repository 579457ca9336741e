//! Pages of the coordinator: preparing the course, seeing the term, releasing and exporting. They show true values, so
//! every handler names [`CoordinatorVisitor`](crate::web::CoordinatorVisitor).

mod audit;
mod downloads;
mod experiment;
mod experiments;
mod extensions;
mod fill;
pub(in crate::web) mod form;
mod glance;
mod home;
mod issue;
mod lots;
mod marking;
mod marking_form;
mod marks;
mod oneroster;
mod preview;
mod procedures;
mod reissue;
mod release;
mod roster;
mod sections;
mod slips;
mod staff;
mod student;
pub(in crate::web) mod titres;
mod truth;
mod unknowns;
mod unpack;
pub(in crate::web) mod words;

use axum::Router;
use axum::routing::{get, post};

use super::AppState;

pub fn routes() -> Router<AppState> {
    Router::new()
        .route("/course", get(home::page))
        .route("/course/new", post(home::new))
        .route("/course/folder", post(home::folder))
        .route("/course/roster", get(roster::page))
        .route("/course/roster/preview", post(roster::preview))
        .route("/course/roster/confirm", post(roster::confirm))
        .route("/course/slips", post(slips::print))
        .route("/course/staff", get(staff::page).post(staff::enter))
        .route("/course/staff/remove", post(staff::remove))
        .route(
            "/course/roster/student",
            get(student::page).post(student::enter),
        )
        .route("/course/roster/student/preview", post(student::preview))
        .route("/course/lots", get(lots::page).post(lots::enter))
        .route("/course/lots/preview", post(lots::preview))
        .route("/course/procedures", post(procedures::enter))
        .route("/course/procedures/confirm", post(procedures::confirm))
        .route("/course/audit", get(audit::overview))
        .route("/course/sections", get(sections::page))
        .route("/course/files", get(downloads::page))
        .route("/course/gradebook.csv", get(downloads::gradebook))
        .route(
            "/course/gradebook-exact.csv",
            get(downloads::gradebook_exact),
        )
        .route("/course/oneroster.zip", post(oneroster::results))
        .route("/course/roster/oneroster", post(oneroster::roster))
        .route("/course/fill", post(fill::choose))
        .route("/course/fill/preview", post(fill::preview))
        .route("/course/fill/download", post(fill::download))
        .route("/course/results.csv", get(downloads::results))
        .route("/course/flags.csv", get(downloads::flags))
        .route("/course/audit.csv", get(downloads::audit))
        .route("/course/export.zip", get(downloads::export))
        .route("/course/copy.zip", post(downloads::copy))
        .route(
            "/course/experiments",
            get(experiments::page).post(experiments::enter),
        )
        .nest("/course/experiments/{key}", of_experiment())
}

fn of_experiment() -> Router<AppState> {
    Router::new()
        .route("/", get(experiment::page))
        .route("/dates", post(experiment::dates))
        .route("/dates/preview", post(experiment::preview_dates))
        .route("/lots", post(experiment::lots))
        .route("/truth", post(truth::choose))
        .route("/unknowns", get(unknowns::page).post(unknowns::enter))
        .route("/unknowns/many", post(unknowns::enter_many))
        .route("/unknowns/preview", post(unknowns::preview))
        .route("/audit", get(audit::of_experiment))
        .route("/issue", get(issue::page).post(issue::now))
        .route("/issue/list", get(issue::list))
        .route("/release", get(release::page).post(release::release))
        .route("/withdraw", post(release::withdraw))
        .route("/extensions", get(extensions::page).post(extensions::enter))
        .route("/extensions/preview", post(extensions::preview))
        .route("/section-dates", post(extensions::enter_sections))
        .route("/section-dates/preview", post(extensions::preview_sections))
        .route("/marking", get(marking::page).post(marking::enter))
        .route("/marking/preview", post(marking::preview))
        .route("/reissue", get(reissue::page).post(reissue::enter))
        .route("/reissue/preview", post(reissue::preview))
}
