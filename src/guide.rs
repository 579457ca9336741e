//! The guide: one text for the command line and the browser.

pub struct Topic {
    pub name: &'static str,
    pub title: &'static str,
    /// In Markdown.
    pub text: &'static str,
}

macro_rules! topics {
    ($($name:literal $title:literal),* $(,)?) => {
        &[$(Topic {
            name: $name,
            title: $title,
            text: include_str!(concat!("../seed-data/guide/", $name, ".md")),
        }),*]
    };
}

/// In the order of somebody who begins.
pub const TOPICS: &[Topic] = topics![
    "running" "Run a course",
    "commands" "Commands",
    "department" "A department: many courses in one server",
    "files" "The course folder",
    "grades" "Grades out",
    "procedures" "Procedures: those that come with it, and how to write one",
    "mail" "Mail and calendars",
    "platforms" "Platforms: launches, roster and grades by LTI 1.3",
    "records" "Records and privacy",
    "analysis" "Data for people who analyse",
];

pub fn topic(name: &str) -> Option<&'static Topic> {
    TOPICS.iter().find(|topic| topic.name == name)
}
