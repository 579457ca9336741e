//! Pages of the coordinator: preparing the course, seeing the term, releasing and exporting. They show true values, so
//! every handler names [`CoordinatorVisitor`](crate::web::CoordinatorVisitor).

mod arranged;
pub(in crate::web) mod audit;
mod downloads;
mod experiment;
mod experiments;
mod fill;
mod folder;
mod glance;
mod home;
mod issue;
mod lots;
mod lti;
mod mail;
mod marking;
mod marks;
mod oneroster;
mod outbox;
mod platform;
mod platform_grades;
mod procedures;
mod release;
mod results;
mod roster;
mod roster_columns;
mod sections;
mod settings;
mod slips;
mod staff;
mod student;
pub(in crate::web) mod titres;
mod unknowns;
pub(in crate::web) mod words;

use axum::Router;
use axum::routing::{get, post};

use self::arranged::{alone, beside, place};
use super::AppState;
use super::changing::{Place, Who, entered, looked, page_of, shown};
use super::sign_in::{ask_of_staff, choose, chosen, end_sessions, everybodys};
use crate::changes::{ExtensionForm, ReissueForm};
use crate::desk::forms::SectionDates;

pub(in crate::web) use self::slips::{Slips, slips_page};

const EXTENSION: Place =
    place::<ExtensionForm>(|v, refused| beside::<ExtensionForm>(v, refused, Some(&SECTION_DATES)));

const SECTION_DATES: Place = Place::new(
    Who::Coordinator,
    "/course/experiments/{key}/section-dates",
    |visit| Ok(Box::new(SectionDates(visit.key()?.clone()))),
    |v, refused| beside::<ExtensionForm>(v, refused, Some(&SECTION_DATES)),
)
.says("dates", |_| "The dates are changed.".to_owned())
.leads_to("/course/experiments/{key}/extensions");

const REISSUE: Place = place::<ReissueForm>(alone::<ReissueForm>);

pub fn routes() -> Router<AppState> {
    Router::new()
        .route("/course", get(home::page))
        .route("/course/new", post(home::new))
        .route("/course/folder", post(folder::look))
        .route("/course/folder/confirm", post(folder::confirm))
        .route("/course/roster", get(roster::page))
        .route("/course/roster/preview", post(roster::preview))
        .route("/course/roster/confirm", post(roster::confirm))
        .route("/course/roster/columns", post(roster_columns::chosen))
        .route("/course/slips", post(slips::print))
        .route("/course/access", get(everybodys).post(end_sessions))
        .route("/course/sign-in", get(chosen).post(choose))
        .route("/course/mail", get(mail::page).post(mail::turn))
        .merge(platform_routes())
        .route("/course/platform", get(platform::page))
        .route("/course/platform/take", post(platform::take))
        .route("/course/platform/leave", post(platform::leave))
        .route("/course/platform/code", post(platform::by_code))
        .route("/course/platform/members", post(platform::members))
        .route(
            "/course/platform/grades",
            get(platform_grades::page).post(platform_grades::turn),
        )
        .route(
            "/course/platform/grades/again",
            post(platform_grades::again),
        )
        .route("/course/codes", post(mail::send_codes))
        .route("/course/kept", get(downloads::kept))
        .route("/course/second-step", post(ask_of_staff))
        .route("/course/settings", shown(&settings::SETTINGS))
        .route("/course/staff", shown(&staff::STAFF))
        .route("/course/staff/remove", entered(&staff::REMOVE))
        .route("/course/roster/student", shown(&student::STUDENT))
        .route(
            "/course/roster/student/preview",
            looked(|_| &student::STUDENT),
        )
        .route("/course/lots", shown(&lots::LOT))
        .route("/course/lots/preview", looked(|_| &lots::LOT))
        .route("/course/procedures", post(procedures::enter_file))
        .route("/course/procedures/{file}", get(procedures::shown))
        .route(
            "/course/procedures/confirm",
            entered(&procedures::PROCEDURE),
        )
        .route("/course/audit", get(audit::overview))
        .route("/course/sections", get(sections::page))
        .route("/course/files", get(downloads::page))
        .route("/course/gradebook.csv", get(downloads::gradebook))
        .route("/course/gradebook.xlsx", get(downloads::gradebook_book))
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
        .route("/course/experiments", shown(&experiments::NEW))
        .nest("/course/experiments/{key}", of_experiment())
}

/// Platforms that launch people here: of a course that stands alone, or of a department.
pub(super) fn platform_routes() -> Router<AppState> {
    Router::new()
        .route("/course/lti", get(lti::page).post(lti::register))
        .route("/course/lti/remove", post(lti::remove))
        .route("/course/lti/key", post(lti::another_key))
}

fn of_experiment() -> Router<AppState> {
    Router::new()
        .route("/", page_of(&experiment::DATES))
        .route("/results", get(results::page))
        .route("/dates", entered(&experiment::DATES))
        .route("/dates/preview", looked(|_| &experiment::DATES))
        .route("/lots", entered(&experiment::LOTS))
        .route("/truth", entered(&experiment::TRUTH))
        .route("/unknowns", shown(&unknowns::UNKNOWN))
        .route("/unknowns/many", entered(&unknowns::MANY))
        .route("/unknowns/preview", looked(unknowns::one_or_many))
        .route("/audit", get(audit::of_experiment))
        .route("/issue", shown(&issue::ISSUE))
        .route("/issue/list", get(issue::list))
        .route("/release", shown(&release::RELEASE))
        .route("/withdraw", entered(&release::WITHDRAW))
        .route("/extensions", shown(&EXTENSION))
        .route("/extensions/preview", looked(|_| &EXTENSION))
        .route("/section-dates", entered(&SECTION_DATES))
        .route("/section-dates/preview", looked(|_| &SECTION_DATES))
        .route("/marking", shown(&marking::RULES))
        .route("/marking/preview", looked(|_| &marking::RULES))
        .route("/reissue", shown(&REISSUE))
        .route("/reissue/preview", looked(|_| &REISSUE))
}
