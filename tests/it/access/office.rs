//! Routes of what the coordinator arranges while the term is running: the coordinator's alone.

/// Method and path as the router has it; the experiment asked for is `acid`.
pub const ROUTES: [(&str, &str); 17] = [
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
    ("POST", "/course/copy.zip"),
];
