//! What stands around every page, and pages as answers.

use std::fmt::Display;

use askama::Template;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};

use super::assets;
use super::error::PageError;
use super::rich;
use super::student::record::VolumeSpread;
use crate::desk::accounts::{Person, Role};
use crate::language::{Language, Message};

/// What `layout.html` shows around a page: a template extends it and has a field `frame`.
#[derive(Clone, Debug, Default)]
pub struct Frame {
    /// Title of the course.
    pub course: String,
    /// Title of the page.
    pub title: String,
    /// Who is signed in.
    pub person: Option<FramePerson>,
    /// Where they can go.
    pub nav: Vec<NavItem>,
    /// The hidden field `csrf` of every form.
    pub csrf: String,
    /// Whether it is a page of a course, and not of what the courses of a department share.
    pub is_of_course: bool,
    /// Something that has just been done, to say once.
    pub notice: Option<String>,
    /// What the page is written in.
    pub language: Language,
}

/// Who is signed in, as the header shows it.
#[derive(Clone, Debug)]
pub struct FramePerson {
    pub name: String,
    /// What they are here.
    pub role: &'static str,
}

/// An entry of the navigation.
#[derive(Clone, Debug)]
pub struct NavItem {
    pub href: &'static str,
    pub label: &'static str,
    /// Whether this page is below it.
    pub current: bool,
}

/// A template as an answer.
pub struct Page<T>(pub T);

impl Frame {
    /// The frame of a page with that title, shown at `path`.
    pub fn new(
        (course, language): (&str, Language),
        person: Option<&Person>,
        csrf: String,
        path: &str,
        title: impl Into<String>,
    ) -> Self {
        Self {
            course: course.to_owned(),
            title: title.into(),
            person: person.map(|person| FramePerson {
                name: person.name.clone(),
                role: role_name(&person.role, language),
            }),
            nav: person.map_or_else(Vec::new, |person| nav(&person.role, path, language)),
            csrf,
            is_of_course: true,
            notice: None,
            language,
        }
    }

    /// Adds the way to the courses of the department; `is_shared`, on pages that belong to none of them.
    pub fn show_department(&mut self, person: Option<&Person>, is_shared: bool, path: &str) {
        self.is_of_course = !is_shared;
        let Some(person) = person else {
            return;
        };
        let runs_it = is_shared && person.role == Role::Coordinator;
        if is_shared {
            self.nav.clear();
            let role = if runs_it { "runs the department" } else { "" };
            if let Some(shown) = &mut self.person {
                shown.role = role;
            }
        }
        let courses = self.language.text("courses.title");
        let entries: &[(&'static str, &'static str)] = if runs_it {
            &[
                ("/courses", "Courses"),
                ("/people", "Two roles"),
                ("/course/access", "Who did what"),
                ("/course/sign-in", "Sign-in"),
            ]
        } else {
            &[("/courses", courses)]
        };
        self.nav.extend(entries.iter().map(|(href, label)| NavItem {
            href,
            label,
            current: is_shared && path == *href,
        }));
    }

    /// The same with something to say at the top.
    pub fn saying(mut self, notice: impl Into<String>) -> Self {
        self.notice = Some(notice.into());
        self
    }

    /// Address of a file of `static/`, for ever this version of it.
    pub fn asset(&self, file: &str) -> String {
        assets::address(file)
    }

    /// A text of the catalogue.
    pub fn text<'k>(&self, key: &'k str) -> &'k str {
        self.language.text(key)
    }

    /// A text with values that are words already.
    pub fn tell(&self, key: &str, values: &[(&str, &dyn Display)]) -> String {
        self.language.tell(key, values)
    }

    /// The same as HTML: `**words**` stand out, and `[words]({place})` is a link to the value.
    pub fn rich(&self, key: &str, values: &[(&str, &dyn Display)]) -> String {
        rich::html(self.language, key, values)
    }

    /// A text that goes by a number.
    pub fn counted(&self, key: &str, n: impl Display) -> String {
        self.language.counted(key, n)
    }

    /// A message in words.
    pub fn say(&self, message: &Message) -> String {
        self.language.say(message)
    }

    /// The same with a capital in front.
    pub fn sentence(&self, message: &Message) -> String {
        self.language.sentence(message)
    }

    /// The spread of titres in a sentence.
    pub fn spread(&self, spread: &VolumeSpread) -> String {
        spread.words(self.language)
    }

    /// The texts whose keys begin so, for a script, as JSON.
    pub fn texts(&self, prefix: &str) -> String {
        let keys = self.language.catalogue().keys();
        let texts = keys.filter_map(|key| Some((key.strip_prefix(prefix)?, self.text(key))));
        let texts: std::collections::BTreeMap<_, _> = texts.collect();
        serde_json::to_string(&texts).unwrap_or_default()
    }
}

impl<T: Template> IntoResponse for Page<T> {
    fn into_response(self) -> Response {
        match self.0.render() {
            Ok(html) => Html(html).into_response(),
            Err(why) => PageError::internal(why).into_response(),
        }
    }
}

impl<T: Template> Page<T> {
    /// The page with another status than 200, such as 422 for a form with faults.
    pub fn with_status(self, status: StatusCode) -> Response {
        let mut response = self.into_response();
        if response.status() == StatusCode::OK {
            *response.status_mut() = status;
        }
        response
    }
}

/// Where a person of that role starts.
pub fn home(role: &Role) -> &'static str {
    match role {
        Role::Student { .. } => "/student",
        Role::Assistant { .. } => "/review",
        Role::Coordinator => "/course",
        Role::Prep => "/prep",
    }
}

fn role_name(role: &Role, language: Language) -> &'static str {
    match role {
        Role::Student { .. } => language.text("frame.student"),
        Role::Assistant { .. } => "assistant",
        Role::Coordinator => "coordinator",
        Role::Prep => "prep room",
    }
}

fn nav(role: &Role, path: &str, language: Language) -> Vec<NavItem> {
    let experiments = [("/student", language.text("frame.experiments"))];
    let entries: &[(&str, &str)] = match role {
        Role::Student { .. } => &experiments,
        Role::Assistant { .. } => &[
            ("/review", "Review"),
            ("/gradebook", "Gradebook"),
            ("/proving", "Proving"),
        ],
        Role::Coordinator => &[
            ("/course", "Course"),
            ("/review", "Review"),
            ("/gradebook", "Gradebook"),
            ("/prep", "Prep room"),
            ("/proving", "Proving"),
        ],
        Role::Prep => &[("/prep", "Prep room"), ("/proving", "Proving")],
    };
    let below = |href: &str| {
        path.strip_prefix(href)
            .is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    };
    let below_points = below("/points");
    let item = |&(href, label)| NavItem {
        href,
        label,
        // points by hand are given in the course of a review
        current: below(href) || (href == "/review" && below_points),
    };
    entries.iter().map(item).collect()
}
