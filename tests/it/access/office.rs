//! Routes of what the coordinator arranges while the term is running: the coordinator's alone.

use super::Open::{self, All, Coordinator, Nobody, SectionA, SignedIn};
use super::{LAST, PREP, TABLE};

/// Files as they are: method, route, path, and to whom it is open.
pub const FILES: [(&str, &str, &str, Open); 18] = [
    ("POST", "/mail", "/mail", SignedIn),
    ("POST", "/mail/calendar", "/mail/calendar", SignedIn),
    // for whoever knows the secret in it, signed in or not
    ("GET", "/calendar/{secret}", "/calendar/none.ics", Nobody),
    // whoever comes without what a platform sends is refused
    ("GET", "/lti/login", "/lti/login", Nobody),
    ("POST", "/lti/login", "/lti/login", Nobody),
    ("POST", "/lti/launch", "/lti/launch", Nobody),
    ("GET", "/lti/keys", "/lti/keys", All),
    // on a listener of its own
    ("GET", "/metrics", "/metrics", Nobody),
    ("GET", "/sign-in/campus", "/sign-in/campus", Nobody),
    ("POST", "/sign-in/campus", "/sign-in/campus", Nobody),
    (
        "GET",
        "/sign-in/campus/back",
        "/sign-in/campus/back",
        Nobody,
    ),
    ("POST", "/sign-in/code", "/sign-in/code", All),
    ("POST", "/second-step/begin", "/second-step/begin", SignedIn),
    (
        "POST",
        "/second-step/confirm",
        "/second-step/confirm",
        SignedIn,
    ),
    ("POST", "/second-step/end", "/second-step/end", SignedIn),
    (
        "POST",
        "/course/second-step",
        "/course/second-step",
        Coordinator,
    ),
    (
        "GET",
        "/course/procedures/{file}",
        "/course/procedures/plain-acid",
        Coordinator,
    ),
    (
        "POST",
        "/review/{experiment}/{student}/row",
        "/review/acid/0042/row",
        SectionA,
    ),
];

/// Method and path as the router has it; the experiment asked for is `acid`.
pub const ROUTES: [(&str, &str); 44] = [
    ("POST", "/course/access"),
    ("GET", "/course/mail"),
    ("POST", "/course/mail"),
    ("POST", "/course/codes"),
    ("GET", "/course/lti"),
    ("POST", "/course/lti"),
    ("POST", "/course/lti/remove"),
    ("POST", "/course/lti/key"),
    ("GET", "/course/platform"),
    ("POST", "/course/platform/take"),
    ("POST", "/course/platform/leave"),
    ("POST", "/course/platform/code"),
    ("POST", "/course/platform/members"),
    ("GET", "/course/platform/grades"),
    ("POST", "/course/platform/grades"),
    ("POST", "/course/platform/grades/again"),
    ("GET", "/course/kept"),
    ("GET", "/course/sign-in"),
    ("POST", "/course/sign-in"),
    ("GET", "/course/experiments/{key}/results"),
    ("GET", "/course/experiments/{key}/audit"),
    ("GET", "/course/access"),
    ("GET", "/course/experiments/{key}/extensions"),
    ("POST", "/course/experiments/{key}/extensions"),
    ("POST", "/course/experiments/{key}/extensions/preview"),
    ("POST", "/course/experiments/{key}/section-dates"),
    ("POST", "/course/experiments/{key}/section-dates/preview"),
    ("GET", "/course/experiments/{key}/reissue"),
    ("POST", "/course/experiments/{key}/reissue"),
    ("POST", "/course/experiments/{key}/reissue/preview"),
    ("GET", "/course/experiments/{key}/marking"),
    ("POST", "/course/experiments/{key}/marking"),
    ("POST", "/course/experiments/{key}/marking/preview"),
    ("POST", "/course/procedures/confirm"),
    ("GET", "/course/roster/student"),
    ("POST", "/course/roster/student"),
    ("POST", "/course/roster/student/preview"),
    ("POST", "/course/staff/remove"),
    ("GET", "/course/settings"),
    ("POST", "/course/settings"),
    ("POST", "/course/copy.zip"),
    ("POST", "/course/folder/confirm"),
    ("POST", "/course/roster/columns"),
    ("GET", "/course/gradebook.xlsx"),
];

/// Where every form of the server is sent to, and who may send it; the experiment is `acid`.
pub fn forms() -> Vec<(String, Open)> {
    let office = ROUTES.map(|(method, path)| (method, path, path, Coordinator));
    let routes = TABLE.into_iter().chain(PREP).chain(LAST).chain(FILES);
    routes
        .chain(office)
        .filter(|(method, ..)| *method == "POST")
        .map(|(.., path, open)| (path.replace("{key}", "acid"), open))
        .collect()
}
