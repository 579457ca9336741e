//! Where pages stand: below what a proxy puts before them, and in a department each course below an address of its own.
//!
//! Pages and redirections name addresses as if their course stood alone, `/student` say. A layer puts what belongs before
//! them into what leaves the server, so that no page, form or redirection can forget it. Only attributes that hold an
//! address are looked at; text cannot be taken for one, since quotation marks in text are escaped.

use std::sync::Arc;

use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::error::PageError;
use super::state::AppState;
use crate::ids::CourseKey;

/// First parts of addresses that all courses of a department share, and of those that name a course themselves.
const SHARED: [&str; 11] = [
    "access",
    "c",
    "claim",
    "courses",
    "guide",
    "healthz",
    "password",
    "second-step",
    "sign-in",
    "sign-out",
    "static",
];

/// Attributes that hold an address.
const ATTRIBUTES: [&str; 7] = [
    "href",
    "action",
    "formaction",
    "src",
    "data-live",
    "data-root",
    "data-worker",
];

/// Where some pages stand.
#[derive(Clone, Debug, Default)]
pub struct Place {
    /// What a proxy puts before all addresses, such as `/laboratory`; empty if nothing.
    before: Arc<str>,
    /// The course of a department; none of one that stands alone, and of what all courses share.
    course: Option<CourseKey>,
}

/// On an answer whose addresses are whole already.
#[derive(Clone)]
struct Whole;

impl Place {
    /// `before` is the path of the address under which people find the server.
    pub fn below(before: &str) -> Self {
        Self {
            before: before.trim_end_matches('/').into(),
            course: None,
        }
    }

    /// The place of a course of the department that stands here.
    pub fn of_course(&self, key: &CourseKey) -> Self {
        Self {
            course: Some(key.clone()),
            ..self.clone()
        }
    }

    pub fn course(&self) -> Option<&CourseKey> {
        self.course.as_ref()
    }

    pub fn before(&self) -> &str {
        &self.before
    }

    /// A path of these pages as the server knows it, whatever a proxy puts before it.
    pub fn own(&self, path: &str) -> String {
        let first = path.trim_start_matches('/').split(['/', '?', '#']).next();
        match &self.course {
            Some(key) if !SHARED.contains(&first.unwrap_or_default()) => format!("/c/{key}{path}"),
            _ => path.to_owned(),
        }
    }

    /// The same as a browser asks for it.
    pub fn address(&self, path: &str) -> String {
        format!("{}{}", self.before, self.own(path))
    }

    fn is_bare(&self) -> bool {
        self.before.is_empty() && self.course.is_none()
    }

    /// A page with its addresses whole.
    fn whole(&self, page: &str) -> String {
        let mut whole = String::with_capacity(page.len() + page.len() / 8);
        let mut rest = page;
        while let Some(at) = rest.find("=\"/") {
            let (before, from) = rest.split_at(at);
            whole.push_str(before);
            let from = &from[2..];
            let name = before.rsplit([' ', '\n', '\t']).next().unwrap_or_default();
            // two slashes lead to another site
            if !ATTRIBUTES.contains(&name) || from.starts_with("//") {
                whole.push_str("=\"");
                rest = from;
                continue;
            }
            let end = from.find('"').unwrap_or(from.len());
            whole.push_str("=\"");
            whole.push_str(&self.address(&from[..end]));
            rest = &from[end..];
        }
        whole.push_str(rest);
        whole
    }

    /// Redirections, and how far a script may reach.
    fn whole_headers(&self, headers: &mut HeaderMap) {
        let names = [
            header::LOCATION,
            HeaderName::from_static("service-worker-allowed"),
        ];
        for name in names {
            let held = headers.get(&name).and_then(|held| held.to_str().ok());
            let ours = held.filter(|held| held.starts_with('/') && !held.starts_with("//"));
            let address = ours.map(|ours| self.address(ours));
            if let Some(address) = address.and_then(|one| HeaderValue::from_str(&one).ok()) {
                headers.insert(name, address);
            }
        }
    }
}

/// The layer.
pub async fn put_before(State(state): State<AppState>, request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    if state.place.is_bare() || response.extensions().get::<Whole>().is_some() {
        return response;
    }
    // an error is made a page further out
    if response.extensions().get::<PageError>().is_some() {
        return response;
    }
    state.place.whole_headers(response.headers_mut());
    let kind = response.headers().get(header::CONTENT_TYPE);
    if kind.is_some_and(|kind| kind.as_bytes().starts_with(b"text/html")) {
        let (mut parts, body) = response.into_parts();
        let page = to_bytes(body, usize::MAX).await;
        let page = match page.map(|page| String::from_utf8(page.into())) {
            Ok(Ok(page)) => state.place.whole(&page),
            Ok(Err(why)) => return PageError::internal(why).into_response(),
            Err(why) => return PageError::internal(why).into_response(),
        };
        parts.headers.remove(header::CONTENT_LENGTH);
        response = Response::from_parts(parts, Body::from(page));
    }
    response.extensions_mut().insert(Whole);
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    fn course() -> Place {
        Place::below("/lab").of_course(&CourseKey::new("chem-1"))
    }

    #[test]
    fn addresses_are_put_below_their_course_and_what_is_shared_is_not() {
        let page = r#"<a href="/student/vinegar?x=1#y">A</a> <form method="post" action="/sign-out"><link href="/static/style.css?v=1"><a href="/"><a href="/c/chem-0/review">"#;
        let expected = r#"<a href="/lab/c/chem-1/student/vinegar?x=1#y">A</a> <form method="post" action="/lab/sign-out"><link href="/lab/static/style.css?v=1"><a href="/lab/c/chem-1/"><a href="/lab/c/chem-0/review">"#;
        assert_eq!(course().whole(page), expected);
    }

    #[test]
    fn nothing_else_is_touched() {
        let page = r##"<input name="next" value="/student"><a href="//elsewhere.example">x</a><a href="https://elsewhere.example">y</a> text=&quot;/a <a href="?x=/y">z</a><a href="#here">"##;
        assert_eq!(course().whole(page), page);
    }

    #[test]
    fn a_place_of_its_own_alone_changes_nothing() {
        let place = Place::default();
        assert!(place.is_bare());
        assert_eq!(place.address("/student"), "/student");
        // what labels begin with
        assert_eq!(place.address(""), "");
        assert_eq!(course().address(""), "/lab/c/chem-1");
    }
}
