//! How far the work is: by experiment and section.

use std::collections::BTreeMap;

use super::filter::{Filter, Standing};
use super::in_path;
use crate::course::Experiment;
use crate::desk::Image;
use crate::ids::{ExperimentKey, StudentId};
use crate::term::{Slot, Status};
use crate::web::AssistantVisitor;
use crate::words::counted;

/// One experiment in one section, or in all of them.
pub struct ProgressRow {
    /// Title of the experiment.
    pub experiment: String,
    /// Its name, or how many they are.
    pub section: String,
    pub is_one: bool,
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

/// Most rows of the table; where there are more, one stands for all sections of an experiment until one is chosen.
const MOST_ROWS: usize = 90;

/// Every experiment in every section of the visitor, of those that the filter asks for.
pub fn progress(view: &Image, visitor: &AssistantVisitor, filter: &Filter) -> Vec<ProgressRow> {
    let term = &view.term;
    let is_asked_for = |wanted: &str, one: &str| wanted.is_empty() || wanted == one;
    let mut sections: BTreeMap<&str, Vec<&StudentId>> = BTreeMap::new();
    let own = term.enrolled().filter(|s| visitor.sees(&s.section));
    for student in own.filter(|s| is_asked_for(&filter.section, &s.section)) {
        let ids = sections.entry(&student.section).or_default();
        ids.push(&student.id);
    }
    let experiments = term.experiments.iter();
    let experiments = experiments.filter(|one| is_asked_for(&filter.experiment, &one.key));
    let many = sections.len().saturating_mul(experiments.clone().count()) > MOST_ROWS;
    if many {
        let all: Vec<&str> = sections.keys().copied().collect();
        let ids = std::mem::take(&mut sections).into_values().flatten();
        let ids: Vec<&StudentId> = ids.collect();
        return experiments.map(|one| row(view, one, &all, &ids)).collect();
    }
    let rows = experiments.flat_map(|one| {
        let sections = sections.iter();
        sections.map(move |(section, ids)| row(view, one, &[section], ids))
    });
    rows.collect()
}

/// How far some sections together are with an experiment.
fn row(
    view: &Image,
    experiment: &Experiment,
    sections: &[&str],
    ids: &[&StudentId],
) -> ProgressRow {
    let term = &view.term;
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
    let one = match sections {
        [one] => one,
        _ => "",
    };
    let by_hand = experiment.procedure.marking.by_hand.map(|_| {
        let at = format!("/points/{}", in_path(&experiment.key));
        (format!("{at}?{}", of_section(one)), given.count())
    });
    let mut all = sections.iter();
    ProgressRow {
        experiment: experiment.procedure.title.clone(),
        section: match sections {
            [one] => (*one).to_owned(),
            many => counted(many.len(), "section", "sections"),
        },
        is_one: sections.len() == 1,
        students: ids.len(),
        handed_in: judged.len(),
        to_review: count(Status::ToReview),
        returned: count(Status::Returned),
        settled: count(Status::Settled),
        released: all.all(|section| term.released_to(&experiment.key, section).is_some()),
        by_hand,
        links: links(&experiment.key, one),
    }
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
