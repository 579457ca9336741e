//! Due dates as a calendar that other programs subscribe to (RFC 5545). An entry for each experiment and date; no value,
//! no grade and no name of anybody is in it.

use icalendar::{Calendar, Component, Event, Property};
use jiff::Timestamp;

use crate::course::Experiment;
use crate::term::Term;
use crate::words::hexadecimal;

/// Who looks at a calendar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CalendarOf<'a> {
    /// The dates that hold for one student, by id.
    Student(&'a str),
    /// Those of sections, or (none) of all of them.
    Staff(Option<&'a [String]>),
}

/// How long before the date a calendar may be as it was: programs ask again as often as they are told.
const ASK_AGAIN: &str = "PT6H";

/// The calendar as text, as of an instant; `address` is where the course is found.
pub fn calendar(term: &Term, whose: &CalendarOf<'_>, address: &str, at: Timestamp) -> String {
    let mut calendar = Calendar::new();
    calendar
        .name(&term.course.title)
        .append_property(
            Property::new("REFRESH-INTERVAL", ASK_AGAIN)
                .add_parameter("VALUE", "DURATION")
                .done(),
        )
        .append_property(Property::new("X-PUBLISHED-TTL", ASK_AGAIN).done());
    for experiment in &term.experiments {
        for (place, title, due) in dates(term, whose, experiment) {
            let Some(due) = due else { continue };
            let path = match whose {
                CalendarOf::Student(_) => format!("/student/experiments/{}", experiment.key),
                CalendarOf::Staff(_) => format!("/review?experiment={}", experiment.key),
            };
            let mut event = Event::new();
            event
                .uid(&format!("due-{}{place}@{}", experiment.key, host(address)))
                .summary(&title)
                .url(&format!("{address}{path}"))
                // a moment that takes up nobody's time
                .append_property(Property::new("TRANSP", "TRANSPARENT").done())
                // without an end: it has to be later than the start (RFC 5545, 3.8.2.2)
                .add_property("DTSTART", utc(due))
                .add_property("DTSTAMP", utc(at));
            calendar.push(event.done());
        }
    }
    calendar.done().to_string()
}

type Due = (String, String, Option<Timestamp>);

/// What an experiment has in a calendar: what tells it apart, its title, when it is due.
fn dates(term: &Term, whose: &CalendarOf<'_>, experiment: &Experiment) -> Vec<Due> {
    let zone = &term.course.zone;
    let title = &experiment.procedure.title;
    match whose {
        CalendarOf::Student(id) => {
            let dates = term.dates_for(experiment, id);
            vec![(
                String::new(),
                format!("Due: {title}"),
                zone.instant(dates.due),
            )]
        }
        CalendarOf::Staff(sections) => {
            let seen =
                |section: &&str| sections.is_none_or(|own| own.iter().any(|one| one == section));
            let sections = term.sections().into_iter().filter(seen);
            let due = sections.map(|section| {
                let due = zone.instant(experiment.dates_in(section).due);
                let place = hexadecimal(section.as_bytes());
                (
                    format!("-{place}"),
                    format!("Due in {section}: {title}"),
                    due,
                )
            });
            due.collect()
        }
    }
}

/// A date with UTC time (RFC 5545, 3.3.5, form 2).
fn utc(at: Timestamp) -> String {
    at.strftime("%Y%m%dT%H%M%SZ").to_string()
}

fn host(address: &str) -> &str {
    let rest = address.split_once("://").map_or(address, |(_, rest)| rest);
    rest.split(['/', ':']).next().unwrap_or(rest)
}
