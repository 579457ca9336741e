//! How far the work is: by experiment and section.

use std::collections::BTreeMap;

use super::filter::{Filter, Standing};
use super::in_path;
use crate::desk::Image;
use crate::ids::{ExperimentKey, StudentId};
use crate::term::{Slot, Status};
use crate::web::AssistantVisitor;

/// One experiment in one section.
pub struct ProgressRow {
    /// Title of the experiment.
    pub experiment: String,
    pub section: String,
    pub students: usize,
    /// Of whom something was handed in.
    pub handed_in: usize,
    pub to_review: usize,
    pub returned: usize,
    pub settled: usize,
    /// Whether the results are out.
    pub released: bool,
    /// Where the points by hand are given, and for how many they are; none if the marking has no such part.
    pub by_hand: Option<(String, usize)>,
    /// Queries of the list that show those counts.
    pub links: Links,
}

/// Addresses of parts of the list.
pub struct Links {
    pub to_review: String,
    /// What is with the student.
    pub returned: String,
    pub settled: String,
    pub all: String,
}

/// Every experiment in every section of the visitor.
pub fn progress(view: &Image, visitor: &AssistantVisitor) -> Vec<ProgressRow> {
    let term = &view.term;
    let mut sections: BTreeMap<&str, Vec<&StudentId>> = BTreeMap::new();
    for student in term.enrolled().filter(|s| visitor.sees(&s.section)) {
        let ids = sections.entry(&student.section).or_default();
        ids.push(&student.id);
    }
    let mut rows = Vec::new();
    for experiment in &term.experiments {
        for (section, ids) in &sections {
            let slots: Vec<Slot> = ids
                .iter()
                .map(|id| Slot::new(&experiment.key, id))
                .collect();
            let judged: Vec<Status> = slots
                .iter()
                .filter_map(|slot| view.judged.get(slot).map(|judged| judged.status))
                .collect();
            let count = |status| judged.iter().filter(|one| **one == status).count();
            let given = slots.iter().filter(|slot| term.by_hand.contains_key(slot));
            let by_hand = experiment.procedure.marking.by_hand.map(|_| {
                let at = format!("/points/{}", in_path(&experiment.key));
                (format!("{at}?{}", of_section(section)), given.count())
            });
            rows.push(ProgressRow {
                experiment: experiment.procedure.title.clone(),
                section: (*section).to_owned(),
                students: ids.len(),
                handed_in: judged.len(),
                to_review: count(Status::ToReview),
                returned: count(Status::Returned),
                settled: count(Status::Settled),
                released: term.released_to(&experiment.key, section).is_some(),
                by_hand,
                links: links(&experiment.key, section),
            });
        }
    }
    rows
}

fn links(experiment: &ExperimentKey, section: &str) -> Links {
    let to = |standing| {
        let filter = Filter {
            experiment: experiment.to_string(),
            section: section.to_owned(),
            flag: None,
            standing,
        };
        format!("/review?{}#list", filter.query())
    };
    Links {
        to_review: to(Standing::ToReview),
        returned: to(Standing::Returned),
        settled: to(Standing::Settled),
        all: to(Standing::All),
    }
}

fn of_section(section: &str) -> String {
    form_urlencoded::Serializer::new(String::new())
        .append_pair("section", section)
        .finish()
}
